"""Charts as small pictures: the colours that can be reached, maps of a face, bars. Words and units on all of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from layerpreview.colour import DISPLAY_WHITE_XYZ, XYZ_TO_RGB_LIN, lab_to_xyz
from layerpreview.output.caption import FAINT, INK, PAPER, font, wrapped
from layerpreview.output.png import screen_srgb8

F64 = NDArray[np.float64]
F32 = NDArray[np.float32]
U8 = NDArray[np.uint8]

RULE, BLANK = (206, 204, 200), (233, 231, 228)
THIN_RGB, EVEN_RGB, THICK_RGB = np.array([[0.10, 0.30, 0.62], [0.96, 0.96, 0.95], [0.72, 0.28, 0.05]])
TEXT_PX, PLOT_PX = 15, 420
CELL = 2.0
SLAB_L, SECTOR_DEG = 5.0, 12.0


def reach_chart(cloud_lab: F64, *, wanted: F64, nearest: F64, title: str, notes: Sequence[str]) -> U8:
    """Two cuts through the colours that can be reached: at the wanted lightness, and at the wanted hue.

    `cloud_lab` (N, 3) many reachable colours; `wanted`, `nearest` (3,) L*a*b*.
    """
    hue = float(np.degrees(np.arctan2(wanted[2], wanted[1])))
    turn = (np.degrees(np.arctan2(cloud_lab[:, 2], cloud_lab[:, 1])) - hue + 180.0) % 360.0 - 180.0
    chroma = np.hypot(cloud_lab[:, 1], cloud_lab[:, 2])
    slab = cloud_lab[np.abs(cloud_lab[:, 0] - wanted[0]) < SLAB_L]
    # Near grey every hue is close by: there the sector is as wide as the slab is thick.
    sector = np.stack([chroma, cloud_lab[:, 0]], axis=1)[(np.abs(turn) < SECTOR_DEG) | (chroma < SLAB_L)]
    far = 20.0 * float(np.ceil((max(np.abs(cloud_lab[:, 1:]).max(), np.abs(wanted[1:]).max()) + 4.0) / 20.0))
    cosine, sine = np.cos(np.radians(hue)), np.sin(np.radians(hue))
    left = _cut(
        slab[:, 1:],
        (-far, far),
        (-far, far),
        partial(_level, float(wanted[0])),
        {"wanted": (wanted[1], wanted[2]), "nearest": (nearest[1], nearest[2])},
        (f"At lightness L* {wanted[0]:.0f} (within {SLAB_L:g})", "a*: green to red", "b*: blue to yellow"),
    )
    right = _cut(
        sector,
        (0.0, far),
        (0.0, 100.0),
        lambda x, y: np.stack([y, x * cosine, x * sine], axis=-1),
        {
            "wanted": (float(np.hypot(*wanted[1:])), wanted[0]),
            "nearest": (float(np.hypot(*nearest[1:])), nearest[0]),
        },
        (
            f"At the wanted hue ({hue % 360.0:.0f} deg, within {SECTOR_DEG:g})",
            "C*: grey to colourful",
            "L*: dark to light",
        ),
    )
    return _framed([left, right], title=title, notes=notes)


def atlas_chart(lab: F64, *, title: str, notes: Sequence[str]) -> U8:
    """Three cuts through the colours `lab` (N, 3): a dark, a middle and a light one."""
    far = 20.0 * float(np.ceil((np.abs(lab[:, 1:]).max() + 4.0) / 20.0))
    cuts = []
    for light in (25.0, 45.0, 65.0):
        slab = lab[np.abs(lab[:, 0] - light) < SLAB_L]
        words = (f"At lightness L* {light:.0f} (within {SLAB_L:g})", "a*: green to red", "b*: blue to yellow")
        cuts.append(_cut(slab[:, 1:], (-far, far), (-far, far), partial(_level, light), {}, words))
    return _framed(cuts, title=title, notes=notes)


def _level(light: float, x: F64, y: F64) -> F64:
    """L*a*b* at one lightness."""
    return np.stack([np.full_like(x, light), x, y], axis=-1)


def _cut(
    points: F64,
    x: tuple[float, float],
    y: tuple[float, float],
    lab_at: Callable[[F64, F64], F64],
    spots: Mapping[str, tuple[float, float]],
    words: tuple[str, str, str],
) -> Image.Image:
    """One cut: each cell that a recipe falls in is painted in its own colour, the spots are marked and named."""
    size = [max(1, round((end - start) / CELL)) for start, end in (x, y)]
    hit, _, _ = np.histogram2d(points[:, 1], points[:, 0], bins=size[::-1], range=[y, x])
    filled = _closed(_closed(hit > 0))[::-1]
    xs, ys = np.meshgrid(_middles(x, size[0]), _middles(y, size[1])[::-1])
    rgb = lab_to_xyz(lab_at(xs, ys), white_xyz=DISPLAY_WHITE_XYZ) @ XYZ_TO_RGB_LIN.T
    pixels = np.where(filled[..., None], screen_srgb8(rgb.astype(np.float32)), np.array(BLANK, dtype=np.uint8))
    field = Image.fromarray(pixels).resize((PLOT_PX, PLOT_PX), Image.Resampling.NEAREST)
    head, x_name, y_name = words
    left, top = 62, 66
    image = Image.new("RGB", (left + PLOT_PX + 24, top + PLOT_PX + 60), PAPER)
    image.paste(field, (left, top))
    draw, face = ImageDraw.Draw(image), font(TEXT_PX)
    draw.text((left, 8), head, font=font(TEXT_PX + 1), fill=INK)
    draw.text((left - 50, top - 26), y_name, font=face, fill=FAINT)
    draw.text((left + PLOT_PX, top + PLOT_PX + 32), x_name, font=face, fill=FAINT, anchor="ra")

    def at(px: float, py: float) -> tuple[float, float]:
        return (left + (px - x[0]) / (x[1] - x[0]) * PLOT_PX, top + (y[1] - py) / (y[1] - y[0]) * PLOT_PX)

    for tick in np.arange(x[0], x[1] + 1.0, 20.0 if x[1] - x[0] <= 160.0 else 40.0):
        draw.text((at(tick, 0)[0], top + PLOT_PX + 8), f"{tick:.0f}", font=face, fill=FAINT, anchor="ma")
    for tick in np.arange(y[0], y[1] + 1.0, 20.0 if y[1] - y[0] <= 160.0 else 40.0):
        draw.text((left - 8, at(0, tick)[1]), f"{tick:.0f}", font=face, fill=FAINT, anchor="rm")
    draw.rectangle((left, top, left + PLOT_PX, top + PLOT_PX), outline=RULE)
    for name, spot in spots.items():
        _marked(draw, at(*spot), name)
    return image


def _marked(draw: ImageDraw.ImageDraw, place: tuple[float, float], name: str) -> None:
    """A ring for what is wanted, a cross for what is nearest, both seen on light and dark."""
    px, py = place
    for colour, width in (((255, 255, 255), 6), ((20, 20, 20), 2)):
        if name == "wanted":
            draw.ellipse((px - 9, py - 9, px + 9, py + 9), outline=colour, width=width)
        else:
            draw.line((px - 8, py - 8, px + 8, py + 8), fill=colour, width=width)
            draw.line((px - 8, py + 8, px + 8, py - 8), fill=colour, width=width)
    above = name == "wanted"
    draw.text(
        (px + 13, py - 9 if above else py + 9),
        name,
        font=font(TEXT_PX),
        fill=(20, 20, 20),
        stroke_width=3,
        stroke_fill=(255, 255, 255),
        anchor="ls" if above else "lt",
    )


def _middles(ends: tuple[float, float], count: int) -> F64:
    return np.asarray(ends[0] + (np.arange(count) + 0.5) * (ends[1] - ends[0]) / count)


def _closed(hit: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Cells that were hit, and those between them that chance left out."""
    near = np.pad(hit, 1).astype(int)
    around = sum(
        near[1 + i : near.shape[0] - 1 + i, 1 + j : near.shape[1] - 1 + j] for i in (-1, 0, 1) for j in (-1, 0, 1)
    )
    return np.asarray(hit | (around >= 4))


