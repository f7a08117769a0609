"""The plan as the diary counts it: one step for each entry of coats, with what its product's sheet says of waiting."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from layerpreview.job.cautions import may_hold_isocyanate
from layerpreview.job.done import BASE_COAT, CLEAR_COAT, Done
from layerpreview.job.needed import Needed, needed_of
from layerpreview.job.plan import sanding_of
from layerpreview.job.products import Details, Product, details_of
from layerpreview.job.sprayed import Sprayed, longest, stages_surveyed
from layerpreview.picture.faces import FaceShape, shapes_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Scheme
from layerpreview.told import Told
from layerpreview.units import Range


@dataclass(frozen=True)
class Step:
    """One entry of coats, numbered as in `job.done`; base coats of several faces are one step.

    `name`: its title, with its number where several have that title. `batches`: titles of the mix sheet it is sprayed
    from. Wet film of one coat [um]; times [min], None: see the product's sheet. `dust`: it is sanded or cut back.
    """

    entry: int
    kind: str
    name: str
    batches: tuple[str, ...]
    coats: int
    film_um: Told
    flash_min: Range | None
    dry_min: Range | None
    isocyanate: bool
    dust: bool


@dataclass(frozen=True)
class Booth:
    """All steps in the order they are sprayed; the mix sheet's `batches` by title; whether the clear is sanded last."""

    steps: tuple[Step, ...]
    batches: Mapping[str, Needed]
    sanded: bool

    def step(self, entry: int) -> Step | None:
        """The step of an entry; None where the scheme has none."""
        return next((step for step in self.steps if step.entry == entry), None)

    def made(self, step: Step, done: Done) -> bool:
        """Whether a batch that a step is sprayed from was made, or one of its coats is on: then it is there."""
        there = {made.batch for made in done.batches}
        return bool(there.intersection(step.batches)) or done.coats_of(step.entry) > 0

    def product(self, batch: str) -> Product | None:
        """What the sheet of a batch's product says; None for a batch that the scheme does not have."""
        return self.batches[batch].product if batch in self.batches else None


def booth_of(
    scheme: Scheme, *, parts: Sequence[FaceShape] | None = None, surveys: Sequence[Survey] | None = None
) -> Booth:
    """The steps and batches of a scheme; `parts`, `surveys` of its faces where they were made already.

    Raises PictureError where a picture or drawing cannot be used.
    """
    details = details_of(scheme)
    parts = shapes_of(scheme) if parts is None else parts
    surveys = surveys or [Survey(scheme, part) for part in parts]
    stages = stages_surveyed(scheme, details, parts, surveys)
    batches = {needed.title: needed for needed in needed_of(scheme, stages)}
    titles = {needed.key: title for title, needed in batches.items()}
    base = [stage for stage in stages if stage.kind == "base"]
    coats = [stage for stage in stages if stage.kind in ("dye", "opaque")]
    seen = Counter(stage.title for stage in coats)
    steps = [_step(BASE_COAT, "base coat" if len(base) > 1 else base[0].title, base, titles)] if base else []
    for entry, stage in enumerate(coats, 1):
        name = stage.title if seen[stage.title] == 1 else f"{stage.title} (no. {entry})"
        steps.append(_step(entry, name, [stage], titles))
    steps.append(_clear(stages[-1], titles, scheme, details))
    return Booth(tuple(steps), batches, sanded=sanding_of(scheme.clear.finish, details)[1])


def _step(entry: int, name: str, stages: Sequence[Sprayed], titles: Mapping[str, str], dust: bool = False) -> Step:
    first = stages[0]
    return Step(
        entry=entry,
        kind=first.kind,
        name=name,
        batches=tuple(dict.fromkeys(titles[stage.key] for stage in stages)),
        coats=max(stage.coats for stage in stages),
        film_um=first.film_um,
        flash_min=longest([stage.product.flash_min for stage in stages]),
        dry_min=longest([stage.dry_min for stage in stages]),
        isocyanate=any(may_hold_isocyanate(stage) for stage in stages),
        dust=dust or any(stage.cut_back > 0.0 for stage in stages),
    )


def _clear(stage: Sprayed, titles: Mapping[str, str], scheme: Scheme, details: Details) -> Step:
    grits, polish = sanding_of(scheme.clear.finish, details)
    # A clear that is not polished is levelled before its last coat.
    return _step(CLEAR_COAT, stage.title, [stage], titles, dust=bool(grits) and not polish and stage.coats > 1)
