"""Which pixels of a photo are the part: evidence against its ground, and a random walk between what is sure.

Measured from the same seeds on 42 rendered photos, area off (median, worst) and seconds: random walk 0.17, 0.71 %,
0.02; watershed on the gradient of log light 0.16, 0.89 %, 0.13; morphological snakes 0.68, 3.1 %, 0.5.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage, sparse
from scipy.sparse import linalg

from layerpreview.surface.ground import SHADOW_LN, Grid, Ground
from layerpreview.surface.ground_seams import seams
from layerpreview.surface.outline import Points

Holes = Literal["keep", "close", "auto"]
Mask = NDArray[np.bool_]

_SHADOW_TINT = 0.25  # of its depth: how far a shadow's colour may go, lit by the sky or a wall alone (assumed)
_SURE_PX = 4  # evidence spills this far over an edge: deeper inside it is sure
_AWAY_PX = 1.0  # and this far outside it the ground is
_TEXTURE_PX = 7  # window of the texture's median
_BETA = 60.0  # how strongly a step of log light stops the walk; Grady 2006, eq. 1
_PIN = 10.0  # weight of what is sure against the weights 0..1 between pixels
_MIDDLE = (0.35, 0.65)  # the part meant is one that reaches into this middle, as shares of width and height
_NEAR_SHARE = 0.03  # of the longer side: a point named beside a thin part still means it
_ROUGH_SHARE = 0.02  # of the longer side: how far off a rough outline may be
_PLAIN_LN = 0.27  # of the ground's scatter: up to a felt's it tells ground from part, on boards a hand is needed
_NEIGHBOURS = 5  # times as far: what lies outside near by
_LIKELY, _ALIKE_PX = 0.85, 1.5  # a colour of one side alone; so far into such a spot it is sure
_TONES, _DARKEST_LN = 24, -5.5  # steps of each channel's table, from black (the flare) to white
_SMALLEST_SHARE = 2e-4  # spots under this share of the part's area are dust, not openings
_SPECK_PX = 8  # pieces of evidence under this many pixels are grain
_STRONG, _SAME_COLOUR = 0.35, 0.35  # natural log between channels; share of it that a shadow may change (assumed)
_TELLS_LN = -4.6  # darker than this the flare and the noise hide a colour
_RIM_PX = (4, 9)  # of the part: past the rounding of its edge
_OTHER_HUE = 0.3  # natural log between channels: more is another colour, not another light (assumed)
_LEAST_OPENING = 0.005  # of what is no ground: a facet of the ground's tone is as large as a smaller one
_LEAST_PART = 0.002  # of the picture: smaller is no part
_SHARP = 0.25  # an edge's steepest step, one pixel wide, as a share of the whole step across it


@dataclass(frozen=True, eq=False)
class Region:
    """A part in the picture that it was sought in, in pixels from that picture's corner.

    outer (n, 2), openings each (m, 2) : its rings; share : the soft mask (h, w), 0..1; closed : how many places like
    the ground were closed; rival : the next largest thing that could be meant, as a share of the part; foreign : the
    share of its rim of another colour than most of it; darkest : the light of the darkest opening [natural log], 0
    without one; other : the largest thing elsewhere, as a share of the part, and where it is (x, y); seams (h, w) :
    thin lines of the ground that were left out.
    """

    outer: Points
    openings: tuple[Points, ...]
    share: Grid
    closed: int
    rival: float
    foreign: float
    darkest: float
    other: tuple[float, float, float]
    seams: Mask | None = None


def evidence(ln_rgb: Grid, ground: Ground) -> Grid:
    """Return how far each pixel is from its ground, (h, w): above 1 is no ground; the largest of four.

    Colour (a shadow keeps it but for the tint of the light that still comes), texture, more light than the ground has,
    and less than a shadow leaves. Scales are the ground's own scatter. Texture is a median over a window: an edge,
    which is thin, is none.
    """
    off = ln_rgb - ground.ln_rgb
    light = off.mean(axis=2)
    hue = off - light[:, :, None]
    colour = np.linalg.norm(ndimage.gaussian_filter(hue, (0.7, 0.7, 0)), axis=2)
    tint = _SHADOW_TINT * np.clip(-light, 0.0, SHADOW_LN)
    fine = np.abs(light - ndimage.gaussian_filter(light, 1.0))
    texture = ndimage.median_filter(fine, _TEXTURE_PX)
    seen = ground.seen
    colour_least = 2.5 * max(float(np.percentile(colour[seen], 90)), 0.012)
    texture_least = 2.5 * max(float(np.percentile(texture[seen], 90)), 0.002)
    bright_least = 0.05 + 5 * max(1.4826 * float(np.median(np.abs(light[seen]))), 0.012)
    deep = _deep_shadow(ln_rgb, hue, ground)
    deep &= light < -SHADOW_LN
    dark = np.where((light < -SHADOW_LN) & ~deep, -light / SHADOW_LN, 0.0)
    texture[deep] *= np.exp(0.5 * light[deep])  # of little light the noise is larger, as the root of it
    found = np.maximum.reduce(((colour - tint) / colour_least, texture / texture_least, light / bright_least, dark))
    return np.asarray(found, dtype=np.float32)


def _deep_shadow(ln_rgb: Grid, hue: Grid, ground: Ground) -> Mask:
    """Where a pixel has the ground's strong colour, however dark: in an opening, under a part near the ground."""
    own = ground.ln_rgb - ground.ln_rgb.mean(axis=2, keepdims=True)
    strong = np.linalg.norm(own, axis=2)
    off = np.linalg.norm(ndimage.gaussian_filter(hue, (0.7, 0.7, 0)), axis=2)
    seen = ln_rgb.max(axis=2) > _TELLS_LN
    return np.asarray((strong > _STRONG) & (off < _SAME_COLOUR * strong) & seen)


