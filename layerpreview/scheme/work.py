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

    ratio: w.MixingRatio | None = Field(
        None,
        description="How it is mixed, of what is not dye; add by weight where that is meant.",
        examples=["4:1:1 clear:hardener:reducer"],
    )
    carrier_density_g_per_mL: f.DensityGPerML | None = Field(
        None,
        alias="carrier_density",
        description="Density of the carrier, to weigh as you pour.",
        examples=["0.98 g/mL"],
    )
    thinner_density_g_per_mL: f.DensityGPerML | None = Field(
        None, alias="thinner_density", description="Density of the thinner.", examples=["0.87 g/mL"]
    )
    catalyst_density_g_per_mL: f.DensityGPerML | None = Field(
        None, alias="catalyst_density", description="Density of the catalyst (hardener).", examples=["1.05 g/mL"]
    )
    solids: f.FractionRange | None = Field(
        None, description="Solids by volume, ready to spray.", examples=["42 to 48 %"]
    )
    pot_life_min: w.Minutes | None = Field(
        None, alias="pot_life", description="How long it can be sprayed once the catalyst is in.", examples=["1 to 2 h"]
    )
    flash_min: w.Minutes | None = Field(
        None, alias="flash", description="Time from coat to coat.", examples=["10 to 15 min"]
    )
    dry_min: w.Minutes | None = Field(
        None, alias="dry", description="Time before the next stage.", examples=["12 to 24 h"]
    )
    isocyanate: f.Flag | None = Field(
        None, description="Whether its safety data sheet names any isocyanate.", examples=[True]
    )
    carrier_price: w.PriceOf | None = Field(None, description="What the carrier costs.", examples=["52 per L"])
    thinner_price: w.PriceOf | None = Field(None, description="What the thinner costs.", examples=["12 per L"])
    catalyst_price: w.PriceOf | None = Field(None, description="What the catalyst costs.", examples=["38 per 500 mL"])

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

    name: f.Text | None = Field(None, description="What the product is called.", examples=["two-pack clear"])
    stated_coats: Annotated[int, PlainValidator(f.whole(1, 60))] | None = Field(
        None, alias="coats", description="How many coats.", examples=[4]
    )
    stated_film_um: f.FilmUm | None = Field(
        None, alias="film", description="Wet film of one coat.", examples=["50 to 60 um"]
    )


class Clear(PlainEntry):
    """The clear coats on top; `left_over_um` [um] is what of the base's relief shows in their face, peak to valley."""

    finish: Annotated[Literal["gloss", "satin", "matt"], PlainValidator(f.choice("gloss", "satin", "matt"))] = Field(
        "gloss", description="How it shines.", examples=["gloss"]
    )
    left_over_um: w.LeftOverUm | None = Field(
        None,
        alias="left_over",
        description="What is left of the base's relief in its face, peak to valley; much looks like orange peel.",
        examples=["5 um"],
    )


class Gun(Frozen):
    """The gun: how much of what it sprays lands, what is left in cup and lines, and how it is set.

    `fan_mm` [mm] is the width of the pattern at `distance_mm` [mm], `overlap` the share of the last stroke that the
    next one covers [0..0.95].
    """

    kind: Annotated[Literal["conventional", "HVLP"], PlainValidator(f.choice("conventional", "HVLP"))] | None = Field(
        None,
        description="What gun it is: says how much of the paint lands, where that is not stated.",
        examples=["HVLP"],
    )
    stated_transfer: f.FractionRange | None = Field(
        None,
        alias="transfer",
        description="Share of what is sprayed that lands; measured by weighing, it narrows every amount.",
        examples=["50 to 60 %"],
    )
    stated_residue_mL: f.VolumeML | None = Field(
        None,
        alias="residue",
        description="What is left in cup and lines, for each mix; 15 mL is assumed.",
        examples=["10 mL"],
    )
    nozzle: f.Text | None = Field(None, description="Nozzle, in your words.", examples=["1.3 mm"])
    pressure: f.Text | None = Field(None, description="Pressure, in your words.", examples=["2 bar"])
    fan_mm: w.FanMm | None = Field(
        None, alias="fan", description="Width of the spray pattern at your distance.", examples=["200 mm"]
    )
    distance_mm: w.DistanceMm | None = Field(
        None, alias="distance", description="Distance of the gun from the part.", examples=["150 to 180 mm"]
    )
    overlap: w.Overlap | None = Field(
        None, description="How much of the last stroke the next one covers.", examples=["50 %"]
    )
    direction: f.Text | None = Field(
        None, description="How the strokes go, in your words.", examples=["lengthwise, then across"]
    )

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

    grits: w.Grits | None = Field(
        None, description="Grits for the clear.", examples=[["P800", "P1000", "P1500", "P2000"]]
    )
    keep_um: w.KeepUm | None = Field(
        None, alias="keep", description="Clear that must be left over the peaks.", examples=["30 um"]
    )


class Shop(Frozen):
    """How this shop works: its card, units, what it makes to spare, prices, and the marks of its tools [mL], [g]."""

    name: f.Text | None = Field(
        None, description="Your shop's name, on the client's board.", examples=["Our finishing shop"]
    )
    mail: Mail | None = Field(None, description="Where a client's answer goes.", examples=["shop@example.com"])
    phone: Phone | None = Field(None, description="Your telephone, on the client's board.", examples=["+1 555 0100"])
    units: Annotated[Literal["metric", "US"], PlainValidator(f.choice("metric", "US"))] = Field(
        "metric", description="Units that sheets are written in.", examples=["metric"]
    )
    spare: w.Spare | None = Field(None, description="How much is made beyond the likely amount.", examples=["25 %"])
    currency: w.Currency = Field("", description="The currency of all prices.", examples=["EUR"])
    hour_price: w.HourPrice | None = Field(None, alias="hour", description="What an hour of work costs.", examples=[45])
    syringe_mL: w.MarksML = Field(
        Fraction(1, 10), alias="syringe", description="Finest mark of your syringe.", examples=["0.1 mL"]
    )
    small_syringe_mL: w.MarksML = Field(
        Fraction(1, 100), alias="small_syringe", description="Finest mark of your small syringe.", examples=["0.01 mL"]
    )
    cup_mL: w.MarksML = Field(Fraction(1), alias="cup", description="Finest mark of your cup.", examples=["1 mL"])
    scale_g: w.MarksG = Field(
        Fraction(1, 10), alias="scale", description="Finest mark of your scale.", examples=["0.1 g"]
    )
