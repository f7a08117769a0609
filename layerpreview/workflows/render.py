"""Render a scheme to files: a picture per light, the bare base, a sheet side by side, and the figures; and the finish
tilted to and fro, as one small animated picture to send.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from layerpreview.finish.view import EVEN_LIGHT, STRAIGHT_ON, View
from layerpreview.job.figures import Figures, figures_of
from layerpreview.output.caption import captions, labelled_sheet
from layerpreview.output.figures_result import figures_json
from layerpreview.output.files import write_text, written_together
from layerpreview.output.pictures import preview_result, small_pictures, write_picture, write_pictures
from layerpreview.output.result import Result
from layerpreview.picture.render import DEFAULT_WIDTH_PX, Preview
from layerpreview.picture.render import render as picture_of
from layerpreview.picture.scene import STRIP_PX, appearances_of, make_scene, turned
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.workflows.choices import MARGIN, check_lamp, views_around, with_lights

SHEET_TILE_PX = 600
SHEET_WIDTH_PX = 3200


@dataclass
class Timing:
    """Seconds by part, in the order they ran."""

    parts: dict[str, float] = field(default_factory=dict)
    _since: float = field(default_factory=time.perf_counter)

    def lap(self, name: str) -> None:
        now = time.perf_counter()
        self.parts[name] = self.parts.get(name, 0.0) + now - self._since
        self._since = now


@dataclass(frozen=True)
class Rendered:
    """What `render_files` wrote, the share of the part outside the screen's gamut by picture, and where time went."""

    folder: Path
    files: tuple[str, ...]
    out_of_gamut: dict[str, float]
    figures: Figures
    timing: dict[str, float]

    @property
    def cautions(self) -> tuple[str, ...]:
        """What looks wrong though it was rendered."""
        return self.figures.cautions


@dataclass(frozen=True)
class Shot:
    """One picture to make: the bare base or the finish, under a light, from a view."""

    light: str
    view: View
    bare: bool

    @property
    def file_name(self) -> str:
        return ("bare" if self.bare else f"finish_{self.light}") + self.view.file_words + ".png"

    @property
    def words(self) -> str:
        return "base, no dye" if self.bare else f"finish, {self.light}"


def shots_of(scheme: Scheme, views: Sequence[View]) -> list[list[Shot]]:
    """Per view the bare base, then the finish under each light."""
    return [
        [Shot(scheme.lights[0], view, True), *(Shot(light, view, False) for light in scheme.lights)] for view in views
    ]


def render(
    scheme: Scheme,
    *,
    light: str = "D65",
    view_deg: float = 0.0,
    lamp_deg: float | None = None,
    around: str = "even",
    width_px: int | None = None,
    threads: int | None = None,
    strip_px: int = STRIP_PX,
) -> Result[Preview]:
    """Render the finish of `scheme` under one light as one picture in memory; see `picture.render.render`.

    Raises InputError for an unknown light or surroundings, an angle or a width out of range, or PictureError.
    """
    preview = picture_of(
        scheme,
        light=light,
        view_deg=view_deg,
        lamp_deg=lamp_deg,
        around=around,
        width_px=width_px,
        threads=threads,
        strip_px=strip_px,
    )
    return preview_result(scheme, preview)