def find_region(
    ln_rgb: Grid, ground: Ground, *, at: tuple[float, float] | None, holes: Holes, rough: Mask | None = None
) -> Region | None:
    """Return the largest part reaching into the picture's middle, or the one at the point `at`; None if there is none.

    ln_rgb : (h, w, 3), natural log of linear light; at : (x, y) as shares 0..1; holes : "keep" what shows the ground,
        "close" all, "auto": keep what has the ground's colour and a sharp edge all round; rough : (h, w), the
        part as drawn by hand.
    """
    found = evidence(ln_rgb, ground)
    lines = seams(found > 1, ground)
    found[lines] = 0
    seeds, closed = _seeds(found, ln_rgb, ground, holes)
    if rough is not None:
        seeds = seeds_about(rough, ln_rgb, seeds if ground.sd < _PLAIN_LN else None)
    region = region_between(ln_rgb, seeds, at=at, closed=closed)
    return None if region is None else replace(region, seams=lines)


def seeds_about(rough: Mask, ln_rgb: Grid, found: NDArray[np.int8] | None = None) -> NDArray[np.int8]:
    """Return seeds for `region_between` about a rough mask (h, w): well inside and outside of it, 2 % of the longer
    side from its border or half of the part's own depth.

    Between, and for openings, `found` is taken over, seeds against a plain ground; without it, what has a colour of one
    side alone is sure.
    """
    deep, away = ndimage.distance_transform_edt(rough), ndimage.distance_transform_edt(~rough)
    off = _ROUGH_SHARE * max(rough.shape)
    within = deep > min(off, float(deep.max()) / 2)
    seeds = np.where(within, 2, (away > off).astype(int)).astype(np.int8)
    band = seeds == 0
    if found is not None:
        labels, _ = ndimage.label(found != 2)
        opening = within & (found != 2) & ~np.isin(labels, np.unique(labels[~within]))
        return np.where(band | opening, found, seeds).astype(np.int8)
    likely = _likely_inside(ln_rgb, within, (away > off) & (away < _NEIGHBOURS * off))
    for seed, alike in ((2, likely > _LIKELY), (1, likely < 1 - _LIKELY)):
        seeds[band & (ndimage.distance_transform_edt(alike) > _ALIKE_PX)] = seed
    return seeds


def _likely_inside(ln_rgb: Grid, inside: Mask, outside: Mask) -> Grid:
    """How likely each pixel's colour is one of the inside (h, w), by a table of the colours of both (the idea of
    Rother, Kolmogorov and Blake 2004, doi:10.1145/1015706.1015720)."""
    bins = np.clip(((ln_rgb - _DARKEST_LN) / -_DARKEST_LN * _TONES).astype(int), 0, _TONES - 1)
    index = (bins[:, :, 0] * _TONES + bins[:, :, 1]) * _TONES + bins[:, :, 2]
    tables = []
    for side in (inside, outside):
        counts = np.bincount(index[side], minlength=_TONES**3).reshape((_TONES,) * 3) / max(1, side.sum())
        tables.append(ndimage.gaussian_filter(counts, 1.0).ravel() + 1e-6)
    share = (tables[0] / (tables[0] + tables[1]))[index]
    return np.asarray(ndimage.gaussian_filter(share.astype(np.float32), 1.0))


