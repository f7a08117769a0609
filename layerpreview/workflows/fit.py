"""Learn a dye from a spray-out: the frame to print; readings or a photo in, a dye file and pictures of what was found
out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import LIGHT_NAMES
from layerpreview.errors import InputError, Problem
from layerpreview.learn.card import (
    GEOMETRIES,
    Asked,
    CardFound,
    CardSetting,
    Fitted,
    Found,
    card_of_photo,
    card_of_readings,
    fitted_of,
)
from layerpreview.learn.chart import COLUMNS as CHART_COLUMNS
from layerpreview.learn.chart import ROWS as CHART_ROWS
from layerpreview.learn.chart import chart_boxes, chart_fit, upright
from layerpreview.learn.chart_find import BOXES, find_chart
from layerpreview.learn.chart_values import USUAL_VALUES, only_daylight
from layerpreview.learn.frame import COLUMNS, Box, Placement, find_card, grey_box, placement_of
from layerpreview.learn.frame_read import CardPhoto, Patch, patch_means, read_card_photo
from layerpreview.learn.model import Card
from layerpreview.learn.readings import Readings, load_readings
from layerpreview.output.card import USUAL_COATS, card_pdf
from layerpreview.output.files import written_together
from layerpreview.output.fit_result import fit_names, fit_result
from layerpreview.output.result import Result
from layerpreview.scheme.dyefile import dye_name
from layerpreview.scheme.fields import FILM_WORDS_UM
from layerpreview.spray import DROPS_PER_ML_SOLVENT, pure_dye_g_per_L
from layerpreview.surface.picture_file import PictureData, read_picture
from layerpreview.units import UnitError, parse_quantity, parse_range, parse_strength
from layerpreview.workflows.fit_compare import beside_before, beside_earlier, concentrate_of

Said = Callable[[str, str | None], str | None]
Wrong = Callable[..., None]

READINGS_ENDINGS = (".csv", ".tsv", ".txt", ".dat", ".cgats", ".it8")
ASSUMED_CONCENTRATE_G_PER_L = 40.0
_READ_TWICE = "two photos differ by more than a clear does: read the card twice with an instrument and give both tables"


@dataclass(frozen=True)
class FitOptions:
    """What the card was: everything as people write it; None where the file of readings may say it instead.

    `coats` of each column of a photo, `corners` eight numbers x,y clockwise from the mark with the hole, `grey`
    reflectance of the grey card, `chart` x,y,width,height of a 24-patch chart [px] or "find", `chart_values` its
    published table. `earlier`: a dye file to compare with; `after_clear`: the same card read once it had its clear.
    """

    name: str = "my dye"
    strength: str | None = None
    film: str | None = None
    concentrate: str | None = None
    light: str | None = None
    observer: str | None = None
    base: str = "metal"
    flake_spread: str | None = None
    geometry: str | None = None
    sprayed: str | None = None
    coats: Sequence[float] = tuple(range(COLUMNS))
    corners: Sequence[float] | None = None
    grey: float | None = None
    chart: Sequence[float] | Literal["find"] | None = None
    chart_values: str = USUAL_VALUES
    earlier: Path | None = None
    after_clear: Path | None = None

    @property
    def beside(self) -> tuple[Path, ...]:
        """Files that the card is compared with."""
        return tuple(path for path in (self.earlier, self.after_clear) if path is not None)


def fit(card: str | Path | Readings, *, options: FitOptions | None = None, **said: Any) -> Result[Fitted]:
    """Fit the dye on a card: a file of readings, a photo, or `Readings` in memory.

    `options`: what is said of the card; every field of it may be given by name instead (`strength="12 mL/L"`).
    Raises InputError, PictureError or NoAnswerError.
    """
    asked = replace(options or FitOptions(), **said)
    asked = replace(asked, name=dye_name(asked.name))
    if isinstance(card, Readings):
        return fit_result(_of_readings(card, asked, Path(card.file)), inputs=asked.beside)
    source = Path(card)
    fitted = _of_readings(load_readings(source), asked, source) if _is_text(source) else _of_photo(source, asked)
    return fit_result(fitted, inputs=(source, *asked.beside))


def fit_files(source: Path, *, out: Path, options: FitOptions, force: bool = False) -> Result[Fitted]:
    """Fit the dye on the card in `source` (readings or a photo) and write NAME.dye.toml, pictures and figures to `out`.

    Raises InputError, PictureError, NoAnswerError or OutputError; nothing is written then.
    """
    options = replace(options, name=dye_name(options.name))
    names = fit_names(options.name, photo=not _is_text(source))
    with written_together(out, names, force=force, inputs=[source, *options.beside]) as paths:
        return fit(source, options=options).written(paths, out)


def _is_text(source: Path) -> bool:
    return source.suffix.lower() in READINGS_ENDINGS


def _of_readings(readings: Readings, options: FitOptions, source: Path) -> Fitted:
    if options.after_clear is not None:
        return _before_and_after(readings, options, options.after_clear)
    strength = options.strength or readings.remarks.get("strength")
    asked = asked_of(options, {**concentrate_of(options.earlier, strength), **readings.remarks}, str(source))

    def card_of(setting: CardSetting) -> Card:
        return card_of_readings(readings, setting)

    fitted = fitted_of(card_of, asked, name=options.name, source=source.name[:60], notes=readings.notes)
    return beside_earlier(fitted, options.earlier, strength)


def _before_and_after(before: Readings, options: FitOptions, after: Path) -> Fitted:
    """The dye as it is once the clear is on, beside what it was; either file may say what the card is."""
    if not _is_text(after):
        raise InputError(Problem("only readings can be compared before and after the clear", _READ_TWICE, str(after)))
    later = load_readings(after)
    remarks = {**before.remarks, **later.remarks}
    alone = replace(options, after_clear=None)
    fitted = _of_readings(replace(later, remarks=remarks), alone, after)
    return beside_before(fitted, before, asked_of(alone, remarks, before.file).setting)


def _of_photo(source: Path, options: FitOptions) -> Fitted:
    if options.after_clear is not None:
        raise InputError(Problem("only readings can be compared before and after the clear", _READ_TWICE, str(source)))
    asked = asked_of(options, concentrate_of(options.earlier, options.strength), str(source))
    picture = read_picture(source)
    if options.corners:
        placement = placement_of(np.array(options.corners, dtype=np.float64).reshape(4, 2).tolist())
    else:
        placement = find_card(picture)
    chart, chart_areas = None, []
    if options.chart:
        patches, where = _chart_patches(picture, placement, options.chart)
        chart = chart_fit(patches, light=asked.setting.light, values=options.chart_values)
        chart_areas = [where]
    photo = read_card_photo(picture, placement, grey_reflectance=options.grey, chart=chart)

    def card_of(setting: CardSetting) -> Card:
        return card_of_photo(photo, setting, options.coats)

    notes = [*picture.notes]
    if options.light is None:
        notes.append("the light of the photo was not named: daylight (D65) is taken; name it with --light")
    if chart and only_daylight(options.chart_values) and not asked.setting.light.startswith("D"):
        notes.append("the chart's table holds colours in daylight, no spectra: photograph in daylight")
    if asked.setting.light.startswith("FL"):
        notes.append("a fluorescent lamp shows only a few wavelengths: a dye may hide between them; use daylight")
    areas = [*_areas(photo, placement, options), *chart_areas]
    found = CardFound(_codes(picture), tuple(areas), tuple(photo.notes), photo.chart_left_out_de00)
    fitted = fitted_of(card_of, asked, name=options.name, source=source.name[:60], notes=notes, found=found)
    return beside_earlier(fitted, options.earlier, options.strength)


def _chart_patches(picture: PictureData, card: Placement, chart: Sequence[float] | str) -> tuple[list[Patch], Found]:
    """A chart's patches from the brown one on, and where the whole of it lies, from the corner at the top left."""
    if isinstance(chart, str):
        placed = find_chart(picture, card=card)
        whole = Box("chart", 0, 0.0, 0.0, CHART_COLUMNS, CHART_ROWS)
        corners = placed.to_px(whole.corners_mm())
        first = int(np.argmin(corners.sum(axis=1)))
        return patch_means(picture, BOXES, placement=placed), Found(np.roll(corners, -first, axis=0), "chart")
    patches = upright(patch_means(picture, chart_boxes(*chart)))
    return patches, Found(Box("chart", 0, *chart).corners_mm(), "chart")


