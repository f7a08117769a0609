"""How far the colour wanders with fan, overlap and hand; whether it shows; what would stop it showing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.choose.patches import first_stack
from layerpreview.choose.uneven import Spraying, UnevenFace, coats_over
from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    JUST_SEEN_DE00,
    NOT_ACCEPTED_DE00,
    RGB_LIN_TO_XYZ,
    delta_e_2000,
    display_matrix,
    visibility,
    white_xyz,
    xyz_to_lab,
    xyz_weights,
)
from layerpreview.preview.engine import Engine
from layerpreview.preview.look import make_look
from layerpreview.preview.paint import stack_of
from layerpreview.preview.scene import BAND_PX
from layerpreview.preview.spots import Spot
from layerpreview.preview.stack import DyeLayer, OpaqueLayer, Stack
from layerpreview.scheme import DyeCoat, Scheme
from layerpreview.spray.passes import Hand, best_overlap, fan_profile, overlap_ripple

F64 = NDArray[np.float64]
F32 = NDArray[np.float32]

TRIAL_POINTS, TRIAL_RUNS = 900, 3
MOST_COATS = 16
OVERLAPS = (0.6, 2.0 / 3.0, 0.75)
STRIPE_SHARE = 95.0
"""The stripe's figure: the CIEDE2000 to the mean that this percentage of the area stays within."""


