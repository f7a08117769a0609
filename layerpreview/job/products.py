"""What a mix sheet needs beyond the colour: what the products' sheets say, the shop's prices, how the gun is set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from layerpreview.scheme import Base, PlainEntry, ProductEntry, Scheme
from layerpreview.scheme.fields import film_of_word
from layerpreview.scheme.work import BASE_FILM, CLEAR_FILM
from layerpreview.scheme.work_fields import Price
from layerpreview.spray.batch import Tools
from layerpreview.spray.budget import KEEP_OVER_PEAKS_UM, SOLIDS_ASSUMED
from layerpreview.spray.ingredients import Ratio
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range

CLEAR_ASSUMED = (3, film_of_word(CLEAR_FILM))
BASE_ASSUMED = (2, film_of_word(BASE_FILM))
"""Coats and wet film of each: common practice, no source."""
USUAL_TOOLS = Tools()
SPARE_ASSUMED = Told.of(0.25, "", Rest(Basis.ASSUMED))
"""Added to the likely amount for touch-up and for a hand that sprays wetter: common practice, no source."""
LEVEL_GRITS = (800, 1000, 1500, 2000)
"""From levelling to polishing: common practice, no source."""
RELIEF_ASSUMED_UM = {  # peak to valley: assumed, no source; measure your own
    "lifted": Range(30.0, 60.0, 120.0),
    "hammered": Range(50.0, 100.0, 200.0),
    "coarse flake": Range(5.0, 12.0, 25.0),
    "fine flake": Range(2.0, 5.0, 10.0),
    "brushed": Range(3.0, 6.0, 12.0),
}


@dataclass(frozen=True)
class Product:
    """What the sheet of one product says about it, ready to spray. Everything is optional; what lacks is said so.

    `ratio` splits what is not dye. `densities_g_per_mL`, `prices` and `part_names` are by part ("carrier", "thinner",
    "catalyst"). `solids` by volume [0..1]. Times in [min]: `pot_life_min` once catalysed, `flash_min` from coat to
    coat, `dry_min` before the next stage. `isocyanate`: whether it holds any, None where that is not stated.
    """

    name: str = ""
    ratio: Ratio | None = None
    densities_g_per_mL: Mapping[str, float] = field(default_factory=dict)
    solids: Range | None = None
    pot_life_min: Range | None = None
    flash_min: Range | None = None
    dry_min: Range | None = None
    isocyanate: bool | None = None
    prices: Mapping[str, Price] = field(default_factory=dict)
    part_names: Mapping[str, str] = field(default_factory=dict)

    @property
    def catalysed(self) -> bool:
        """Whether a catalyst is poured into it."""
        return self.ratio is not None and any(part == "catalyst" for part, _ in self.ratio.parts)


@dataclass(frozen=True)
class PlainCoats:
    """Coats that carry no dye, below or above it: the base coat or the clear. Wet film of one coat [um]."""

    product: Product = Product()
    coats: int = CLEAR_ASSUMED[0]
    film_um: Told = CLEAR_ASSUMED[1]
    coats_basis: Basis = Basis.ASSUMED


@dataclass(frozen=True)
class GunLines:
    """How the gun is set, as text for the sheet. What is not stated is what manuals and common practice say.

    Distance and overlap: TM 1-1500-344-23-2 / NAVAIR 01-1A-509-2 (2009), A-8: 6 to 10 in, half of the last stroke.
    """

    nozzle: str = ""
    pressure: str = ""
    fan: str = ""
    distance: str = ""
    overlap: str = ""
    direction: str = ""


@dataclass(frozen=True)
class Details:
    """All of it; products by the name of their mix, `paints` by the label of their opaque coat, `bases_of` by face.

    `batch_mL` holds batches that the user states, by mix. `level_grits` in the order they are used. `hour_price` and
    the products' prices are in `currency`. `dye_prices` by dye.
    """

    units: Literal["metric", "US"] = "metric"
    spare: Told = SPARE_ASSUMED
    mixes: Mapping[str, Product] = field(default_factory=dict)
    paints: Mapping[str, Product] = field(default_factory=dict)
    base: PlainCoats | None = None
    bases_of: Mapping[str, PlainCoats] = field(default_factory=dict)
    clear: PlainCoats = PlainCoats()
    gun: GunLines = GunLines()
    level_grits: tuple[int, ...] = LEVEL_GRITS
    keep_um: float = KEEP_OVER_PEAKS_UM
    batch_mL: Mapping[str, Fraction] = field(default_factory=dict)
    tools: Tools = USUAL_TOOLS
    dye_prices: Mapping[str, Price] = field(default_factory=dict)
    hour_price: Fraction | None = None
    currency: str = ""


def details_of(scheme: Scheme) -> Details:
    """What the scheme says about products, gun, sanding and shop; the usual where it says nothing."""
    gun, sanding, shop = scheme.gun, scheme.sanding, scheme.shop
    fan, distance, overlap = (told.written if told else "" for told in (gun.fan_mm, gun.distance_mm, gun.overlap))
    return Details(
        units=shop.units,
        spare=SPARE_ASSUMED if shop.spare is None else Told.of(shop.spare, "", Rest(Basis.STATED)),
        mixes={name: _product(mix) for name, mix in scheme.mixes.items()},
        paints={name: _product(paint) for name, paint in scheme.paints.items()},
        base=_plain(scheme.base.coat, *BASE_ASSUMED) if scheme.base.coat else None,
        bases_of={name: _plain(base.coat, *BASE_ASSUMED) for name, base in scheme.bases_of.items() if base.coat},
        clear=_plain(scheme.clear, *CLEAR_ASSUMED),
        gun=GunLines(gun.nozzle or "", gun.pressure or "", fan, distance, overlap, gun.direction or ""),
        level_grits=LEVEL_GRITS if sanding.grits is None else sanding.grits,
        keep_um=KEEP_OVER_PEAKS_UM if sanding.keep_um is None else sanding.keep_um,
        batch_mL={name: mix.batch_mL for name, mix in scheme.mixes.items() if mix.batch_mL is not None},
        tools=Tools(shop.small_syringe_mL, shop.syringe_mL, shop.cup_mL, shop.scale_g),
        dye_prices={name: dye.price for name, dye in scheme.dyes.items() if dye.price is not None},
        hour_price=shop.hour_price,
        currency=shop.currency,
    )


def _product(entry: ProductEntry, name: str = "") -> Product:
    return Product(
        name=name,
        ratio=entry.ratio,
        densities_g_per_mL=entry.densities_g_per_mL,
        solids=entry.solids,
        pot_life_min=entry.pot_life_min,
        flash_min=entry.flash_min,
        dry_min=entry.dry_min,
        isocyanate=entry.isocyanate,
        prices=entry.prices,
    )


def _plain(entry: PlainEntry, coats: int, usual_um: Told) -> PlainCoats:
    return PlainCoats(
        _product(entry, entry.name or ""),
        entry.stated_coats or coats,
        entry.stated_film_um or usual_um,
        Basis.STATED if entry.stated_coats else Basis.ASSUMED,
    )


def solids_of(product: Product, kind: str) -> Told:
    """Solids by volume [0..1] of a product as its sheet has them; the usual of its `kind` ("dye", "clear" ...) else."""
    if product.solids is not None:
        return Told.of(product.solids, "", Rest(Basis.STATED))
    usual = SOLIDS_ASSUMED[kind]
    return Told.of(usual, "", Rest(Basis.ASSUMED, f"{100 * usual.low:g} to {100 * usual.high:g} %"))


def relief_of(base: Base) -> Told | None:
    """Height of a base's relief, peak to valley [um]; None where it has none that is known."""
    if base.relief_um is not None:
        return Told.of(base.relief_um, "um", Rest(Basis.STATED))
    if base.relief in RELIEF_ASSUMED_UM:
        usual = RELIEF_ASSUMED_UM[str(base.relief)].scaled(base.relief_options.height)
        return Told.of(usual, "um", Rest(Basis.ASSUMED, str(base.relief)))
    return None
