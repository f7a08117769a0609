"""Rules of products that tie several of their values together."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from layerpreview.scheme.coat_rules import there_are
from layerpreview.scheme.fields import did_you_mean
from layerpreview.scheme.raw import Placed, named, names, tables
from layerpreview.scheme.report import Report
from layerpreview.scheme.source import toml_string
from layerpreview.scheme.work import PARTS
from layerpreview.scheme.written import parse_ratio
from layerpreview.spray.ingredients import Ratio
from layerpreview.units import UnitError


def check_products(report: Report) -> None:
    """Add every broken rule of the mixes, paints, base coats and clear coats."""
    for place, product in _products(report.raw):
        written = product.get("ratio")
        try:
            ratio = parse_ratio(written) if isinstance(written, str) else None
        except UnitError:
            continue  # the field says so
        if ratio is not None or written is None:
            _parts(report, place, product, ratio)
    opaque = [(place, coat) for place, coat in tables(report.raw, "coat") if "opaque" in coat]
    known = list(dict.fromkeys(names(opaque)))
    for name, _ in named(report.raw, "paint"):
        if name not in known:
            otherwise = f"add name = {toml_string(name)} to an opaque coat"
            hint = did_you_mean(name, known) or there_are("named opaque coats", known, otherwise)
            report.add(("paint", name), "there is no opaque coat of this name", hint)


def _products(raw: Any) -> Iterator[Placed]:
    for key in ("mix", "paint"):
        for name, product in named(raw, key):
            yield (key, name), product
    if isinstance(raw.get("clear"), dict):
        yield ("clear",), raw["clear"]
    if isinstance(raw.get("base"), dict) and isinstance(raw["base"].get("coat"), dict):
        yield ("base", "coat"), raw["base"]["coat"]
    for name, base in named(raw, "base_of"):
        if isinstance(base.get("coat"), dict):
            yield ("base_of", name, "coat"), base["coat"]


def _parts(report: Report, place: tuple[str | int, ...], product: dict[str, Any], ratio: Ratio | None) -> None:
    there = {part for part, _ in ratio.parts} if ratio else {"carrier"}
    for part in PARTS:
        density, price = f"{part}_density", f"{part}_price"
        if part not in there:
            for key in (density, price):
                if key in product:
                    remedy = "leave this out, or name it in ratio"
                    report.add((*place, key), f"the ratio has no {part}" if ratio else "there is no ratio", remedy)
        elif ratio and ratio.by == "weight" and density not in product:
            rule = f"a ratio by weight needs the density of the {part}"
            remedy = f'add {density} = "0.95 g/mL" (the product\'s sheet has it), or give the ratio by volume'
            report.add((*place, density), rule, remedy)
    if "pot_life" in product and "catalyst" not in there:
        remedy = 'name the catalyst: ratio = "4:1:1 clear:hardener:reducer"'
        report.add((*place, "pot_life"), "only a mix with a catalyst has a pot life", remedy)
