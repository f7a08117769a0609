"""Learn a dye from a spray-out: readings or a photo in, a dye file with pictures of what was found out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import LIGHT_NAMES, WAVELENGTHS_NM, delta_e_2000
from layerpreview.errors import InputError, Problem
from layerpreview.learn.card import (
    GEOMETRIES,
    CardSetting,
    card_of_photo,
    card_of_readings,
    fit_with_flake_spread,
)
from layerpreview.learn.chart import chart_boxes, chart_fit
from layerpreview.learn.fit import DyeFit, fit_dye
from layerpreview.learn.frame import COLUMNS, Placement, grey_box, placement_of
from layerpreview.learn.frame_find import find_card
from layerpreview.learn.frame_read import CardPhoto, patch_means, read_card_photo
from layerpreview.learn.model import Card, as_lab
from layerpreview.learn.next_step import NextStep, next_steps
from layerpreview.learn.readings import load_readings
from layerpreview.output.files import file_stem, write_text, written_together
from layerpreview.output.fit_picture import Found, StepPair, fit_picture, found_picture
from layerpreview.output.pictures import write_picture
from layerpreview.output.plain_json import plain_json
from layerpreview.scheme.dyefile import GUESS_BEYOND, dye_file_text, dye_name
from layerpreview.scheme.fields import FILM_WORDS_UM
from layerpreview.spray import DROPS_PER_ML_SOLVENT, pure_dye_g_per_L
from layerpreview.surface.picture_file import PictureData, read_picture
from layerpreview.units import UnitError, parse_quantity, parse_range, parse_strength

CardOf = Callable[[CardSetting], Card]
Said = Callable[[str, str | None], str | None]
Wrong = Callable[..., None]

READINGS_ENDINGS = (".csv", ".tsv", ".txt", ".dat", ".cgats", ".it8")
ASSUMED_CONCENTRATE_G_PER_L = 40.0
_EVERY = slice(None, None, 2)  # dye files hold every second grid wavelength: 10 nm


@dataclass(frozen=True)
class FitOptions:
    """What the card was: everything as people write it; None where the file of readings may say it instead.

    `coats` of each column of a photo, `corners` eight numbers x,y clockwise from the mark with the hole, `grey`
    reflectance of the grey card, `chart` x,y,width,height of a 24-patch chart [px].
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
    chart: Sequence[float] | None = None


@dataclass(frozen=True)
class Fitted:
    """What was learnt and written."""

    name: str
    folder: Path
    files: tuple[str, ...]
    dye_file: Path
    steps: tuple[StepPair, ...]
    builds: dict[int, tuple[float, float, float]]
    misfit: float
    ambiguous: float
    flake_spread: float
    load_per_coat_mg_m2: float
    tested_to_mg_m2: float
    notes: tuple[str, ...]
    next_steps: tuple[NextStep, ...]


def fit_files(source: Path, *, out: Path, options: FitOptions, force: bool = False) -> Fitted:
    """Fit the dye on the card in `source` (readings or a photo) and write NAME.dye.toml, pictures and figures to `out`.

    Raises InputError, PictureError, NoAnswerError or OutputError; nothing is written then.
    """
    options = replace(options, name=dye_name(options.name))
    if source.suffix.lower() in READINGS_ENDINGS:
        return _fit_readings(source, out=out, options=options, force=force)
    return _fit_photo(source, out=out, options=options, force=force)


@dataclass(frozen=True)
class Asked:
    """The options in numbers, with what was assumed."""

    setting: CardSetting
    spread_known: bool
    load_mg_m2: float
    concentrate_g_per_L: float | None
    notes: tuple[str, ...]


def _fit_readings(source: Path, *, out: Path, options: FitOptions, force: bool) -> Fitted:
    readings = load_readings(source)
    asked = asked_of(options, readings.remarks, str(source))

    def card_of(setting: CardSetting) -> Card:
        return card_of_readings(readings, setting)

    setting, fit = _fit(card_of, asked)
    return _written(fit, setting, asked, out=out, options=options, force=force, notes=readings.notes, source=source)


def _fit_photo(source: Path, *, out: Path, options: FitOptions, force: bool) -> Fitted:
    asked = asked_of(options, {}, str(source))
    picture = read_picture(source)
    if options.corners:
        placement = placement_of(np.array(options.corners, dtype=np.float64).reshape(4, 2).tolist())
    else:
        placement = find_card(picture)
    chart = None
    if options.chart:
        patches = patch_means(picture, chart_boxes(*options.chart))
        chart = chart_fit(patches, light=asked.setting.light)
    photo = read_card_photo(picture, placement, grey_reflectance=options.grey, chart=chart)

    def card_of(setting: CardSetting) -> Card:
        return card_of_photo(photo, setting, options.coats)

    setting, fit = _fit(card_of, asked)
    notes = [*picture.notes]
    if options.light is None:
        notes.append("the light of the photo was not named: daylight (D65) is taken; name it with --light")
    if asked.setting.light.startswith("FL"):
        notes.append("a fluorescent lamp shows only a few wavelengths: a dye may hide between them; use daylight")
    found = found_picture(_codes(picture), _areas(photo, placement, options), notes=photo.notes or ("nothing odd",))
    return _written(fit, setting, asked, out=out, options=options, force=force, notes=notes, source=source, found=found)


def _fit(card_of: CardOf, asked: Asked) -> tuple[CardSetting, DyeFit]:
    card = card_of(asked.setting)
    both = {"white", "base"} <= {ground.name for ground in card.grounds}
    if asked.spread_known or asked.setting.base_kind != "metal" or not both:
        return asked.setting, fit_dye(card)
    return fit_with_flake_spread(card_of, asked.setting)


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


