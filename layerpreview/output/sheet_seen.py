"""What the mix sheet shows in colour: the finished part, the colours to end with, and those after every coat."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from layerpreview.colour import LIFELIKE, delta_e_2000, display_matrix, encode_srgb, on_screen, rgb_lin_to_hex
from layerpreview.finish.layers import stack_of
from layerpreview.finish.view import surroundings_of
from layerpreview.job.colours import ColourFigures, spot_colours, spot_spectrum
from layerpreview.picture.faces import FaceShape
from layerpreview.picture.lifelike import Lifelike, lifelike_of, looks_of
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import FIGURES_WIDTH_PX, Spot, SpotKind, fullest_spot, spots_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Scheme
from layerpreview.threads import thread_pool

ROOM = "window"
PICTURE_PX = 640
RIM = 0.02
"""White left around the part, as a share of the picture's width."""
SAME_DE00 = 2.0
"""Colours of one place on two faces nearer than that are one patch: print differs by more (common practice)."""
MOST_PATCHES = 8
JPEG_QUALITY = 88
_ORDER = (SpotKind.FIELD, SpotKind.BURST, SpotKind.ZONE, SpotKind.EDGE)


@dataclass(frozen=True)
class Patch:
    """A colour to hit on a screen, and where it is, in words."""

    words: str
    srgb: str


@dataclass(frozen=True, eq=False)
class Seen:
    """The part as JPEG of `width_px` by `height_px`, and colours (sRGB) under the light named `light`.

    `ends`: what the finish ends with; `bases`: bare, by face; `after`: by entry of coats after each of its coats, where
    most of it lands.
    """

    jpeg: bytes
    width_px: int
    height_px: int
    ends: tuple[Patch, ...]
    bases: tuple[tuple[str, str], ...]
    after: tuple[tuple[str, ...], ...]
    light: str


def seen_of(scheme: Scheme, *, parts: Sequence[FaceShape], surveys: Sequence[Survey]) -> Seen:
    """Work out what a sheet shows; `parts`, `surveys`: the shapes of its faces and what each coat leaves there."""
    spots = spots_of(scheme, make_scene(scheme, width_px=FIGURES_WIDTH_PX, shapes=parts), surveys)
    light = scheme.lights[0]
    colours = [colour for colour in spot_colours(scheme, spots) if colour.light == light]
    scene = lifelike_of(scheme, surroundings_of(scheme, ROOM, field="surroundings"), width_px=PICTURE_PX, shapes=parts)
    pixels = cut_out(scheme, scene, light)
    made = io.BytesIO()
    Image.fromarray(pixels).save(made, "JPEG", quality=JPEG_QUALITY, subsampling=0)
    return Seen(
        jpeg=made.getvalue(),
        width_px=pixels.shape[1],
        height_px=pixels.shape[0],
        ends=end_patches(colours),
        bases=tuple((colour.face, colour.srgb) for colour in colours if colour.kind is SpotKind.BASE),
        after=tuple(_after(scheme, fullest_spot(spots, i), i, light) for i in range(len(scheme.coats))),
        light=light,
    )


def cut_out(scheme: Scheme, scene: Lifelike, light: str) -> NDArray[np.uint8]:
    """The lifelike part on white paper, little left around it, as 8-bit sRGB (rows, cols, 3)."""
    assert scene.backdrop is not None
    looks, ground_of = [looks_of(scheme, scene, light)], scene.backdrop.rows

    def work(strip: tuple[int, int]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        (picture,), cover = scene.render_strip(looks, *strip)
        share = cover[:, :, None].astype(np.float64)
        part = (picture - (1.0 - share) * ground_of(*strip)[:, :, None]) / np.maximum(share, 1e-6)
        shown = on_screen(np.maximum(part, 0.0), rolled_from=LIFELIKE)
        return share * shown + (1.0 - share), cover > 0.0

    with thread_pool() as pool:
        strips = list(pool.map(work, scene.strips()))
    whole, there = (np.concatenate([strip[i] for strip in strips]) for i in range(2))
    rows, cols = np.flatnonzero(there.any(axis=1)), np.flatnonzero(there.any(axis=0))
    rim = round(RIM * scene.width_px)
    cut = whole[max(rows[0] - rim, 0) : rows[-1] + rim + 1, max(cols[0] - rim, 0) : cols[-1] + rim + 1]
    return np.asarray(np.rint(255.0 * encode_srgb(cut)), dtype=np.uint8)


def end_patches(colours: Sequence[ColourFigures]) -> tuple[Patch, ...]:
    """One patch for each colour that the finish ends with; those that nobody tells apart are one."""
    groups: list[list[ColourFigures]] = []
    ends = [colour for colour in colours if colour.kind in _ORDER]
    for colour in sorted(ends, key=lambda colour: _ORDER.index(colour.kind)):
        group = next((g for g in groups if _are_one(g[0], colour)), None)
        if group is None:
            groups.append([colour])
        else:
            group.append(colour)
    return tuple(Patch(_words_of(group), group[0].srgb) for group in groups[:MOST_PATCHES])


def _are_one(one: ColourFigures, other: ColourFigures) -> bool:
    if (one.kind, one.place) != (other.kind, other.place):
        return False
    return float(delta_e_2000(np.array(one.lab), np.array(other.lab))) < SAME_DE00


def _words_of(group: Sequence[ColourFigures]) -> str:
    """ "front and back: edge", or the place alone where its name has no face."""
    place = "open field" if group[0].kind is SpotKind.FIELD else group[0].place
    faces = list(dict.fromkeys(colour.face for colour in group))
    return place if group[0].spot == group[0].place else f"{' and '.join(faces)}: {place}"


def _after(scheme: Scheme, spot: Spot, index: int, light: str) -> tuple[str, ...]:
    """One place after each coat of an entry, what was sprayed before it as it is left."""
    stack = stack_of(scheme, base=spot.base)
    show = display_matrix(light, observer_deg=scheme.observer_deg)
    coats, found = scheme.coats[index].coats, []
    for done in range(1, coats + 1):
        build = np.where(np.arange(spot.build.size) < index, spot.build, 0.0)
        # A coat that is cut back later is looked at before that.
        build[index] = spot.laid[index] * done / coats
        found.append(rgb_lin_to_hex(show @ spot_spectrum(stack, spot.bare, build)))
    return tuple(found)
