"""What a photo shows that is not the base: the white card, and spots where a lamp's image hides the texture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from layerpreview.surface.photo import Photo, cell_starts, light_in_cells

_CELLS = 256  # along the longer side
_CARD_AS_BRIGHT = 0.15  # how far a card's own light may stray from its patch: assumed
_CARD_SHARE = 0.25  # of the picture; what is larger is no card
_CARD_COMPACT = 0.8
_BLOWN_LIGHT = 0.94  # linear light: 248 of 255
_BLOWN_SHARE = 0.6
_SPOT_CELLS = 3  # a blown-out spot narrower than twice this is a facet or a flake
_BRIGHTER_LN = np.log(1.4)
_RIM_CELLS = 3
_HAZE = 0.5  # how far a spot's haze reaches, in radii of the spot: assumed
_MOST_OF_PHOTO = 0.4  # where more than this is blown out, there is not enough left to fill it from


def without_card(photo: Photo, patch_px: tuple[int, int, int, int]) -> Photo:
    """Return `photo` with the card around `patch_px` (x, y, width, height) marked as no part of the base.

    The card is what is as bright as the patch and hangs together with it, where that is compact; else the patch and
    four tenths of its size around it.
    """
    light = light_in_cells(photo, _CELLS)
    x, y, wide, high = patch_px
    there = np.zeros(light.shape[:2], np.bool_)
    there[_box(photo, x, y, wide, high)] = True
    own = light[there].mean(axis=0)
    alike = (np.abs(light / np.maximum(own, 1e-6) - 1.0) < _CARD_AS_BRIGHT).all(axis=2)
    labels, _ = ndimage.label(ndimage.binary_opening(alike, iterations=2) | there)
    card = ndimage.binary_fill_holes(np.isin(labels, np.unique(labels[there])))
    if card.mean() > _CARD_SHARE or not _compact(card):
        card = np.zeros_like(there)
        more_x, more_y = int(0.4 * wide), int(0.4 * high)
        card[_box(photo, x - more_x, y - more_y, wide + 2 * more_x, high + 2 * more_y)] = True
    return _marked(photo, card)


def without_glare(photo: Photo) -> Photo:
    """Return `photo` with its blown-out spots, and what is near and far brighter than the rest, marked as holes.

    Light is taken as evened out; what is marked already is left out. A photo that is blown out over four tenths of
    what is left stays as it is.
    """
    light = light_in_cells(photo, _CELLS, evened=True)
    raw = light_in_cells(replace(photo, even=None), _CELLS, blown_above=_BLOWN_LIGHT)
    known = _known_cells(photo, light.shape[:2])
    blown = (ndimage.uniform_filter(raw.min(axis=2), 3) > _BLOWN_SHARE) & known
    disc = np.hypot(*np.mgrid[-_SPOT_CELLS : _SPOT_CELLS + 1, -_SPOT_CELLS : _SPOT_CELLS + 1]) <= _SPOT_CELLS + 0.5
    seeds = ndimage.binary_opening(blown, disc)
    most = _MOST_OF_PHOTO * np.count_nonzero(known)
    if not seeds.any() or np.count_nonzero(seeds) > most:
        return photo
    weight = np.maximum(ndimage.gaussian_filter(known.astype(np.float64), 2.0), 1e-9)
    log_light = ndimage.gaussian_filter(np.log(np.maximum(light.mean(axis=2), 1e-4)) * known, 2.0) / weight
    rest = log_light[~seeds & known]
    usual = float(np.median(rest))
    spread = 1.4826 * float(np.median(np.abs(rest - usual)))
    near = (log_light > usual + max(2.5 * spread, _BRIGHTER_LN)) & known
    labels, _ = ndimage.label(near | seeds)
    glare = np.zeros_like(seeds)
    for label in np.unique(labels[seeds]):
        spot = labels == label
        haze = _HAZE * float(np.sqrt(spot.sum() / np.pi))
        glare |= ndimage.distance_transform_edt(~spot) <= haze
    return photo if np.count_nonzero(glare & known) > most else _marked(photo, glare)


def _known_cells(photo: Photo, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Cells that are the base for the most part."""
    if photo.holes is None:
        return np.ones(shape[:2], np.bool_)
    rows, cols = cell_starts(photo, _CELLS)
    holes = np.add.reduceat(np.add.reduceat(photo.holes, rows[:-1], axis=0, dtype=np.int32), cols[:-1], axis=1)
    return np.asarray(holes < 0.5 * np.outer(np.diff(rows), np.diff(cols)))


def _box(photo: Photo, x: int, y: int, wide: int, high: int) -> tuple[slice, slice]:
    """The cells that a box of pixels touches."""
    rows, cols = (
        slice(max(0, int(np.searchsorted(starts, first, "right")) - 1), int(np.searchsorted(starts, first + length)))
        for starts, first, length in zip(cell_starts(photo, _CELLS), (y, x), (high, wide), strict=True)
    )
    return rows, cols


def _compact(card: NDArray[np.bool_]) -> bool:
    from skimage.morphology import convex_hull_image

    return float(card.sum()) >= _CARD_COMPACT * float(np.asarray(convex_hull_image(card)).sum())


def _marked(photo: Photo, cells: NDArray[np.bool_]) -> Photo:
    """A rim goes with the spot: shadow beside a card, haze around glare."""
    cells = ndimage.binary_dilation(cells, iterations=_RIM_CELLS)
    rows, cols = (np.diff(starts) for starts in cell_starts(photo, _CELLS))
    holes = np.repeat(np.repeat(cells, rows, axis=0), cols, axis=1)
    return replace(photo, holes=holes if photo.holes is None else photo.holes | holes)