@dataclass(frozen=True)
class Stripes:
    """How the coats lie under one hand, over the area that no opaque coat covers.

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


@dataclass(frozen=True)
class Trial:
    """One other way to spray the same colour, and how its stripes come out."""

    coats: int
    strength: float
    overlap: float
    stripes_de00: float
    verdict: str


@dataclass(frozen=True)
class Advice:
    """What to change about one coat entry: `now`, fewest `coats` at this overlap, least `overlap` with these coats,
    each None where nothing tried gets below the threshold; `fan_best_overlap` and what fan and overlap alone leave."""

    order: int
    what: str
    now: Trial
    coats: Trial | None
    overlap: Trial | None
    both: Trial | None
    fan_best_overlap: float
    fan_ripple_now: float
    fan_ripple_best: float


def local_de00(scheme: Scheme, face: UnevenFace) -> tuple[F32, NDArray[np.bool_]]:
    """CIEDE2000 (P,) of every point of a face against the intended build at its mean, and where that counts (P,).

    Each entry's own mean over the face is taken as intended: a hand that is even but heavy leaves no stripes. Points
    outside the part and under opaque coats do not count. The first light; the face's mean base.
    """
    stack = stack_of(scheme, base=scheme.base_for(face.name))
    here = face.cover > 0.5
    opaque = [i for i, layer in enumerate(stack.layers) if isinstance(layer, OpaqueLayer)]
    counts = here & ~(face.intended[opaque] > 0.02).any(axis=0)
    if not counts.any():
        counts = here
    out = np.zeros(here.size, dtype=np.float32)
    at = np.flatnonzero(here)
    intended = face.intended[:, at]
    mean = _means(intended, face.factor[:, at]).astype(np.float32)[:, None]
    engine = Engine(make_look(stack, light=scheme.lights[0], observer_deg=scheme.observer_deg))
    even = (display_matrix("D65") @ face.bare).astype(np.float32)[:, None]
    for i in range(0, at.size, BAND_PX):
        part = slice(i, i + BAND_PX)
        base = np.repeat(even, intended[:, part].shape[1], axis=1)
        rgb = [engine.pixels(base, intended[:, part] * f) for f in (face.factor[:, at[part]], mean)]
        labs = [xyz_to_lab(v.T @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ) for v in rgb]
        out[at[part]] = delta_e_2000(labs[0], labs[1])
    return out, counts


def stripes_of(
    scheme: Scheme, faces: Sequence[UnevenFace], maps: Sequence[tuple[F32, NDArray[np.bool_]]], hand: str
) -> Stripes:
    """The figures of one hand from its faces and their `local_de00`."""
    de = np.concatenate([values[counts] for values, counts in maps])
    spread = {}
    for i in range(len(scheme.coats)):
        weight = np.concatenate([face.intended[i] * (face.cover > 0.5) for face in faces]).astype(np.float64)
        factor = np.concatenate([face.factor[i] for face in faces]).astype(np.float64)
        mean = float((weight * factor).sum() / max(weight.sum(), 1e-9))
        spread[i + 1] = float(np.sqrt((weight * (factor - mean) ** 2).sum() / max(weight.sum(), 1e-9))) / max(
            mean, 1e-9
        )
    level = float(np.percentile(de, STRIPE_SHARE))
    return Stripes(
        hand=hand,
        build_cv=spread,
        typical_de00=float(np.median(de)),
        stripes_de00=level,
        share_just_seen=float((de >= JUST_SEEN_DE00).mean()),
        share_not_accepted=float((de >= NOT_ACCEPTED_DE00).mean()),
        verdict=visibility(level),
    )


def advice_of(
    scheme: Scheme, spot: Spot, how: Spraying, hand: Hand, *, width_mm: float, height_mm: float
) -> Advice | None:
    """Try other coats and overlaps for the whole coat that matters most, the colour kept; None without such a coat."""
    stack = first_stack(scheme)
    bare, field = spot.bare, spot.build
    entries = [i for i, c in enumerate(scheme.coats) if isinstance(c, DyeCoat) and not c.bursts and field[i] > 0.0]
    if not entries:
        return None
    at = max(entries, key=lambda i: _pull(scheme, stack, bare, field, i))
    coat = scheme.coats[at]
    assert isinstance(coat, DyeCoat)

    def trial(coats: int, overlap: float) -> Trial:
        level = _trial_level(
            scheme, stack, bare, field, at, coats, replace(how, overlap=overlap), hand, (width_mm, height_mm)
        )
        return Trial(coats, coat.coats / coats, overlap, level, visibility(level))

    now = trial(coat.coats, how.overlap)
    more = range(coat.coats + 1, MOST_COATS + 1)
    closer = sorted({round(o, 3) for o in (*OVERLAPS, best_overlap(how.gun.beta)) if o > how.overlap + 0.01})
    good = [o for o in closer if _ripple(how, o) <= _ripple(how, how.overlap) + 1e-3] or closer
    by_coats = next((t for c in more if (t := trial(c, how.overlap)).stripes_de00 < JUST_SEEN_DE00), None)
    by_overlap = next((t for o in good if (t := trial(coat.coats, o)).stripes_de00 < JUST_SEEN_DE00), None)
    both = None
    if good and (by_coats is None or by_coats.coats > coat.coats + 1):
        both = next((t for c in more if (t := trial(c, good[-1])).stripes_de00 < JUST_SEEN_DE00), None)
    best = best_overlap(how.gun.beta)
    return Advice(
        at + 1, coat.mix, now, by_coats, by_overlap, both, best, _ripple(how, how.overlap), _ripple(how, best)
    )


def _ripple(how: Spraying, overlap: float) -> float:
    return overlap_ripple(lambda u: fan_profile(u, beta=how.gun.beta), overlap=overlap).cv


def _pull(scheme: Scheme, stack: Stack, bare: F64, field: F64, at: int) -> float:
    """How far a twentieth more of one entry shifts the open field."""
    more = field.copy()
    more[at] *= 1.05
    labs = _lab(scheme, stack, bare, np.stack([field, more]))
    return float(delta_e_2000(labs[0], labs[1]))


def _trial_level(
    scheme: Scheme,
    stack: Stack,
    bare: F64,
    field: F64,
    at: int,
    coats: int,
    how: Spraying,
    hand: Hand,
    box_mm: tuple[float, float],
) -> float:
    """The stripe figure of the open field when entry `at` is sprayed in `coats` coats of the same total load."""
    levels = []
    for run in range(TRIAL_RUNS):
        rng = np.random.default_rng([how.seed, run, 77])
        x, y = rng.uniform(0.0, box_mm[0], TRIAL_POINTS), rng.uniform(0.0, box_mm[1], TRIAL_POINTS)
        build, _ = coats_over(x, y, width_mm=box_mm[0], height_mm=box_mm[1], coats=coats, how=how, hand=hand, rng=rng)
        builds = np.tile(field, (TRIAL_POINTS + 1, 1))
        builds[:TRIAL_POINTS, at] *= build
        builds[TRIAL_POINTS, at] *= build.mean()
        lab = _lab(scheme, stack, bare, builds)
        levels.append(np.percentile(delta_e_2000(lab[:-1], lab[-1]), STRIPE_SHARE))
    return float(np.mean(levels))


def _means(intended: F32, factor: F32) -> F64:
    weight = intended.astype(np.float64)
    return np.asarray((weight * factor).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-9))


def _lab(scheme: Scheme, stack: Stack, bare: F64, builds: F64) -> F64:
    light, observer = scheme.lights[0], scheme.observer_deg
    spectra = stack.reflectance(np.broadcast_to(bare, (len(builds), bare.size)), builds)
    xyz = spectra @ xyz_weights(light, observer_deg=observer).T
    return xyz_to_lab(xyz, white_xyz=white_xyz(light, observer_deg=observer))


def dye_build(scheme: Scheme, face: UnevenFace) -> F32:
    """The dye coats' build at every point relative to what is meant there, weighted by how much each absorbs (P,)."""
    layers = first_stack(scheme).layers
    weight = np.array([layer.absorbance10.max() if isinstance(layer, DyeLayer) else 0.0 for layer in layers])
    intended = weight[:, None] * face.intended
    total = intended.sum(axis=0)
    ratio = (intended * face.factor).sum(axis=0) / np.maximum(total, 1e-6)
    # Taped off, or beyond every burst: nothing is meant to land there and nothing does.
    return np.where(total > 1e-3 * weight.sum(), ratio, 1.0).astype(np.float32)
