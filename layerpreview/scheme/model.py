"""The written scheme as frozen models in base units (mm, um, mL, g/L, degrees).

The keys of the file are the aliases of the fields (``width`` -> `width_mm`), so that a path in an error is a path in
the file. Models are built from values as the file has them (``Face(width="300 mm")``); use `model_copy(update=...)`
to change a value in base units.
"""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import Literal, Self

from pydantic import Field, model_validator

from layerpreview.scheme import fields as f
from layerpreview.scheme import work_fields as w
from layerpreview.scheme.base import Base
from layerpreview.scheme.coat import Burst, Coat, DyeCoat, WrittenAt
from layerpreview.scheme.fields import Frozen
from layerpreview.scheme.part import NEAR_CENTRE, NEAR_LINE, NEAR_OPENINGS, NEAR_OUTLINE, Face, Form, Room, Zone
from layerpreview.scheme.shop_values import ShopValues
from layerpreview.scheme.work import Clear, Gun, ProductEntry, Sanding, Shop
from layerpreview.scheme.work_fields import Price
from layerpreview.surface.kept import KEPT, UNSAID
from layerpreview.told import Told
from layerpreview.units import Range

FORMAT_VERSION = 1


class DyeEntry(Frozen):
    """A dye as the scheme writes it: where its spectrum comes from, and what overrides the dye file."""

    library: f.Text | None = Field(
        None, description="A dye that comes along: it shows the kind of colour.", examples=["amber"]
    )
    file: f.FilePath | None = Field(
        None, description="Or a dye file, as learning a card writes it.", examples=["house_amber.dye.toml"]
    )
    absorptivity: f.Spectrum | None = Field(
        None, description="Or its spectrum.", examples=[[[400, 82.0], [450, 60.0], [520, 4.0], [700, 0.5]]]
    )
    concentrate_g_per_L: w.Concentrate | None = Field(
        None,
        alias="concentrate",
        description="Pure dye in a litre of it as sold; powder where it is sold pure.",
        examples=["40 g/L"],
    )
    density_g_per_mL: f.DensityGPerML | None = Field(
        None, alias="density", description="Density of the dye as sold, to weigh it.", examples=["0.95 g/mL"]
    )
    drops_per_mL: f.DropsPerML | None = Field(
        None, description="Drops in a millilitre, as you counted them.", examples=["44 to 53"]
    )
    light_fastness: w.LightFastness | None = Field(
        None, description="How well it lasts in light: its step on the blue wool scale, 8 is best.", examples=[6]
    )
    price: w.PriceOf | None = Field(None, description="What it costs.", examples=["18 per 50 mL"])


class Dye(Frozen):
    """A dye ready for use, whatever it was read from.

    `absorptivity_L_per_g_cm` is decadic, of the pure dye, at `wavelength_nm`. `concentrate_g_per_L` is the pure dye in
    a litre of the dye as sold, None for a powder sold pure. Density, drops and price are of the dye as sold. Drops that
    this shop counted are a `Told`. `light_fastness` is its step on the blue wool scale [1..8]. Of a dye learnt from a
    card, `low_...` and `high_...` are the ends of the 90 % range of its absorptivity, and `tested_from_mg_m2`,
    `tested_to_mg_m2` [mg/m2] the lightest and the heaviest load the card held.
    """

    name: str
    kind: Literal["generic", "fitted", "table", "stated"]
    provenance: str
    wavelength_nm: tuple[float, ...]
    absorptivity_L_per_g_cm: tuple[float, ...]
    low_L_per_g_cm: tuple[float, ...] | None = None
    high_L_per_g_cm: tuple[float, ...] | None = None
    tested_from_mg_m2: float | None = None
    tested_to_mg_m2: float | None = None
    concentrate_g_per_L: float | None = None
    density_g_per_mL: float | None = None
    drops_per_mL: Range | None = None
    light_fastness: Range | None = None
    price: Price | None = None

    @property
    def learnt_with_doubt(self) -> bool:
        """Whether its file says how far its absorptivity may be off."""
        return self.low_L_per_g_cm is not None and self.high_L_per_g_cm is not None


class Mix(ProductEntry):
    """Dyes in a carrier; `strengths` by dye name, in the finished mix. `name` is the key of the table.

    `batch_mL` [mL] is how much to make, where that is stated.
    """

    name: str = ""
    strengths: dict[str, f.StrengthInMix] = Field(
        alias="dyes",
        description="Each dye by name, and how much of it is in the finished mix.",
        examples=[{"amber": "12 mL/L"}],
    )
    carrier: f.Text = Field(
        "carrier", description="What the dye goes into, in your words.", examples=["clear solvent basecoat"]
    )
    density_g_per_mL: f.DensityGPerML | None = Field(
        None,
        alias="density",
        description="Density of the finished mix; wanted for strengths by weight.",
        examples=["0.92 g/mL"],
    )
    batch_mL: w.BatchML | None = Field(
        None, alias="batch", description="How much to make, where you want to say it.", examples=["250 mL"]
    )


