"""The kinds of value a scheme file holds; each check says its rule and its remedy in plain words."""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Annotated, Any, NamedTuple

from pydantic import BaseModel, ConfigDict, PlainValidator, ValidationInfo

from layerpreview.colour import LIGHT_NAMES, light_called, srgb_code
from layerpreview.errors import InputError
from layerpreview.scheme.taken import TEXT, Check, list_of, number_in, one_of, takes
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import (
    Dimension,
    Range,
    Strength,
    UnitError,
    parse_number,
    parse_quantity,
    parse_range,
    parse_strength,
)


class Frozen(BaseModel):
    """A table of the file: its keys are the fields' aliases, others are refused, values do not change."""

    model_config = ConfigDict(frozen=True, extra="forbid")


FILM_WORDS_UM = {  # wet film of one coat: common practice, no source
    "light": Range(12.0, 20.0, 30.0),
    "medium": Range(28.0, 40.0, 55.0),
    "wet": Range(50.0, 65.0, 90.0),
}
_EXAMPLE = {
    "length": "25 mm",
    "film": "45 um",
    "volume": "15 mL",
    "mass": "0.1 g",
    "density": "0.95 g/mL",
    "concentration": "40 g/L",
    "fraction": "22 %",
    "drops": "44 to 53",
}
_BASE_UNIT = {
    "length": "mm",
    "film": "um",
    "volume": "mL",
    "mass": "g",
    "density": "g/mL",
    "concentration": "g/L",
    "drops": "per mL",
}
_NOUN = {
    **{dimension: dimension for dimension in _EXAMPLE},
    "film": "thickness",
    "mass": "weight",
    "fraction": "share",
    "drops": "drops",
}
_LONGEST_TEXT = 200


_PAIR = list_of({"type": "number"}, least=2, most=2)


class FieldError(ValueError):
    """A value that breaks its field's rule."""

    def __init__(self, rule: str, remedy: str = "") -> None:
        super().__init__(rule, remedy)
        self.rule = rule
        self.remedy = remedy


def film_of_word(word: str) -> Told:
    """Wet film of one light, medium or wet coat [um]."""
    return Told.of(FILM_WORDS_UM[word], "um", Rest(Basis.ASSUMED, word))


def film_word(film_um: Told) -> str | None:
    """The word by which a wet film was told, the usual one or the shop's own; None where it was stated or measured."""
    words = (rest.note.partition(",")[0] for rest in film_um.rests_on)
    return next((word for word in words if word in FILM_WORDS_UM), None)


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return ``did you mean "x"?`` when one of `known` is close to `word`, else an empty text."""
    from difflib import get_close_matches

    by_lower = {name.lower(): name for name in known}
    close = get_close_matches(word.lower(), list(by_lower), n=1, cutoff=0.6)
    return f'did you mean "{by_lower[close[0]]}"?' if close else ""


def listed(names: Iterable[str]) -> str:
    """Return the names as ``a, b or c``."""
    *first, last = names
    return f"{', '.join(first)} or {last}" if first else last


@takes("text", TEXT)
def text(value: object) -> str:
    """Check a one-line text that is not empty."""
    if not isinstance(value, str):
        raise FieldError("a text in quotes is wanted", 'put it in straight quotes: "..."')
    if not value.strip():
        raise FieldError("this must not be empty", "write something or leave the line out")
    if len(value) > _LONGEST_TEXT or not value.isprintable():
        raise FieldError(f"one line of at most {_LONGEST_TEXT} characters is wanted", "shorten it to one plain line")
    return value.strip()


def path(value: object, info: ValidationInfo) -> Path:
    """Return the file's path, seen from the folder of the scheme; a backslash counts as a slash."""
    if isinstance(value, str) and re.search(r"[\t\n\b\f\r\x1b]", value):
        remedy = "write / between folders, or single quotes around the path"
        raise FieldError("a backslash inside double quotes means something else", remedy)
    folder = (info.context or {}).get("folder", Path())
    return Path(folder) / text(value).replace("\\", "/")


@takes("true or false", {"type": "boolean"})
def flag(value: object) -> bool:
    """Check true or false."""
    if not isinstance(value, bool):
        raise FieldError("true or false is wanted", "write true or false, without quotes")
    return value


@takes("true, false or a share from 0 to 1", {"anyOf": [{"type": "boolean"}, number_in(0.0, 1.0)]})
def share_or_flag(value: object) -> float:
    """Check a share from 0 to 1; true is all of it, false is none."""
    if isinstance(value, bool):
        return float(value)
    try:
        return number(0.0, 1.0)(value)
    except FieldError as error:
        raise FieldError("true, false or a number from 0 to 1 is wanted", "write true, or 0.5 for half") from error


