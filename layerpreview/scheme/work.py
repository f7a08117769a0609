"""What a scheme may say about the work: the products' own sheets, the gun, the sanding, the shop; all is optional."""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated, Literal

from pydantic import Field, PlainValidator

from layerpreview.scheme import fields as f
from layerpreview.scheme import work_fields as w
from layerpreview.scheme.fields import Frozen
from layerpreview.scheme.shop_card import Mail, Phone
from layerpreview.scheme.work_fields import Price
from layerpreview.spray.ingredients import PartName
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range

TRANSFER_OF_GUN = {"conventional": Range(0.25, 0.325, 0.40), "HVLP": Range(0.40, 0.525, 0.65)}
"""Share of the sprayed paint that lands. Ends of the published figures (40 CFR 60.313 and 60.723: air-atomised 0.25,
air-assisted 0.40; South Coast AQMD: HVLP equivalents must show 0.65); the middle is a judgement for small parts."""
TRANSFER_UNKNOWN = Range(0.25, 0.45, 0.65)  # both kinds of gun
RESIDUE_ASSUMED_ML = 15.0
"""Left in cup and lines: common practice, no source."""
CLEAR_FILM, BASE_FILM = "wet", "medium"
"""How a clear and a base coat are sprayed where nothing is said of it: common practice, no source."""
PARTS: tuple[PartName, ...] = ("carrier", "thinner", "catalyst")


class ProductEntry(Frozen):
    """What the sheet of one product says about it, ready to spray.

    `ratio` splits what is not dye. `solids` by volume. `pot_life_min` once catalysed, `flash_min` from coat to coat,
    `dry_min` before the next stage.
    """

    ratio: w.MixingRatio | None = None
    carrier_density_g_per_mL: f.DensityGPerML | None = Field(None, alias="carrier_density")
    thinner_density_g_per_mL: f.DensityGPerML | None = Field(None, alias="thinner_density")
    catalyst_density_g_per_mL: f.DensityGPerML | None = Field(None, alias="catalyst_density")
    solids: f.FractionRange | None = None
    pot_life_min: w.Minutes | None = Field(None, alias="pot_life")
    flash_min: w.Minutes | None = Field(None, alias="flash")
    dry_min: w.Minutes | None = Field(None, alias="dry")
    isocyanate: f.Flag | None = None
    carrier_price: w.PriceOf | None = None
    thinner_price: w.PriceOf | None = None
    catalyst_price: w.PriceOf | None = None

    @property
    def densities_g_per_mL(self) -> dict[str, float]:
        """The densities that are stated, by part."""
        stated = {part: getattr(self, f"{part}_density_g_per_mL") for part in PARTS}
        return {part: density for part, density in stated.items() if density is not None}

    @property
    def prices(self) -> dict[str, Price]:
        """The prices that are stated, by part."""
        stated = {part: getattr(self, f"{part}_price") for part in PARTS}
        return {part: price for part, price in stated.items() if price is not None}


class PlainEntry(ProductEntry):
    """Coats without dye, below or above it."""

    name: f.Text | None = None
    stated_coats: Annotated[int, PlainValidator(f.whole(1, 60))] | None = Field(None, alias="coats")
    stated_film_um: f.FilmUm | None = Field(None, alias="film")


class Clear(PlainEntry):
    """The clear coats on top; `left_over_um` [um] is what of the base's relief shows in their face, peak to valley."""

    finish: Annotated[Literal["gloss", "satin", "matt"], PlainValidator(f.choice("gloss", "satin", "matt"))] = "gloss"
    left_over_um: w.LeftOverUm | None = Field(None, alias="left_over")


class Gun(Frozen):
    """The gun: how much of what it sprays lands, what is left in cup and lines, and how it is set.

    `fan_mm` [mm] is the width of the pattern at `distance_mm` [mm], `overlap` the share of the last stroke that the
    next one covers [0..0.95].
    """

    kind: Annotated[Literal["conventional", "HVLP"], PlainValidator(f.choice("conventional", "HVLP"))] | None = None
    stated_transfer: f.FractionRange | None = Field(None, alias="transfer")
    stated_residue_mL: f.VolumeML | None = Field(None, alias="residue")
    nozzle: f.Text | None = None
    pressure: f.Text | None = None
    fan_mm: w.FanMm | None = Field(None, alias="fan")
    distance_mm: w.DistanceMm | None = Field(None, alias="distance")
    overlap: w.Overlap | None = None
    direction: f.Text | None = None

    @property
    def transfer(self) -> Told:
        """Transfer efficiency [0..1]: as stated, else this shop's own, else the usual range of this kind of gun."""
        if isinstance(self.stated_transfer, Told):  # the shop's own, put there with what it rests on
            return self.stated_transfer
        if self.stated_transfer:
            return Told.of(self.stated_transfer, "", Rest(Basis.STATED))
        usual = TRANSFER_OF_GUN[self.kind] if self.kind else TRANSFER_UNKNOWN
        return Told.of(usual, "", Rest(Basis.ASSUMED, self.kind or "kind of gun not stated"))

    @property
    def residue_mL(self) -> Told:
        """Left in cup and lines for each mix [mL]."""
        if self.stated_residue_mL is None:
            return Told.of(RESIDUE_ASSUMED_ML, "mL", Rest(Basis.ASSUMED))
        return Told.of(self.stated_residue_mL, "mL", Rest(Basis.STATED))


class Sanding(Frozen):
    """How the clear is sanded: grits of the P scale from coarse to fine, and the clear [um] to leave over peaks."""

    grits: w.Grits | None = None
    keep_um: w.KeepUm | None = Field(None, alias="keep")


class Shop(Frozen):
    """How this shop works: its card, units, what it makes to spare, prices, and the marks of its tools [mL], [g]."""

    name: f.Text | None = None
    mail: Mail | None = None
    phone: Phone | None = None
    units: Annotated[Literal["metric", "US"], PlainValidator(f.choice("metric", "US"))] = "metric"
    spare: w.Spare | None = None
    currency: w.Currency = ""
    hour_price: w.HourPrice | None = Field(None, alias="hour")
    syringe_mL: w.MarksML = Field(Fraction(1, 10), alias="syringe")
    small_syringe_mL: w.MarksML = Field(Fraction(1, 100), alias="small_syringe")
    cup_mL: w.MarksML = Field(Fraction(1), alias="cup")
    scale_g: w.MarksG = Field(Fraction(1, 10), alias="scale")
