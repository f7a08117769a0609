"""Reading a photo of a spray-out: each window's colour as linear light, evened out and balanced on the bare paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import PictureError, Problem
from layerpreview.learn.read.camera import ChartFit
from layerpreview.learn.read.frame import Box, grey_box, paper_boxes, windows
from layerpreview.surface.photo import srgb_table
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.plane import Placement

F64 = NDArray[np.float64]

PAPER_REFLECTANCE = 0.86
"""Of plain printing paper: assumed. Only ratios count, the fit learns the bare windows themselves."""
_CLIPPED_SHARE = 0.02
_SIDE_POINTS = 64
_CAST = 1.25
_BEYOND = 1.25  # times the lightest grey: from there on the curve goes straight on, unseen


@dataclass(frozen=True, eq=False)
class Patch:
    """One area read: `rgb_lin` (3,) robust mean of linear light, and which channels (3,) may be believed.

    `clipped` ones are at the top of the scale and say nothing; `buried` ones at its bottom say only "no more than".
    """

    box: Box
    rgb_lin: F64
    buried: NDArray[np.bool_]
    clipped: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class CardPhoto:
    """All windows of a photo, in linear light with the paper at its reflectance.

    `tone_power` is the exponent that was taken out of the camera's curve, `tone_known` whether a grey card gave it.
    `notes` say what was found and what it costs in trust. `chart_left_out_de00`: mean CIEDE2000 of a chart's patches,
    each told from the others; None without a chart.
    """

    windows: tuple[Patch, ...]
    placement: Placement
    tone_power: float
    tone_known: bool
    notes: tuple[str, ...]
    chart_left_out_de00: float | None = None


def read_card_photo(
    picture: PictureData,
    placement: Placement,
    *,
    grey_reflectance: float | None = None,
    chart: ChartFit | None = None,
) -> CardPhoto:
    """Read every window of the frame at `placement`.

    `grey_reflectance` [0.02..0.6]: of the grey card that lies in its place; None when there is none. `chart`: tone and
    colour learnt from a 24-patch chart in the same photo. Slow uneven light is taken out by a surface of second order
    through the bare paper. Raises PictureError when the frame is not whole in the picture or its paper is overexposed.
    """
    _check_inside(picture, placement)
    paper = [_patch(picture, placement, box) for box in paper_boxes()]
    _check_paper(picture, paper)
    even, balance = _lit(paper)
    read = [_patch(picture, placement, box.inside()) for box in windows()]
    notes = [*placement.notes, *_clip_notes(read)]
    notes += _cast_notes(balance)
    power, known = 1.0, False
    if chart is not None:
        notes += _beyond_notes(paper, chart)
        # The curve knows what was read as it was read: first straight, then even and balanced.
        paper, read = ([replace(p, rgb_lin=chart.straight(p.rgb_lin)) for p in each] for each in (paper, read))
        even, balance = _lit(paper)
        known = True
        notes.append(
            f"the chart: {chart.left_out_de00:.1f} CIEDE2000 with each patch left out ({chart.error_de00:.1f} fitted, "
            f"{chart.used} of 24 patches); tone and colour are from it"
        )
    elif picture.straight:
        known = True
    elif grey_reflectance is not None:
        grey = _patch(picture, placement, grey_box().inside(0.2))
        power = _power_of_grey(picture, grey.rgb_lin / even(grey.box) / balance, grey_reflectance)
        known = True
        notes.append(f"tone from the grey card: contrast {power:.2f} of sRGB")
    else:
        notes.append("no grey card or chart: the tone curve is guessed from the steps, so trust the strength less")
    out = []
    for patch in read:
        share = np.maximum(patch.rgb_lin / even(patch.box) / balance, 1e-6)
        light = PAPER_REFLECTANCE * share ** (1.0 / power)
        out.append(replace(patch, rgb_lin=light if chart is None else chart.colours(light)))
    if chart is not None:
        return CardPhoto(tuple(out), placement, chart.power, known, tuple(notes), chart.left_out_de00)
    return CardPhoto(tuple(out), placement, power, known, tuple(notes))


def patch_means(
    picture: PictureData,
    boxes: Sequence[tuple[float, float, float, float]],
    *,
    placement: Placement | None = None,
) -> list[Patch]:
    """Robust means of rectangles (x, y, width, height), in pixels or in what `placement` takes to pixels."""
    placed = placement or Placement(np.eye(3))
    return [_patch(picture, placed, Box("patch", i, *box).inside(0.2)) for i, box in enumerate(boxes)]


def _check_inside(picture: PictureData, placement: Placement) -> None:
    corners = placement.to_px(np.concatenate([box.corners_mm() for box in windows()]))
    size = np.array([picture.width_px, picture.height_px])
    if np.any(corners < 0) or np.any(corners > size - 1):
        rule = "part of the frame lies outside the picture"
        raise PictureError(Problem(rule, "photograph the whole frame, or check --corners", picture.file))


def _check_paper(picture: PictureData, paper: Sequence[Patch]) -> None:
    blown = float(np.mean([patch.clipped.any() for patch in paper]))
    if blown > 0.25:
        rule = f"overexposed: {100 * blown:.0f} % of the bare paper is at the top of the scale"
        raise PictureError(Problem(rule, "expose less: the paper should read about 220 of 255", picture.file))


def _patch(picture: PictureData, placement: Placement, box: Box) -> Patch:
    """Sample a box on a grid of points and average what is not far from the middle (glare, dirt)."""
    steps = (np.arange(_SIDE_POINTS) + 0.5) / _SIDE_POINTS
    x, y = box.left + steps * box.width, box.top + steps * box.height
    points = placement.to_px(np.column_stack([each.ravel() for each in np.meshgrid(x, y)]))
    col = np.clip(points[:, 0].astype(np.intp), 0, picture.width_px - 1)
    row = np.clip(points[:, 1].astype(np.intp), 0, picture.height_px - 1)
    codes = picture.pixels[row, col]
    codes = np.repeat(codes[:, None], 3, axis=1) if codes.ndim == 1 else codes
    top = np.iinfo(codes.dtype).max
    light = srgb_table(int(top) + 1)[codes].astype(np.float64)
    clipped = (codes >= top).mean(axis=0) > _CLIPPED_SHARE
    buried = (codes <= top // 85).mean(axis=0) > 0.1
    grey = light.mean(axis=1)
    middle = np.median(grey)
    spread = 1.4826 * np.median(np.abs(grey - middle)) + 1e-6
    kept = np.abs(grey - middle) < 3.0 * spread
    return Patch(box, light[kept].mean(axis=0), buried, clipped)


def _lit(paper: Sequence[Patch]) -> tuple[_Even, F64]:
    """How the light falls over the frame, and the colour (3,) that the bare paper has once that is taken out."""
    even = _evenness(paper)
    return even, np.mean([patch.rgb_lin / even(patch.box) for patch in paper], axis=0)


class _Even:
    """A slow surface of light over the frame, per channel, 1 on average."""

    def __init__(self, terms: F64) -> None:
        self._terms = terms

    def __call__(self, box: Box) -> F64:
        return np.exp(_monomials([box]) @ self._terms).ravel()


def _evenness(paper: Sequence[Patch]) -> _Even:
    """Second order in x and y through the logarithm of the bare paper; one bad piece (a shadow) is left out."""
    logs = np.log(np.maximum(np.stack([p.rgb_lin for p in paper]), 1e-4))
    terms = _monomials([p.box for p in paper])
    good = np.ones(len(paper), dtype=bool)
    for _ in range(3):
        found = np.linalg.lstsq(terms[good], logs[good], rcond=None)[0]
        away = np.abs(logs - terms @ found).max(axis=1)
        good = away <= max(3.0 * float(np.median(away[good])), 0.01)
    found[0] -= (terms @ found).mean(axis=0)
    return _Even(np.asarray(found, dtype=np.float64))


def _monomials(boxes: Sequence[Box]) -> F64:
    x, y = np.array([[box.left + box.width / 2, box.top + box.height / 2] for box in boxes]).T
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)


def _power_of_grey(picture: PictureData, share: F64, reflectance: float) -> float:
    """Contrast of the camera's curve over sRGB: log of the grey's share of the paper, over what it should be."""
    expected = np.log(reflectance / PAPER_REFLECTANCE)
    power = float(np.median(np.log(np.maximum(share, 1e-6))) / expected)
    if not 0.6 <= power <= 1.8:
        rule = f"the grey card reads {100 * float(np.median(share)):.0f} % of the paper, which no camera makes of it"
        remedy = f"lay a card of {100 * reflectance:g} % in its place, or leave --grey out"
        raise PictureError(Problem(rule, remedy, picture.file))
    return power


def _clip_notes(read: Sequence[Patch]) -> list[str]:
    names = np.array(["red", "green", "blue"])
    return [
        f"column {patch.box.column} over {patch.box.what}: {' and '.join(names[patch.clipped])} overexposed, left out"
        for patch in read
        if patch.clipped.any()
    ]


def _beyond_notes(paper: Sequence[Patch], chart: ChartFit) -> list[str]:
    if chart.curve is None:
        return []
    beyond = np.median([patch.rgb_lin for patch in paper], axis=0) / np.exp(chart.curve.log_read[:, -1])
    if beyond.max() < _BEYOND:
        return []
    return [
        "the paper is lighter than every grey of the chart that can be read, so the tone there is a guess: expose less"
    ]


def _cast_notes(balance: F64) -> list[str]:
    if balance.max() / balance.min() < _CAST:
        return []
    shown = ", ".join(f"{100 * v / balance[1]:.0f}" for v in balance)
    return [f"the light is coloured (the paper reads {shown} % of its green): balanced on the paper; name the light"]
