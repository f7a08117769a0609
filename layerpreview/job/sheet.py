"""The mix sheet as one frozen object: everything that is printed, whatever the form."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from layerpreview.job.agreed import HowAgreed
from layerpreview.job.batches import MixAmounts, mix_amounts
from layerpreview.job.cautions import Caution, general_cautions
from layerpreview.job.film_at import FilmAt, films_at
from layerpreview.job.plan import Mask, Stage, masks_of, sanding_of, stages_of
from layerpreview.job.products import Details, GunLines, details_of, relief_of, solids_of
from layerpreview.job.sprayed import Sprayed, stages_surveyed
from layerpreview.job.time_and_cost import Cost, Time, costs_of, times_of
from layerpreview.picture.faces import FaceShape, shapes_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Gun, Scheme
from layerpreview.spray.batch import Tools
from layerpreview.spray.budget import (
    RULE_OF_THUMB,
    SOLIDS_ASSUMED,
    Burial,
    FilmLayer,
    burial,
    dry_um_of,
    removed_by_um,
)
from layerpreview.told import Basis, Told
from layerpreview.units import Range


@dataclass(frozen=True)
class FaceSize:
    """One face: painted area [m2], length of all its edges [mm]."""

    name: str
    area_m2: float
    edge_mm: float


OWN_VALUES = "this shop's own (shop.toml)"
NO_RELIEF = "the base has no relief that is stated"
MEASURE_YOURS = "measure yours, state it as relief_height"


@dataclass(frozen=True)
class Ground:
    """What a figure of the sheet rests on: "published", "stated", "computed" or "common practice"."""

    what: str
    rests_on: str
    source: str


@dataclass(frozen=True)
class MixSheet:
    """Everything on the sheet. Amounts are exact fractions of a millilitre or gram that can be measured.

    `how_agreed`: whether this scheme is what was agreed. `layers` at full build; `films_at` what of them lies over one
    another at the places of every face, the thickest place of a face first; its sum is `total_dry_um`. The section is
    drawn of the thickest place of the face `section_of`.
    """

    name: str
    how_agreed: HowAgreed
    units: str
    tools: Tools
    lights: tuple[str, ...]
    faces: tuple[FaceSize, ...]
    mixes: tuple[MixAmounts, ...]
    layers: tuple[FilmLayer, ...]
    films_at: tuple[FilmAt, ...]
    total_dry_um: dict[str, Range]
    section_of: str
    relief_basis: str
    burial: Burial | None
    level_grits: tuple[int, ...]
    polished: bool
    masks: tuple[Mask, ...]
    stages: tuple[Stage, ...]
    gun: GunLines
    times: tuple[Time, ...]
    costs: tuple[Cost, ...]
    cost_total: Fraction | None
    currency: str
    cautions: tuple[Caution, ...]
    rests_on: tuple[Ground, ...]


def make_sheet(
    scheme: Scheme,
    details: Details | None = None,
    *,
    parts: Sequence[FaceShape] | None = None,
    surveys: Sequence[Survey] | None = None,
    how_agreed: HowAgreed | None = None,
) -> MixSheet:
    """Assemble the sheet of a scheme. `details` instead of what the scheme says about products, gun and shop.

    `how_agreed`: what the job's log says of it; nothing was agreed where it is None.

    `parts`, `surveys`: the shapes of its faces and what each coat leaves there, where they were made already.

    Raises InputError with all that is wrong: densities that lack, a batch that is too small, solids that cannot be.
    """
    details = details_of(scheme) if details is None else details
    parts = shapes_of(scheme) if parts is None else parts
    shapes = [part.outline for part in parts]
    surveys = surveys or [Survey(scheme, part) for part in parts]
    sprayed = stages_surveyed(scheme, details, parts, surveys)
    mixes = mix_amounts(scheme, details, sprayed)
    layers = tuple(_layer(stage) for stage in sprayed)
    masks = masks_of(scheme, parts, sprayed)
    areas = {part.face.name: part.outline.area_m2 for part in parts}
    times = times_of(details, masks, mixes, sprayed, areas, scheme.clear.finish)
    costs = costs_of(details, mixes, times)
    priced = [cost.price for cost in costs if cost.price is not None]
    relief_face, relief = _relief(scheme)
    grits, polish = sanding_of(scheme.clear.finish, details)
    films = films_at(layers, surveys, removed_um=removed_by_um(grits, polish=polish))
    totals = {film.face: film.total_um for film in reversed(films)}
    return MixSheet(
        name=scheme.name,
        how_agreed=how_agreed or HowAgreed(),
        units=details.units,
        tools=details.tools,
        lights=scheme.lights,
        faces=tuple(
            FaceSize(face.name, shape.area_m2, shape.edge_length_mm)
            for face, shape in zip(scheme.faces, shapes, strict=True)
        ),
        mixes=mixes,
        layers=layers,
        films_at=films,
        total_dry_um={face.name: totals[face.name] for face in scheme.faces},
        section_of=relief_face or max(totals, key=lambda name: totals[name].likely),
        relief_basis=_relief_words(relief),
        burial=burial_of(scheme, details, film_um=sprayed[-1].film_um, coats=sprayed[-1].coats),
        level_grits=grits,
        polished=polish,
        masks=masks,
        stages=tuple(stages_of(scheme, details, sprayed, mixes, masks)),
        gun=details.gun,
        times=times,
        costs=costs,
        cost_total=sum(priced, Fraction(0)) if priced else None,
        currency=details.currency,
        cautions=general_cautions(),
        rests_on=_rests_on(scheme, details, relief),
    )


def _layer(stage: Sprayed) -> FilmLayer:
    solids, wet = solids_of(stage.product, stage.kind), stage.film_um.scaled(stage.coats)
    dry = Told.from_inputs(dry_um_of(wet, solids), "um", film=wet, solids=solids)
    return FilmLayer(stage.title, stage.kind, stage.coats, wet, dry, stage.faces)


def _relief(scheme: Scheme) -> tuple[str, Told | None]:
    """The first face that has a relief, and its height [um]; no face where none is known."""
    for face in scheme.faces:
        if (relief := relief_of(scheme.base_for(face.name))) is not None:
            return face.name, relief
    return "", None


def _relief_words(relief: Told | None) -> str:
    if relief is None:
        return NO_RELIEF
    return relief.basis + (f": {MEASURE_YOURS}" if relief.weakest is Basis.ASSUMED else "")


def burial_of(scheme: Scheme, details: Details, *, film_um: Range, coats: int) -> Burial | None:
    """What `coats` clear coats of wet film `film_um` [um] do to the base's relief; None where no relief is known."""
    relief = _relief(scheme)[1]
    if relief is None:
        return None
    grits, polish = sanding_of(scheme.clear.finish, details)
    return burial(
        relief_um=relief,
        coats=coats,
        wet_um_per_coat=film_um,
        solids=details.clear.product.solids or SOLIDS_ASSUMED["clear"],
        removed_um=removed_by_um(grits, polish=polish),
        keep_um=details.keep_um,
    )


