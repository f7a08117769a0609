"""The answer to "the same colour again": what to mix, what differs by how much and how sure, which card first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.remake import (
    CLEARLY_DE00,
    MOST_COATS,
    remade,
    remade_in,
    strength_moved,
    unchanged,
    worth_adding,
)
from layerpreview.answers.remake_booth import Booth, Recipe
from layerpreview.answers.remake_sure import Doubts, FirstCard, Sure, first_card, how_sure
from layerpreview.colour import JUST_SEEN_DE00, metamerism_de00, visibility
from layerpreview.scheme import Dye, DyeCoat
from layerpreview.units import Range

F64 = NDArray[np.float64]

AS_STRONG = Range.point(1.0)


@dataclass(frozen=True)
class DyeToday:
    """A dye of today, in `file`, beside the record's `name`: how much stronger as sold (90 % range), what hue is left.

    `strength_sure`, `hue_sure` [0..1]: how seldom an unchanged dye would look as different. `same`: within the doubt of
    both; `same_file`: it is the very file that the record holds; `never_measured`: that one is a kind of dye alone.
    """

    name: str
    file: str
    same: bool
    strength: Range = AS_STRONG
    strength_sure: float = 0.0
    hue_sure: float = 0.0
    hue_left_de00: float = 0.0
    hue_words: tuple[str, ...] = ()
    same_file: bool = False
    never_measured: bool = False


@dataclass(frozen=True)
class BaseToday:
    """Today's base under the record's own recipe: how far it takes the colour (CIEDE2000, root mean square), and how
    far a base that is told alike may be off."""

    same: bool
    other: bool = False
    moved_de00: float = 0.0
    doubt_de00: float = 0.0


@dataclass(frozen=True)
class FilmToday:
    """The wet film of one coat of an entry then and now [um], and whether each lies in the other's range."""

    entry: int
    mix: str
    was_um: Range
    now_um: Range
    same: bool


@dataclass(frozen=True, eq=False)
class Remade:
    """The answer; spectra, colours and differences in the order of `booth.wanted` and of the lights.

    `same`: dyes, base and films are those of the record within the doubt, so that `recipe` is the record's own and
    `booth` holds what today's things would make of it. `as_before`: today's things mixed and sprayed as in the record;
    `one_light`: matched under the first light alone; `index` (places, lights): the special metamerism index from the
    first light to each. `offer`: a recipe with further dyes, where that comes clearly closer; `as_tried`: one in
    another number of coats, whose mixes are nearer to those tried, where films are others now. `notes`: what is
    missing, left over or taken from where.
    """

    name: str
    made: str
    lights: tuple[str, ...]
    booth: Booth = field(repr=False)
    same: bool
    recipe: Recipe
    as_before: Recipe
    one_light: Recipe
    index: F64
    sure: Sure
    card: FirstCard | None
    offer: tuple[Booth, Recipe] | None
    as_tried: Recipe | None
    dyes: tuple[DyeToday, ...]
    base: BaseToday
    films: tuple[FilmToday, ...]
    notes: tuple[str, ...] = ()

    @property
    def de00(self) -> float:
        """What is left between the record and what comes out: root mean square over places and lights."""
        return self.recipe.joint_de00

    @property
    def wide_doubt(self) -> bool:
        """Whether what is the same within doubt may well be seen to differ."""
        return self.same and self.as_before.joint_de00 > JUST_SEEN_DE00

    @property
    def verdict(self) -> str:
        """The answer in one line."""
        if self.same:
            things = "dyes" if not self.base.other else "dyes and your base"
            told = f"{self.name}: your {things} are the same within doubt: mix as in the record"
            if not self.wide_doubt:
                return told
            hidden = self.as_before.joint_de00
            return f"{told}; the doubt is wide: a difference of {hidden:.1f} ({visibility(hidden)}) may hide in it"
        return (
            f"{self.name}: comes out {self.de00:.1f} from what it was ({visibility(self.de00)}); mixed as before it "
            f"would be {self.as_before.joint_de00:.1f} ({visibility(self.as_before.joint_de00)})"
        )


def remade_answer(
    booth: Booth,
    doubts: Doubts,
    *,
    name: str,
    made: str,
    dyes: Sequence[DyeToday],
    base: BaseToday,
    films: Sequence[FilmToday],
    spare: Mapping[str, Dye] | None = None,
    also: Sequence[str] = (),
    anyway: bool = False,
    notes: Sequence[str] = (),
) -> Remade:
    """Work out the answer. `spare`: dyes that may be added, of
    which `also` names those that are to be.

    `anyway`: also where all is the same within doubt.
    """
    before, spare = unchanged(booth), dict(spare or {})
    same = not anyway and base.same and all(dye.same for dye in dyes) and all(film.same for film in films)
    recipe = before if same else remade(booth)
    if also and not same:
        chosen = {each: spare.pop(each) for each in also}
        booth, recipe = worth_adding(booth, recipe, chosen, asked_for=True) or (booth, recipe)
        before = unchanged(booth)  # the same, with none of what was added
        idle = [each for each in also if each not in {part.dye for part in booth.extra}]
        notes = [*notes, *(f"{each}: brings it no closer, so it is left out" for each in idle)]
    alone = recipe if same or len(booth.scheme.lights) == 1 else remade(booth, only=0)
    offer = None if same else worth_adding(booth, recipe, spare)
    return Remade(
        name=name,
        made=made,
        lights=booth.scheme.lights,
        booth=booth,
        same=same,
        recipe=recipe,
        as_before=before,
        one_light=alone,
        index=_index(booth, recipe),
        sure=how_sure(booth, recipe, doubts),
        card=first_card(booth, recipe, doubts),
        offer=offer,
        as_tried=None if same else _as_tried(booth, recipe, films),
        dyes=tuple(dyes),
        base=base,
        films=tuple(films),
        notes=tuple(notes),
    )


def _as_tried(booth: Booth, recipe: Recipe, films: Sequence[FilmToday]) -> Recipe | None:
    """Whole coats that make up for other films, where that comes as close with mixes nearer to the record's."""
    coats = []
    for entry, film, now in zip(booth.scheme.coats, films, recipe.coats, strict=True):
        times = film.was_um.likely / film.now_um.likely if isinstance(entry, DyeCoat) else 1.0
        coats.append(min(max(round(now * times), 1), MOST_COATS))
    if tuple(coats) == recipe.coats:
        return None
    found = remade_in(booth, coats)
    nearer = strength_moved(booth, found) < 0.5 * strength_moved(booth, recipe)
    return found if nearer and found.joint_de00 < recipe.joint_de00 + CLEARLY_DE00 else None


def _index(booth: Booth, recipe: Recipe) -> F64:
    """The special metamerism index (places, lights) from the first light to each: 0 for the first."""
    wanted = np.stack([place.reflectance for place in booth.wanted])
    made = booth.reflectance(recipe.strengths, recipe.coats)
    first, *_ = lights = booth.scheme.lights
    observer = booth.scheme.observer_deg
    found = [metamerism_de00(wanted, made, light=first, other=light, observer_deg=observer) for light in lights]
    return np.stack(found, axis=1)