@takes("colour, as #rrggbb or by its CSS name", TEXT)
def colour(value: object) -> str:
    """Check an sRGB colour written as "#rrggbb", or by its name in the CSS Color standard."""
    try:
        return srgb_code(value if isinstance(value, str) else "")
    except InputError:
        rule = "a colour is wanted as # and six digits 0-9 a-f, or by its name in the CSS standard"
        raise FieldError(rule, 'write for example "#120d0b" or "black"') from None


def choice(*names: str) -> Check[str]:
    """Return a check for one of the listed words, upper and lower case alike."""
    by_lower = {name.lower(): name for name in names}

    def check(value: object) -> str:
        if isinstance(value, str) and value.strip().lower() in by_lower:
            return by_lower[value.strip().lower()]
        hint = did_you_mean(value, names) if isinstance(value, str) else ""
        raise FieldError(f"this must be {listed(names)}", hint or f'write for example "{names[0]}"')

    return Check(check, listed(names), one_of(names))


def _unquoted(value: object) -> object:
    """A number that stands in quotes as the number it is; everything else as it is."""
    if isinstance(value, str):
        with suppress(UnitError):
            return parse_number(value)
    return value


def number(low: float, high: float) -> Check[float]:
    """Return a check for a plain number in low..high."""

    def check(value: object) -> float:
        value = _unquoted(value)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise FieldError(f"a plain number from {low:g} to {high:g} is wanted", "write it without quotes or unit")
        if not low <= value <= high:  # false for nan too
            raise FieldError(f"this must be from {low:g} to {high:g}", f"write a number from {low:g} to {high:g}")
        return float(value)

    return Check(check, f"number, {low:g} to {high:g}", number_in(low, high))


def whole(low: int, high: int) -> Check[int]:
    """Return a check for a whole number in low..high."""

    def check(value: object) -> int:
        value = _unquoted(value)
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            wanted = f"a whole number from {low} to {high}" if low < high else f"the number {low}"
            raise FieldError(f"{wanted} is wanted", f"write for example {low}, without quotes or unit")
        return value

    said = f"whole number, {low} to {high}" if low < high else f"the number {low}"
    return Check(check, said, {"anyOf": [{"type": "integer", "minimum": low, "maximum": high}, TEXT]})


def _in_bounds(dimension: Dimension, low: float, high: float, *values: float) -> None:
    if not all(low <= value <= high for value in values):
        least, most = _bounds_told(dimension, low, high)
        raise FieldError(f"this must be from {least} to {most}", "check the number and its unit")


def _bounds_told(dimension: Dimension, low: float, high: float) -> tuple[str, str]:
    unit = _BASE_UNIT.get(dimension, "")
    least, most = (f"{x:g} {unit}".strip() if unit else f"{100 * x:g} %" for x in (low, high))
    return least, most


def _needs_text(value: object, dimension: Dimension) -> str:
    if isinstance(value, str):
        return value
    example = _EXAMPLE[dimension]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise FieldError("a number with its unit is wanted, in quotes", f'write for example "{example}"')
    raise without_unit(value, example)


def without_unit(value: float, example: str) -> FieldError:
    """Ask for the unit; the remedy repeats the number when it is one that a person would write."""
    unit = example.partition(" ")[2]
    meant = f"{value} {unit}" if 0 <= value < 1e9 else example
    return FieldError("a number without a unit can mean anything", f'write it with its unit, in quotes: "{meant}"')


def quantity(dimension: Dimension, low: float, high: float) -> Check[float]:
    """Return a check for a quantity with a unit, in base units within low..high."""

    def check(value: object) -> float:
        amount = parse_quantity(_needs_text(value, dimension), dimension)
        _in_bounds(dimension, low, high, amount)
        return amount

    return Check(check, f"{_NOUN[dimension]}, {' to '.join(_bounds_told(dimension, low, high))}", TEXT)


def quantity_range(dimension: Dimension, low: float, high: float) -> Check[Range]:
    """Return a check for a quantity or a range of it, in base units within low..high."""

    def check(value: object) -> Range:
        if dimension == "drops" and isinstance(value, int | float) and not isinstance(value, bool):
            value = str(value)
        found = parse_range(_needs_text(value, dimension), dimension)
        _in_bounds(dimension, low, high, found.low, found.high)
        return found

    said = f"{_NOUN[dimension]} or a range of it, {' to '.join(_bounds_told(dimension, low, high))}"
    return Check(check, said, {"anyOf": [TEXT, {"type": "number"}]} if dimension == "drops" else TEXT)


