"""What is said of a card, as people write it, and the same in numbers with what was assumed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from layerpreview.colour import light_called
from layerpreview.errors import InputError, Problem
from layerpreview.learn.card.setting import GEOMETRIES, CardSetting
from layerpreview.learn.fit.best_setting import Asked
from layerpreview.learn.read.chart_values import USUAL_VALUES, check_chart_values
from layerpreview.learn.read.columns import Column
from layerpreview.learn.read.frame import COLUMNS
from layerpreview.scheme import Scheme
from layerpreview.scheme.fields import FILM_WORDS_UM
from layerpreview.spray import DROPS_PER_ML_SOLVENT, pure_dye_g_per_L
from layerpreview.units import UnitError, parse_number, parse_quantity, parse_range, parse_strength

Said = Callable[[str, str | None], str | None]
Wrong = Callable[..., None]

ASSUMED_CONCENTRATE_G_PER_L = 40.0


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

    def __post_init__(self) -> None:
        check_chart_values(self.chart_values)

    @property
    def beside(self) -> tuple[Path, ...]:
        """Files that the card is compared with."""
        return tuple(path for path in (self.earlier, self.after_clear) if path is not None)


def asked_of(options: FitOptions, remarks: dict[str, str], file: str) -> Asked:
    """Options first, then the file's own remarks, then assumptions that are said."""
    problems: list[Problem] = []
    notes: list[str] = []

    def wrong(field: str, value: str, rule: str, remedy: str = "") -> None:
        problems.append(Problem(rule, remedy, file, field=field, value=value))

    def said(field: str, option: str | None) -> str | None:
        return option if option is not None else remarks.get(field)

    light = said("light", options.light) or "D65"
    try:
        light = light_called(light)
    except InputError as error:
        wrong("light", light, error.problems[0].rule, error.problems[0].remedy)
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
    try:
        flake_spread = 0.3 if spread is None else parse_number(spread, 0.05, 0.5, example="0.3")
    except UnitError as error:
        flake_spread = 0.3
        wrong("flake spread", str(spread), error.rule, error.remedy)
    load, concentrate = _load(said, options, wrong, notes)
    if problems:
        raise InputError(problems)
    setting = CardSetting(
        base_kind=base,
        flake_spread=flake_spread,
        light=light,
        observer_deg=int(observer),
        geometry=geometry,
        masked=sprayed == "masked",
    )
    return Asked(setting, spread is not None, load, concentrate, tuple(notes))


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
