"""What the dye goes over, as written."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Literal

from pydantic import Field, PlainValidator

from layerpreview.film import SILVERS, MetalBase
from layerpreview.scheme import fields as f
from layerpreview.scheme import work_fields as w
from layerpreview.scheme.fields import Additive, Frozen
from layerpreview.scheme.work import PlainEntry
from layerpreview.spray.pooling import LEVELLING
from layerpreview.surface.glints import SPARKLES
from layerpreview.surface.relief import RELIEF_KINDS
from layerpreview.surface.wood import FIGURES
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range

BASE_SOURCES = ("relief", "grain", "picture", "colour", "height_picture")
USUAL_SILVER = "medium"
SOAK_OF_GRAIN = 0.5  # how much more dye open grain takes: assumed
_Seed = Annotated[int, PlainValidator(f.whole(0, 2**32 - 1))]
_LampFromDeg = Annotated[float, PlainValidator(f.degrees(-360.0, 360.0))]
_LampHeightDeg = Annotated[float, PlainValidator(f.degrees(5.0, 90.0))]


class ReliefOptions(Frozen):
    """The generated relief: its seed, the size of its large features [mm], slopes, tint, where the main lamp stands.

    Without `cell_mm` the kind's usual size.
    """

    seed: _Seed = 7
    cell_mm: Annotated[float, PlainValidator(f.quantity("length", 0.5, 200.0))] | None = Field(None, alias="cell")
    height: Annotated[float, PlainValidator(f.number(0.2, 3.0))] = 1.0
    tint: f.Colour | None = None
    lamp_from_deg: _LampFromDeg = Field(315.0, alias="lamp_from")
    lamp_height_deg: _LampHeightDeg = Field(50.0, alias="lamp_height")


class HeightOptions(Frozen):
    """How the user's own relief picture is used: its true width, and for a height map the height from black to white.

    `width_mm` is always set, `depth_mm` for the kind "height", once a scheme is read. `brightness`: a grey picture of
    the same place, which says how bright the flakes are.
    """

    kind: Annotated[Literal["height", "normal"], PlainValidator(f.choice("height", "normal"))] = "height"
    width_mm: f.LengthMm | None = Field(None, alias="width")
    depth_mm: Annotated[float, PlainValidator(f.quantity("length", 0.001, 50.0))] | None = Field(None, alias="depth")
    brightness: f.FilePath | None = None
    tile: f.Flag = True
    tint: f.Colour | None = None
    lamp_from_deg: _LampFromDeg = Field(315.0, alias="lamp_from")
    lamp_height_deg: _LampHeightDeg = Field(50.0, alias="lamp_height")


class GrainOptions(Frozen):
    """Generated wood grain: its seed."""

    seed: _Seed = 7


class PictureOptions(Frozen):
    """How a base photo is used: which part of it, its true width [mm], carried on or not, evened out or not, its card.

    `neutral_colour` is what a white or grey card of `neutral_reflectance` shows in the photo, where it lies outside of
    what is used. `crop_px` is x, y, width, height; `corners_px` four points from the top left clockwise, which are made
    square. The width is that of the part. `even_out` is the share of uneven light that is taken out [0..1].
    `taken`: of a white, solid or wooden base, whether it shows the dry surface or what lies under clear already; under
    clear where that is not said.
    """

    width_mm: f.LengthMm | None = Field(None, alias="width")
    crop_px: f.PixelBox | None = Field(None, alias="crop")
    corners_px: f.PixelCorners | None = Field(None, alias="corners")
    tile: f.Flag = False
    even_out: f.ShareOrFlag = 0.0
    taken: Annotated[Literal["dry", "under clear"], PlainValidator(f.choice("dry", "under clear"))] | None = None
    neutral_patch_px: f.PixelBox | None = Field(None, alias="neutral_patch")
    neutral_colour: f.Colour | None = None
    neutral_reflectance: Annotated[float, PlainValidator(f.number(0.02, 1.0))] = 0.9


OPTIONS_OF = {
    "relief_options": "relief",
    "grain_options": "grain",
    "picture_options": "picture",
    "height_options": "height_picture",
}


class Base(Frozen):
    """What the dye goes over; exactly one of BASE_SOURCES is set.

    `relief_um` [um] is the measured height of its texture, peak to valley; `stated_levelling` how much of it a wet coat
    fills before it sets [0..1]; `coat` the base coat, where one is sprayed.
    Of metal: `silver` names what the flakes are, `flake_spread` to `brightness` overrule it one by one (see `metal`);
    `sparkle` says how its flakes flash, `additive` is a glitter mixed in: its size [mm] and its share of the area.
    """

    kind: Annotated[Literal["metal", "solid", "wood"], PlainValidator(f.choice("metal", "solid", "wood"))]
    relief: Annotated[str, PlainValidator(f.choice(*RELIEF_KINDS))] | None = None
    grain: Annotated[str, PlainValidator(f.choice(*FIGURES))] | None = None
    picture: f.FilePath | None = None
    colour: f.Colour | None = None
    height_picture: f.FilePath | None = None
    silver: Annotated[str, PlainValidator(f.choice(*SILVERS))] | None = None
    flake_spread: Annotated[float, PlainValidator(f.number(0.05, 0.5))] | None = None
    broad_spread: Annotated[float, PlainValidator(f.number(0.1, 1.0))] | None = None
    broad_share: Annotated[float, PlainValidator(f.number(0.0, 1.0))] | None = None
    brightness: Annotated[float, PlainValidator(f.number(0.05, 1.0))] | None = None
    sparkle: Annotated[str, PlainValidator(f.choice(*SPARKLES))] | None = None
    additive: Annotated[Additive, PlainValidator(f.additive)] | None = None
    relief_um: w.ReliefUm | None = Field(None, alias="relief_height")
    stated_levelling: Annotated[Range, PlainValidator(f.quantity_range("fraction", 0.0, 1.0))] | None = Field(
        None, alias="levelling"
    )
    coat: PlainEntry | None = None
    stated_soak: Annotated[float, PlainValidator(f.number(0.0, 1.0))] | None = Field(None, alias="soak")
    relief_options: ReliefOptions = ReliefOptions()
    grain_options: GrainOptions = GrainOptions()
    picture_options: PictureOptions = PictureOptions()
    height_options: HeightOptions = HeightOptions()

    @property
    def metal(self) -> MetalBase:
        """The flakes of a metal base: of the named silver, the medium one where nothing is said.

        A `flake_spread` alone is one even lobe of clean aluminium, as schemes were written before silvers had names.
        """
        plain = self.silver is None and self.flake_spread is not None
        named = MetalBase(flake_spread=0.3) if plain else SILVERS[self.silver or USUAL_SILVER]
        said = {
            "flake_spread": self.flake_spread,
            "broad_spread": self.broad_spread,
            "broad_share": self.broad_share,
            "scale": self.brightness,
        }
        return replace(named, **{name: value for name, value in said.items() if value is not None})

    @property
    def levelling(self) -> Told:
        """Share of the relief that a wet coat levels out before it sets [0..1]: as stated, else none to all of it."""
        if self.stated_levelling is not None:
            return Told.of(self.stated_levelling, "", Rest(Basis.STATED))
        return Told.of(LEVELLING, "", Rest(Basis.ASSUMED, f"none to all of it, likely {100 * LEVELLING.likely:g} %"))

    def changed_by(self, own: Base) -> Base:
        """Return this base with what was written in `own`, another of its kind, in place of its own.

        A picture, relief or whatever else it is made of comes with options of its own. The base coat is not told again.
        """
        written = {name: getattr(own, name) for name in own.model_fields_set}
        if any(source in written for source in BASE_SOURCES):
            plain = Base.model_construct(kind=self.kind)
            written = {name: getattr(plain, name) for name in (*BASE_SOURCES, *OPTIONS_OF)} | written
        return self.model_copy(update={"coat": None, **written})

    @property
    def soak(self) -> float:
        """How much more dye open grain takes [0..1]: as stated, else 0.5 for grain and 0 for all else."""
        if self.stated_soak is not None:
            return self.stated_soak
        return SOAK_OF_GRAIN if self.grain is not None else 0.0

    @property
    def soak_rests_on(self) -> Basis:
        """Whether the soak is stated or assumed."""
        return Basis.ASSUMED if self.stated_soak is None else Basis.STATED
