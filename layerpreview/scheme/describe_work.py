"""What a scheme says about products, gun, sanding and shop, told in plain words; what it does not say is left out."""

from __future__ import annotations

from collections.abc import Iterator

from layerpreview.scheme.model import Scheme
from layerpreview.scheme.work import PlainEntry, ProductEntry
from layerpreview.units import Range


def clear_and_base_coats(entry: PlainEntry) -> str:
    """Name, coats and film of coats without dye, as far as stated, to put behind "clear": empty where nothing is."""
    parts = [entry.name] if entry.name else []
    if entry.stated_coats is not None:
        parts.append(f"{entry.stated_coats} coat{'s' if entry.stated_coats > 1 else ''}")
    if entry.stated_film_um is not None:
        film = entry.stated_film_um
        parts.append(f"{ends(film)} um wet each, {film.basis}")
    return ", ".join(parts)


def work_lines(scheme: Scheme) -> Iterator[str]:
    """Yield a line for each product of which something is stated, then gun, sanding, light fastness and shop."""
    products: list[tuple[str, ProductEntry]] = [
        *([("base coat", scheme.base.coat)] if scheme.base.coat else []),
        *((f"base coat of {name}", base.coat) for name, base in scheme.bases_of.items() if base.coat),
        *scheme.mixes.items(),
        *scheme.paints.items(),
        ("clear", scheme.clear),
    ]
    for name, product in products:
        if told := _product(product):
            yield f"product {name}: {told}"
    gun = scheme.gun
    settings = [
        f"{what} {value}"
        for what, value in (
            ("nozzle", gun.nozzle),
            ("pressure", gun.pressure),
            ("fan", gun.fan_mm and gun.fan_mm.written),
            ("distance", gun.distance_mm and gun.distance_mm.written),
            ("overlap", gun.overlap and gun.overlap.written),
            ("direction", gun.direction),
        )
        if value
    ]
    if settings:
        yield f"gun: {'; '.join(settings)}"
    if scheme.sanding.grits:
        yield f"sanded with {', '.join(f'P{grit}' for grit in scheme.sanding.grits)}"
    fast = [f"{name} {ends(dye.light_fastness)}" for name, dye in scheme.dyes.items() if dye.light_fastness]
    if fast:
        yield f"light fastness, blue wool step (stated): {', '.join(fast)}"
    yield from _shop(scheme)


def ends(value: Range) -> str:
    """A range by its ends, a single figure as that."""
    return f"{value.low:g}" if value.low == value.high else f"{value.low:g} to {value.high:g}"


def _product(product: ProductEntry) -> str:
    parts = [f"ratio {product.ratio.written}"] if product.ratio else []
    for what, time in (("pot life", product.pot_life_min), ("flash", product.flash_min), ("dry", product.dry_min)):
        if time is not None:
            parts.append(f"{what} {_time(time)}")
    if product.isocyanate is not None:
        parts.append("holds isocyanates" if product.isocyanate else "stated free of isocyanates")
    return ", ".join(parts)


def _time(time: Range) -> str:
    factor, unit = (60.0, "h") if time.low >= 60.0 else (1.0, "min")
    return f"{ends(time.scaled(1.0 / factor))} {unit}"


def _shop(scheme: Scheme) -> Iterator[str]:
    shop = scheme.shop
    parts = [f"{shop.units} units"] if "units" in shop.model_fields_set else []
    if shop.spare is not None:
        parts.append(f"{100 * shop.spare:g} % to spare")
    if shop.hour_price is not None:
        parts.append(f"an hour of work {float(shop.hour_price):g} {shop.currency}".rstrip())
    if parts:
        yield f"shop: {', '.join(parts)}"
