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
from layerpreview.learn.aims import scheme_aims
from layerpreview.learn.card import GEOMETRIES, CardSetting, card_of_photo, card_of_readings
from layerpreview.learn.chart import COLUMNS as CHART_COLUMNS
from layerpreview.learn.chart import ROWS as CHART_ROWS
from layerpreview.learn.chart import chart_boxes, chart_fit, upright
from layerpreview.learn.chart_find import BOXES, find_chart
from layerpreview.learn.chart_values import USUAL_VALUES, only_daylight
from layerpreview.learn.columns import Column, as_columns
from layerpreview.learn.fitted import Asked, CardFound, CardOf, Fitted, Found, fitted_of
from layerpreview.learn.frame import COLUMNS, Box, Placement, find_card, grey_box, placement_of
from layerpreview.learn.frame_read import CardPhoto, Patch, patch_means, read_card_photo
from layerpreview.learn.model import Card
from layerpreview.learn.next_step import Aim
from layerpreview.learn.readings import Readings, load_readings
from layerpreview.output.card import USUAL_COATS, card_pdf
from layerpreview.output.files import written_together
from layerpreview.output.fit_result import fit_names, fit_result
from layerpreview.output.result import Result
from layerpreview.scheme import Scheme, load_scheme
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
_LONGEST_NAME = 60
_READ_TWICE = "two photos differ by more than a clear does: read the card twice with an instrument and give both tables"


@dataclass(frozen=True)
class FitOptions:
    """What the card was: everything as people write it; None where the file of readings may say it instead.

    `coats` of each column of a photo, `corners` eight numbers x,y clockwise from the mark with the hole, `grey`
    reflectance of the grey card, `chart` x,y,width,height of a 24-patch chart [px] or "find", `chart_values` its
    published table. `scheme`: the finish whose colours the next card is to serve. `earlier`: a dye file to compare
    with; `after_clear`: the same card read once it had its clear.
    """

    name: str = "my dye"
    strength: str | None = None
    film: str | None = None
    concentrate: str | None = None
    light: str | None = None
    observer: str | None = None
    base: str | None = None
    flake_spread: str | None = None
    geometry: str | None = None
    sprayed: str | None = None
    coats: Sequence[float | Column] = tuple(range(COLUMNS))
    corners: Sequence[float] | None = None
    grey: float | None = None
    chart: Sequence[float] | Literal["find"] | None = None
    chart_values: str = USUAL_VALUES
    scheme: Scheme | None = None
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
    source = () if isinstance(card, Readings) else (Path(card),)
    return fit_result(_fitted(card, asked), inputs=(*source, *asked.beside))


def fit_files(
    source: Path, *, out: Path, options: FitOptions, scheme: Path | None = None, force: bool = False
) -> Result[Fitted]:
    """Fit the dye on the card in `source` (readings or a photo) and write NAME.dye.toml, pictures and figures to `out`.

    `scheme`: the file of the finish that the next card is to serve. Raises InputError, SchemeError, PictureError,
    NoAnswerError or OutputError; nothing is written then.
    """
    options = replace(options, name=dye_name(options.name), scheme=load_scheme(scheme) if scheme else options.scheme)
    names = fit_names(options.name, photo=not is_text(source))
    # Of a scheme only itself: what is learnt anew of its dye may take the place of the dye's file.
    inputs = [source, *options.beside, *([scheme] if scheme else [])]
    with written_together(out, names, force=force, inputs=inputs) as paths:
        return fit(source, options=options).written(paths, out)


def is_text(source: Path) -> bool:
    """Whether a card is a file of readings; else it is a photo."""
    return source.suffix.lower() in READINGS_ENDINGS


@dataclass(frozen=True, eq=False)
class CardRead:
    """A card as it was read: how it is put together in a setting, what was said of it, notes, and a photo's areas.

    `name` of what it was read from; `strength` of its mix as written.
    """

    name: str
    card_of: CardOf
    asked: Asked
    strength: str | None
    notes: Sequence[str]
    found: CardFound | None = None


def _fitted(card: str | Path | Readings, options: FitOptions) -> Fitted:
    """One card fitted, and set beside an earlier dye or the same card before its clear where that is asked for."""
    if options.after_clear is not None:
        return _before_and_after(card, options, options.after_clear)
    if isinstance(card, Readings) or is_text(Path(card)):
        refuse_photo_options(options)
    read = card_read(card, options)
    aims = aims_of(options.scheme, dye=options.name, load_mg_m2=read.asked.load_mg_m2)
    try:
        fitted = fitted_of(
            read.card_of,
            read.asked,
            name=options.name,
            source=read.name,
            notes=[*read.notes, *aims_notes(options.scheme, dye=options.name)],
            found=read.found,
            aims=aims,
        )
    except InputError as error:
        file = card.file if isinstance(card, Readings) else str(card)
        raise type(error)(replace(problem, file=problem.file or file) for problem in error.problems) from None
    return beside_earlier(fitted, options.earlier, read.strength)


def refuse_photo_options(options: FitOptions) -> None:
    """Raise InputError for options that only a photo answers to: with readings they would be passed over."""
    said = {"--corners": options.corners, "--grey": options.grey, "--chart": options.chart}
    given = [name for name, value in said.items() if value is not None]
    if given:
        rule = "only a photo has corners, a grey card or a chart; readings are a table"
        raise InputError(Problem(rule, "leave it out", field=" and ".join(given)))


