"""The written scheme as frozen models in base units (mm, um, mL, g/L, degrees).

The keys of the file are the aliases of the fields (``width`` -> `width_mm`), so that a path in an error is a path in
the file. Models are built from values as the file has them (``Face(width="300 mm")``); use `model_copy(update=...)`
to change a value in base units.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PlainValidator

from layerpreview.scheme import fields as f
from layerpreview.units import Range

FORMAT_VERSION = 1
WHOLE_FACE = "face"
NEAR_OUTLINE, NEAR_OPENINGS = "outline", "openings"
SHAPES = ("panel", "ellipse", "disc", "teardrop", "double bout", "drum shell", "tube", "picture", "drawing")
OPENING_SHAPES = ("panel", "ellipse", "disc", "teardrop", "double bout", "picture", "drawing")
SIZES_OF_SHAPE: dict[str, tuple[str, ...]] = {
    "panel": ("width", "height"),
    "ellipse": ("width", "height"),
    "teardrop": ("width", "height"),
    "double bout": ("width", "height"),
    "disc": ("diameter",),
    "drum shell": ("diameter", "depth"),
    "tube": ("diameter", "length"),
}
TRANSFER_OF_GUN = {"conventional": Range(0.25, 0.325, 0.40), "HVLP": Range(0.40, 0.525, 0.65)}
TRANSFER_UNKNOWN = Range(0.25, 0.45, 0.65)  # both kinds of gun


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Opening(_Frozen):
    """A hole or cavity in a face; `centre_mm` is across and down from the top left corner of the face's box."""

    name: f.Text
    shape: Annotated[str, PlainValidator(f.choice(*OPENING_SHAPES))]
    width_mm: f.LengthMm | None = Field(None, alias="width")
    height_mm: f.LengthMm | None = Field(None, alias="height")
    diameter_mm: f.LengthMm | None = Field(None, alias="diameter")
    picture: f.FilePath | None = None
    drawing: f.FilePath | None = None
    centre_mm: f.PointMm = Field(alias="centre")
    turn_deg: Annotated[float, PlainValidator(f.degrees(-360.0, 360.0))] = Field(0.0, alias="turn")


class Face(_Frozen):
    """One flat picture of the part; which sizes are set depends on `shape` (see SIZES_OF_SHAPE)."""

    name: f.Text
    shape: Annotated[str, PlainValidator(f.choice(*SHAPES))]
    width_mm: f.LengthMm | None = Field(None, alias="width")
    height_mm: f.LengthMm | None = Field(None, alias="height")
    diameter_mm: f.LengthMm | None = Field(None, alias="diameter")
    depth_mm: f.LengthMm | None = Field(None, alias="depth")
    length_mm: f.LengthMm | None = Field(None, alias="length")
    picture: f.FilePath | None = None
    drawing: f.FilePath | None = None
    openings: tuple[Opening, ...] = Field((), alias="opening")


class ReliefOptions(_Frozen):
    """The generated relief: its seed, the size of its large cells [mm], slopes, tint and where the main lamp stands."""

    seed: Annotated[int, PlainValidator(f.whole(0, 2**32 - 1))] = 7
    cell_mm: Annotated[float, PlainValidator(f.quantity("length", 0.5, 200.0))] = Field(11.0, alias="cell")
    height: Annotated[float, PlainValidator(f.number(0.2, 3.0))] = 1.0
    tint: f.Colour | None = None
    lamp_from_deg: Annotated[float, PlainValidator(f.degrees(-360.0, 360.0))] = Field(315.0, alias="lamp_from")
    lamp_height_deg: Annotated[float, PlainValidator(f.degrees(5.0, 90.0))] = Field(50.0, alias="lamp_height")


class PictureOptions(_Frozen):
    """How a base photo is used: its true width [mm], repeated or not, evened out or not, and its grey card."""

    width_mm: f.LengthMm | None = Field(None, alias="width")
    tile: f.Flag = False
    even_out: f.Flag = False
    neutral_patch_px: f.PixelBox | None = Field(None, alias="neutral_patch")
    neutral_reflectance: Annotated[float, PlainValidator(f.number(0.02, 1.0))] = 0.9


class Base(_Frozen):
    """What the dye goes over; exactly one of `relief`, `picture` and `colour` is set."""

    kind: Annotated[Literal["metal", "solid", "wood"], PlainValidator(f.choice("metal", "solid", "wood"))]
    relief: Annotated[str, PlainValidator(f.choice("lifted"))] | None = None
    picture: f.FilePath | None = None
    colour: f.Colour | None = None
    flake_spread: Annotated[float, PlainValidator(f.number(0.05, 0.5))] = 0.3
    relief_options: ReliefOptions = ReliefOptions()
    picture_options: PictureOptions = PictureOptions()


class DyeEntry(_Frozen):
    """A dye as the scheme writes it: where its spectrum comes from, and what overrides the dye file."""

    library: f.Text | None = None
    file: f.FilePath | None = None
    absorptivity: f.Spectrum | None = None
    concentrate_g_per_L: f.ConcentrationGPerL | None = Field(None, alias="concentrate")
    density_g_per_mL: f.DensityGPerML | None = Field(None, alias="density")
    drops_per_mL: f.DropsPerML | None = None


