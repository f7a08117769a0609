"""A white or grey card in a photo, found by itself round a touch: its light, and how that falls off over it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from layerpreview.surface.touched_cells import F64, LUMINANCE, Box, Cells, Flags, Touch

# How far (natural logarithm) a card may go from the touch, in all, from cell to cell, and in hue.
_WITHIN, _STEP, _HUE = 0.30, 0.06, 0.10
_NEAR_CELLS, _ONE_WHITE = 10, 0.03
_EDGE_CELLS = 2  # left out along its edge, where it mixes with what is beside it
_LEAST_CELLS = 60
_CLIPPED_SHARE = 0.02
_DARK = 0.03
_CAST, _COLOURED = 1.25, 2.2  # largest over smallest of R, G, B: noted, and no longer a white or grey card
SLOPE, TOO_STEEP = 0.08, 0.30
"""Changes of light (natural logarithm) that are told, and that no reading is trusted with: assumed."""
_ROUGH = 0.05


@dataclass(frozen=True, eq=False)
class CardSeen:
    """The card: its mean linear light (3,), the largest square `box` that lies on it, its `share` of the picture.

    `across`: by how much the light changes from one side to the other (natural logarithm); `slope` (2,): its change per
    width and per height of the picture, `middle` where the card is.
    """

    rgb_lin: F64
    box: Box
    share: float
    across: float
    slope: F64
    middle: Touch


def card_at(cells: Cells, touch: Touch, notes: list[str]) -> tuple[CardSeen, Flags]:
    """The card round a touch, and all of it with its edge (rows, cols); what is to be said of it goes to `notes`.

    Raises PictureError where it is blown out, too dark, coloured, rough, too small, or the light falls off too much.
    """
    row, col = cells.cell(touch)
    near = slice(max(0, row - 2), row + 3), slice(max(0, col - 2), col + 3)
    if float(cells.blown[near].mean()) > 0.5:
        raise cells.refused("the card is overexposed: its true brightness is lost", "expose less, or use a grey card")
    mask = _grown(cells, (row, col), near)
    inside = ndimage.binary_erosion(mask, iterations=_EDGE_CELLS, border_value=0)
    if int(inside.sum()) < _LEAST_CELLS:
        _tell_small(cells, near)
    blown = float(cells.blown[inside].mean())
    if blown > _CLIPPED_SHARE:
        rule = f"the card is overexposed: {100 * blown:.0f} % of it is at the top of the scale"
        raise cells.refused(rule, "expose less, or use a grey card")
    rgb = cells.light[inside].mean(axis=0)
    _check_colour(cells, rgb, notes)
    across, slope, rough = _plane(cells, inside)
    if rough > _ROUGH:
        raise cells.refused(
            "what was touched is no even card: it is textured or written on", "touch a bare place of it"
        )
    if across > TOO_STEEP:
        rule = f"the light is uneven: one side of the card has {100 * (np.exp(across) - 1):.0f} % more than the other"
        raise cells.refused(rule, "photograph in even light: shade, no lamp near it, no shadow of yours")
    if across > SLOPE:
        notes.append(f"the light falls off over the card by {100 * (np.exp(across) - 1):.0f} %: trust it less")
    rows, cols = np.nonzero(inside)
    middle = float((cols.mean() + 0.5) / cells.cols), float((rows.mean() + 0.5) / cells.rows)
    return CardSeen(rgb, _square_in(cells, inside), float(mask.mean()), across, slope, middle), mask


def _grown(cells: Cells, at: tuple[int, int], near: tuple[slice, slice]) -> Flags:
    """All cells that hang together with the touch and are like it: its light, but for a slow fall-off, and its hue."""
    logs = np.log(np.maximum(cells.light, 1e-4))
    tone = ndimage.gaussian_filter(np.log(np.maximum(cells.luminance, 1e-4)), 0.7)
    hue = ndimage.gaussian_filter(logs[..., [0, 2]] - logs[..., [1]], (0.7, 0.7, 0.0))
    like = np.abs(tone - np.median(tone[near])) < _WITHIN
    like &= np.abs(hue - np.median(hue[near], axis=(0, 1))).max(axis=2) < _HUE
    like &= np.hypot(*np.gradient(tone)) < _STEP
    labels, _ = ndimage.label(like)
    there = labels[near][labels[near] > 0]
    if not there.size:
        return np.zeros_like(like)
    return _of_one_white(tone, labels == (labels[at] or np.bincount(there).argmax()), at)


def _of_one_white(tone: F64, whole: Flags, at: tuple[int, int]) -> Flags:
    """What of all that hangs together is as light as what is near the touch: a card may lie on another white thing.

    The light near the touch is carried on as a plane; the further away, the less that is trusted.
    """
    rows, cols = np.indices(tone.shape) - np.array(at).reshape(2, 1, 1)
    away = np.maximum(np.abs(rows), np.abs(cols))
    near = whole & (away <= _NEAR_CELLS)
    terms = np.stack([np.ones_like(tone), cols, rows], axis=-1)
    plane = terms @ np.linalg.lstsq(terms[near], tone[near], rcond=None)[0]
    labels, _ = ndimage.label(whole & (np.abs(tone - plane) < _ONE_WHITE + 0.5 * np.abs(plane - plane[at])))
    if not labels[at]:
        return whole
    return np.asarray(labels == labels[at])


def _tell_small(cells: Cells, near: tuple[slice, slice]) -> None:
    rgb = cells.light[near].mean(axis=(0, 1))
    _check_colour(cells, rgb, [])
    raise cells.refused(
        "the card is too small here, or what was touched is no even card",
        "touch its middle; come nearer, or lay a larger one",
    )


def _check_colour(cells: Cells, rgb: F64, notes: list[str]) -> None:
    if float(rgb @ LUMINANCE) < _DARK:
        raise cells.refused("the card is too dark to judge by", "bring it into the light, or expose more")
    cast = float(rgb.max() / max(rgb.min(), 1e-6))
    if cast > _COLOURED:
        raise cells.refused("what was touched is coloured, no white or grey card", "touch the white or grey card")
    if cast > _CAST:
        shown = ", ".join(f"{100 * value / rgb[1]:.0f}" for value in rgb)
        notes.append(
            f"the light is coloured (the card reads {shown} % of its green): balanced on the card; name the light"
        )


def _plane(cells: Cells, inside: Flags) -> tuple[float, F64, float]:
    """How the light changes over a card: from end to end, per width and height of the picture, and what is left."""
    rows, cols = np.nonzero(inside)
    tone = np.log(np.maximum(cells.luminance[inside], 1e-4))
    terms = np.column_stack([np.ones(rows.size), cols / cells.cols, rows / cells.rows])
    found = np.linalg.lstsq(terms, tone, rcond=None)[0]
    fitted = terms @ found
    low, high = np.percentile(fitted, [2, 98])
    return float(high - low), np.asarray(found[1:]), float((tone - fitted).std())


def _square_in(cells: Cells, inside: Flags) -> Box:
    """The largest square of cells that lies on the card."""
    padded = np.pad(inside, 1)
    depth = ndimage.distance_transform_cdt(padded, metric="chessboard")[1:-1, 1:-1]
    row, col = np.unravel_index(int(np.argmax(depth)), depth.shape)
    half = int(depth[row, col]) - 1
    return cells.box(slice(int(row) - half, int(row) + half + 1), slice(int(col) - half, int(col) + half + 1))
