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

    seed: _Seed = Field(7, description="Another number, another pattern.", examples=[3])
    cell_mm: Annotated[float, PlainValidator(f.quantity("length", 0.5, 200.0))] | None = Field(
        None,
        alias="cell",
        description="Size of the large features; without it, as is usual of this relief.",
        examples=["11 mm"],
    )
    height: Annotated[float, PlainValidator(f.number(0.2, 3.0))] = Field(
        1.0, description="How steep it is, as a multiple of the usual.", examples=[1.2]
    )
    tint: f.Colour | None = Field(None, description="Colour of the metal.", examples=["#d9c9a0"])
    lamp_from_deg: _LampFromDeg = Field(
        315.0,
        alias="lamp_from",
        description="Where the main lamp of the flat pictures stands, clockwise from the top.",
        examples=[315],
    )
    lamp_height_deg: _LampHeightDeg = Field(
        50.0, alias="lamp_height", description="How high that lamp stands.", examples=[50]
    )


class HeightOptions(Frozen):
    """How the user's own relief picture is used: its true width, and for a height map the height from black to white.

    `width_mm` is always set, `depth_mm` for the kind "height", once a scheme is read. `brightness`: a grey picture of
    the same place, which says how bright the flakes are.
    """

    kind: Annotated[Literal["height", "normal"], PlainValidator(f.choice("height", "normal"))] = Field(
        "height",
        description="Whether the picture's grey is height, or its colours are directions (a normal map).",
        examples=["height"],
    )
    width_mm: f.LengthMm | None = Field(
        None, alias="width", description="True width of what the picture shows; always wanted.", examples=["120 mm"]
    )
    depth_mm: Annotated[float, PlainValidator(f.quantity("length", 0.001, 50.0))] | None = Field(
        None, alias="depth", description="Height from its black to its white; wanted for heights.", examples=["0.4 mm"]
    )
    brightness: f.FilePath | None = Field(
        None,
        description="A grey picture of the same place that says how bright the flakes are.",
        examples=["base_brightness.png"],
    )
    tile: f.Flag = Field(True, description="Whether it is repeated where the face is larger.", examples=[True])
    tint: f.Colour | None = Field(None, description="Colour of the metal.", examples=["#d9c9a0"])
    lamp_from_deg: _LampFromDeg = Field(
        315.0,
        alias="lamp_from",
        description="Where the main lamp of the flat pictures stands, clockwise from the top.",
        examples=[315],
    )
    lamp_height_deg: _LampHeightDeg = Field(
        50.0, alias="lamp_height", description="How high that lamp stands.", examples=[50]
    )


class GrainOptions(Frozen):
    """Generated wood grain: its seed."""

    seed: _Seed = Field(7, description="Another number, another pattern.", examples=[3])