def _transfer_ground(gun: Gun) -> Ground:
    if gun.stated_transfer is None:
        source = (
            "conventional 25 to 40 % (40 CFR 60.313 and 60.723: air-atomised 25 %, air-assisted 40 %); HVLP 40 to "
            "65 % (South Coast AQMD asks 65 %); the middle is a judgement for small parts"
        )
        return Ground("transfer efficiency", "published", source)
    own = isinstance(gun.stated_transfer, Told)
    return Ground("transfer efficiency", gun.transfer.basis if own else "stated", OWN_VALUES if own else "scheme")


def _own_drops(scheme: Scheme) -> Iterator[Ground]:
    for name, dye in scheme.dyes.items():
        if isinstance(dye.drops_per_mL, Told):
            yield Ground(f"drops per mL of {name}", dye.drops_per_mL.basis, OWN_VALUES)


def _rests_on(scheme: Scheme, details: Details, relief: Told | None) -> tuple[Ground, ...]:
    films = ", ".join(dict.fromkeys(coat.film_um.basis for coat in scheme.coats))
    return (
        Ground("1 µm of wet film over 1 m2 is 1 mL", "computed", "definition of the units"),
        _transfer_ground(scheme.gun),
        *_own_drops(scheme),
        Ground(
            "drops per mL",
            "published",
            "water 18 to 22 (USP 1101); solvents 44 to 53 by Tate's law from surface tensions",
        ),
        Ground(
            "gun distance 150 to 250 mm (6 to 10 in), half overlap",
            "published",
            "TM 1-1500-344-23-2 / NAVAIR 01-1A-509-2 (2009), A-8",
        ),
        Ground(
            "wet film of a coat",
            films or "not used",
            "light, medium and wet are common practice, no source"
            + (f", unless {OWN_VALUES}" if scheme.own and scheme.own.film_um else ""),
        ),
        Ground(
            "what stays in cup and lines",
            scheme.gun.residue_mL.basis,
            "15 mL where not stated: common practice, no source",
        ),
        Ground("strokes past the edges", "common practice", "10 to 50 mm; no source"),
        Ground("spare", details.spare.basis, "25 % where not stated: common practice, no source"),
        Ground("solids where not stated", "common practice", "no source; the product's sheet has the figure"),
        Ground("what sanding removes, what stays on edges, clear to keep", "common practice", "no source"),
        Ground(
            "how a relief shows through", "computed", "a coat that levels while wet leaves 1 - solids of the relief"
        ),
        Ground(
            "relief", str(relief.weakest) if relief else NO_RELIEF, "measure your own with a depth gauge or sections"
        ),
        Ground("working times", "common practice", RULE_OF_THUMB.split(", ")[1]),
        Ground("volumes of dye, carrier, thinner and catalyst add up", "assumed", "no source"),
    )
