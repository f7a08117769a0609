"""All that there is to choose at a job, asked at once: steps, evenness, doubt, and the way to a colour."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layerpreview.doing import each_of
from layerpreview.errors import InputError, NoAnswerError, Problem, typed
from layerpreview.output import chosen_words
from layerpreview.output.result import Result
from layerpreview.scheme import DyeCoat, load_scheme
from layerpreview.workflows.evenness import evenness_files
from layerpreview.workflows.ladder import ladder_files
from layerpreview.workflows.places import Place, results_place
from layerpreview.workflows.reach import reach_files
from layerpreview.workflows.tolerance import tolerance_files

WHATS = {
    "steps": "How the steps look",
    "even": "How even it will lie",
    "sure": "How sure the colour is",
    "colour": "How to come nearer to the colour",
}
"""What can be asked, and what it is called."""
STRENGTHS = (0.5, 1.0, 2.0)
"""Of the ladder, as multiples of the scheme's."""


@dataclass(frozen=True)
class Told:
    """One question's answer: `lines`, the picture of it, all `files` in `folder`, and the command that tells `more`."""

    what: str
    lines: tuple[str, ...]
    picture: Path
    folder: Path
    files: tuple[str, ...]
    more: str
    reached: bool = True


@dataclass(frozen=True)
class Chosen:
    """The answers for a scheme, in the order of `WHATS`."""

    scheme: str
    answers: tuple[Told, ...]
    aside: str
    approximate: bool = True

    @property
    def reached(self) -> bool:
        """Whether the colour, where one was asked for, is within reach."""
        return all(answer.reached for answer in self.answers)

    def text(self) -> str:
        """One screen: each question with its answer, its picture, and where more of it is told."""
        lines = [f"{self.scheme} (approximate)"]
        for answer in self.answers:
            lines += ["", WHATS[answer.what], *(f"  {line.strip()}" for line in answer.lines)]
            lines += [f"  picture: {answer.picture}", f"  more:    {answer.more}"]
        return "\n".join([*lines, ""])


def choose_files(
    scheme_path: Path,
    *,
    colour: str | None = None,
    what: Sequence[str] = (),
    out: Path | None = None,
    width_px: int = 1600,
    force: bool = False,
) -> Chosen:
    """Answer what there is to choose at the scheme at `scheme_path`, each in a folder of its own.

    `what`: some of `WHATS`, all where none is named; "colour" is asked where one is given. `out`: a folder for these
    folders instead of the job's own. Raises InputError, NoAnswerError where nothing in the scheme is dye, SchemeError,
    PictureError or OutputError; what was answered before stays.
    """
    asked = _asked(what, colour)
    scheme = load_scheme(scheme_path)
    if not any(isinstance(coat, DyeCoat) for coat in scheme.coats):
        raise NoAnswerError(f"{scheme.name}: no coat in it is dye, so there is nothing to choose")
    answers, aside = [], ""
    first = sorted(asked, key=lambda name: name != "colour")  # a colour that is none is told before anything is written
    for name in each_of(f"{len(asked)} questions", first, len(asked)):
        way = _WAYS[name]
        folder, aside = Place(out / way.command) if out else results_place(scheme_path, way.command)
        made = way.make(scheme_path, colour or "", folder, force, width_px)
        more = [
            "layerpreview",
            way.command,
            typed(str(scheme_path)),
            *([typed(colour or "")] if name == "colour" else []),
        ]
        picture = folder / (way.picture or made.files[0])
        reached = name != "colour" or bool(made.found.reached)
        answers.append(Told(name, tuple(way.words(made.found)), picture, folder, made.files, " ".join(more), reached))
    return Chosen(scheme.name, tuple(sorted(answers, key=lambda told: asked.index(told.what))), aside)


@dataclass(frozen=True)
class _Way:
    """How one question is answered: `command` that does the same, its words, and the picture, else its first file."""

    command: str
    make: Callable[[Path, str, Path, bool, int], Result[Any]]
    words: Callable[[Any], list[str]]
    picture: str = ""


_WAYS = {
    "steps": _Way(
        "ladder",
        lambda scheme, _, out, force, __: ladder_files(scheme, out=out, force=force, strengths=STRENGTHS),
        chosen_words.steps_lines,
    ),
    "even": _Way(
        "evenness",
        lambda scheme, _, out, force, width_px: evenness_files(scheme, out=out, force=force, width_px=width_px),
        chosen_words.even_lines,
        "evenness.png",
    ),
    "sure": _Way(
        "tolerance",
        lambda scheme, _, out, force, __: tolerance_files(scheme, out=out, force=force),
        chosen_words.sure_lines,
    ),
    "colour": _Way(
        "reach",
        lambda scheme, colour, out, force, _: reach_files(scheme, colour, out=out, force=force),
        chosen_words.near_lines,
    ),
}


def _asked(what: Sequence[str], colour: str | None) -> list[str]:
    """What is asked, in the order of `WHATS`. Raises InputError listing all that cannot be."""
    usual = [name for name in WHATS if name != "colour" or colour is not None]
    problems = [
        Problem("this cannot be asked", f"use one of {', '.join(WHATS)}", field="--what", value=name)
        for name in what
        if name not in WHATS
    ]
    if "colour" in what and colour is None:
        problems.append(Problem("which colour is meant", 'add --colour "#c88a3a"', field="--what", value="colour"))
    if problems:
        raise InputError(problems)
    return [name for name in usual if not what or name in what or name == "colour"]