@takes("light, medium, wet, or a wet film or a range of it, 1 um to 1000 um", TEXT)
def film(value: object) -> Told:
    """Check a wet film per coat: light, medium or wet, or a thickness or range of it."""
    if isinstance(value, Told):
        return value
    word = value.strip().lower() if isinstance(value, str) else ""
    if word in FILM_WORDS_UM:
        return film_of_word(word)
    if word.isalpha():
        hint = did_you_mean(word, FILM_WORDS_UM)
        raise FieldError('this must be light, medium, wet or a wet film such as "45 um"', hint or 'write "medium"')
    return Told.of(quantity_range("film", 1.0, 1000.0)(value), "um", Rest(Basis.STATED))


class Additive(NamedTuple):
    """A glitter mixed in: the size of its flakes [mm], and the share of the area that they cover [0..1]."""

    size_mm: float
    share: float


@takes("flake, its size (0.02 mm to 5 mm) and its share of the area (0.01 % to 50 %)", TEXT)
def additive(value: object) -> Additive:
    """Check what is mixed into a metal: "flake, 0.2 mm, 3 %"."""
    if isinstance(value, Additive):
        return value
    parts = re.split(r",\s+", value.strip()) if isinstance(value, str) else []
    if len(parts) != 3 or parts[0].lower() != "flake":
        raise FieldError("this must be flake, its size and its share of the area", 'write "flake, 0.2 mm, 3 %"')
    return Additive(quantity("length", 0.02, 5.0)(parts[1]), quantity("fraction", 0.0001, 0.5)(parts[2]))


def degrees(low: float, high: float) -> Check[float]:
    """Return a check for an angle: a plain number is degrees."""
    plain = number(low, high)

    def check(value: object) -> float:
        value = _unquoted(value)
        return plain(parse_quantity(value, "angle") if isinstance(value, str) else value)

    return Check(check, f"degrees, {low:g} to {high:g}", number_in(low, high))


@takes("2 deg or 10 deg", {"anyOf": [TEXT, {"enum": [2, 10]}]})
def observer(value: object) -> int:
    """Check the observer: "2 deg" or "10 deg"."""
    value = _unquoted(value)
    try:
        angle = parse_quantity(value, "angle") if isinstance(value, str) else value
    except UnitError:
        angle = None
    if isinstance(angle, int | float) and not isinstance(angle, bool) and angle in (2, 10):
        return int(angle)
    raise FieldError("the observer is the 2 degree or the 10 degree one", 'write "2 deg" or "10 deg"')


@takes(
    f"list of lights: {', '.join(LIGHT_NAMES)}, or a shop's word", list_of({"anyOf": [{"enum": [*LIGHT_NAMES]}, TEXT]})
)
def lights(value: object) -> tuple[str, ...]:
    """Check a list of lights, each once."""
    if not isinstance(value, list | tuple) or not value:
        raise FieldError("a list of lights is wanted", 'write for example ["D65", "A"]')
    found = tuple(_light(light) for light in value)
    if len(set(found)) < len(found):
        raise FieldError("a light is listed twice", "leave one of them out")
    return found


def _light(value: object) -> str:
    try:
        return light_called(value if isinstance(value, str) else "")
    except InputError as error:
        raise FieldError(f"this must be {listed(LIGHT_NAMES)}", error.problems[0].remedy) from None