class Scheme(Frozen):
    """One finish as written, read and checked; `coats` in the order they are sprayed, paths joined to `folder`.

    `paints` holds what is said about opaque coats, by their name. `bases_of` holds the bases of faces that have one of
    their own, by the face's name; those of `coated_alike` get the base coat of the rest. `written_at`: where the file
    has each coat (an entry with rings is several). `text` is the file as read, line ends made one; `inputs` all files
    it was read from: no result is written over one. `own`: the shop's own values that it was read with.
    """

    name: str
    faces: tuple[Face, ...]
    base: Base
    bases_of: dict[str, Base] = Field(default_factory=dict, alias="base_of")
    coated_alike: tuple[str, ...] = ()
    dyes: dict[str, Dye] = Field(default_factory=dict)
    mixes: dict[str, Mix] = Field(default_factory=dict)
    coats: tuple[Coat, ...] = ()
    written_at: tuple[WrittenAt, ...] = ()
    paints: dict[str, ProductEntry] = Field(default_factory=dict)
    clear: Clear = Clear()
    gun: Gun = Gun()
    sanding: Sanding = Sanding()
    shop: Shop = Shop()
    form: Form = Form()
    rooms: dict[str, Room] = Field(default_factory=dict, alias="surroundings")
    lights: tuple[str, ...] = ("D65",)
    observer_deg: int = 2
    folder: Path = Path()
    file: Path = Path()
    inputs: tuple[Path, ...] = ()
    own: ShopValues | None = None
    text: str = Field("", repr=False)

    @model_validator(mode="after")
    def _names_are_there(self) -> Self:
        """A file is checked line by line before it comes here; this is for a scheme built in code."""
        wanted = {
            "dye": ({dye for mix in self.mixes.values() for dye in mix.strengths}, set(self.dyes)),
            "mix": ({coat.mix for coat in self.coats if isinstance(coat, DyeCoat)}, set(self.mixes)),
            "face": (set(self.bases_of), {face.name for face in self.faces}),
        }
        missing = [f"no {kind} is called {name!r}" for kind, (used, there) in wanted.items() for name in used - there]
        if missing or not self.faces:
            raise ValueError("; ".join(sorted(missing)) or "a scheme has at least one face")
        return self

    def film_of_word(self, word: str) -> Told:
        """Wet film of one light, medium or wet coat in this shop [um]."""
        return f.film_of_word(word) if self.own is None else self.own.film_of_word(word)

    @property
    def shown_file(self) -> str:
        """The file it was read from as messages name it; empty for one that was built in code."""
        return "" if self.file == Path() else str(self.file)

    def mix_of(self, coat: DyeCoat) -> Mix:
        """Return the mix that a coat is sprayed with."""
        return self.mixes[coat.mix]

    def base_for(self, face_name: str) -> Base:
        """Return the base of a face: its own, else the scheme's."""
        return self.bases_of.get(face_name, self.base)

    def place_of(self, index: int) -> WrittenAt:
        """Return where the file has the coat at `index` of `coats`; a scheme built in code has one entry for each."""
        return self.written_at[index] if self.written_at else WrittenAt(index)

    def zones_of(self, coat: Coat, face: Face) -> tuple[Zone, ...] | None:
        """Return the zones of `face` that `coat` goes over: None for the whole face, () when it goes nowhere on it.

        Masked zones get no paint from any coat; they are never among these.
        """
        if coat.everywhere or face.name in coat.zones:
            return None
        return tuple(zone for zone in face.zones if zone.name in coat.zones)

    def kept_by(self, zone: Zone, face: Face) -> str | None:
        """Return the colour ("#rrggbb") of what a masked zone keeps; None where it is not masked or shows the base."""
        if not zone.masked:
            return None
        if zone.under is not None:
            return KEPT.get(zone.under, zone.under)
        return KEPT[UNSAID] if self.base_for(face.name).kind == "metal" else None

    def bursts_on(self, coat: Coat, face: Face, openings: Collection[str] | None = None) -> tuple[Burst, ...]:
        """Return the bursts of `coat` that act on `face`: those that start at something this face has, and none where
        the coat goes nowhere on it.

        `openings`: the names of its openings, which only a traced or drawn file knows in full; else the scheme's.
        """
        if self.zones_of(coat, face) == ():
            return ()
        own = (*face.through, *(opening.name for opening in face.openings))
        names = set(own if openings is None else openings)
        names |= {NEAR_OPENINGS} if names else set()
        there = {NEAR_OUTLINE, NEAR_LINE, NEAR_CENTRE, *names, *(zone.name for zone in face.zones)}
        return tuple(burst for burst in coat.bursts if burst.source in there and burst.face in (None, face.name))
