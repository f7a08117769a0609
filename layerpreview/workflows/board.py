"""Make the client's board: schemes as options in one HTML file, a page to print, and a line in the job's log."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layerpreview.errors import InputError, Problem
from layerpreview.finish.view import Surroundings, surroundings_of
from layerpreview.output.board import board_page, board_words
from layerpreview.output.board_code import LETTERS, board_id
from layerpreview.output.board_data import CoatLimits, MixLimits, OptionLimits, film_ends, make_option
from layerpreview.output.board_print import Board, board_names, board_result
from layerpreview.output.files import written_together
from layerpreview.output.job_entries import scheme_keys
from layerpreview.output.joblog import LOG_NAME, recorded, time_now
from layerpreview.output.result import Result
from layerpreview.scheme import DyeCoat, OpaqueCoat, Scheme, load_scheme
from layerpreview.workflows.lifelike import USUAL_ROOM

DEFAULT_WIDTH_PX = 1200
MORE_COATS, FEWER_COATS = 2, 3
USUAL_STRENGTH = (70, 130)
MOST_COATS_ON_BOARD = 12
STRENGTH_ENDS = (25, 200)
_ALLOW = re.compile(
    r"(?:(?P<mix>.+?)\s+)?(?P<what>coats|strength)\s+(?P<low>\d{1,3})\s*(?:to|-|\.\.)\s*(?P<high>\d{1,3})\s*%?\s*$"
)


@dataclass(frozen=True)
class Allowed:
    """What the painter allows: coats or strength [%] between two numbers, of one mix or (None) of all."""

    mix: str | None
    what: str
    low: int
    high: int


@dataclass(frozen=True)
class Plan:
    """What a board will hold before anything is drawn: `options` as the log keeps them, `log` None where
    there is nothing to agree on."""

    schemes: tuple[Scheme, ...]
    limits: tuple[OptionLimits, ...]
    lights: tuple[str, ...]
    arounds: tuple[Surroundings, ...]
    words: Mapping[str, Any]
    board: str
    title: str
    names: tuple[str, ...]
    inputs: tuple[Path, ...]
    log: Path | None
    options: Sequence[Mapping[str, Any]]

    def recording(self) -> AbstractContextManager[object]:
        """Hold the log with the board's entry in it; nothing where there is no log."""
        if self.log is None:
            return nullcontext()
        entry = {"what": "board", "time": time_now(), "board": self.board, "title": self.title}
        return recorded(self.log, {**entry, "options": self.options})

    def drawn(self, width_px: int) -> Result[Board]:
        """Render every option and lay the page out."""
        options = tuple(
            make_option(scheme, limit, number=i, lights=self.lights, around=around, words=self.words)
            for i, (scheme, limit, around) in enumerate(zip(self.schemes, self.limits, self.arounds, strict=True))
        )
        words = {self.words["lang"]: self.words}
        page = board_page(options, board=self.board, title=self.title, words=words, longest_px=width_px)
        found = Board(
            board=self.board,
            title=self.title,
            options=tuple(scheme.name for scheme in self.schemes),
            size_bytes=page.size_bytes,
            quality=page.quality,
            log=self.log,
            page=page,
            drawn=options,
            words=self.words,
        )
        return board_result(found, names=self.names, inputs=self.inputs, recording=lambda _: self.recording())


def board(
    schemes: Sequence[Scheme],
    *,
    width_px: int = DEFAULT_WIDTH_PX,
    title: str | None = None,
    allow: Sequence[str] = (),
    words_path: Path | None = None,
    pdf: bool = False,
    log: Path | None = None,
    around: str = USUAL_ROOM,
) -> Result[Board]:
    """Make the board of up to eight schemes, one option each: `board.html`, `board.png` and with `pdf` `board.pdf`.

    `allow`: texts such as "honey coats 1 to 5" or "strength 80 to 120 %"; without one each coat may lose three and
    gain two, and strengths go from 70 to 130 %. When it is saved it is recorded in `log`, by default beside the first
    scheme, so that a choice can be agreed on; a scheme that was built in code has no file to agree on, and a board with
    one is not recorded. Raises InputError or PictureError.
    """
    plan = _plan(schemes, title=title, allow=allow, words_path=words_path, pdf=pdf, log=log, around=around)
    return plan.drawn(width_px)