@takes("strength, as mL/L, g/L, drops per 100 mL or %", TEXT)
def strength(value: object) -> Strength:
    """Check the strength of one dye in a mix."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        raise without_unit(value, "12 mL/L")
    if not isinstance(value, str):
        raise FieldError("a strength is wanted, in quotes", 'write for example "12 mL/L"')
    return parse_strength(value)


@takes("a place: [across, down], each a length", list_of(TEXT, least=2, most=2))
def point_mm(value: object) -> tuple[float, float]:
    """Check a place on a face: [across, down] from the top left corner, each a length."""
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise FieldError("a place is wanted as two lengths, across and down", 'write for example ["150 mm", "90 mm"]')
    check = quantity("length", 0.0, 20_000.0)
    return check(value[0]), check(value[1])


@takes("at least three places [across, down]", list_of(list_of(TEXT, least=2, most=2), least=3))
def polygon_mm(value: object) -> tuple[tuple[float, float], ...]:
    """Check a closed line on a face: at least three places, the last not a repeat of the first."""
    example = 'write for example [["10 mm", "20 mm"], ["90 mm", "20 mm"], ["50 mm", "80 mm"]]'
    if not isinstance(value, list | tuple) or not 3 <= len(value) <= 10_000:
        raise FieldError("at least three places [across, down] are wanted", example)
    found = []
    for number, place in enumerate(value, start=1):
        try:
            found.append(point_mm(place))
        except (FieldError, UnitError) as error:
            raise FieldError(f"place {number}: {error.rule}", error.remedy) from None
    return tuple(found[:-1] if found[0] == found[-1] and len(found) > 3 else found)


@takes("hard, or the width of a soft edge, 0.1 mm to 1000 mm", TEXT)
def edge_mm(value: object) -> float:
    """Check a zone's edge: "hard" (0 mm), or the whole width of a soft one."""
    if isinstance(value, str) and value.strip().lower() == "hard":
        return 0.0
    if isinstance(value, str) and value.strip().isalpha():
        raise FieldError('this must be "hard" or the width of a soft edge such as "4 mm"', 'write edge = "hard"')
    return quantity("length", 0.1, 1000.0)(value)


def names_of(what: str, example: str) -> Check[tuple[str, ...]]:
    """Return a check for the name of `what` ("a zone"), or a list of them, each once."""

    def check(value: object) -> tuple[str, ...]:
        if isinstance(value, str):
            return (text(value),)
        if not isinstance(value, list | tuple) or not value:
            raise FieldError(f"the name of {what} or a list of names is wanted", f"write for example {example}")
        found = tuple(text(name) for name in value)
        if len(set(found)) < len(found):
            raise FieldError(f"{what} is listed twice", "leave one of them out")
        return found

    return Check(check, f"the name of {what}, or a list of names", {"anyOf": [TEXT, list_of(TEXT)]})


@takes("[x, y, width, height] in pixels", list_of({"type": "integer", "minimum": 0}, least=4, most=4))
def pixel_box(value: object) -> tuple[int, int, int, int]:
    """Check a rectangle in a picture: [x, y, width, height], whole pixels."""
    numbers = [v for v in value if isinstance(v, int) and not isinstance(v, bool)] if isinstance(value, list) else []
    if len(numbers) != 4 or len(numbers) != len(value):  # type: ignore[arg-type]
        raise FieldError("a rectangle is wanted as four whole numbers of pixels", "write [x, y, width, height]")
    x, y, width, height = numbers
    if min(x, y) < 0 or min(width, height) < 1 or max(numbers) > 100_000:
        raise FieldError(
            "the rectangle must lie in the picture and be at least 1 pixel wide and high", "measure it again"
        )
    return x, y, width, height


@takes("four corners [x, y] in pixels, from the top left clockwise", list_of(_PAIR, least=4, most=4))
def pixel_corners(value: object) -> tuple[tuple[float, float], ...]:
    """Check the corners of a rectangle in a picture: four points [x, y] in pixels, from the top left clockwise."""
    points = value if isinstance(value, list | tuple) else []
    pairs = [
        p for p in points if isinstance(p, list | tuple) and len(p) == 2 and all(type(v) in (int, float) for v in p)
    ]
    if len(points) != 4 or len(pairs) != 4 or not all(0 <= v <= 100_000 for p in pairs for v in p):
        raise FieldError(
            "four corners are wanted as [x, y] in pixels, from the top left clockwise",
            "write for example [[40, 52], [900, 60], [890, 700], [48, 690]]",
        )
    return tuple((float(x), float(y)) for x, y in pairs)


@takes("rows of [wavelength in nm, number, ...]", list_of(list_of({"type": "number"}, least=2), least=2))
def roots(value: object) -> tuple[tuple[float, ...], ...]:
    """Check rows of [wavelength in nm, then the same count of numbers in every row], the wavelength rising."""
    example = "write for example [[400, 0.05, 0.01], [450, 0.06, -0.02]]"
    if not isinstance(value, list | tuple) or not 2 <= len(value) <= 5000:
        raise FieldError("at least two rows of [wavelength in nm, number, ...] are wanted", example)
    rows: list[tuple[float, ...]] = []
    for place, row in enumerate(value, start=1):
        numbers = isinstance(row, list | tuple) and all(type(v) in (int, float) and abs(v) < 3000.0 for v in row)
        if not numbers or len(row) < 2 or (rows and (len(row) != len(rows[0]) or row[0] <= rows[-1][0])):
            raise FieldError(f"row {place} does not fit: as many numbers in every row, wavelengths rising", example)
        rows.append(tuple(float(v) for v in row))
    return tuple(rows)