def _before_and_after(card: str | Path | Readings, options: FitOptions, after: Path) -> Fitted:
    """The dye as it is once the clear is on, beside what it was; either file may say what the card is."""
    for file in (card, after):
        if not isinstance(file, Readings) and not is_text(Path(file)):
            rule = "only readings can be compared before and after the clear"
            raise InputError(Problem(rule, _READ_TWICE, str(file)))
    before = card if isinstance(card, Readings) else load_readings(Path(card))
    later = load_readings(after)
    if Path(before.file).resolve() == after.resolve():
        rule = "this file is the card before its clear, too: nothing could have changed"
        raise InputError(Problem(rule, "name the readings taken after the clear", str(after), field="--after-clear"))
    remarks = {**before.remarks, **later.remarks}
    alone = replace(options, after_clear=None)
    fitted = _fitted(replace(later, remarks=remarks), alone)
    return beside_before(fitted, before, asked_of(alone, remarks, before.file).setting)


def aims_of(scheme: Scheme | None, *, dye: str, load_mg_m2: float) -> list[Aim]:
    """The colours of the scheme that the next card of `dye` is to serve; none without a scheme.

    `load_mg_m2` [mg/m2]: what a coat of the card holds of it. Raises InputError for a scheme that shows no dye.
    """
    if scheme is None:
        return []
    aims = scheme_aims(scheme, dye=dye, load_mg_m2=load_mg_m2)
    if not aims:
        rule = "no place of this scheme shows a dye, so no card can serve it"
        raise InputError(Problem(rule, "leave --for out, or name another scheme", scheme.shown_file, field="--for"))
    return aims


def aims_notes(scheme: Scheme | None, *, dye: str) -> list[str]:
    """That a scheme holds no dye of that name, so that each of its dyes is taken for this one."""
    if scheme is None or any(dye in (name, known.name) for name, known in scheme.dyes.items()):
        return []
    names = " and ".join(scheme.dyes)
    return [f"{scheme.shown_file} has no dye called {dye}: the next card is to serve {names} as if they were this one"]


def card_read(card: str | Path | Readings, options: FitOptions) -> CardRead:
    """Read a file of readings, a photo, or take readings in memory. Raises InputError or PictureError."""
    if not isinstance(card, Readings) and not is_text(Path(card)):
        return _photo_read(Path(card), options)
    readings = card if isinstance(card, Readings) else load_readings(Path(card))
    strength = options.strength or readings.remarks.get("strength")
    asked = asked_of(options, {**concentrate_of(options.earlier, strength), **readings.remarks}, readings.file)
    name = Path(readings.file).name[:_LONGEST_NAME]
    return CardRead(name, lambda setting: card_of_readings(readings, setting), asked, strength, readings.notes)


def _photo_read(source: Path, options: FitOptions) -> CardRead:
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
    return CardRead(source.name[:_LONGEST_NAME], card_of, asked, options.strength, notes, found)


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
    base = said("base", options.base) or "metal"
    if base not in ("metal", "solid", "wood"):
        wrong("base", base, "not a kind of base", "use metal, solid or wood")
    spread = said("flake spread", options.flake_spread)
    if spread is not None and not (_is_number(spread) and 0.05 <= float(spread) <= 0.5):
        wrong("flake spread", spread, "must be a number from 0.05 to 0.5")
    load, concentrate = _load(said, options, wrong, notes)
    if problems:
        raise InputError(problems)
    setting = CardSetting(
        base_kind=base,
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
        mixed = "give the cards of its dyes with this card of a mix, or use fit-mix"
        remedy = 'say for example "12 mL/L"' if said("mix", None) is None else mixed
        wrong("strength", "", "the strength of the sprayed mix is missing", remedy)
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
                f"the concentrate of {options.name} is not stated: {concentrate:g} g/L is put down; only its product "
                "with the absorptivity counts"
            )
        drops = DROPS_PER_ML_SOLVENT
        pure = pure_dye_g_per_L(strength, concentrate_g_per_L=concentrate, drops_per_mL=drops).likely
    except UnitError as error:
        wrong("strength, film or concentrate", "", error.rule, error.remedy)
        return 1.0, None
    except ValueError as error:
        wrong("strength", written, str(error), "give it in mL/L, g/L or drops")
        return 1.0, None
    if pure * film_um <= 0.0:
        wrong("strength, film or concentrate", "", "must be above zero: a coat with no dye in it teaches nothing")
        return 1.0, None
    return pure * film_um, concentrate


def _codes(picture: PictureData) -> NDArray[np.uint8]:
    pixels = picture.pixels
    return pixels if pixels.dtype == np.uint8 else (pixels // 257).astype(np.uint8)


def _areas(photo: CardPhoto, placement: Placement, options: FitOptions) -> list[Found]:
    areas, columns = [], as_columns(options.coats)
    for patch in photo.windows:
        if patch.box.column < len(columns) and columns[patch.box.column].over(patch.box.what):
            corners = placement.to_px(patch.box.corners_mm())
            out = bool(patch.clipped.any())
            areas.append(Found(corners, columns[patch.box.column].typed, out))
    if options.grey is not None:
        areas.append(Found(placement.to_px(grey_box().inside(0.2).corners_mm()), "grey card"))
    return areas


CARD_NAME = "spray_out_frame.pdf"


@dataclass(frozen=True)
class CardWritten:
    """The file that was written."""

    file: Path


def card_file(
    out: Path, *, coats: Sequence[float | Column] = USUAL_COATS, paper: str = "A4", force: bool = False
) -> CardWritten:
    """Write the frame as PDF into `out`.

    Raises InputError for coats or paper that are not possible, OutputError without the `pdf` extra.
    """
    pdf = card_pdf(coats=coats, paper=paper)
    with written_together(out, [CARD_NAME], force=force, inputs=()) as paths:
        paths[CARD_NAME].write_bytes(pdf)
    return CardWritten(out / CARD_NAME)