def board_file(
    scheme_paths: Sequence[Path],
    *,
    out: Path,
    force: bool = False,
    width_px: int = DEFAULT_WIDTH_PX,
    title: str | None = None,
    allow: Sequence[str] = (),
    words_path: Path | None = None,
    pdf: bool = False,
    log: Path | None = None,
    around: str = USUAL_ROOM,
) -> Result[Board]:
    """Write the board of the schemes at `scheme_paths` into the folder `out`, and record it in the log.

    The choices are those of `board`. Raises InputError, SchemeError, PictureError or OutputError; nothing is written
    then.
    """
    _check_count(scheme_paths)
    schemes = [load_scheme(path) for path in scheme_paths]
    plan = _plan(schemes, title=title, allow=allow, words_path=words_path, pdf=pdf, log=log, around=around)
    with plan.recording(), written_together(out, plan.names, force=force, inputs=plan.inputs) as paths:
        return plan.drawn(width_px).written(paths, out)


def _plan(
    schemes: Sequence[Scheme],
    *,
    title: str | None,
    allow: Sequence[str],
    words_path: Path | None,
    pdf: bool,
    log: Path | None,
    around: str,
) -> Plan:
    _check_count(schemes)
    words = board_words(words_path)
    allowed = read_allowed(allow, schemes)
    limits = tuple(limits_of(scheme, allowed, words) for scheme in schemes)
    written = all(scheme.text for scheme in schemes)
    log = (log or schemes[0].file.parent / LOG_NAME) if written else None
    record = _record(schemes, limits, log)
    return Plan(
        schemes=tuple(schemes),
        limits=limits,
        lights=tuple(dict.fromkeys(light for scheme in schemes for light in scheme.lights)),
        arounds=tuple(surroundings_of(scheme, around, field="--around") for scheme in schemes),
        words=words,
        board=board_id({"options": record, "version": 1}),
        title=title or _title(schemes, words),
        names=board_names(pdf=pdf),
        inputs=(
            *([log] if log else []),
            *(path for scheme in schemes for path in scheme.inputs),
            *([words_path] if words_path else []),
        ),
        log=log,
        options=record,
    )


def _check_count(schemes: Sequence[object]) -> None:
    if not 1 <= len(schemes) <= len(LETTERS):
        rule = f"a board holds 1 to {len(LETTERS)} schemes"
        raise InputError(Problem(rule, "leave some out", field="schemes", value=str(len(schemes))))


def read_allowed(texts: Sequence[str], schemes: Sequence[Scheme]) -> list[Allowed]:
    """What `--allow` texts say. Raises InputError listing every one that cannot be understood.

    >>> read_allowed(["strength 80 to 120 %"], [])
    [Allowed(mix=None, what='strength', low=80, high=120)]
    """
    mixes = {name for scheme in schemes for name in scheme.mixes}
    found, problems = [], []
    for text in texts:
        match = _ALLOW.match(" ".join(text.split()))
        rule, remedy = "", 'write for example "honey coats 1 to 5" or "strength 80 to 120 %"'
        if match is None:
            rule = "this is not understood"
        else:
            low, high = int(match["low"]), int(match["high"])
            ends = (0, 60) if match["what"] == "coats" else STRENGTH_ENDS
            if not ends[0] <= low <= high <= ends[1]:
                rule = f"{match['what']} go from {ends[0]} to {ends[1]}, the smaller number first"
            elif match["mix"] and match["mix"] not in mixes:
                rule, remedy = "no scheme has this mix", f"use one of {', '.join(sorted(mixes)) or 'none'}"
            else:
                found.append(Allowed(match["mix"], match["what"], low, high))
        if rule:
            problems.append(Problem(rule, remedy, field="--allow", value=text))
    if problems:
        raise InputError(problems)
    return found


