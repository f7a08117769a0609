"""An atlas of reachable colours: made part by part on any number of workers, and gone on with after a stop."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np

from layerpreview import __version__
from layerpreview.answers.atlas import Question
from layerpreview.answers.atlas_gaps import CELLS
from layerpreview.doing import each_of
from layerpreview.errors import OutputError
from layerpreview.output.atlas_file import (
    ATLAS_JSON,
    ATLAS_PNG,
    ListedPart,
    atlas_json,
    atlas_png,
    parts_there,
    question_print,
    read_atlas,
)
from layerpreview.output.atlas_part import (
    Part,
    made_between,
    made_part,
    numbers_in,
    parquet,
    part_name,
    read_part,
    strays_of,
)
from layerpreview.output.files import ANOTHER_FOLDER, spare_others, written_in_steps
from layerpreview.output.written import is_as_written, written_into
from layerpreview.processes import each_done
from layerpreview.workflows.atlas_question import AtlasOptions, question_from
from layerpreview.workflows.workers import Workers, workers_from

LANDS_TOGETHER, LANDS_AFTER_S = 8, 2.0
Step = Callable[[Mapping[str, bytes]], None]


@dataclass(frozen=True)
class AtlasMade:
    """What there is now: `recipes` that were asked for and `added` between them; `made` of the parts, `kept` from
    before, and `mended`: names of those that were damaged. `off_de00`: stored colours against those worked out one by
    one, the worst."""

    folder: Path
    recipes: int
    added: int
    parts: int
    made: int
    kept: int
    mended: tuple[str, ...]
    bases: tuple[str, ...]
    dyes: tuple[str, ...]
    lights: tuple[str, ...]
    off_de00: float
    size_bytes: int


def atlas_files(
    scheme_paths: Sequence[Path],
    *,
    out: Path,
    options: AtlasOptions | None = None,
    force: bool = False,
    workers: Workers | None = None,
) -> AtlasMade:
    """Work out the atlas over the bases of some schemes and write it to `out`; go on where a run before was stopped.

    The bytes are the same whatever the `workers`. Raises SchemeError, InputError, OutputError.
    """
    parquet()
    options = options or AtlasOptions()
    question = question_from(scheme_paths, options)
    asked = question_print(question, fill=options.fill, version=__version__)
    _spare_another(out, asked, force=force)
    with written_in_steps(out) as landed:
        return _Making(question, asked, out, landed, workers or workers_from()).all_of_it(fill=options.fill)


def _spare_another(folder: Path, asked: str, *, force: bool) -> None:
    """Raise OutputError for an atlas of something else, or files of somebody else, under the names of this one."""
    if force:
        return
    spare_others(folder, [ATLAS_JSON, ATLAS_PNG])
    what = ""
    if not (folder / ATLAS_JSON).exists():
        what = "parts of an atlas are" if any(parts_there(folder, asked)) else ""
    elif read_atlas(folder).question != asked:
        what = "an atlas of something else is"
    if what:
        raise OutputError(f"{folder}: {what} here; nothing was written; add --force to replace, or {ANOTHER_FOLDER}")


@dataclass
class _Making:
    """One run over one folder that is held."""

    question: Question
    asked: str
    folder: Path
    landed: Step
    workers: Workers
    there: dict[str, ListedPart] = field(default_factory=dict)
    mended: list[str] = field(default_factory=list)
    made: int = 0

    def all_of_it(self, *, fill: bool) -> AtlasMade:
        count = self.question.parts
        names = [part_name(i, between=between) for between in (False, True)[: 1 + fill] for i in range(count)]
        self._begun(names)
        seen = {i: np.zeros(CELLS, dtype=bool) for i in range(len(self.question.bases))}
        wanted = [i for i in range(count) if part_name(i) not in self.there]
        pieces = ((part_name(i), partial(made_part, self.question, i, self.asked)) for i in wanted)
        for part in self._each("working out the recipes", pieces, len(wanted)):
            _mark(seen, part)
        lacking = [i for i in range(count) if fill and part_name(i, between=True) not in self.there]
        if lacking:
            for i in each_of("reading what is there", sorted(set(range(count)) - set(wanted)), count - len(wanted)):
                _mark(seen, read_part((self.folder / part_name(i)).read_bytes(), self.question))
            bits = {base: np.packbits(there).tobytes() for base, there in seen.items()}
            between = ((part_name(i, between=True), self._between(i, bits)) for i in lacking)
            for _ in self._each("adding where colours are missing", between, len(lacking)):
                pass
        return self._finished(names)

    def _begun(self, names: Sequence[str]) -> None:
        """Look at what is there, take away what is of another atlas, and say that this one is begun."""
        found = parts_there(self.folder, self.asked)
        written = written_into(self.folder)
        for name, part in found.items():
            if part is not None and name in names:
                self.there[name] = part
            elif name in names and name in written:
                self.mended.append(name)
            elif name in written and is_as_written(self.folder / name, written[name]):
                (self.folder / name).unlink()
        if len(self.there) < len(names):
            self.landed({ATLAS_JSON: atlas_json(self.question, self.asked, {"finished": False})})

    def _between(self, part: int, bits: Mapping[int, bytes]) -> partial[Part]:
        """Of the bases whose recipes it has; the bits of others need not travel."""
        ends = self.question.recipes(numbers_in(self.question, part)[[0, -1]]).base
        mine = {base: bits[base] for base in range(int(ends[0]), int(ends[1]) + 1)}
        return partial(made_between, self.question, part, self.asked, mine)

    def _each(self, words: str, pieces: Iterator[tuple[str, partial[Part]]], count: int) -> Iterator[Part]:
        """Make the parts, and land them in the order they come, a few together."""
        ready: dict[str, bytes] = {}
        since = time.monotonic()
        done = each_done(pieces, self.workers.opened, waiting=self.workers.waiting)
        for name, part in each_of(words, done, count):
            ready[name] = part.file
            self.there[name] = ListedPart(name=name, recipes=part.rows, sha256=hashlib.sha256(part.file).hexdigest())
            if len(ready) >= LANDS_TOGETHER or time.monotonic() - since > LANDS_AFTER_S:
                self._land(ready)
                since = time.monotonic()
            yield part
        self._land(ready)

    def _land(self, ready: dict[str, bytes]) -> None:
        if ready:
            self.landed(ready)
            self.made += len(ready)
            ready.clear()

    def _finished(self, names: Sequence[str]) -> AtlasMade:
        parts = [self.there[name] for name in names]
        first, last = names[0], names[self.question.parts - 1]
        off = np.concatenate([strays_of((self.folder / name).read_bytes(), self.question) for name in {first, last}])
        added = sum(part.recipes for part in parts if part.name.startswith("between"))
        told = {
            "finished": True,
            "recipes": self.question.count,
            "added": added,
            "stored_off_de00": {"p95": round(float(np.percentile(off, 95)), 4), "max": round(float(off.max()), 4)},
            "parts": [part.model_dump() for part in parts],
        }
        text = atlas_json(self.question, self.asked, told)
        path = self.folder / ATLAS_JSON
        if not path.exists() or path.read_bytes() != text or not (self.folder / ATLAS_PNG).exists():
            self.landed({ATLAS_PNG: atlas_png(self.folder, self.question, names), ATLAS_JSON: text})
        return AtlasMade(
            folder=self.folder,
            recipes=self.question.count,
            added=added,
            parts=len(parts),
            made=self.made,
            kept=len(parts) - self.made,
            mended=tuple(self.mended),
            bases=self.question.bases,
            dyes=self.question.dyes,
            lights=self.question.lights,
            off_de00=float(off.max()),
            size_bytes=sum((self.folder / name).stat().st_size for name in names),
        )


def _mark(seen: dict[int, np.ndarray], part: Part) -> None:
    for base, cells in part.cells.items():
        seen[base][cells] = True
