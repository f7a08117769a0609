"""Pictures, board and figures of every scheme below a folder, each beside its own, by any number of workers."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from layerpreview import __version__
from layerpreview.doing import each_of
from layerpreview.errors import InputError, LayerPreviewError, Problem, lines_told
from layerpreview.held import usable_json
from layerpreview.output.files import written_in_steps
from layerpreview.output.plain_json import plain_json
from layerpreview.output.written import print_of
from layerpreview.picture.render import DEFAULT_WIDTH_PX
from layerpreview.processes import each_done
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.workflows.board import board_file
from layerpreview.workflows.book_find import folders_below
from layerpreview.workflows.places import results_place, says_scheme
from layerpreview.workflows.render import render_files
from layerpreview.workflows.workers import Workers, workers_from

MADE_FROM = "made_from.json"
"""Beside the pictures: what they and the board were made of, so that what is up to date is left."""


@dataclass(frozen=True)
class JobDone:
    """What became of a scheme: its files by the folder they are in, `left` where they were up to date, and what was
    wrong, in lines."""

    scheme: Path
    pictures: Path
    files: tuple[str, ...] = ()
    left: bool = False
    problems: tuple[str, ...] = ()


@dataclass(frozen=True)
class AllDone:
    """All schemes below a folder, in the order of their names."""

    folder: Path
    jobs: tuple[JobDone, ...]
    notes: tuple[str, ...] = ()

    also_in_json = ("made", "left", "faulty")

    @property
    def made(self) -> int:
        return sum(not job.left and not job.problems for job in self.jobs)

    @property
    def left(self) -> int:
        return sum(job.left for job in self.jobs)

    @property
    def faulty(self) -> int:
        return sum(bool(job.problems) for job in self.jobs)

    @property
    def look_at(self) -> Path:
        """The first picture that there is."""
        good = next(job for job in self.jobs if not job.problems)
        return good.pictures / good.files[0].rpartition("/")[2]


@dataclass(frozen=True)
class Wanted:
    """What is made of each scheme; `now`: the day that boards are printed with and recorded at."""

    width_px: int
    board: bool
    force: bool
    now: datetime

    @property
    def options(self) -> dict[str, object]:
        """What the bytes depend on besides the scheme and its files."""
        return {"board": self.board, "version": __version__, "width_px": self.width_px}


def render_all_files(
    folder: Path,
    *,
    width_px: int = DEFAULT_WIDTH_PX,
    board: bool = True,
    force: bool = False,
    workers: Workers | None = None,
    now: datetime | None = None,
) -> AllDone:
    """Make pictures, board and figures of every scheme below `folder`; what is up to date is left.

    What is wrong with one is told of it and stops no other. Raises InputError where there is no such folder or scheme.
    """
    notes: list[str] = []
    schemes = _schemes_below(folder, notes)
    wanted = Wanted(width_px, board, force, now or datetime.now(UTC))
    workers = workers or workers_from()
    here = Path.cwd()  # a worker may stand elsewhere
    pieces = [
        (
            path,
            partial(
                made_job, here / path, here / results_place(path, "pictures").folder, _board_of(here, path), wanted
            ),
        )
        for path in schemes
    ]
    done = dict(each_of("making all", each_done(pieces, workers.opened, waiting=workers.waiting), len(pieces)))
    jobs = []
    for path in schemes:
        pictures = results_place(path, "pictures").folder
        problems = tuple(
            line if path.is_absolute() else line.replace(f"{here}{os.sep}", "") for line in done[path].problems
        )
        jobs.append(JobDone(path, pictures, done[path].files, done[path].left, problems))
    return AllDone(folder, tuple(jobs), tuple(notes))


def _board_of(here: Path, scheme: Path) -> Path:
    return here / results_place(scheme, "board").folder


def _schemes_below(folder: Path, notes: list[str]) -> list[Path]:
    if not folder.is_dir():
        rule = "there is no such folder" if not folder.exists() else "this is a file, a folder is wanted"
        raise InputError(Problem(rule, "name the folder that your schemes lie in", str(folder)))
    found = [
        path
        for place in folders_below(folder, notes)
        for path in sorted(place.glob("*.toml"))
        if not path.is_symlink() and says_scheme(path)
    ]
    if not found:
        rule, remedy = "no scheme lies below this folder", "name another, or begin a job: layerpreview start DIR"
        raise InputError(Problem(rule, remedy, str(folder)))
    return found


def made_job(scheme_path: Path, pictures: Path, board: Path, wanted: Wanted) -> JobDone:
    """Make what is wanted of one scheme, where that is not there already. What is wrong is told, never raised."""
    try:
        scheme = load_scheme(scheme_path)
        made_of = _made_of(scheme, wanted)
        kept = _up_to_date(pictures, board, made_of)
        if kept is not None:
            return JobDone(scheme_path, pictures, kept, left=True)
        rendered = render_files(scheme_path, out=pictures, width_px=wanted.width_px, force=wanted.force)
        files = {f"pictures/{name}": pictures / name for name in rendered.files}
        if wanted.board and scheme.coats:
            made = board_file([scheme_path], out=board, force=wanted.force, now=wanted.now)
            files |= {f"board/{name}": board / name for name in made.files}
        prints = {name: print_of(path).sha256 for name, path in files.items()}
        with written_in_steps(pictures) as landed:
            landed({MADE_FROM: plain_json({**made_of, "files": prints}).encode("utf-8")})
        return JobDone(scheme_path, pictures, tuple(files))
    except (LayerPreviewError, OSError) as error:
        return JobDone(scheme_path, pictures, problems=tuple(lines_told(str(error))))


def _made_of(scheme: Scheme, wanted: Wanted) -> dict[str, object]:
    """All that the results depend on: the print of each file that was read, from where the scheme lies."""
    start = scheme.file.parent
    inputs = {Path(os.path.relpath(path, start)).as_posix(): print_of(path).sha256 for path in scheme.inputs}
    return {"layerpreview_made_from": 1, "options": wanted.options, "inputs": dict(sorted(inputs.items()))}


def _up_to_date(pictures: Path, board: Path, made_of: Mapping[str, object]) -> tuple[str, ...] | None:
    """The files that were made of the very same, where each of them is there as it was made."""
    with suppress(OSError, ValueError):
        said = usable_json((pictures / MADE_FROM).read_bytes())
        files = said.pop("files") if isinstance(said, dict) and isinstance(said.get("files"), dict) else {}
        if files and said == json.loads(plain_json(made_of)) and all(_as_made(pictures, board, files)):
            return tuple(files)
    return None


def _as_made(pictures: Path, board: Path, files: Mapping[str, object]) -> Iterator[bool]:
    for name, known in files.items():
        room, _, plain = name.partition("/")
        folder = {"pictures": pictures, "board": board}.get(room)
        yield folder is not None and Path(plain).name == plain and print_of(folder / plain).sha256 == known
