"""What a card taught as files: the dye file, pictures of the fit, of the spectrum with its doubt and of the card as
it was found, figures and words.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from layerpreview.colour import DISPLAY_WHITE_XYZ, WAVELENGTHS_NM, XYZ_TO_RGB_LIN, lab_to_xyz, visibility, xyz_weights
from layerpreview.learn.tell.fitted import Fitted, Found, StepPair
from layerpreview.learn.tell.next_step import ENOUGH_DE00, LITTLE_DE00, NextWindow
from layerpreview.output.caption import FAINT, INK, PAPER, fitted, font, wrapped
from layerpreview.output.changed_words import compared_document, compared_words
from layerpreview.output.files import file_stem, write_text
from layerpreview.output.pictures import write_picture
from layerpreview.output.png import screen_srgb8
from layerpreview.output.result import U8, Paths, Result
from layerpreview.scheme.dyefile import GUESS_BEYOND, dye_file_text

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


EVERY = slice(None, None, 2)
"""Dye files hold every second grid wavelength: 10 nm."""
_LEAST_ROOT = 0.001  # of the logarithm: a thousandth


def fit_names(name: str, *, photo: bool) -> tuple[str, ...]:
    """The files of a dye called `name`: itself, its picture, its figures, and the photo as it was read."""
    stem = file_stem(name, otherwise="dye")
    names = (f"{stem}.dye.toml", f"{stem}_fit.png", f"{stem}_fit.json")
    return (*names, f"{stem}_found.png") if photo else names


def fit_result(fitted: Fitted, *, inputs: tuple[Path, ...]) -> Result[Fitted]:
    """What was learnt with its ways out; the table has a row for every window of the card."""
    names = fit_names(fitted.name, photo=fitted.found is not None)

    def picture() -> U8:
        return picture_of(fitted)

    def write(paths: Paths) -> None:
        write_text(paths[names[0]], dye_file_of(fitted))
        write_picture(picture(), paths[names[1]])
        if fitted.found is not None:
            found = fitted.found
            drawn = found_picture(found.pixels, found.areas, notes=found.notes or ("nothing odd",))
            write_picture(drawn, paths[names[3]])

    mean = fitted.mean_de00
    return Result(
        found=fitted,
        line=f"Fit {fitted.name}, {len(fitted.builds)} steps, {mean:.1f} dE00, to {fitted.tested_to_mg_m2:.0f} mg/m2",
        document=lambda folder: document_of(fitted, names, folder),
        rows=lambda: [row_of(pair) for pair in fitted.steps],
        text=lambda: fitted_text(fitted),
        names=names,
        write=write,
        json_name=names[2],
        picture=picture,
        inputs=inputs,
    )


def document_of(fitted: Fitted, names: tuple[str, ...], folder: Path | None) -> dict[str, object]:
    """What JSON says of a dye; `names` of its files, which stand in `folder`."""
    where = {} if folder is None else {"folder": folder, "files": names, "dye_file": folder / names[0]}
    told = ("steps", "builds", "misfit", "ambiguous", "flake_spread", "load_per_coat_mg_m2")
    tested = ("tested_from_mg_m2", "tested_to_mg_m2")
    figures = {key: getattr(fitted, key) for key in (*told, *tested, "mirror_share", "notes", "next_windows")}
    # The name and shape that next windows had before their background was chosen, too.
    steps = [
        {"load": best.window.load, "doubt_before": best.doubt_before_de00, "doubt_after": best.doubt_after_de00}
        for best in fitted.next_windows
    ]
    chart = {} if fitted.found is None else {"chart_left_out_de00": fitted.found.chart_left_out_de00}
    return {
        "name": fitted.name,
        **where,
        **figures,
        "next_steps": steps,
        "spectrum": _spectrum_told(fitted),
        **chart,
        **compared_document(fitted),
    }


def _spectrum_told(fitted: Fitted) -> dict[str, object]:
    """Absorptivities [L/(g cm)] with their 90 % range, and the covariance of their natural logarithm."""
    doubt = fitted.fit.roots(fitted.fit.lightest_load)[EVERY]
    return {
        "wavelength_nm": WAVELENGTHS_NM[EVERY],
        "absorptivity_L_per_g_cm": fitted.absorptivity[EVERY],
        "low_L_per_g_cm": fitted.low[EVERY],
        "high_L_per_g_cm": fitted.high[EVERY],
        "covariance_of_ln": doubt @ doubt.T,
    }


def row_of(pair: StepPair) -> dict[str, object]:
    """One window as a row of the table."""
    measured = {f"{axis}_measured": value for axis, value in zip("Lab", pair.measured_lab, strict=True)}
    fitted = {f"{axis}_fitted": value for axis, value in zip("Lab", pair.fitted_lab, strict=True)}
    where = {"card": pair.card} if pair.card else {}
    return {**where, "background": pair.background, "window": pair.words, **measured, **fitted, "de00": pair.de00}


def dye_file_of(fitted: Fitted) -> str:
    """The text of its dye file."""
    return dye_file_text(
        name=fitted.name,
        kind="fitted",
        provenance=fitted.rests_on,
        concentrate_g_per_L=fitted.concentrate_g_per_L,
        wavelength_nm=WAVELENGTHS_NM[EVERY].tolist(),
        best=fitted.absorptivity[EVERY].tolist(),
        interval=(fitted.low[EVERY].tolist(), fitted.high[EVERY].tolist()),
        tested_mg_m2=(fitted.tested_from_mg_m2, fitted.tested_to_mg_m2),
        doubt_of_log=_roots(fitted.fit.doubt[EVERY]).tolist(),
        remarks=fitted.notes,
    )


def _roots(doubt: F64) -> F64:
    """The same covariance by as few roots as it has; those far below any doubt of a colour are dropped."""
    left, size, _ = np.linalg.svd(doubt, full_matrices=False)
    kept = size > _LEAST_ROOT
    return np.asarray(left[:, kept] * size[kept])


def picture_of(fitted: Fitted) -> U8:
    """Its picture: every window, the spectrum with its doubt, and what is to be said."""
    return fit_picture(
        fitted.steps,
        best=fitted.absorptivity,
        low=fitted.low,
        high=fitted.high,
        tested=f"{tested_words(fitted).capitalize()}.",
        title=f"{fitted.name}: measured above, fitted below",
        notes=(
            "dE00: CIEDE2000 between the two halves; below 0.8 at most half of us see a difference.",
            *fitted.notes,
            *(f"next best window: {best.window.words}" for best in worthwhile(fitted)),
        ),
    )


def tested_words(fitted: Fitted) -> str:
    """Between which loads the card tells, and where guessing begins."""
    low, high = fitted.tested_from_mg_m2, fitted.tested_to_mg_m2
    guess = f"below {low / GUESS_BEYOND:.3g} and beyond {GUESS_BEYOND * high:.3g} it is a guess"
    coats = f"{low / fitted.load_per_coat_mg_m2:.3g} to {fitted.heaviest_coats:.3g} coats of this mix"
    return f"tested from {low:.3g} to {high:.3g} mg/m2 of pure dye ({coats}); {guess}"


def fitted_text(fitted: Fitted) -> str:
    """What to show a person: misfit of each step, builds, how far to trust it, what to spray next."""
    lines = [
        *fitted_words(fitted),
        "  coats' worth on each step as it really came out (90 % range):",
    ]
    for step, (low, likely, high) in fitted.builds.items():
        lines.append(f"    step {step}: {likely:.2f} ({low:.2f} to {high:.2f})")
    lines += compared_words(fitted)
    lines += [f"  note: {note}" for note in fitted.notes]
    return "\n".join([*lines, *next_words(fitted), ""])


def fitted_words(fitted: Fitted) -> list[str]:
    """How near the fit comes to what was read, and between which loads it was tested; a line each."""
    worst, mean = fitted.worst, fitted.mean_de00
    of_card = f" of {worst.card}" if worst.card else ""
    return [
        f"{fitted.name}: {len(fitted.builds)} steps, fitted to {mean:.1f} CIEDE2000 on average ({visibility(mean)})",
        f"  worst: {worst.words} over {worst.background}{of_card}, {worst.de00:.1f} ({visibility(worst.de00)})",
        f"  {tested_words(fitted)}",
    ]


def next_words(fitted: Fitted) -> list[str]:
    """The windows of a next card and what they would narrow, or that none is needed; a line each."""
    lines = [
        f"  next best window: {best.window.words} "
        f"(doubt of colours {best.doubt_before_de00:.2f} -> {best.doubt_after_de00:.2f} CIEDE2000)"
        for best in worthwhile(fitted)
    ]
    doubt = fitted.next_windows[0].doubt_before_de00
    if doubt > LITTLE_DE00:
        lines.insert(
            0, f"  look again: this tells next to nothing of the dye, its colours stay open by {doubt:.0f} CIEDE2000"
        )
    return lines or [f"  no further card is needed: it could narrow {doubt:.2f} CIEDE2000, less than anyone sees"]


def worthwhile(fitted: Fitted) -> tuple[NextWindow, ...]:
    """The next windows, where there is doubt enough to be worth a card."""
    doubtful = fitted.next_windows[0].doubt_before_de00 >= ENOUGH_DE00
    return fitted.next_windows if doubtful else ()


def next_columns(fitted: Fitted) -> str:
    """The columns of a card with a bare one and the next windows, as `card --coats` reads them; "" for no card."""
    windows = sorted((best.window for best in worthwhile(fitted)), key=lambda window: window.load)
    return ",".join(["0", *(window.typed for window in windows)]) if windows else ""
