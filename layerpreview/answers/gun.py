"""How the gun is set: what the command line says, else what the scheme says, else what is usual; and which it was."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from layerpreview.answers.uneven import Spraying
from layerpreview.errors import InputError, Problem
from layerpreview.scheme import Scheme
from layerpreview.scheme.work import Gun
from layerpreview.spray.direction import LEVEL_DEG, UPRIGHT_DEG, strokes_deg, strokes_words
from layerpreview.spray.passes import GUNS, MOST_OVERLAP, PATTERNS, Fan
from layerpreview.surface.outline import Outline
from layerpreview.units import Range

Source = Literal["option", "scheme", "assumed"]

USUAL_OVERLAP, USUAL_PATTERN, USUAL_SEED = 0.5, "shifted", 7
"""Half of the last stroke; every other coat's lines between those of the last (common practice, no source)."""


@dataclass(frozen=True)
class GunOptions:
    """What is said of the gun besides the scheme, None where nothing is: a typical `gun` by name, what was measured of
    one's own (`fan_mm`, `distance_mm`, `beta`), `overlap`, `direction` in words or `crossed`, `pattern` of lines."""

    gun: str | None = None
    fan_mm: float | None = None
    distance_mm: float | None = None
    beta: float | None = None
    overlap: float | None = None
    direction: str | None = None
    crossed: bool = False
    pattern: str | None = None
    seed: int = USUAL_SEED


@dataclass(frozen=True)
class GunSet:
    """The gun as it is set, where each value comes from (fan, distance, beta, overlap, direction, lines, edge_fan),
    and what is to be said about it."""

    how: Spraying
    sources: dict[str, Source]
    notes: tuple[str, ...] = ()

    @property
    def fan_words(self) -> str:
        """Fan, distance, shape and overlap, each with where it comes from."""
        how, said = self.how, self.sources
        return (
            f"fan {how.gun.width_mm:.4g} mm ({said['fan']}) at {how.gun.distance_mm:.4g} mm ({said['distance']}), "
            f"fan shape {how.gun.beta:g} ({said['beta']}), overlap {100 * how.overlap:.3g} % ({said['overlap']})"
        )

    @property
    def fan_sources(self) -> dict[str, Source]:
        """Where fan, distance, shape and overlap come from."""
        return {name: self.sources[name] for name in ("fan", "distance", "beta", "overlap")}

    @property
    def words(self) -> str:
        """Every value with where it comes from, in one line."""
        how, said = self.how, self.sources
        return (
            f"{self.fan_words}, strokes {strokes_words(how.directions_deg)} ({said['direction']}), "
            f"lines {how.pattern} ({said['lines']}); edges and narrow pieces with a fan of "
            f"{how.edge_gun.width_mm:.4g} mm or less ({said['edge_fan']})"
        )


def plan_words(how: Spraying) -> str:
    """How the gun is moved, in one line.

    >>> plan_words(Spraying())
    'fan 220 mm at 180 mm, overlap 50 %, strokes left to right, lines shifted'
    """
    return (
        f"fan {how.gun.width_mm:.4g} mm at {how.gun.distance_mm:.4g} mm, overlap {100 * how.overlap:.3g} %, "
        f"strokes {strokes_words(how.directions_deg)}, lines {how.pattern}"
    )


def gun_set(scheme: Scheme, outline: Outline, options: GunOptions | None = None) -> GunSet:
    """Set the gun: an option stands before the scheme, the scheme before what is usual.

    `outline`: the first face's, for strokes along or across it. A named typical gun stands in place of the scheme's.
    Raises InputError with every option that cannot be used.
    """
    asked = options or GunOptions()
    angles, direction, told = _direction(scheme, outline, asked)
    problems = _problems(asked, outline)
    if problems:
        raise InputError(problems)
    fan, sources, notes = _fan(scheme, asked)
    overlap, overlap_from = _first(asked.overlap, _likely(scheme.gun.overlap), USUAL_OVERLAP)
    how = Spraying(
        gun=fan,
        overlap=overlap,
        directions_deg=angles,
        pattern=asked.pattern or USUAL_PATTERN,
        seed=asked.seed,
    )
    sources |= {
        "beta": "assumed" if asked.beta is None else "option",
        "overlap": overlap_from,
        "direction": direction,
        "lines": "assumed" if asked.pattern is None else "option",
        "edge_fan": "assumed",
    }
    return GunSet(how, sources, (*notes, *told))