def map_tile(values: F32, cover: F32, *, low: float, high: float) -> U8:
    """A face's map (rows, cols) as a tile: from blue at `low` over white midway to brown at `high`, ground outside."""
    share = np.clip((values - low) / (high - low), 0.0, 1.0)[..., None]
    rgb = np.where(
        share < 0.5,
        THIN_RGB + (EVEN_RGB - THIN_RGB) * 2.0 * share,
        EVEN_RGB + (THICK_RGB - EVEN_RGB) * (2.0 * share - 1.0),
    )
    inside = cover[..., None]
    ground = np.array(BLANK) / 255.0
    return np.asarray(np.rint(255.0 * (inside * rgb + (1.0 - inside) * ground)), dtype=np.uint8)


def map_legend(*, width_px: int, low: str, middle: str, high: str, one_sided: bool = False) -> U8:
    """The scale of `map_tile` as a bar with its ends and middle in words; `one_sided` only its upper half."""
    long = width_px - 24
    steps = np.linspace(0.5 if one_sided else 0.0, 1.0, long, dtype=np.float32)[None, :].repeat(14, axis=0)
    image = Image.new("RGB", (width_px, 52), PAPER)
    image.paste(Image.fromarray(map_tile(steps, np.ones_like(steps), low=0.0, high=1.0)), (12, 6))
    draw, face = ImageDraw.Draw(image), font(TEXT_PX)
    for x, text, anchor in ((12, low, "la"), (width_px // 2, middle, "ma"), (width_px - 12, high, "ra")):
        draw.text((x, 26), text, font=face, fill=INK, anchor=anchor)
    return np.asarray(image)


def bar_chart(bars: Sequence[tuple[str, float, str]], *, title: str, notes: Sequence[str]) -> U8:
    """Horizontal bars: (name, length 0..1, words behind it)."""
    face = font(TEXT_PX)
    name_px = round(max(face.getlength(name) for name, _, _ in bars)) + 16
    leading, most = 30, 300
    right = max(most * length + face.getlength(words) for _, length, words in bars)
    image = Image.new("RGB", (name_px + round(right) + 24, leading * len(bars) + 12), PAPER)
    draw = ImageDraw.Draw(image)
    for i, (name, length, words) in enumerate(bars):
        y = 6 + i * leading
        draw.text((0, y + 2), name, font=face, fill=INK)
        draw.rectangle((name_px, y + 2, name_px + max(1.0, most * length), y + 18), fill=(86, 110, 140))
        draw.text((name_px + most * length + 10, y + 2), words, font=face, fill=INK)
    return _framed([image], title=title, notes=notes)


def _framed(parts: Sequence[Image.Image], *, title: str, notes: Sequence[str]) -> U8:
    """Charts side by side under a title and over notes."""
    pad = 14
    width = max(sum(part.width for part in parts) + 2 * pad, 560)
    large, small = font(TEXT_PX + 4), font(TEXT_PX)
    titles = wrapped(title, large, width - 2 * pad)
    lines = [line for note in notes for line in wrapped(note, small, width - 2 * pad)]
    top = pad + 26 * len(titles) + 8
    tall = max(part.height for part in parts)
    image = Image.new("RGB", (width, top + tall + 21 * len(lines) + pad), PAPER)
    draw = ImageDraw.Draw(image)
    for i, line in enumerate(titles):
        draw.text((pad, pad + 26 * i), line, font=large, fill=INK)
    x = pad
    for part in parts:
        image.paste(part, (x, top))
        x += part.width
    for i, line in enumerate(lines):
        draw.text((pad, top + tall + 21 * i), line, font=small, fill=FAINT)
    return np.asarray(image)
