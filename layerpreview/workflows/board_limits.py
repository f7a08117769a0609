"""What a client may move on each option of a board, and whether there is anything to choose."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from layerpreview.errors import InputError, Problem
from layerpreview.output.board_code import LETTERS
from layerpreview.output.board_data import CoatLimits, MixLimits, OptionLimits, film_ends
from layerpreview.output.board_words import Words, label_words, where_words
from layerpreview.picture.faces import shapes_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import DyeCoat, Scheme
from layerpreview.workflows.board_allow import ENDS, Allowed, What

MORE_COATS, FEWER_COATS = 2, 3
USUAL_STRENGTH, AS_PROPOSED = (70, 130), 100
MOST_COATS_ON_BOARD = 12
LEAST_BUILD = 1e-6
"""Mean build of a coat over a face [1] from which it counts as being there."""


def check_sprayed(schemes: Sequence[Scheme]) -> None:
    """Raises InputError for schemes of which no coat reaches the part."""
    problems = []
    for scheme in schemes:
        rule, remedy = "", "write a [[coat]], or show the base with layerpreview render"
        if not scheme.coats:
            rule = "nothing is sprayed in this scheme, so that there is nothing to choose"
        elif not _reaches(scheme):
            rule = "no coat of this scheme reaches the part, so that there is nothing to choose"
            remedy = "look at its masks and zones"
        if rule:
            problems.append(Problem(rule, remedy, scheme.shown_file))
    if problems:
        raise InputError(problems)


def _reaches(scheme: Scheme) -> bool:
    """Whether any coat lands anywhere: masks and zones may keep all of them off."""
    return any(max(Survey(scheme, shape).mean_builds) > LEAST_BUILD for shape in shapes_of(scheme))


def moving_words(schemes: Sequence[Scheme], limits: Sequence[OptionLimits]) -> tuple[str, ...]:
    """What the client may move on each option, and what is fixed, told to the painter."""
    found = []
    for letter, scheme, limit in zip(LETTERS, schemes, limits, strict=False):
        names = [coat.label for coat in scheme.coats]
        called = [f"{name} (coat {i + 1})" if names.count(name) > 1 else name for i, name in enumerate(names)]
        coats = list(zip(called, limit.coats, strict=True))
        moves = [f"{name} {coat.fewest} to {coat.most} coats" for name, coat in coats if coat.fewest < coat.most]
        moves += [
            f"strength of {mix.name} {mix.weakest} to {mix.strongest} %"
            for mix in limit.mixes
            if mix.weakest < mix.strongest
        ]
        stays = [name for name, coat in coats if coat.fewest == coat.most]
        told = f"may move {', '.join(moves)}" if moves else "may move nothing, and takes it as it is or not"
        found.append(f"option {letter}: the client {told}" + (f"; fixed: {', '.join(stays)}" if stays else ""))
    return tuple(found)


def all_limits(schemes: Sequence[Scheme], allowed: Sequence[Allowed], words: Words) -> tuple[OptionLimits, ...]:
    """The limits of every option. Raises InputError with what is wrong on all of them."""
    found, problems = [], list[Problem]()
    for number, scheme in enumerate(schemes):
        try:
            found.append(limits_of(scheme, allowed, words, number=number))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(dict.fromkeys(problems))
    return tuple(found)


def limits_of(scheme: Scheme, allowed: Sequence[Allowed], words: Mapping[str, Any], *, number: int = 0) -> OptionLimits:
    """What may be moved in one scheme, the `number`th of its board [from 0]; what cannot move has one number.

    What is dye moves, and what hides only where it is allowed. Raises InputError for one with more coats than a board
    can draw, and where what is allowed does not hold what is proposed.
    """
    if len(scheme.coats) > MOST_COATS_ON_BOARD:
        rule = f"a board draws at most {MOST_COATS_ON_BOARD} entries of coats; this scheme has {len(scheme.coats)}"
        raise InputError(Problem(rule, "join entries, or render the scheme instead", scheme.shown_file))
    letter, problems = LETTERS[number], list[Problem]()
    coats = [
        _coat_limits(scheme, i, allowed, words, letter=letter, problems=problems) for i in range(len(scheme.coats))
    ]
    mixes = []
    for name in scheme.mixes:
        at = next((i for i, coat in enumerate(coats) if coat.mix == name), None)
        if at is not None:
            said = _said("strength", allowed, scheme, at, letter)
            weakest, strongest = said.ends(AS_PROPOSED) if said else USUAL_STRENGTH
            _check_holds(
                AS_PROPOSED, (weakest, strongest), f"strength of {name} is proposed with 100 %", said, problems
            )
            mixes.append(MixLimits(name, weakest, strongest))
    if problems:
        raise InputError(problems)
    return OptionLimits(tuple(coats), tuple(mixes))


def _coat_limits(
    scheme: Scheme,
    index: int,
    allowed: Sequence[Allowed],
    words: Mapping[str, Any],
    *,
    letter: str,
    problems: list[Problem],
) -> CoatLimits:
    coat = scheme.coats[index]
    is_dye = isinstance(coat, DyeCoat)
    said = _said("coats", allowed, scheme, index, letter)
    ends = (coat.coats, coat.coats)
    if said is not None:
        ends = said.ends(coat.coats)
    elif is_dye:
        ends = max(0, coat.coats - FEWER_COATS), min(ENDS["coats"][1], coat.coats + MORE_COATS)
    if scheme.place_of(index).ring is not None:
        ends = (coat.coats, coat.coats)  # several coats told in one line: the file has no number of their own to change
    _check_holds(coat.coats, ends, f"coat {index + 1} ({coat.label}) is proposed with {coat.coats}", said, problems)
    return CoatLimits(
        label=label_words(coat, words),
        where=where_words(scheme, index, words),
        mix=coat.mix if isinstance(coat, DyeCoat) else None,
        coats=coat.coats,
        fewest=ends[0],
        most=ends[1],
        film=film_ends(scheme, index),
    )


def _said(what: What, allowed: Sequence[Allowed], scheme: Scheme, index: int, letter: str) -> Allowed | None:
    """What was said of a coat and counts most."""
    said = [one for one in allowed if one.what == what and one.is_about(scheme, index, letter=letter)]
    return said[-1] if said else None


def _check_holds(
    proposed: int, ends: tuple[int, int], what: str, said: Allowed | None, problems: list[Problem]
) -> None:
    """A client begins with what is proposed, so that it must be among what may be chosen."""
    if not ends[0] <= proposed <= ends[1]:
        rule = f"{what}, which {ends[0]} to {ends[1]} leaves out"
        problems.append(Problem(rule, "let the numbers hold it", field="--allow", value=str(said)))