def _fan(scheme: Scheme, asked: GunOptions) -> tuple[Fan, dict[str, Source], list[str]]:
    """The fan at the distance it is held at; a width that was measured at another is scaled, and that is said."""
    name = asked.gun or "full"
    usual = GUNS[name]
    # The scheme's fan and distance are its own gun's: a gun named beside it brings both along.
    stated = Gun() if asked.gun else scheme.gun
    stated_mm = _likely(stated.distance_mm)
    held_mm, distance_from = _first(asked.distance_mm, stated_mm, usual.distance_mm)
    width_mm, fan_from = _first(asked.fan_mm, _likely(stated.fan_mm), usual.width_mm)
    measured_mm = {"option": held_mm, "scheme": stated_mm or usual.distance_mm, "assumed": usual.distance_mm}[fan_from]
    if asked.gun:
        fan_from, distance_from = "option", "option"
    beta = usual.beta if asked.beta is None else asked.beta
    fan = Fan(width_mm=width_mm, distance_mm=measured_mm, beta=beta, speed_mm_s=usual.speed_mm_s)
    sources: dict[str, Source] = {"fan": fan_from, "distance": distance_from}
    if held_mm == measured_mm:
        return fan, sources, []
    whose = "the scheme's fan" if fan_from == "scheme" else f"the usual fan of the {name} gun"
    scaled = fan.at(distance_mm=held_mm)
    note = (
        f"Fan: {whose}, {width_mm:.4g} mm at {measured_mm:.4g} mm, is scaled with the distance: "
        f"{scaled.width_mm:.4g} mm at {held_mm:.4g} mm."
    )
    return scaled, sources, [note]


def _direction(scheme: Scheme, outline: Outline, asked: GunOptions) -> tuple[tuple[float, ...], Source, list[str]]:
    box = {"width_mm": outline.width_mm, "height_mm": outline.height_mm}
    if asked.crossed:
        return (LEVEL_DEG, UPRIGHT_DEG), "option", []
    if asked.direction is not None:
        return strokes_deg(asked.direction, **box) or (LEVEL_DEG,), "option", []
    text = scheme.gun.direction
    if text is None:
        return (LEVEL_DEG,), "assumed", []
    if found := strokes_deg(text, **box):
        return found, "scheme", []
    note = (
        f'direction "{text}" is not understood as a way of the strokes: left to right assumed; add --crossed or write '
        'for example direction = "lengthwise, then across"'
    )
    return (LEVEL_DEG,), "assumed", [note]


def _problems(asked: GunOptions, outline: Outline) -> list[Problem]:
    problems = []
    for name, value, known, rule in (
        ("--gun", asked.gun, GUNS, "no such gun"),
        ("--lines", asked.pattern, PATTERNS, "no such pattern of lines"),
    ):
        if value is not None and value not in known:
            problems.append(Problem(rule, f"use one of {', '.join(known)}", field=name, value=value))
    for name, number, low, high in (
        ("--fan", asked.fan_mm, 2.0, 1000.0),
        ("--distance", asked.distance_mm, 5.0, 1000.0),
        ("--beta", asked.beta, 1.0, 12.0),
        ("--overlap", asked.overlap, 0.0, MOST_OVERLAP),
    ):
        if number is not None and not low <= number <= high:
            problems.append(Problem(f"this lies between {low:g} and {high:g}", field=name, value=f"{number:g}"))
    if asked.direction is not None:
        understood = strokes_deg(asked.direction, width_mm=outline.width_mm, height_mm=outline.height_mm)
        remedy = 'write for example "lengthwise", "lengthwise, then across", "left to right" or "45 deg"'
        if understood is None:
            rule = "this is not understood as a way of the strokes"
            problems.append(Problem(rule, remedy, field="--direction", value=f'"{asked.direction}"'))
        elif asked.crossed:
            rule = "the way of the strokes is said twice"
            problems.append(Problem(rule, "leave out --direction or --crossed", field="--direction"))
    return problems


def _likely(stated: Range | None) -> float | None:
    return None if stated is None else stated.likely


def _first(option: float | None, stated: float | None, usual: float) -> tuple[float, Source]:
    if option is not None:
        return option, "option"
    return (usual, "assumed") if stated is None else (stated, "scheme")