class PictureOptions(Frozen):
    """How a base photo is used: which part of it, its true width [mm], carried on or not, evened out or not, its card.

    `neutral_colour` is what a white or grey card of `neutral_reflectance` shows in the photo, where it lies outside of
    what is used. `crop_px` is x, y, width, height; `corners_px` four points from the top left clockwise, which are made
    square. The width is that of the part. `even_out` is the share of uneven light that is taken out [0..1].
    `taken`: of a white, solid or wooden base, whether it shows the dry surface or what lies under clear already; under
    clear where that is not said.
    """

    width_mm: f.LengthMm | None = Field(
        None, alias="width", description="True width of what is used of the photo.", examples=["420 mm"]
    )
    crop_px: f.PixelBox | None = Field(
        None, alias="crop", description="The part of the photo that is used.", examples=[[320, 0, 2400, 1800]]
    )
    corners_px: f.PixelCorners | None = Field(
        None,
        alias="corners",
        description="Or the corners of what is used; it is made square.",
        examples=[[[40, 52], [900, 60], [890, 700], [48, 690]]],
    )
    tile: f.Flag = Field(
        False, description="Whether its texture is carried on where the face is larger.", examples=[True]
    )
    even_out: f.ShareOrFlag = Field(
        0.0, description="How much of fall-off, soft reflection and glare is taken out.", examples=[0.5]
    )
    taken: Annotated[Literal["dry", "under clear"], PlainValidator(f.choice("dry", "under clear"))] | None = Field(
        None,
        description="Of a solid or wooden base: whether the photo shows it dry or cleared; cleared where not said.",
        examples=["dry"],
    )
    neutral_patch_px: f.PixelBox | None = Field(
        None,
        alias="neutral_patch",
        description="Where a white or grey card lies in the photo.",
        examples=[[40, 60, 200, 120]],
    )
    neutral_colour: f.Colour | None = Field(
        None, description="Or what such a card shows that lies beside what is used.", examples=["#d8d2c8"]
    )
    neutral_reflectance: Annotated[float, PlainValidator(f.number(0.02, 1.0))] = Field(
        0.9, description="How much light that card sends back.", examples=[0.9]
    )


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

    kind: Annotated[Literal["metal", "solid", "wood"], PlainValidator(f.choice("metal", "solid", "wood"))] = Field(
        description="What it is: silver and the like, white or a colour, or wood.", examples=["metal"]
    )
    relief: Annotated[str, PlainValidator(f.choice(*RELIEF_KINDS))] | None = Field(
        None, description="Metal: a made texture.", examples=["lifted"]
    )
    grain: Annotated[str, PlainValidator(f.choice(*FIGURES))] | None = Field(
        None, description="Wood: a made grain.", examples=["flame"]
    )
    picture: f.FilePath | None = Field(None, description="Or a photo of your own base.", examples=["base.jpg"])
    colour: f.Colour | None = Field(None, description="Or one even colour.", examples=["#c8cacc"])
    height_picture: f.FilePath | None = Field(
        None, description="Metal: or your own relief, as a height or normal map.", examples=["relief.png"]
    )
    silver: Annotated[str, PlainValidator(f.choice(*SILVERS))] | None = Field(
        None, description="Metal: what its flakes are, by name; medium where nothing is said.", examples=["medium"]
    )
    flake_spread: Annotated[float, PlainValidator(f.number(0.05, 0.5))] | None = Field(
        None,
        description="Metal: how widely flakes scatter, 0.05 like a mirror, 0.5 coarse. Alone it is one even lobe.",
        examples=[0.3],
    )
    broad_spread: Annotated[float, PlainValidator(f.number(0.1, 1.0))] | None = Field(
        None, description="Metal: how widely the broad share of the light is scattered.", examples=[0.45]
    )
    broad_share: Annotated[float, PlainValidator(f.number(0.0, 1.0))] | None = Field(
        None, description="Metal: how much of the light is scattered broadly.", examples=[0.6]
    )
    brightness: Annotated[float, PlainValidator(f.number(0.05, 1.0))] | None = Field(
        None, description="Metal: how much light the flakes send back, 1 for clean aluminium.", examples=[0.3]
    )
    sparkle: Annotated[str, PlainValidator(f.choice(*SPARKLES))] | None = Field(
        None, description="Metal: how its flakes flash under lamps.", examples=["medium"]
    )
    additive: Annotated[Additive, PlainValidator(f.additive)] | None = Field(
        None,
        description="Metal: a glitter mixed in, the size of its flakes and their share of the area.",
        examples=["flake, 0.2 mm, 3 %"],
    )
    relief_um: w.ReliefUm | None = Field(
        None,
        alias="relief_height",
        description="Height of its texture, peak to valley, as measured: coats then gather in the hollows.",
        examples=["40 to 90 um"],
    )
    stated_levelling: Annotated[Range, PlainValidator(f.quantity_range("fraction", 0.0, 1.0))] | None = Field(
        None,
        alias="levelling",
        description="Metal: how much of the relief a wet coat levels out before it sets; assumed where not said.",
        examples=["20 to 50 %"],
    )
    coat: PlainEntry | None = Field(
        None,
        description="The base coat, where one is sprayed: a product, its coats and film.",
        examples=[{"name": "silver base", "coats": 3}],
    )
    stated_soak: Annotated[float, PlainValidator(f.number(0.0, 1.0))] | None = Field(
        None,
        alias="soak",
        description="Wood: how much more dye open grain takes; 0.5 for a made grain where not said, else 0.",
        examples=[0.5],
    )
    relief_options: ReliefOptions = Field(ReliefOptions(), description="More of a made relief.", examples=[{"seed": 3}])
    grain_options: GrainOptions = Field(GrainOptions(), description="More of a made grain.", examples=[{"seed": 3}])
    picture_options: PictureOptions = Field(
        PictureOptions(), description="How the photo is used.", examples=[{"width": "420 mm", "tile": True}]
    )
    height_options: HeightOptions = Field(
        HeightOptions(),
        description="How the relief picture is used.",
        examples=[{"width": "120 mm", "depth": "0.4 mm"}],
    )

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
