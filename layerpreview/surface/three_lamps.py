"""Slopes and flake brightness of a metallic base from three photos, the lamp at another side in each.

Photometric stereo (Woodham, Optical Engineering 19, 139 (1980), doi 10.1117/12.7972479) with the film's own facet law
in place of Lambert's: flakes send light about the half-vector, so that three numbers can mean several slopes. Hence no
equation is solved but all slopes and brightnesses are weighed by how well they explain the three (`lamp_readings`).
Lamps, their fall-off and the camera's exposure are those under which the photos are likeliest (`lamp_bench`), and so
is the kind of silver.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import InputError, Problem
from layerpreview.film.bases import SILVERS
from layerpreview.surface.lamp_bench import likeliest
from layerpreview.surface.lamp_readings import Readings
from layerpreview.surface.lamp_sight import Bench, Sight, sight_of, terms_of
from layerpreview.surface.lamp_trust import Trust, trust_of, unresolved_share
from layerpreview.surface.photos_aligned import OPPOSITE

F32 = NDArray[np.float32]
Inside = NDArray[np.bool_]

SIDES = tuple(OPPOSITE)
USUAL = "medium"
"""The silver that the search begins with."""
LOWEST_DEG, HIGHEST_DEG = 5.0, 85.0
_BLOCK_PX = 60_000


@dataclass(frozen=True, eq=False)
class MeasuredRelief:
    """What three photos tell of a base; arrays are (rows, cols) as the photos, slopes 0 and gain 1 off the face."""

    slope_x: F32
    """dz/dx, x to the right."""
    slope_y: F32
    """dz/dy, y down."""
    gain: F32
    """Brightness of the flakes, of geometric mean about 1."""
    known: Inside
    """Where all three photos tell; elsewhere on the face one of them is odd and the other two have been asked."""
    one_way: Inside
    """Where those two had their lamps opposite each other, so that slopes across to them are not known at all."""
    silver: str
    """The flakes, one of `film.SILVERS`: those told, or the likeliest."""
    heights_deg: tuple[float, ...]
    """Likeliest height of each lamp over the bench [deg]."""
    trust: Trust


def measured_relief(
    photos: Sequence[F32],
    sides: Sequence[str],
    *,
    silver: str | None = None,
    heights_deg: Sequence[float] | None = None,
    inside: Inside | None = None,
) -> MeasuredRelief:
    """Return slopes and flake brightness of one level face under clear from three photos of it.

    photos: linear light (rows, cols) each, 1 where the camera is full, one lying on the other. sides: of SIDES, where
    the lamp was in each, no two alike. silver: the flakes, of `film.SILVERS`, the likeliest where not given.
    heights_deg: of each lamp over the bench [LOWEST_DEG to HIGHEST_DEG], the likeliest where not given: small slopes
    are surer where they are told. inside: the pixels of the face, all where not given. Slow changes of brightness over
    a photo (up to second order) count as light, not as base; where a region of one photo goes with no base (a cast
    shadow, a mirrored lamp), the other two tell. Raises InputError for anything but three photos of one size, three
    sides and heights, or no such silver.
    """
    _check(photos, sides, silver)
    if heights_deg is not None:
        check_heights(heights_deg, ",".join(f"{deg:g}" for deg in heights_deg))
    face = np.ones(photos[0].shape, dtype=bool) if inside is None else inside
    sight, step = sight_of(photos, sides, face)
    bench, sight, silvers = likeliest(
        sight, [silver] if silver else sorted(SILVERS, key=lambda name: name != USUAL), heights_deg
    )
    table = sight.table(bench)
    plain = table.plain
    odd = _full_size(sight, face.shape, step) & face
    means = np.zeros((3, *face.shape), np.float32)
    high = max(1, _BLOCK_PX // face.shape[1])
    for top in range(0, len(face), high):
        rows = slice(top, top + high)
        means[:, rows][:, face[rows]] = _strip(photos, bench, sight, plain, face, odd, rows)
    slope_x, slope_y, log_gain = means
    known, one_way = face & ~odd.any(axis=0), odd[_lone(sides)]
    trust = trust_of(
        sight,
        bench,
        table,
        silvers,
        unknown=float(1.0 - known.sum() / face.sum()),
        one_way=float(one_way.sum() / face.sum()),
        heights_told=heights_deg is not None,
        unresolved=unresolved_share(slope_x, slope_y),
    )
    return MeasuredRelief(slope_x, slope_y, np.exp(log_gain), known, one_way, bench.silver, bench.heights_deg, trust)


def _lone(sides: Sequence[str]) -> int:
    """The photo whose lamp has none across: of three sides of four, two are opposite."""
    return next(k for k, side in enumerate(sides) if OPPOSITE[side] not in sides)


def _full_size(sight: Sight, shape: tuple[int, ...], step: int) -> Inside:
    """Where each photo is odd (3, rows, cols), of the lattice's places."""
    lattice = np.zeros((3, *sight.on.shape), dtype=bool)
    lattice[:, sight.on] = sight.odd
    near = (np.minimum(np.arange(size) // step, n - 1) for size, n in zip(shape, sight.on.shape, strict=True))
    y, x = near
    return lattice[:, y[:, None], x]


def _strip(
    photos: Sequence[F32], bench: Bench, sight: Sight, table: Readings, face: Inside, odd: Inside, rows: slice
) -> F32:
    """Slopes and log gain (3, pixels) of the face's pixels in some rows."""
    y, x = np.nonzero(face[rows])
    strip = replace(
        sight,
        light=np.stack([photo[rows][face[rows]] for photo in photos]),
        terms=terms_of(y + rows.start, x, *face.shape),
    )
    most = sight.full(bench)[:, None]
    light = np.minimum(strip.light * np.exp(bench.surface.astype(np.float32) @ strip.terms.T), most)
    cells = table.cells(light)
    means = table.means(cells)
    for photo, there in enumerate(odd[:, rows][:, face[rows]]):
        if there.any():
            means[:, there] = table.without(photo, cells[:, there])[1]
    return means


def check_sides(sides: Sequence[str], *, photos: int) -> int:
    """Return which photo the others are laid on: the first that has its opposite among them.

    Raises InputError for anything but three photos with the lamp at three of SIDES.
    """
    problems = []
    if photos != 3 or len(sides) != 3:
        rule, remedy = "three photos and a side for each are needed", "as --lamp-sides left,top,right"
        problems.append(Problem(rule, remedy, field="--photo and --lamp-sides", value=f"{photos} and {len(sides)}"))
    if unknown := [side for side in sides if side not in SIDES]:
        rule, remedy = "no such side", f"name three of {', '.join(SIDES)}"
        problems.append(Problem(rule, remedy, field="--lamp-sides", value=", ".join(unknown)))
    elif len(set(sides)) != len(sides):
        rule, remedy = "the lamp must stand at another side in each", f"name three of {', '.join(SIDES)}"
        problems.append(Problem(rule, remedy, field="--lamp-sides", value=",".join(sides)))
    if problems:
        raise InputError(problems)
    return next(k for k, side in enumerate(sides) if OPPOSITE[side] in sides)


def check_heights(heights_deg: Sequence[float], told: str) -> None:
    """Raise InputError for anything but three heights over the bench; `told` is what the user said."""
    if len(heights_deg) != 3 or not all(LOWEST_DEG <= deg <= HIGHEST_DEG for deg in heights_deg):
        rule = f"must be one height for all lamps or three, {LOWEST_DEG:g} to {HIGHEST_DEG:g} degrees over the bench"
        remedy = "as 45 or 40,45,50 (its tangent is height over distance)"
        raise InputError(Problem(rule, remedy, field="--lamp-heights", value=told))


def _check(photos: Sequence[F32], sides: Sequence[str], silver: str | None) -> None:
    check_sides(sides, photos=len(photos))
    if silver is not None and silver not in SILVERS:
        remedy = "use one of " + ", ".join(SILVERS)
        raise InputError(Problem("is no silver", remedy, field="silver", value=repr(silver)))
    sizes = {photo.shape for photo in photos}
    if len(sizes) > 1:
        value = ", ".join(f"{wide} x {high}" for high, wide in sorted(sizes))
        raise InputError(Problem("the photos must be of one size", "crop them alike", field="--photo", value=value))