def render_files(
    scheme_path: Path,
    *,
    out: Path,
    force: bool = False,
    width_px: int = DEFAULT_WIDTH_PX,
    lights: Sequence[str] | None = None,
    views: Sequence[View] = (STRAIGHT_ON,),
    around: str = "even",
    sheen: bool = False,
    form: bool = False,
) -> Rendered:
    """Render the scheme at `scheme_path` into the folder `out`: each light from each view, in one common exposure,
    in the surroundings of the name `around`.

    For presentation only, and in no figure: `sheen` adds the mirror image of a soft window, `form` shades the part as a
    solid body on the ground.
    Raises SchemeError, PictureError or OutputError; nothing is written then.
    """
    timing = Timing()
    scheme = with_lights(load_scheme(scheme_path), lights)
    timing.lap("scheme")
    views = views_around(scheme, views, around)
    shots = shots_of(scheme, views)
    names = [shot.file_name for row in shots for shot in row] + ["side_by_side.png", "figures.json"]
    tile_px = SHEET_TILE_PX if len(views) == 1 else min(SHEET_TILE_PX, SHEET_WIDTH_PX // len(views))
    shares: dict[str, float] = {}
    small: dict[str, NDArray[np.uint8]] = {}
    used = []
    for_show = for_show_words(form=form, sheen=sheen)
    with written_together(out, names, force=force, inputs=scheme.inputs) as paths:
        scene = make_scene(scheme, width_px=width_px, margin=MARGIN, view=views[0], form=form)
        scene = replace(scene, sheen=sheen)
        timing.lap("base and edges")
        for row in shots:
            view = row[0].view
            seen = scene if view == views[0] else turned(scheme, scene, view)
            looks = appearances_of(scheme, seen, scheme.lights[:1], view=view, bare=True)
            looks += appearances_of(scheme, seen, scheme.lights, view=view)
            used += looks[1:]
            timing.lap("film and wavelengths")
            captions = [caption_lines(scheme, shot, for_show=for_show) for shot in row]
            files = [paths[shot.file_name] for shot in row]
            written = write_pictures(seen, looks, captions, files, small_width_px=tile_px, rolled_from=view.rolled_from)
            shares.update({shot.file_name: share for shot, share in zip(row, written.out_of_gamut, strict=True)})
            small.update({shot.file_name: pixels for shot, pixels in zip(row, written.small, strict=True)})
            timing.lap("pixels and PNG")
        # Figures are of even light and straight on, whatever the pictures show.
        figures = figures_of(scheme, scene if views[0] == STRAIGHT_ON else turned(scheme, scene, STRAIGHT_ON))
        write_text(paths["figures.json"], figures_json(figures, used, shares))
        timing.lap("figures")
        write_picture(side_by_side(scheme, shots, small, for_show=for_show), paths["side_by_side.png"])
        timing.lap("sheet")
    return Rendered(out, tuple(names), shares, figures, timing.parts)


def caption_lines(scheme: Scheme, shot: Shot, *, for_show: str = "") -> list[str]:
    """Three lines: the scheme, the coats, and how the picture is to be read."""
    coats = "no dye: the base alone" if shot.bare else coats_in_short(scheme)
    said = [f"light {shot.light}, {shot.view.words}", *photo_words(scheme, [shot.view]), for_show]
    return [scheme.name, coats, "; ".join([*filter(None, said), "adapted to the screen", "approximate"])]


def for_show_words(*, form: bool, sheen: bool) -> str:
    """What was added to a picture that no figure knows of."""
    added = [*(["solid shading"] if form else []), *(["a mirrored window"] if sheen else [])]
    return f"{' and '.join(added)} added for show" if added else ""


def photo_words(scheme: Scheme, views: Sequence[View]) -> list[str]:
    """The caution that a photo of a base does not turn with the view, where one is seen from elsewhere or lit anew."""
    bases = [scheme.base_for(face.name) for face in scheme.faces]
    photo = any(base.picture is not None for base in bases)
    return ["the base is a photo and stays as lit in it"] if photo and any(v != STRAIGHT_ON for v in views) else []


def coats_in_short(scheme: Scheme) -> str:
    """The coats in one line, in the order they are sprayed."""
    parts = []
    for coat in scheme.coats:
        burst = " (burst)" if coat.bursts else ""
        place = "" if coat.everywhere else f" on {coat.zone}"
        parts.append(f"{coat.coats} x {coat.label}{burst}{place}")
    return "; ".join(parts) + f"; {scheme.clear.finish} clear"


def side_by_side(
    scheme: Scheme, shots: Sequence[Sequence[Shot]], small: Mapping[str, NDArray[np.uint8]], *, for_show: str = ""
) -> NDArray[np.uint8]:
    """Every shot small: one view in a row of base and lights; several views in rows from face to flop."""
    across = len(shots) if len(shots) > 1 else min(3, len(shots[0]))
    # Views go across and lights down, so that the eye runs from face to flop along a row.
    order = [row[i] for i in range(len(shots[0])) for row in shots]
    tiles = [
        (shot.words + (f", {shot.view.view_deg:g} deg" if len(shots) > 1 else ""), small[shot.file_name])
        for shot in order
    ]
    views = [row[0].view for row in shots]
    how = [_lit_words(views), *photo_words(scheme, views), for_show, "adapted to the screen", "one exposure"]
    note = f"{coats_in_short(scheme)}; {'; '.join(filter(None, how))}; approximate"
    return labelled_sheet(tiles, title=scheme.name, note=note, columns=across)


def _lit_words(views: Sequence[View]) -> str:
    lamp_deg, around = views[0].lamp_deg, views[0].around
    if lamp_deg is None:
        return "" if around == EVEN_LIGHT else f"surroundings: {around.name}"
    mirror = ", negative views are on its mirror side" if any(view.view_deg < 0.0 for view in views) else ""
    return f"lamp at {lamp_deg:g} deg{mirror}"


FRAME_MS = 120
QUALITY = 72


@dataclass(frozen=True)
class Tilted:
    """The animated picture, its size and its views in order [deg]."""

    file: Path
    size_bytes: int
    views_deg: tuple[float, ...]


def tilt_file(
    scheme_path: Path,
    *,
    out: Path,
    force: bool = False,
    width_px: int = 480,
    light: str | None = None,
    lamp_deg: float | None = None,
    around: str = "workshop",
    furthest_deg: float = 60.0,
    frames: int = 9,
) -> Tilted:
    """Write `tilt.webp`: the finish from straight on to `furthest_deg` and back, or through both sides under a lamp.

    `frames` [2..40] views one way; `lamp_deg` and `around` as in `View`. All frames share one exposure.
    Raises InputError (SchemeError, PictureError) or OutputError; nothing is written then.
    """
    scheme = with_lights(load_scheme(scheme_path), [light] if light else None)
    check_lamp(lamp_deg)
    start = 0.0 if lamp_deg is None else -furthest_deg
    angles = [float(angle) for angle in np.linspace(start, furthest_deg, frames)]
    lit = scheme.lights[0]
    scene = make_scene(scheme, width_px=width_px, margin=MARGIN)
    views = views_around(scheme, [View(round(angle, 1), lamp_deg) for angle in angles], around)
    texts = captions(
        [caption_lines(scheme, Shot(lit, view, False)) for view in views],
        width_px=scene.width_px,
        pixel_mm=scene.pixel_mm,
    )
    pictures = []
    for view, text in zip(views, texts, strict=True):
        seen = turned(scheme, scene, view)
        pixels = small_pictures(seen, appearances_of(scheme, seen, [lit], view=view), rolled_from=view.rolled_from)[0]
        pictures.append(Image.fromarray(np.concatenate([pixels, text])))
    to_and_fro = pictures + pictures[-2:0:-1]
    with written_together(out, ["tilt.webp"], force=force, inputs=scheme.inputs) as paths:
        to_and_fro[0].save(
            paths["tilt.webp"],
            format="WEBP",
            save_all=True,
            append_images=to_and_fro[1:],
            duration=FRAME_MS,
            loop=0,
            quality=QUALITY,
            method=4,
        )
    file = out / "tilt.webp"
    return Tilted(file, file.stat().st_size, tuple(angles))
