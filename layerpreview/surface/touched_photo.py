"""Light of what was touched in a photo: a white or grey card, found by itself round the touch, and painted spots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import PictureError, Problem
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.touched_card import SLOPE, TOO_STEEP, CardSeen, card_at
from layerpreview.surface.touched_cells import F64, LUMINANCE, Box, Cells, Flags, Touch, is_blurred

# A spot: half of its side in cells: at least, as usual, and at most until its mean is known so well (share).
_HALF_CELLS, _KNOWN_TO = (6, 16, 30), 0.02
_SAME_CELLS = 3
_OTHER, _TIMES = 0.15, 2.5  # what lies around is another thing (natural logarithm; times what the pieces differ by)
_BRIGHTER, _EDGE = 1.4, 0.4
_PIECES = 6
_FEWEST = 20
"""Cells and pixels of a photo's shorter side."""


@dataclass(frozen=True, eq=False)
class SpotSeen:
    """A touched spot: mean linear light (3,), `parts` (6, 6, 3) of it in pieces, and the share that is blown out."""

    rgb_lin: F64
    parts: F64
    box: Box
    clipped: float


@dataclass(frozen=True, eq=False)
class TouchedPhoto:
    """What was read where it was touched, and what is to be said about it in plain words."""

    card: CardSeen
    spots: tuple[SpotSeen, ...]
    notes: tuple[str, ...]


def touched_photo(picture: PictureData, *, card: Touch, spots: Sequence[Touch]) -> TouchedPhoto:
    """Read the card at the touch `card` and every one of `spots`.

    Raises PictureError, with one line of why and what to do, where this photo cannot be judged: what `card_at` raises;
    light that changes too much from card to paint; a blurred picture; a spot on the card, blown out, or at the edge.
    """
    _check_touches(picture, card, spots)
    cells = Cells(picture)
    if min(cells.rows, cells.cols, picture.width_px, picture.height_px) < _FEWEST:
        rule = f"{picture.width_px} x {picture.height_px} pixels are too few to judge by, or far longer than wide"
        raise cells.refused(rule, "take the photo as the camera makes it")
    notes = list(picture.notes)
    found, mask = card_at(cells, card, notes)
    if is_blurred(picture):
        raise cells.refused("the picture is not sharp: colours run into each other", "hold still, touch to focus")
    seen: list[SpotSeen] = []
    places: list[tuple[int, int]] = []
    for touch in spots:
        row, col = cells.cell(touch)
        if any(max(abs(row - r), abs(col - c)) <= _SAME_CELLS for r, c in places):
            notes.append("a spot was touched twice: it counts once")
            continue
        places.append((row, col))
        seen.append(_spot(cells, (row, col), mask))
    notes += _light_notes(cells, found, seen)
    return TouchedPhoto(found, tuple(seen), tuple(notes))


def _check_touches(picture: PictureData, card: Touch, spots: Sequence[Touch]) -> None:
    if not spots:
        raise PictureError(Problem("no painted spot is touched", "touch the paint, away from edges", picture.file))
    for x, y in (card, *spots):
        if not (0.0 <= x <= 1.0 and 0.0 <= y <= 1.0):
            rule = f"a touch at {x:g}, {y:g} is not in the picture"
            raise PictureError(Problem(rule, "give shares of its width and height, from 0 to 1", picture.file))


