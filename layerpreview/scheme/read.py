"""Reading a scheme file: every problem of the file at once, each with its line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from os import PathLike
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, PlainValidator

from layerpreview.errors import SchemeError
from layerpreview.scheme import fields as f
from layerpreview.scheme import model as m
from layerpreview.scheme.base import Base
from layerpreview.scheme.coat import AnyCoat, Coat, DyeCoat, OpaqueCoat, RingsEntry, WrittenAt
from layerpreview.scheme.dyefile import library_names, load_dye, load_library_dye
from layerpreview.scheme.limits import MOST, check_counts, too_many
from layerpreview.scheme.part import Face, Form, Room
from layerpreview.scheme.report import Place, Report, keys_of, table_told
from layerpreview.scheme.rings import coats_of_rings
from layerpreview.scheme.rules import check_rules, files_named, with_kind
from layerpreview.scheme.shop_used import with_shop_values
from layerpreview.scheme.shop_values import ShopValues, load_shop_values, shop_beside
from layerpreview.scheme.source import open_toml, toml_in
from layerpreview.scheme.work import Clear, Gun, ProductEntry, Sanding, Shop
from layerpreview.scheme.work_fields import POWDER

Model = TypeVar("Model", bound=BaseModel)
LONGEST_NAME = 60
TABLES = ("base", "clear", "gun", "form", "sanding", "shop")
_LISTS = ("face", "coat")
# With a name to show.
NAMED_TABLES = {"dye": "amber", "mix": "amber", "paint": "rim", "base_of": "head", "surroundings": "porch"}


class Top(BaseModel):
    """The keys above the first table."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    layerpreview: Annotated[int, PlainValidator(f.whole(1, m.FORMAT_VERSION))] = Field(
        description="Version of this format; always the first line.", examples=[1]
    )
    name: f.Text = Field(description="What the job is called.", examples=["a name of your own"])
    lights: f.Lights = Field(
        ("D65",), description="The lights it is judged under; the first is the main one.", examples=[["D65", "A"]]
    )
    observer: f.Observer = Field(
        2,
        description="The eye that colours are worked out for: the CIE's 2 degree observer, or its 10 degree one.",
        examples=["2 deg"],
    )


def load_scheme(path: str | PathLike[str], *, shop: ShopValues | Literal[False] | None = None) -> m.Scheme:
    """Return the scheme written in a TOML file, checked, in base units, with its dyes read.

    What it does not state itself is as this `shop` measured it: by the ``shop.toml`` in the scheme's folder or the one
    above where none is given; False for the usual values of tables.
    Raises SchemeError with every problem of the file (and of the dye files it names): file, line, field, value, rule
    and what to do about it. List items in a field's path count from 1, as in ``coat[2].burst.width``.
    """
    return _scheme_in(open_toml(path), Path(path), shop)


def scheme_from_text(
    text: str, path: str | PathLike[str], *, shop: ShopValues | Literal[False] | None = None
) -> m.Scheme:
    """Return the scheme in `text`, read as if it stood in the file `path`, whether that is there or not.

    `shop` and what it raises are as of `load_scheme`.
    """
    return _scheme_in(toml_in(text, path), Path(path), shop)


def _scheme_in(report: Report, path: Path, shop: ShopValues | Literal[False] | None) -> m.Scheme:
    version = report.raw.get("layerpreview")
    if isinstance(version, int) and version > m.FORMAT_VERSION:
        report.add(
            ("layerpreview",), "this scheme was written for a newer layerpreview", "read it with a newer layerpreview"
        )
        raise SchemeError(report.problems)
    check_counts(report)
    if report.problems:
        raise SchemeError(report.problems)
    own = _own_values(report, path) if shop is None else shop or None
    scheme = _scheme_of(report, path)
    if scheme is None or report.problems:
        raise SchemeError(sorted(report.problems, key=lambda p: (p.file != report.file, p.file, p.line or 0)))
    return scheme if own is None else with_shop_values(scheme, own)


def _own_values(report: Report, path: Path) -> ShopValues | None:
    """The shop's own values beside a scheme, None where there are none, or after reporting what is wrong with them."""
    place = shop_beside(path)
    try:
        return None if place is None else load_shop_values(place)
    except SchemeError as error:
        report.problems.extend(error.problems)
        return None