def _written(
    fit: DyeFit,
    setting: CardSetting,
    asked: Asked,
    *,
    out: Path,
    options: FitOptions,
    force: bool,
    notes: Sequence[str],
    source: Path,
    found: NDArray[np.uint8] | None = None,
) -> Fitted:
    stem = file_stem(options.name, otherwise="dye")
    names = [f"{stem}.dye.toml", f"{stem}_fit.png", f"{stem}_fit.json"]
    names += [f"{stem}_found.png"] if found is not None else []
    tested = fit.heaviest_load * asked.load_mg_m2
    all_notes = tuple(dict.fromkeys([*notes, *fit.card.notes, *asked.notes, *_doubts(fit, setting, asked)]))
    wanted = (1.0, 0.5 * fit.heaviest_load, fit.heaviest_load)
    result = Fitted(
        name=options.name,
        folder=out,
        files=tuple(names),
        dye_file=out / names[0],
        steps=tuple(_pairs(fit)),
        builds={step: (build.low, build.likely, build.high) for step, build in fit.builds.items()},
        misfit=fit.misfit,
        ambiguous=fit.ambiguous,
        flake_spread=setting.flake_spread,
        load_per_coat_mg_m2=asked.load_mg_m2,
        tested_to_mg_m2=tested,
        notes=all_notes,
        next_steps=tuple(next_steps(fit, wanted_loads=wanted, lights=("D65", "A"))),
    )
    per_load = 1.0 / (1e-4 * asked.load_mg_m2)
    best, low, high = (per_load * values for values in (fit.absorbance10, fit.low, fit.high))
    guess = f"beyond {GUESS_BEYOND * tested:.0f} mg/m2 it is a guess"
    reach = f"Tested up to {tested:.0f} mg/m2 ({fit.heaviest_load:g} coats); {guess}."
    with written_together(out, names, force=force, inputs=[source]) as paths:
        write_text(
            paths[names[0]],
            dye_file_text(
                name=options.name,
                kind="fitted",
                provenance=_provenance(fit, source),
                concentrate_g_per_L=asked.concentrate_g_per_L,
                wavelength_nm=WAVELENGTHS_NM[_EVERY].tolist(),
                best=best[_EVERY].tolist(),
                interval=(low[_EVERY].tolist(), high[_EVERY].tolist()),
                tested_to_mg_m2=tested,
                remarks=all_notes,
            ),
        )
        title = f"{options.name}: measured over fitted"
        notes_shown = (*all_notes, *(f"next best step: {step.words}" for step in result.next_steps[:1]))
        drawn = fit_picture(result.steps, best=best, low=low, high=high, tested=reach, title=title, notes=notes_shown)
        write_picture(drawn, paths[names[1]])
        write_text(paths[names[2]], plain_json(result))
        if found is not None:
            write_picture(found, paths[names[3]])
    return result


def fitted_text(result: Fitted) -> str:
    """What to show a person: misfit of each step, builds, how far to trust it, what to spray next."""
    worst = max(result.steps, key=lambda pair: pair.de00)
    mean = sum(pair.de00 for pair in result.steps) / len(result.steps)
    lines = [
        f"{result.name}: {len(result.builds)} steps, fitted to {mean:.1f} CIEDE2000 on average",
        f"  worst: {worst.words} over {worst.background}, {worst.de00:.1f}",
        f"  tested up to {result.tested_to_mg_m2:.0f} mg/m2; "
        f"beyond {GUESS_BEYOND * result.tested_to_mg_m2:.0f} it is a guess",
        "  coats as they really came out (90 % range):",
    ]
    for step, (low, likely, high) in result.builds.items():
        lines.append(f"    step {step}: {likely:.2f} ({low:.2f} to {high:.2f})")
    lines += [f"  note: {note}" for note in result.notes]
    for wanted in result.next_steps:
        doubt = f"{wanted.doubt_before:.1f} -> {wanted.doubt_after:.1f}"
        lines.append(f"  next best step: {wanted.words} (doubt {doubt} in L*a*b*)")
    return "\n".join([*lines, ""])


def _pairs(fit: DyeFit) -> list[StepPair]:
    """Every window, measured and fitted; a channel that was left out is shown as fitted."""
    out = []
    for window, fitted in zip(fit.card.windows, fit.fitted, strict=True):
        limit = window.at_most if window.at_most is not None else np.zeros(fitted.shape, dtype=bool)
        read = np.where(window.trusted & ~limit, window.read, fitted)
        labs = [as_lab(fit.card.eye, values) for values in (read, fitted)]
        measured, model = ((float(lab[0]), float(lab[1]), float(lab[2])) for lab in labs)
        words = "bare" if window.load == 0 else f"{window.load:g} coat{'s' if window.load != 1 else ''}"
        out.append(StepPair(window.ground, words, measured, model, float(delta_e_2000(labs[0], labs[1]))))
    return sorted(out, key=lambda pair: pair.background, reverse=True)


def _doubts(fit: DyeFit, setting: CardSetting, asked: Asked) -> list[str]:
    said = [f"look again: {line}" for line in fit.strained]
    if fit.ambiguous > 0.1:
        said.append(
            f"two unlike spectra explain the card ({100 * (1 - fit.ambiguous):.0f} % this one): see the next step"
        )
    if not asked.spread_known and setting.base_kind == "metal":
        both = len(fit.card.grounds) > 1
        how = "found from the two backgrounds" if both else "assumed"
        said.append(f"flake spread {setting.flake_spread:g}: {how}")
    return said


def _provenance(fit: DyeFit, source: Path) -> str:
    steps = len(fit.builds)
    grounds = " and ".join(ground.name for ground in fit.card.grounds)
    return f"fitted to {source.name[:60]}: {steps} steps over {grounds}, {fit.card.eye.words}; misfit {fit.misfit:.1f}"


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