def asked_of(options: FitOptions, remarks: dict[str, str], file: str) -> Asked:
    """Options first, then the file's own remarks, then assumptions that are said."""
    problems: list[Problem] = []
    notes: list[str] = []

    def wrong(field: str, value: str, rule: str, remedy: str = "") -> None:
        problems.append(Problem(rule, remedy, file, field=field, value=value))

    def said(field: str, option: str | None) -> str | None:
        return option if option is not None else remarks.get(field)

    light = said("light", options.light) or "D65"
    if light not in LIGHT_NAMES:
        wrong("light", light, "no such light", f"use one of {', '.join(LIGHT_NAMES)}")
    observer = (said("observer", options.observer) or "2").lower().removesuffix("deg").strip(" °")
    if observer not in ("2", "10"):
        wrong("observer", observer, "only the 2 deg and 10 deg observers are known")
    geometry = said("geometry", options.geometry) or "even"
    if geometry not in GEOMETRIES:
        wrong("geometry", geometry, "not known here", f"use one of {', '.join(GEOMETRIES)}")
    sprayed = said("sprayed", options.sprayed) or "masked"
    if sprayed not in ("masked", "one by one"):
        wrong("sprayed", sprayed, "not known here", 'use "masked" (steps share their first coats) or "one by one"')
    if options.base not in ("metal", "solid", "wood"):
        wrong("base", options.base, "not a kind of base", "use metal, solid or wood")
    spread = said("flake spread", options.flake_spread)
    if spread is not None and not (_is_number(spread) and 0.05 <= float(spread) <= 0.5):
        wrong("flake spread", spread, "must be a number from 0.05 to 0.5")
    load, concentrate = _load(said, options, wrong, notes)
    if problems:
        raise InputError(problems)
    setting = CardSetting(
        base_kind=options.base,
        flake_spread=float(spread) if spread else 0.3,
        light=light,
        observer_deg=int(observer),
        geometry=geometry,
        masked=sprayed == "masked",
    )
    return Asked(setting, spread is not None, load, concentrate, tuple(notes))


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _load(said: Said, options: FitOptions, wrong: Wrong, notes: list[str]) -> tuple[float, float | None]:
    """Pure dye of one coat on the card [mg/m2], and the concentrate it is counted in."""
    written = said("strength", options.strength)
    if written is None:
        wrong("strength", "", "the strength of the sprayed mix is missing", 'say for example "12 mL/L"')
        return 1.0, None
    try:
        strength = parse_strength(written)
        film = said("film", options.film) or "medium"
        words = FILM_WORDS_UM.get(film)
        film_um = (words or parse_range(film, "film")).likely
        if said("film", options.film) is None:
            notes.append(
                f"wet film of a coat not stated: medium, {film_um:g} um, is assumed; spray the job as the card"
            )
        asked = said("concentrate", options.concentrate)
        concentrate = parse_quantity(asked, "concentration") if asked else None
        if concentrate is None and strength.unit in ("mL/L", "drops/L"):
            concentrate = ASSUMED_CONCENTRATE_G_PER_L
            notes.append(
                f"the dye's concentrate is not stated: {concentrate:g} g/L is put down; only its product with the "
                "absorptivity counts"
            )
        drops = DROPS_PER_ML_SOLVENT
        pure = pure_dye_g_per_L(strength, concentrate_g_per_L=concentrate, drops_per_mL=drops).likely
    except UnitError as error:
        wrong("strength, film or concentrate", "", error.rule, error.remedy)
        return 1.0, None
    except ValueError as error:
        wrong("strength", written, str(error), "give it in mL/L, g/L or drops")
        return 1.0, None
    return pure * film_um, concentrate