def region_between(
    ln_rgb: Grid, seeds: NDArray[np.int8], *, at: tuple[float, float] | None = None, closed: int = 0
) -> Region | None:
    """Return the part that a walk finds between seeds (h, w): 1 ground, 2 part, 0 unknown; as `find_region`."""
    share = walk(ln_rgb, seeds)
    meant = _meant(share > 0.5, at)
    if meant is None:
        return None
    part, rival, other = meant
    share = np.where(ndimage.binary_dilation(part, iterations=2), share, 0.0).astype(np.float32)
    rings = _rings(share)
    if not rings:
        return None
    outer, openings = rings
    return Region(outer, openings, share, closed, rival, _foreign(part, ln_rgb), _darkest(ln_rgb, openings), other)


def walk(ln_rgb: Grid, seeds: NDArray[np.int8]) -> Grid:
    """Return how probably a random walk from each pixel meets the part first, (h, w) float32 0..1.

    L. Grady, Random walks for image segmentation, IEEE PAMI 28 (2006), doi:10.1109/TPAMI.2006.233: a Laplacian whose
    weights fall with the step of log light between neighbours, solved for the unknown pixels and the sure ones that
    touch them alone.
    """
    free = ndimage.binary_dilation(seeds == 0)
    count = int(free.sum())
    ids = np.full(seeds.shape, -1)
    ids[free] = np.arange(count)
    froms, tos, weights = [], [], []
    for here, there in (
        (np.s_[:, :-1], np.s_[:, 1:]),
        (np.s_[:-1], np.s_[1:]),
    ):
        both = free[here] & free[there]
        step = ((ln_rgb[here] - ln_rgb[there])[both] ** 2).sum(axis=1)
        froms.append(ids[here][both])
        tos.append(ids[there][both])
        weights.append(np.exp(-_BETA * step) + 1e-4)
    ends = (np.concatenate(froms), np.concatenate(tos))
    between = sparse.coo_matrix((np.concatenate(weights), ends), shape=(count, count)).tocsr()
    between = between + between.T
    pin = _PIN * (seeds[free] > 0)
    total = np.asarray(between.sum(axis=1)).ravel() + pin
    part: Grid = (seeds == 2).astype(np.float32)
    share, _ = linalg.cg(
        sparse.diags(total) - between,
        pin * part[free],
        x0=part[free],
        rtol=1e-3,
        maxiter=400,
        M=sparse.diags(1 / total),
    )
    part[free] = share
    return part


def _seeds(found: Grid, ln_rgb: Grid, ground: Ground, holes: Holes) -> tuple[NDArray[np.int8], int]:
    """What is sure: 1 ground, 2 part, else 0; and how many places like the ground inside the part were closed."""
    solid = _without_specks(found > 1)
    inside = ndimage.binary_closing(solid, iterations=2) | solid
    labels, count = ndimage.label(~inside)
    around = set(np.unique(labels[ground.border])) - {0}
    closed, least = 0, _LEAST_OPENING * np.count_nonzero(inside)
    sizes = np.bincount(labels.ravel(), minlength=count + 1)
    deep = np.bincount(labels[ndimage.binary_erosion(~inside, iterations=2)], minlength=count + 1)
    for label, box in enumerate(ndimage.find_objects(labels), start=1):
        if label in around or box is None:
            continue
        spot = labels == label
        large = deep[label] > 0 and sizes[label] > _SMALLEST_SHARE * labels.size
        clear = holes == "keep" or (holes == "auto" and sizes[label] > least and _see_through(spot, ln_rgb, ground))
        if not (large and clear):
            inside |= spot
            closed += int(large)
    seeds = (ndimage.distance_transform_edt(~inside) > _AWAY_PX).astype(np.int8)
    seeds[ndimage.distance_transform_edt(inside) > _SURE_PX] = 2
    return seeds, closed


def _without_specks(found: Mask) -> Mask:
    """The mask without pieces of a few pixels: grain of the ground beside an edge would hang on it."""
    labels, _ = ndimage.label(found)
    sizes = np.bincount(labels.ravel())
    kept: Mask = (sizes >= _SPECK_PX)[labels] & found
    return kept


def _see_through(spot: Mask, ln_rgb: Grid, ground: Ground) -> bool:
    """Whether a spot like the ground in colour also has its light (a shadow's at most) and a sharp edge all round."""
    core = ndimage.binary_erosion(spot, iterations=2)
    light = (ln_rgb - ground.ln_rgb).mean(axis=2)
    if float(np.median(light[core])) > 2 * ground.sd:  # glare
        return False
    grown = ndimage.binary_dilation(spot, iterations=_SURE_PX + 3)
    ring = grown & ~spot
    rows, cols = np.nonzero(ring & ~ndimage.binary_erosion(grown))
    nearest = ndimage.distance_transform_edt(~core, return_distances=False, return_indices=True)
    inner = nearest[:, rows, cols]
    way = np.linspace(0, 1, 25)[:, None]
    lines = np.stack([inner[0] + way * (rows - inner[0]), inner[1] + way * (cols - inner[1])])
    across = np.stack([ndimage.map_coordinates(ln_rgb[:, :, k], lines, order=1) for k in range(3)], axis=2)
    length = np.hypot(rows - inner[0], cols - inner[1])
    step = np.linalg.norm(np.diff(across, axis=0), axis=2).max(axis=0) * 24 / np.maximum(length, 1)
    whole = np.linalg.norm(across - across[:1], axis=2).max(axis=0)
    return float(np.median(step / np.maximum(whole, 1e-6))) > _SHARP