def _scheme_of(report: Report, path: Path) -> m.Scheme | None:
    """Return the scheme, or None after reporting why there is none; later checks run on what did parse."""
    folder = path.parent
    raw = report.raw
    _check_layout(report)
    top = report.check(Top, (), {k: v for k, v in raw.items() if k in keys_of(Top)}, folder)
    faces = [report.check(Face, place, value, folder) for place, value in _items(raw, "face")]
    coats = [
        (WrittenAt(entry, ring if len(found) > 1 else None), coat)
        for entry, (place, value) in enumerate(_items(raw, "coat"))
        for found in [_coats(report, place, value, folder)]
        for ring, coat in enumerate(found)
    ]
    if len(coats) > MOST["coat"]:
        report.add(("coat",), *too_many("coat", len(coats)))
    base = _table(report, Base, "base", folder) if "base" in raw else None
    bases_of = {str(p[-1]): _own_base(report, p, value, folder, base) for p, value in _entries(raw, "base_of")}
    clear = _table(report, Clear, "clear", folder)
    gun = _table(report, Gun, "gun", folder)
    form = _table(report, Form, "form", folder)
    sanding = _table(report, Sanding, "sanding", folder)
    shop = _table(report, Shop, "shop", folder)
    dyes = {str(p[-1]): _dye(report, p, value, folder) for p, value in _entries(raw, "dye")}
    mixes = {str(p[-1]): _mix(report, p, value, folder) for p, value in _entries(raw, "mix")}
    paints = {str(p[-1]): _paint(report, p, value, folder) for p, value in _entries(raw, "paint")}
    rooms = {str(p[-1]): _room(report, p, value, folder) for p, value in _entries(raw, "surroundings")}
    check_rules(report, folder, dyes)
    if report.problems or not (top and base and clear and gun and form and sanding and shop):
        return None
    return m.Scheme(
        name=top.name,
        faces=_all(faces),
        base=base,
        base_of={name: own for name, own in bases_of.items() if own},
        dyes={name: dye for name, dye in dyes.items() if dye},
        mixes={name: mix for name, mix in mixes.items() if mix},
        coats=tuple(coat for _, coat in coats),
        coated_alike=tuple(name for name in bases_of if not {"kind", "coat"} & raw["base_of"][name].keys()),
        written_at=tuple(place for place, _ in coats),
        paints={name: paint for name, paint in paints.items() if paint},
        clear=clear,
        gun=gun,
        sanding=sanding,
        shop=shop,
        form=form,
        surroundings={name: room for name, room in rooms.items() if room},
        lights=top.lights,
        observer_deg=top.observer,
        folder=folder,
        file=path,
        inputs=(path, *files_named(raw, folder)),
        text=report.text,
    )


def _own_base(report: Report, place: Place, value: object, folder: Path, of_all: Base | None) -> Base | None:
    """Return the base of a face; one that says no kind is as the base `of_all` but for what it says."""
    if not isinstance(value, dict) or "kind" in value:
        return report.check(Base, place, value, folder)
    own = report.check(Base, place, with_kind(value, report.raw.get("base")), folder)
    return own and of_all and of_all.changed_by(own)


def _table(report: Report, model: type[Model], key: str, folder: Path) -> Model | None:
    value = report.raw.get(key, {})
    return None if isinstance(value, list) else report.check(model, (key,), value, folder)


def _good_name(report: Report, place: Place) -> None:
    name = str(place[-1])
    if not name.strip() or not name.isprintable() or len(name) > LONGEST_NAME:
        report.add(
            place, f"a name is one line of 1 to {LONGEST_NAME} characters", f"write for example [{place[0]}.amber]"
        )


def _all(items: list[Model | None]) -> tuple[Model, ...]:
    return tuple(item for item in items if item is not None)


def _items(raw: Any, key: str) -> Iterator[tuple[Place, object]]:
    value = raw.get(key)
    for number, item in enumerate(value if isinstance(value, list) else ()):
        yield (key, number), item


def _entries(raw: Any, key: str) -> Iterator[tuple[Place, object]]:
    value = raw.get(key)
    for name, item in (value if isinstance(value, dict) else {}).items():
        yield (key, name), item


def _check_layout(report: Report) -> None:
    """Check that each section is a table, a list of tables or tables with names of their own, as the format has it."""
    raw = report.raw
    known = (*keys_of(Top), *_LISTS, *TABLES, *NAMED_TABLES)
    for key in raw:
        if key not in known:
            report.unknown_key((key,), known)
    for key in _LISTS:
        if key in raw and not isinstance(raw[key], list):
            report.add(
                (key,), f"there can be several of these, so the brackets are double: [[{key}]]", f"write [[{key}]]"
            )
    for key in TABLES:
        if isinstance(raw.get(key), list):
            report.add(
                (key,), f"there is only one of these, so the brackets are single: [{key}]", f"write [{key}], once"
            )
    for key, example in NAMED_TABLES.items():
        if key in raw and not isinstance(raw[key], dict):
            report.add((key,), f"each {key} has a name of its own", f"write [{key}.{example}] and its keys below")
    if not raw.get("face"):
        report.add(
            ("face",), "a scheme has at least one face", 'add [[face]] with name = "front", a shape and its size'
        )
    if "base" not in raw:
        report.add(
            ("base",), "a scheme says what the dye goes over", 'add [base] with kind = "metal" and relief = "lifted"'
        )


