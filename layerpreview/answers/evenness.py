"""How far the colour wanders with fan, overlap and hand, and whether it shows: one measure for all that is told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.landing import HARDLY_ANY
from layerpreview.answers.uneven import Spraying, UnevenFace, even_faces, uneven_faces
from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    JUST_SEEN_DE00,
    NOT_ACCEPTED_DE00,
    RGB_LIN_TO_XYZ,
    delta_e_2000,
    display_matrix,
    visibility,
    xyz_to_lab,
)
from layerpreview.errors import NoAnswerError
from layerpreview.finish.engine import Engine
from layerpreview.finish.layers import first_stack, stack_of
from layerpreview.finish.look import Look, make_look
from layerpreview.finish.stack import DyeLayer
from layerpreview.picture.scene import BAND_PX, Scene
from layerpreview.scheme import OpaqueCoat, Scheme
from layerpreview.spray.passes import Hand

F64 = NDArray[np.float64]
F32 = NDArray[np.float32]

STRIPE_SHARE = 95.0
"""The stripe's figure: the CIEDE2000 to the mean that this percentage of the area stays within."""
ATTEMPTS = 5
"""How often a hand lays the part for its figures: two attempts of one hand differ by a fifth and more."""
SAMPLE_POINTS = 3000
"""Of a part for its figures: on the samples within 1 % of what all points of the grid give."""
COVERED = 0.02
"""Build of an opaque coat from which on it hides what lies below."""


@dataclass(frozen=True)
class Stripes:
    """How the coats lie under one hand, over the painted area that no opaque coat covers and over several attempts.

    `build_cv` [share] of each coat entry by number from 1; `typical_de00` half and `stripes_de00` 95 % of the area stay
    within, against the colour of the mean build; shares of the area that differ by 0.8 and 1.8 or more.
    """

    hand: str
    build_cv: dict[int, float]
    typical_de00: float
    stripes_de00: float
    share_just_seen: float
    share_not_accepted: float
    verdict: str


@dataclass(frozen=True, eq=False)
class Part:
    """All faces as they are meant, the finish of each under the first light, and where stripes count, (P,) each."""

    scheme: Scheme
    faces: tuple[UnevenFace, ...]
    looks: tuple[Look, ...]
    counts: tuple[NDArray[np.bool_], ...]

    def sample(self, points: int = SAMPLE_POINTS) -> Part:
        """The same part looked at in about `points` of its points, spread by chance, always the same ones; the part
        itself where stripes count at none of them."""
        covered = [np.flatnonzero(face.inside) for face in self.faces]
        share = points / max(sum(here.size for here in covered), 1)
        rng = np.random.default_rng(SAMPLE_POINTS)
        chosen = [np.sort(rng.permutation(here)[: max(1, round(share * here.size))]) for here in covered]
        picked = [(f.at(at), here[at]) for f, here, at in zip(self.faces, self.counts, chosen, strict=True)]
        if not any(here.any() for _, here in picked):
            return self
        return replace(self, faces=tuple(face for face, _ in picked), counts=tuple(here for _, here in picked))

    def de00(self, faces: Sequence[UnevenFace]) -> F32:
        """CIEDE2000 (N,) of `faces` as a hand left them, at all points that count (see `local_de00`)."""
        found = zip(faces, self.looks, self.counts, strict=True)
        return np.concatenate([local_de00(face, look)[counts] for face, look, counts in found])


@dataclass(frozen=True, eq=False)
class Laid:
    """A part as one hand lays it, by attempt: the faces, and their CIEDE2000 (N,) where stripes count."""

    faces: tuple[tuple[UnevenFace, ...], ...]
    de00: tuple[F32, ...]

    @property
    def stripes_de00(self) -> float:
        """The one figure for how far a hand's part is from even: over the area and all attempts."""
        return _level(np.concatenate(self.de00))

    @property
    def usual(self) -> int:
        """The attempt that comes nearest to the figure of them all."""
        return int(np.argmin([abs(_level(de) - self.stripes_de00) for de in self.de00]))


def part_of(scheme: Scheme, coarse: Scene) -> Part:
    """The scheme's part on a coarse grid, as it is meant. Raises NoAnswerError where no point of the grid is on it."""
    faces = even_faces(scheme, coarse)
    bases = [scheme.base_for(face.name) for face in faces]
    looks = {
        base: make_look(stack_of(scheme, base=base), light=scheme.lights[0], observer_deg=scheme.observer_deg)
        for base in dict.fromkeys(bases)
    }
    counts = [_painted(scheme, face) & ~_opaque_on_top(scheme, face) for face in faces]
    if not any(here.any() for here in counts):
        counts = [_painted(scheme, face) for face in faces]
    if not any(here.any() for here in counts):
        counts = [face.inside for face in faces]
    if not any(here.any() for here in counts):
        why = "the part is too narrow beside its length for stripes to be looked at"
        raise NoAnswerError(f"{why}; check the sizes of its faces in the scheme")
    return Part(scheme, tuple(faces), tuple(looks[base] for base in bases), tuple(counts))


