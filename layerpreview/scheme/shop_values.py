"""The shop's own values (``shop.toml`` beside the jobs): what was measured there, in place of what tables say.

It is looked for in the scheme's folder and then in the folder above it; the nearer one wins.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from os import PathLike
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, PlainValidator

from layerpreview.errors import SchemeError
from layerpreview.scheme import fields as f
from layerpreview.scheme.report import Report, keys_of
from layerpreview.scheme.shop_card import ShopCard
from layerpreview.scheme.source import open_toml
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range

SHOP_NAME = "shop.toml"
HELD_NAME = "shop-of-this-job.toml"
"""What a job goes on with once its diary is begun: what is taught later moves no colour that was agreed."""
SHOP_FORMAT = 1
UNKNOWN_GUN = "unknown"
GUN_KINDS = ("conventional", "HVLP", UNKNOWN_GUN)


@dataclass(frozen=True)
class OwnValue:
    """One value of the shop's own: its range, how many readings and how many jobs it rests on."""

    range: Range
    n: int
    jobs: int


@dataclass(frozen=True)
class JobMean:
    """What one job says of a value: `n` readings in `groups` (coats, batches), their geometric mean `likely`.

    `between` and `within` are standard deviations of natural logarithms: of the groups' means, of readings in a group;
    `unsure` is that of the mean itself by what was not measured (the film of a coat that nobody read).
    """

    likely: float
    n: int
    groups: int
    between: float = 0.0
    within: float = 0.0
    unsure: float = 0.0


@dataclass(frozen=True)
class JobTaught:
    """What a job taught: `key` tells it from others wherever its folder is now; means by kind and by what of it."""

    name: str
    key: str
    means: Mapping[tuple[str, str], JobMean] = field(default_factory=dict)


@dataclass(frozen=True)
class ShopValues:
    """What a shop measured of itself; `file` holds it. Films in [um], shares of what is sprayed [0..1], drops a mL.

    `card` is what it says of itself to clients.
    """

    file: Path = Path()
    film_um: Mapping[str, OwnValue] = field(default_factory=dict)
    transfer: Mapping[str, OwnValue] = field(default_factory=dict)
    drops_per_mL: Mapping[str, OwnValue] = field(default_factory=dict)
    jobs: tuple[JobTaught, ...] = ()
    card: ShopCard = field(default_factory=ShopCard)

    def film_of_word(self, word: str) -> Told:
        """Wet film of one light, medium or wet coat [um]: this shop's own, else the usual one."""
        own = self.film_um.get(word)
        return f.film_of_word(word) if own is None else _told(own, "um", word, "reading")

    @property
    def told(self) -> dict[str, dict[str, list[float]]]:
        """All of it as plain values: low, likely, high and how many readings."""
        tables = {"film_um": self.film_um, "transfer": self.transfer, "drops_per_mL": self.drops_per_mL}
        found: dict[str, dict[str, list[float]]] = {}
        for kind, table in tables.items():
            for name, own in sorted(table.items()):
                found.setdefault(kind, {})[name] = [own.range.low, own.range.likely, own.range.high, own.n]
        return found

    def transfer_of(self, kind: str | None) -> Told | None:
        """Share that lands [0..1] of what a gun of this kind sprays; None where the shop never measured it."""
        own = self.transfer.get(kind or UNKNOWN_GUN)
        return None if own is None else _told(own, "", kind or "kind of gun not stated", "batch", "batches")

    def drops_of(self, dye: str) -> Told | None:
        """Drops of a dye in a millilitre; None where the shop never counted them."""
        own = self.drops_per_mL.get(dye)
        return None if own is None else _told(own, "drops/mL", "", "count")


def _told(own: OwnValue, unit: str, what: str, one: str, many: str = "") -> Told:
    count = f"{own.n} {one if own.n == 1 else many or one + 's'}"
    return Told.of(own.range, unit, Rest(Basis.MEASURED, ", ".join(filter(None, (what, "this shop's own", count)))))


def shop_places(scheme: Path, *, held: bool = True) -> tuple[Path, ...]:
    """Where the shop's own values for a scheme may stand, the nearest first.

    `held`: with those that the job goes on with since its diary was begun, which stand before all others.
    """
    folder = scheme.parent
    places = folder / SHOP_NAME, folder.resolve().parent / SHOP_NAME
    return (folder / HELD_NAME, *places) if held else places


def shop_beside(scheme: Path, *, held: bool = True) -> Path | None:
    """The file with the shop's own values for a scheme; None where there is none. `held`: as in `shop_places`."""
    return next((place for place in shop_places(scheme, held=held) if place.is_file()), None)


def load_shop_values(path: str | PathLike[str]) -> ShopValues:
    """Return what a shop's file holds. Raises SchemeError with every problem of it, each with its line."""
    report = open_toml(path, what="shop")
    values = _values_of(report, Path(path))
    if report.problems:
        raise SchemeError(sorted(report.problems, key=lambda problem: problem.line or 0))
    return values


