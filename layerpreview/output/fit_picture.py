"""Pictures of what a card taught: every window measured over fitted, the spectrum with its doubt, the card as found."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from layerpreview.colour import DISPLAY_WHITE_XYZ, WAVELENGTHS_NM, XYZ_TO_RGB_LIN, lab_to_xyz, xyz_weights
from layerpreview.learn.tell.fitted import Found, StepPair
from layerpreview.output.caption import FAINT, INK, PAPER, fitted, font, wrapped
from layerpreview.output.png import screen_srgb8
from layerpreview.output.result import U8

F64 = NDArray[np.float64]

_CELL, _GAP, _LEFT = 96, 14, 130
_PLOT_PX = 260
_RULE = (206, 204, 200)
_TEXT = 17


def fit_picture(
    pairs: Sequence[StepPair], *, best: F64, low: F64, high: F64, tested: str, title: str, notes: Sequence[str]
) -> U8:
    """Measured (upper half) against fitted (lower half) for every window; the spectrum [L/(g cm)] with its interval."""
    rows = list(dict.fromkeys((pair.card, pair.background) for pair in pairs))
    in_row = {row: [pair for pair in pairs if (pair.card, pair.background) == row] for row in rows}
    columns = max(len(of_row) for of_row in in_row.values())
    width = max(_LEFT + columns * (_CELL + _GAP) + _GAP, 900)
    small, large = font(_TEXT), font(24)
    lines = [line for note in (tested, *notes) for line in wrapped(note, small, width - 40)]
    band = _CELL + 52
    height = 60 + len(rows) * band + _PLOT_PX + 90 + 24 * len(lines)
    image = Image.new("RGB", (width, height), PAPER)
    draw = ImageDraw.Draw(image)
    draw.text((20, 16), fitted(draw, title, large, width - 40), font=large, fill=INK)
    for r, row in enumerate(rows):
        top = 60 + r * band
        card, background = row
        draw.text((20, top + 8), f"over {background}", font=small, fill=INK)
        draw.text((20, top + 34), "measured", font=small, fill=FAINT)
        draw.text((20, top + 34 + _CELL // 2), "fitted", font=small, fill=FAINT)
        draw.text((20, top + _CELL + 22), fitted(draw, card, font(15), _LEFT - 24), font=font(15), fill=FAINT)
        for c, pair in enumerate(in_row[row]):
            _pair(draw, pair, _LEFT + c * (_CELL + _GAP), top)
    _spectrum(draw, best, low, high, box=(_LEFT, 84 + len(rows) * band, width - 30, 84 + len(rows) * band + _PLOT_PX))
    for i, line in enumerate(lines):
        draw.text((20, height - 16 - 24 * (len(lines) - i)), line, font=small, fill=FAINT)
    return np.asarray(image)


def _pair(draw: ImageDraw.ImageDraw, pair: StepPair, x: int, y: int) -> None:
    half = _CELL // 2
    draw.rectangle((x, y, x + _CELL, y + half), fill=screen_colour(pair.measured_lab))
    draw.rectangle((x, y + half, x + _CELL, y + _CELL), fill=screen_colour(pair.fitted_lab))
    draw.text((x, y + _CELL + 4), pair.words, font=font(15), fill=INK)
    draw.text((x, y + _CELL + 22), f"dE00 {pair.de00:.1f}", font=font(15), fill=FAINT)


def screen_colour(lab: Sequence[float]) -> tuple[int, int, int]:
    """8-bit sRGB of an L*a*b* colour, as a screen shows it."""
    rgb = XYZ_TO_RGB_LIN @ lab_to_xyz(np.array(lab), white_xyz=DISPLAY_WHITE_XYZ)
    red, green, blue = (int(v) for v in screen_srgb8(rgb.astype(np.float32)))
    return red, green, blue


def _spectrum(draw: ImageDraw.ImageDraw, best: F64, low: F64, high: F64, *, box: tuple[int, int, int, int]) -> None:
    left, top, right, bottom = box
    most = float(min(high.max(), 2.0 * best.max())) * 1.05
    scale = np.array([(right - left) / 400.0, (bottom - top) / most])

    def at(values: F64) -> list[tuple[float, float]]:
        y = np.clip(bottom - values * scale[1], top, bottom)
        return list(zip(left + (WAVELENGTHS_NM - 380.0) * scale[0], y, strict=True))

    # The eye's own range: a strip in the colours of the wavelengths, as a guide along the axis.
    for i, nm in enumerate(WAVELENGTHS_NM[:-1]):
        x = left + (nm - 380.0) * scale[0]
        draw.rectangle((x, bottom + 1, x + 5.0 * scale[0], bottom + 8), fill=_hue(i))
    draw.polygon([*at(low), *reversed(at(high))], fill=(222, 219, 213))
    draw.line(at(best), fill=INK, width=3)
    draw.line([(left, top), (left, bottom), (right, bottom)], fill=_RULE, width=1)
    small = font(15)
    for nm in range(400, 781, 50):
        x = left + (nm - 380) * scale[0]
        draw.text((x, bottom + 12), f"{nm}", font=small, fill=FAINT, anchor="ma")
    step = _nice(most / 4)
    for k in range(1, int(most / step) + 1):
        y = bottom - k * step * scale[1]
        draw.line([(left, y), (right, y)], fill=_RULE, width=1)
        draw.text((left - 8, y), f"{k * step:g}", font=small, fill=FAINT, anchor="rm")
    draw.text(
        (left + 8, top - 20),
        "what the dye takes out: absorptivity, L/(g cm), decadic; grey: its 90 % range",
        font=small,
        fill=FAINT,
    )
    draw.text((right, bottom + 32), "wavelength, nm", font=small, fill=FAINT, anchor="ra")


def _hue(index: int) -> tuple[int, int, int]:
    weights = xyz_weights("D65")[:, index]
    rgb = XYZ_TO_RGB_LIN @ (weights * 25.0)
    red, green, blue = (int(v) for v in screen_srgb8(rgb.astype(np.float32)))
    return red, green, blue


def _nice(step: float) -> float:
    size = 10.0 ** np.floor(np.log10(step))
    return float(size * min(n for n in (1, 2, 5, 10) if n * size >= step))


def found_picture(
    pixels: NDArray[np.uint8], areas: Sequence[Found], *, notes: Sequence[str], most_px: int = 1400
) -> U8:
    """The photo with every area that was read outlined and numbered, and the notes below."""
    step = max(1, -(-max(pixels.shape[:2]) // most_px))
    small = pixels[::step, ::step]
    small = np.repeat(small[:, :, None], 3, axis=2) if small.ndim == 2 else small
    face = font(_TEXT)
    lines = [line for note in notes for line in wrapped(note, face, small.shape[1] - 40)]
    image = Image.new("RGB", (small.shape[1], small.shape[0] + 24 * len(lines) + 24), PAPER)
    image.paste(Image.fromarray(np.ascontiguousarray(small)), (0, 0))
    draw = ImageDraw.Draw(image)
    for area in areas:
        corners = [(float(x) / step, float(y) / step) for x, y in area.corners_px]
        for colour, thick in (((255, 255, 255), 5), ((190, 30, 30) if area.left_out else INK, 2)):
            draw.line([*corners, corners[0]], fill=colour, width=thick)
        if area.left_out:
            draw.line([corners[0], corners[2]], fill=(190, 30, 30), width=2)
        x, y = corners[0]
        draw.text((x + 4, y + 3), area.words, font=face, fill=INK, stroke_width=3, stroke_fill=(255, 255, 255))
    for i, line in enumerate(lines):
        draw.text((20, small.shape[0] + 12 + 24 * i), line, font=face, fill=INK)
    return np.asarray(image)