def lay(part: Part, how: Spraying, hand: Hand) -> Laid:
    """Let a hand lay the part `ATTEMPTS` times."""
    tries = [uneven_faces(part.scheme, part.faces, how, hand, attempt=k)[0] for k in range(ATTEMPTS)]
    return Laid(tuple(map(tuple, tries)), tuple(part.de00(faces) for faces in tries))


def local_de00(face: UnevenFace, look: Look) -> F32:
    """CIEDE2000 (P,) of every point of a face against the intended build at its mean, 0 outside the part.

    Each entry's own mean over the face is taken as intended: a hand that is even but heavy leaves no stripes.
    `look`: the finish over the face's base; the base is its mean.
    """
    out = np.zeros(face.cover.size, dtype=np.float32)
    at = np.flatnonzero(face.inside)
    intended = face.intended[:, at]
    mean = means_of(intended, face.factor[:, at]).astype(np.float32)[:, None]
    engine = Engine(look)
    even = (display_matrix("D65") @ face.bare).astype(np.float32)[:, None]
    for i in range(0, at.size, BAND_PX):
        part = slice(i, i + BAND_PX)
        base = np.repeat(even, intended[:, part].shape[1], axis=1)
        rgb = [engine.pixels(base, intended[:, part] * f) for f in (face.factor[:, at[part]], mean)]
        labs = [xyz_to_lab(v.T @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ) for v in rgb]
        out[at[part]] = delta_e_2000(labs[0], labs[1])
    return out


def stripes_of(scheme: Scheme, laid: Laid, hand: str) -> Stripes:
    """The figures of one hand."""
    de = np.concatenate(laid.de00)
    faces = [face for attempt in laid.faces for face in attempt]
    spread = {}
    for i in range(len(scheme.coats)):
        weight = np.concatenate([face.intended[i] * face.inside for face in faces]).astype(np.float64)
        factor = np.concatenate([face.factor[i] for face in faces]).astype(np.float64)
        total = max(weight.sum(), 1e-9)
        mean = float((weight * factor).sum() / total)
        spread[i + 1] = float(np.sqrt((weight * (factor - mean) ** 2).sum() / total)) / max(mean, 1e-9)
    return Stripes(
        hand=hand,
        build_cv=spread,
        typical_de00=float(np.median(de)),
        stripes_de00=laid.stripes_de00,
        share_just_seen=float((de >= JUST_SEEN_DE00).mean()),
        share_not_accepted=float((de >= NOT_ACCEPTED_DE00).mean()),
        verdict=visibility(laid.stripes_de00),
    )


def _painted(scheme: Scheme, face: UnevenFace) -> NDArray[np.bool_]:
    """Where on the part any coat is meant to land (P,)."""
    return np.asarray(face.inside & _landing(scheme, face).any(axis=0))


def _opaque_on_top(scheme: Scheme, face: UnevenFace) -> NDArray[np.bool_]:
    """Where the last coat that is meant to land is an opaque one (P,); dye over an opaque coat shows."""
    top = np.zeros(face.cover.size, dtype=np.bool_)
    for i, lands in enumerate(_landing(scheme, face)):
        top[lands] = isinstance(scheme.coats[i], OpaqueCoat)
    return top


def _landing(scheme: Scheme, face: UnevenFace) -> NDArray[np.bool_]:
    """Where each coat is meant to land so that it counts (layers, P): of an opaque one a trace hides nothing."""
    least = [COVERED if isinstance(coat, OpaqueCoat) else HARDLY_ANY for coat in scheme.coats]
    return np.asarray(face.intended > np.array(least)[:, None])


def _level(de00: F32) -> float:
    return float(np.percentile(de00, STRIPE_SHARE))


def means_of(intended: F32, factor: F32) -> F64:
    """Mean factor (layers,) of each entry where it is meant to land, of builds and factors (layers, P)."""
    weight = intended.astype(np.float64)
    return np.asarray((weight * factor).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-9))


def dye_build(scheme: Scheme, face: UnevenFace) -> F32:
    """The dye coats' build at every point relative to what is meant there, weighted by how much each absorbs (P,)."""
    layers = first_stack(scheme).layers
    weight = np.array([layer.absorbance10.max() if isinstance(layer, DyeLayer) else 0.0 for layer in layers])
    intended = weight[:, None] * face.intended
    total = intended.sum(axis=0)
    ratio = (intended * face.factor).sum(axis=0) / np.maximum(total, 1e-6)
    # Taped off, or beyond every burst: nothing is meant to land there and nothing does.
    return np.where(total > 1e-3 * weight.sum(), ratio, 1.0).astype(np.float32)