def _codes(picture: PictureData) -> NDArray[np.uint8]:
    pixels = picture.pixels
    return pixels if pixels.dtype == np.uint8 else (pixels // 257).astype(np.uint8)


def _areas(photo: CardPhoto, placement: Placement, options: FitOptions) -> list[Found]:
    areas = []
    for patch in photo.windows:
        if patch.box.column < len(options.coats):
            corners = placement.to_px(patch.box.corners_mm())
            out = bool(patch.clipped.any())
            areas.append(Found(corners, f"{options.coats[patch.box.column]:g}", out))
    if options.grey is not None:
        areas.append(Found(placement.to_px(grey_box().inside(0.2).corners_mm()), "grey card"))
    return areas


CARD_NAME = "spray_out_frame.pdf"


@dataclass(frozen=True)
class CardWritten:
    """The file that was written."""

    file: Path


def card_file(
    out: Path, *, coats: Sequence[float] = USUAL_COATS, paper: str = "A4", force: bool = False
) -> CardWritten:
    """Write the frame as PDF into `out`.

    Raises InputError for coats or paper that are not possible, OutputError without the `pdf` extra.
    """
    pdf = card_pdf(coats=coats, paper=paper)
    with written_together(out, [CARD_NAME], force=force, inputs=()) as paths:
        paths[CARD_NAME].write_bytes(pdf)
    return CardWritten(out / CARD_NAME)