def _spot(cells: Cells, at: tuple[int, int], card: Flags) -> SpotSeen:
    """A square round a touch, as large as it takes for the texture to average out, within one and the same colour."""
    row, col = at
    if card[at]:
        raise cells.refused("card and paint were touched on the same thing", "touch the card once, then the paint")
    room = min(row, col, cells.rows - 1 - row, cells.cols - 1 - col)
    half, usual, most = _HALF_CELLS
    if room < half:
        raise cells.refused("a spot lies at the very edge of the picture", "touch further in")
    while half < min(most, room) and (half < usual or _unsure(cells, at, half) > _KNOWN_TO):
        wider = min(most, room, half + max(1, half // 4))
        if _around(card, at, wider).any() or not _alike(cells, at, half, wider):
            break
        half = wider
    rows, cols = slice(row - half, row + half + 1), slice(col - half, col + half + 1)
    light = cells.light[rows, cols]
    parts = _pieces(light, _PIECES)
    clipped = float(cells.blown[rows, cols].mean())
    if clipped > 0.2:
        rule = f"the paint is overexposed: {100 * clipped:.0f} % of a spot is at the top of the scale"
        raise cells.refused(rule, "turn the part so that no lamp is mirrored, or expose less")
    return SpotSeen(light.mean(axis=(0, 1)), parts, cells.box(rows, cols), clipped)


def _pieces(light: F64, count: int) -> F64:
    """The mean light (count, count, ...) of the pieces of a square."""
    bands = (np.array_split(band, count, axis=1) for band in np.array_split(light, count))
    return np.array([[piece.mean(axis=(0, 1)) for piece in band] for band in bands])


def _around(values: NDArray[Any], at: tuple[int, int], half: int) -> NDArray[Any]:
    row, col = at
    return values[row - half : row + half + 1, col - half : col + half + 1]


def _unsure(cells: Cells, at: tuple[int, int], half: int) -> float:
    """Standard error of the mean light of a square, as a share, by its pieces."""
    light = np.asarray(_around(cells.luminance, at, half), dtype=np.float64)
    return float(_pieces(light, 3).std() / 3.0 / max(float(light.mean()), 1e-6))


def _alike(cells: Cells, at: tuple[int, int], half: int, wider: int) -> bool:
    """Whether what lies around a square is of its own kind: four sides in tone and hue, as its own pieces differ."""
    outer = np.asarray(_around(cells.light, at, wider), dtype=np.float64)
    ring = wider - half
    inner = outer[ring:-ring, ring:-ring]
    sides = [side.mean(axis=(0, 1)) for side in (outer[:ring], outer[-ring:], outer[:, :ring], outer[:, -ring:])]
    own, pieces, around = map(_tone_and_hue, (inner.mean(axis=(0, 1)), _pieces(inner, 3), np.array(sides)))
    differ = np.sqrt(np.square(pieces - own).mean(axis=(0, 1)))
    return bool((np.abs(around - own).max(axis=0) < np.maximum(_OTHER, _TIMES * differ)).all())


def _tone_and_hue(light: F64) -> F64:
    """Natural logarithms (..., 3) of the luminance, of red over green and of blue over green."""
    logs = np.log(np.maximum(light, 1e-4))
    tone = np.log(np.maximum(light @ LUMINANCE, 1e-4))
    return np.stack([tone, logs[..., 0] - logs[..., 1], logs[..., 2] - logs[..., 1]], axis=-1)


def _light_notes(cells: Cells, card: CardSeen, spots: Sequence[SpotSeen]) -> list[str]:
    """What the fall-off over the card means for the spots, and glare on them."""
    notes = []
    reach = 4.0 * card.box[2]
    for spot in spots:
        away = np.array([spot.box[0] + spot.box[2] / 2, spot.box[1] + spot.box[3] / 2]) - np.array(card.middle)
        away *= min(1.0, reach / max(float(np.hypot(*away)), 1e-9))
        change = abs(float(card.slope @ away))
        if change > TOO_STEEP:
            rule = f"the light is uneven: it changes by {100 * (np.exp(change) - 1):.0f} % from the card to the paint"
            raise cells.refused(rule, "lay the card right beside the paint, in even light")
        if change > SLOPE:
            notes.append(f"the light changes by some {100 * (np.exp(change) - 1):.0f} % from the card to the paint")
        if float(spot.rgb_lin @ LUMINANCE) > _BRIGHTER * float(card.rgb_lin @ LUMINANCE):
            rule = "the paint is brighter than the card: it was no white card, or a lamp is mirrored in the paint"
            raise cells.refused(rule, "touch the white card, and paint that mirrors no lamp")
        if _edge_in(spot) > _EDGE:
            notes.append("an edge or a shadow runs through a spot: touch further in")
    if any(spot.clipped > 0.01 for spot in spots):
        notes.append("a little of the paint is overexposed (glints): it reads too light")
    return notes


def _edge_in(spot: SpotSeen) -> float:
    """By how much one side of a spot differs from the other (natural logarithm)."""
    light = np.log(np.maximum(spot.parts @ LUMINANCE, 1e-4))
    half = len(light) // 2
    halves = light[:half], light[half:], light[:, :half], light[:, half:]
    top, bottom, left, right = (float(part.mean()) for part in halves)
    return max(abs(top - bottom), abs(left - right))