def _meant(part: Mask, at: tuple[float, float] | None) -> tuple[Mask, float, tuple[float, float, float]] | None:
    """The piece of the mask that is meant: at a point, else the largest that reaches into the middle; the size of the
    next largest that could be, against it; and as `Region.other`."""
    labels, _ = ndimage.label(part)
    high, wide = part.shape
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    if at is None:
        low, top = _MIDDLE
        near = labels[int(low * high) : int(top * high) + 1, int(low * wide) : int(top * wide) + 1]
    else:
        rows, cols = np.mgrid[:high, :wide] + 0.5
        apart = np.hypot(cols - at[0] * wide, rows - at[1] * high)
        here = labels[int(min(at[1] * high, high - 1)), int(min(at[0] * wide, wide - 1))]
        near = np.array([here]) if here else labels[apart <= _NEAR_SHARE * max(high, wide)]
    candidates = np.unique(near[near > 0])
    if not len(candidates):
        return None
    best = candidates[np.argmax(sizes[candidates])]
    if sizes[best] < _LEAST_PART * labels.size:
        return None
    others = sizes[candidates[candidates != best]]
    sizes[best], own = 0, sizes[best]
    down, across = ndimage.center_of_mass(labels == int(sizes.argmax())) if sizes.any() else (0.0, 0.0)
    other = (float(sizes.max() / own), float(across) + 0.5, float(down) + 0.5)
    return labels == best, float(others.max(initial=0) / own), other


def _rings(share: Grid) -> tuple[Points, tuple[Points, ...]] | None:
    """The outer ring at share 1/2 and those of openings inside it, specks left out, from the top."""
    from skimage.measure import find_contours

    found = [line[:-1, ::-1] - 0.5 for line in find_contours(np.pad(share, 1), 0.5)]  # -1 for the frame, +1/2: centres
    shapes = [(shapely.Polygon(ring), ring) for ring in found if len(ring) >= 8]
    if not shapes:
        return None
    face, outer = max(shapes, key=lambda pair: float(pair[0].area))
    inner = [ring for shape, ring in shapes if ring is not outer and shape.area >= _SMALLEST_SHARE * face.area]
    inner = [ring for ring in inner if face.contains(shapely.Point(ring.mean(axis=0)))]
    outer, inner = _run(outer, clockwise=True), [_run(ring, clockwise=False) for ring in inner]
    return outer, tuple(sorted(inner, key=lambda ring: (float(ring[:, 1].min()), float(ring[:, 0].min()))))


def _darkest(ln_rgb: Grid, openings: tuple[Points, ...]) -> float:
    """The least median light of any opening, of its lightest channel [natural log]; 0 without one."""
    from skimage.draw import polygon

    most = ln_rgb.max(axis=2)
    inside = [polygon(ring[:, 1] - 0.5, ring[:, 0] - 0.5, most.shape) for ring in openings]
    return min((float(np.median(most[at])) for at in inside if len(at[0])), default=0.0)


def _foreign(part: Mask, ln_rgb: Grid) -> float:
    """Share of the part's rim whose colour is not the rim's own: something else touches it."""
    deep = ndimage.distance_transform_edt(np.pad(part, 1))[1:-1, 1:-1]
    rim = ln_rgb[(deep >= _RIM_PX[0]) & (deep <= _RIM_PX[1])]
    if not len(rim):
        return 0.0
    hue = rim - rim.mean(axis=1, keepdims=True)
    apart = np.linalg.norm(hue - np.median(hue, axis=0), axis=1)
    strong, light = np.linalg.norm(hue, axis=1), rim.mean(axis=1)
    glare = (strong < np.median(strong)) & (light > np.median(light))  # a lamp's white laid over the colour
    return float(np.mean((apart > max(_OTHER_HUE, 6 * float(np.median(apart)))) & ~glare))


def _run(ring: Points, *, clockwise: bool) -> Points:
    """The ring, turned round where it does not run that way as seen (y down)."""
    x, y = ring.T
    seen_clockwise = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) > 0
    return ring if seen_clockwise == clockwise else ring[::-1]