def _three(low: float, high: float, unit: str) -> Any:
    """Return a check for low, likely and high as three plain numbers that rise."""

    def check(value: object) -> Range:
        numbers = value if isinstance(value, list) else []
        if len(numbers) != 3 or not all(type(number) in (int, float) for number in numbers):
            example = f"[{low:g}, {(low * high) ** 0.5:.3g}, {high:g}]"
            raise f.FieldError("three numbers are wanted: low, likely and high", f"write them as in {example}")
        if not low <= numbers[0] <= numbers[1] <= numbers[2] <= high:
            raise f.FieldError(f"these must rise, from {low:g} to {high:g}{unit}", "write low, likely and high")
        return Range(*map(float, numbers))

    return PlainValidator(check)


Count = Annotated[int, PlainValidator(f.whole(1, 1_000_000))]
Spread = Annotated[float, PlainValidator(f.number(0.0, 5.0))]


class _Own(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    n: Count
    jobs: Count = 1


class _Film(_Own):
    um: Annotated[Range, _three(1.0, 1000.0, " um")]


class _Transfer(_Own):
    share: Annotated[Range, _three(0.01, 1.0, "")]


class _Drops(_Own):
    drops: Annotated[Range, _three(5.0, 200.0, " drops in a mL")]


class _Mean(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    likely: Annotated[float, PlainValidator(f.number(1e-3, 1e4))]
    n: Count
    groups: Count = 1
    between: Spread = 0.0
    within: Spread = 0.0
    unsure: Spread = 0.0


class _Job(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    name: f.Text
    key: f.Text


KINDS: dict[str, tuple[type[_Own], str]] = {
    "film": (_Film, "um"),
    "transfer": (_Transfer, "share"),
    "drops_per_mL": (_Drops, "drops"),
}
"""What the file holds: the tables, and the key of the three numbers in each."""


def _values_of(report: Report, path: Path) -> ShopValues:
    raw = report.raw
    known = ("layerpreview_shop", "shop", *KINDS, "job")
    for key in raw:
        if key not in known:
            report.unknown_key((key,), known)
    version = raw.get("layerpreview_shop")
    if isinstance(version, int) and version > SHOP_FORMAT:
        rule = "this file was written for a newer layerpreview"
        report.add(("layerpreview_shop",), rule, "read it with a newer layerpreview")
    elif isinstance(version, bool) or version != SHOP_FORMAT:
        report.add(("layerpreview_shop",), "the file says what it is by this line", "write layerpreview_shop = 1")
    found = {kind: _table(report, kind) for kind in KINDS}
    card = report.check(ShopCard, ("shop",), raw.get("shop", {}), Path()) or ShopCard()
    return ShopValues(path, found["film"], found["transfer"], found["drops_per_mL"], _jobs(report), card)


def _table(report: Report, kind: str) -> dict[str, OwnValue]:
    """The values of one kind, by film word, kind of gun or dye."""
    model, numbers = KINDS[kind]
    found = {}
    for name, value in _tables(report, (kind,), report.raw.get(kind, {})):
        _check_name(report, (kind, name))
        own = report.check(model, (kind, name), value, Path())
        if own is not None:
            found[name] = OwnValue(getattr(own, numbers), own.n, own.jobs)
    return found


def _check_name(report: Report, place: tuple[str | int, ...]) -> None:
    *_, kind, name = place
    known = {"film": tuple(f.FILM_WORDS_UM), "transfer": GUN_KINDS}.get(str(kind))
    if known is not None and name not in known:
        report.unknown_key(place, known)


def _tables(report: Report, place: tuple[str | int, ...], value: object) -> list[tuple[str, object]]:
    if isinstance(value, dict):
        return list(value.items())
    report.add(place, "each of these has a name of its own", f"write [{place[0]}.NAME] and its keys below")
    return []


def _jobs(report: Report) -> tuple[JobTaught, ...]:
    written = report.raw.get("job", [])
    if not isinstance(written, list):
        report.add(("job",), "there can be several of these, so the brackets are double: [[job]]", "write [[job]]")
        return ()
    found = []
    for number, item in enumerate(written):
        place: tuple[str | int, ...] = ("job", number)
        rest = {key: value for key, value in item.items() if key not in KINDS} if isinstance(item, dict) else item
        job = report.check(_Job, place, rest, Path())
        means = {}
        for kind in KINDS if isinstance(item, dict) else ():
            for name, value in _tables(report, (*place, kind), item.get(kind, {})):
                _check_name(report, (*place, kind, name))
                mean = report.check(_Mean, (*place, kind, name), value, Path())
                if mean is not None:
                    means[kind, name] = JobMean(**{key: getattr(mean, key) for key in keys_of(_Mean)})
        if job is not None:
            found.append(JobTaught(job.name, job.key, means))
    return tuple(found)