class Dye(_Frozen):
    """A dye ready for use, whatever it was read from.

    `absorptivity_L_per_g_cm` is decadic, of the pure dye, at `wavelength_nm`. `concentrate_g_per_L` is the pure dye in
    a litre of the dye as sold, None for a powder sold pure. Density and drops are of the dye as sold.
    """

    name: str
    kind: Literal["generic", "fitted", "table", "stated"]
    provenance: str
    wavelength_nm: tuple[float, ...]
    absorptivity_L_per_g_cm: tuple[float, ...]
    concentrate_g_per_L: float | None = None
    density_g_per_mL: float | None = None
    drops_per_mL: Range | None = None


class Mix(_Frozen):
    """Dyes in a carrier; `strengths` by dye name, in the finished mix. `name` is the key of the table."""

    name: str = ""
    strengths: dict[str, f.StrengthInMix] = Field(alias="dyes")
    carrier: f.Text = "carrier"
    density_g_per_mL: f.DensityGPerML | None = Field(None, alias="density")
    solids: f.Fraction01 | None = None


class Burst(_Frozen):
    """Build that falls from full at an edge to `centre` at `width_mm` from it.

    `source` is "outline", "openings" or the name of one opening.
    """

    source: f.Text = Field(alias="from")
    width_mm: f.BurstWidthMm = Field(alias="width")
    fall_off: Annotated[Literal["linear", "soft", "fan"], PlainValidator(f.choice("linear", "soft", "fan"))] = "soft"
    centre: Annotated[float, PlainValidator(f.number(0.0, 1.0))] = 0.0


class AnyCoat(_Frozen):
    """What every coat has."""

    coats: Annotated[int, PlainValidator(f.whole(1, 60))] = 1
    film: f.FilmOfCoat = f.Film(f.FILM_WORDS_UM["medium"], "assumed (medium)")
    zone: f.Text = WHOLE_FACE
    bursts: Annotated[tuple[Burst, ...], BeforeValidator(f.one_or_several)] = Field((), alias="burst")

    @property
    def film_um(self) -> Range:
        """Wet film of one coat [um]."""
        return self.film.um

    @property
    def film_basis(self) -> str:
        """Say what the film rests on: "stated", or "assumed (medium)" and the like."""
        return self.film.basis


class DyeCoat(AnyCoat):
    """`coats` coats of a dye mix over a zone."""

    mix: f.Text


class OpaqueCoat(AnyCoat):
    """`coats` coats of an opaque colour; coverage = 1 - 10^(-hiding * coats * build)."""

    colour: f.Colour = Field(alias="opaque")
    hiding: Annotated[float, PlainValidator(f.number(0.01, 20.0))]


class Clear(_Frozen):
    """The clear coats on top."""

    finish: Annotated[Literal["gloss", "satin", "matt"], PlainValidator(f.choice("gloss", "satin", "matt"))] = "gloss"


class Gun(_Frozen):
    """The gun: how much of what it sprays lands, and what is left in cup and lines."""

    kind: Annotated[Literal["conventional", "HVLP"], PlainValidator(f.choice("conventional", "HVLP"))] | None = None
    stated_transfer: f.FractionRange | None = Field(None, alias="transfer")
    stated_residue_mL: f.VolumeML | None = Field(None, alias="residue")

    @property
    def transfer(self) -> Range:
        """Transfer efficiency [0..1]: as stated, else the usual range of this kind of gun."""
        return self.stated_transfer or (TRANSFER_OF_GUN[self.kind] if self.kind else TRANSFER_UNKNOWN)

    @property
    def transfer_basis(self) -> str:
        """Say what the transfer efficiency rests on."""
        return "stated" if self.stated_transfer else f"assumed ({self.kind or 'kind of gun not stated'})"

    @property
    def residue_mL(self) -> float:
        """Left in cup and lines for each mix [mL]."""
        return 15.0 if self.stated_residue_mL is None else self.stated_residue_mL

    @property
    def residue_basis(self) -> str:
        """Say what the residue rests on."""
        return "assumed" if self.stated_residue_mL is None else "stated"


class Scheme(_Frozen):
    """One finish as written, read and checked; `coats` in the order they are sprayed, paths joined to `folder`."""

    name: str
    faces: tuple[Face, ...]
    base: Base
    dyes: dict[str, Dye] = {}
    mixes: dict[str, Mix] = {}
    coats: tuple[DyeCoat | OpaqueCoat, ...] = ()
    clear: Clear = Clear()
    gun: Gun = Gun()
    lights: tuple[str, ...] = ("D65",)
    observer_deg: int = 2
    folder: Path = Path()
    file: Path = Path()

    def mix_of(self, coat: DyeCoat) -> Mix:
        """Return the mix that a coat is sprayed with."""
        return self.mixes[coat.mix]