def _coats(report: Report, place: Place, value: object, folder: Path) -> Sequence[Coat]:
    """Return the coats of one entry: one, several when it has rings, none after reporting why."""
    if not isinstance(value, dict):
        report.check(DyeCoat, place, value, folder)
        return ()
    given = [key for key in ("mix", "opaque", "rings") if key in value]
    if len(given) != 1:
        report.add(
            place,
            "a coat is a mix, an opaque colour or rings",
            'write exactly one of mix = "honey", opaque = "#120d0b" and rings = "..."',
        )
        rest = {k: v for k, v in value.items() if k not in ("mix", "opaque", "rings", "hiding", "name")}
        report.check(AnyCoat, place, rest, folder)
        return ()
    if given == ["rings"]:
        entry = report.check(RingsEntry, place, value, folder)
        mixes = report.raw.get("mix")
        return coats_of_rings(report, place, entry, mixes if isinstance(mixes, dict) else {}) if entry else ()
    opaque = given == ["opaque"]
    coat = report.check(OpaqueCoat, place, value, folder) if opaque else report.check(DyeCoat, place, value, folder)
    return (coat,) if coat else ()


def _mix(report: Report, place: Place, value: object, folder: Path) -> m.Mix | None:
    if isinstance(value, dict) and "name" in value:
        report.unknown_key((*place, "name"), [key for key in keys_of(m.Mix) if key != "name"])
        value = {k: v for k, v in value.items() if k != "name"}
    _good_name(report, place)
    mix = report.check(m.Mix, place, value, folder)
    return mix.model_copy(update={"name": str(place[-1])}) if mix else None


def _paint(report: Report, place: Place, value: object, folder: Path) -> ProductEntry | None:
    _good_name(report, place)
    return report.check(ProductEntry, place, value, folder)


def _room(report: Report, place: Place, value: object, folder: Path) -> Room | None:
    _good_name(report, place)
    return report.check(Room, place, value, folder)


def _dye(report: Report, place: Place, value: object, folder: Path) -> m.Dye | None:
    """Return the dye with its spectrum, wherever that comes from."""
    if not isinstance(value, dict):
        report.add(
            (*place[:1],),
            "each dye has a name of its own",
            f"write {table_told('dye', str(place[-1]))} and its keys below",
        )
        return None
    _good_name(report, place)
    entry = report.check(m.DyeEntry, place, value, folder)
    given = [key for key in ("library", "file", "absorptivity") if key in value]
    if len(given) != 1:
        found = f"{f.listed(given).replace(' or ', ' and ')} are all here" if given else "none is here"
        report.add(
            place, f"a dye has exactly one of library, file and absorptivity; {found}", 'for example library = "amber"'
        )
        return None
    source = _source_of(report, place, entry) if entry else None
    if entry is None or source is None:
        return None
    changes = {
        key: stated
        for key in ("concentrate_g_per_L", "density_g_per_mL", "drops_per_mL", "light_fastness", "price")
        if (stated := getattr(entry, key)) is not None
    }
    if entry.concentrate_g_per_L == POWDER:
        changes["concentrate_g_per_L"] = None
    return source.model_copy(update={"name": str(place[-1]), **changes})


def _source_of(report: Report, place: Place, entry: m.DyeEntry) -> m.Dye | None:
    if entry.absorptivity is not None:
        wavelength, absorptivity = zip(*entry.absorptivity, strict=True)
        return m.Dye(
            name=str(place[-1]),
            kind="stated",
            provenance="stated in the scheme",
            wavelength_nm=wavelength,
            absorptivity_L_per_g_cm=absorptivity,
        )
    if entry.library is not None:
        return _from_library(report, place, entry.library)
    assert entry.file is not None
    if not entry.file.is_file():
        return None  # check_rules says so
    try:
        return load_dye(entry.file)
    except SchemeError as error:
        report.problems.extend(error.problems)
        return None


def _from_library(report: Report, place: Place, name: str) -> m.Dye | None:
    names = library_names()
    if name not in names:
        hint = f.did_you_mean(name, names) or f"there are: {', '.join(names) or 'none'}"
        report.add((*place, "library"), "the library has no dye of this name", hint)
        return None
    return load_library_dye(name)