@takes("rows of [wavelength in nm, absorptivity in L/(g cm), decadic]", list_of(_PAIR, least=2))
def spectrum(value: object) -> tuple[tuple[float, float], ...]:
    """Check rows of [wavelength in nm, absorptivity in L/(g cm), decadic], the wavelength rising."""
    example = "write for example [[400, 82.0], [450, 60.0]]"
    if not isinstance(value, list | tuple) or not 2 <= len(value) <= 5000:
        raise FieldError("at least two rows of [wavelength in nm, absorptivity in L/(g cm)] are wanted", example)
    rows: list[tuple[float, float]] = []
    for place, row in enumerate(value, start=1):
        if not isinstance(row, list | tuple) or len(row) != 2 or any(isinstance(v, bool) for v in row):
            raise FieldError(f"row {place} is not a pair [wavelength in nm, absorptivity]", example)
        wavelength, absorptivity = row
        if not isinstance(wavelength, int | float) or not isinstance(absorptivity, int | float):
            raise FieldError(f"row {place} holds something that is not a number", example)
        if not 200.0 <= wavelength <= 2500.0:
            raise FieldError(f"row {place}: a wavelength must be from 200 to 2500 nm", example)
        if not 0.0 <= absorptivity <= 5000.0:
            raise FieldError(f"row {place}: an absorptivity must be from 0 to 5000 L/(g cm)", example)
        if rows and wavelength <= rows[-1][0]:
            raise FieldError(
                f"row {place}: wavelengths must rise, {wavelength:g} nm comes after {rows[-1][0]:g} nm", example
            )
        rows.append((float(wavelength), float(absorptivity)))
    return tuple(rows)


def one_or_several(value: Any) -> Any:
    """Let a single table stand for a list of one."""
    if value == []:
        raise FieldError("the list is empty", "write one or more in it, or leave the line out")
    return [value] if isinstance(value, dict) else value


Text = Annotated[str, PlainValidator(text)]
FilePath = Annotated[Path, PlainValidator(path)]
Flag = Annotated[bool, PlainValidator(flag)]
Colour = Annotated[str, PlainValidator(colour)]
LengthMm = Annotated[float, PlainValidator(quantity("length", 1.0, 20_000.0))]
BurstWidthMm = Annotated[float, PlainValidator(quantity("length", 0.1, 20_000.0))]
PointMm = Annotated[tuple[float, float], PlainValidator(point_mm)]
PolygonMm = Annotated[tuple[tuple[float, float], ...], PlainValidator(polygon_mm)]
EdgeMm = Annotated[float, PlainValidator(edge_mm)]
RidgeMm = Annotated[float, PlainValidator(quantity("length", 0.02, 5.0))]
FormMm = Annotated[float, PlainValidator(quantity("length", 0.0, 500.0))]
ZoneNames = Annotated[tuple[str, ...], PlainValidator(names_of("a zone", '["head", "neck"]'))]
OpeningNames = Annotated[tuple[str, ...], PlainValidator(names_of("an opening", '["opening 1"]'))]
ShareOrFlag = Annotated[float, PlainValidator(share_or_flag)]
PixelCorners = Annotated[tuple[tuple[float, float], ...], PlainValidator(pixel_corners)]
PixelBox = Annotated[tuple[int, int, int, int], PlainValidator(pixel_box)]
VolumeML = Annotated[float, PlainValidator(quantity("volume", 0.0, 10_000.0))]
DensityGPerML = Annotated[float, PlainValidator(quantity("density", 0.3, 5.0))]
ConcentrationGPerL = Annotated[float, PlainValidator(quantity("concentration", 0.001, 2000.0))]
FractionRange = Annotated[Range, PlainValidator(quantity_range("fraction", 0.01, 1.0))]
DropsPerML = Annotated[Range, PlainValidator(quantity_range("drops", 5.0, 200.0))]
FilmUm = Annotated[Told, PlainValidator(film)]
StrengthInMix = Annotated[Strength, PlainValidator(strength)]
Roots = Annotated[tuple[tuple[float, ...], ...], PlainValidator(roots)]
Spectrum = Annotated[tuple[tuple[float, float], ...], PlainValidator(spectrum)]
Lights = Annotated[tuple[str, ...], PlainValidator(lights)]
Observer = Annotated[int, PlainValidator(observer)]