def limits_of(scheme: Scheme, allowed: Sequence[Allowed], words: Mapping[str, Any]) -> OptionLimits:
    """What may be moved in one scheme. Raises InputError for one with more coats than a board can draw."""
    if len(scheme.coats) > MOST_COATS_ON_BOARD:
        rule = f"a board draws at most {MOST_COATS_ON_BOARD} entries of coats; this scheme has {len(scheme.coats)}"
        raise InputError(Problem(rule, "join entries, or render the scheme instead", scheme.shown_file))
    coats = []
    for i, coat in enumerate(scheme.coats):
        mix = coat.mix if isinstance(coat, DyeCoat) else None
        fewest, most = max(0, coat.coats - FEWER_COATS), min(60, coat.coats + MORE_COATS)
        for entry in allowed:
            if entry.what == "coats" and mix is not None and entry.mix in (None, mix):
                fewest, most = entry.low, entry.high
        if scheme.place_of(i).ring is not None:
            fewest = most = coat.coats  # several coats told in one line: the file has no number of their own to change
        label = words["solid_colour"] if isinstance(coat, OpaqueCoat) and not coat.name else coat.label
        coats.append(
            CoatLimits(label, where_words(scheme, i, words), mix, coat.coats, fewest, most, film_ends(scheme, i))
        )
    sprayed = {coat.mix for coat in coats}
    mixes = []
    for name in scheme.mixes:
        weakest, strongest = USUAL_STRENGTH
        for entry in allowed:
            if entry.what == "strength" and entry.mix in (None, name):
                weakest, strongest = entry.low, entry.high
        if name in sprayed:
            mixes.append(MixLimits(name, weakest, strongest))
    return OptionLimits(tuple(coats), tuple(mixes))


def where_words(scheme: Scheme, index: int, words: Mapping[str, Any]) -> str:
    """Where a coat goes, in a few words."""
    coat = scheme.coats[index]
    if not coat.bursts:
        return str(words["where_whole"] if coat.everywhere else words["where_zone"].format(zone=coat.zone))
    rings = ", ".join(
        str(words.get(f"where_{burst.source}", words["where_other"])).format(
            mm=f"{burst.width_mm:g}", what=burst.source
        )
        for burst in coat.bursts
    )
    return rings if coat.everywhere else str(words["where_on"]).format(where=rings, zone=coat.zone)


def _record(schemes: Sequence[Scheme], limits: Sequence[OptionLimits], log: Path | None) -> list[dict[str, Any]]:
    """What the log keeps of each option: enough to write the agreed scheme even if the file changes meanwhile."""
    record = []
    for letter, scheme, limit in zip(LETTERS, schemes, limits, strict=False):
        record.append(
            {
                "option": letter,
                "name": scheme.name,
                **({} if log is None else scheme_keys(scheme.file, log)),
                "sha256": hashlib.sha256(scheme.text.encode("utf-8")).hexdigest(),
                "text": scheme.text,
                "coats": [
                    {
                        "what": f"{c.label}, {c.where}",
                        "entry": scheme.place_of(i).entry,
                        "from": c.fewest,
                        "to": c.most,
                        "proposed": c.coats,
                    }
                    for i, c in enumerate(limit.coats)
                ],
                "mixes": [{"mix": m.name, "from": m.weakest, "to": m.strongest} for m in limit.mixes],
            }
        )
    return record


def _title(schemes: Sequence[Scheme], words: Mapping[str, Any]) -> str:
    if len(schemes) == 1:
        return str(words["title_one"]).format(name=schemes[0].name)
    return str(words["title_many"]).format(n=len(schemes))
