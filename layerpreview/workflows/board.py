"""Make the client's board: schemes as options in one HTML file, a page to print, and a line in the job's log."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layerpreview.errors import InputError, Problem
from layerpreview.output.board import BoardPage, board_page, board_words
from layerpreview.output.board_code import LETTERS, board_id
from layerpreview.output.board_data import CoatLimits, MixLimits, Option, OptionLimits, film_ends, make_option
from layerpreview.output.board_print import board_pdf, board_sheet
from layerpreview.output.files import write_text, written_together
from layerpreview.output.job_entries import scheme_keys
from layerpreview.output.joblog import LOG_NAME, recorded, time_now
from layerpreview.output.pictures import write_picture
from layerpreview.scheme import DyeCoat, OpaqueCoat, Scheme, load_scheme

DEFAULT_WIDTH_PX = 1600
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
class BoardMade:
    """What was written: the page, the sheet to print, the log; the page's size and the quality of its bases."""

    folder: Path
    files: tuple[str, ...]
    log: Path
    board: str
    size_bytes: int
    quality: int
    options: tuple[str, ...]


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
) -> BoardMade:
    """Write `board.html`, `board.png` (and with `pdf` `board.pdf`) for up to eight schemes into the folder `out`.

    `allow`: texts such as "honey coats 1 to 5" or "strength 80 to 120 %"; without one each coat may lose three and
    gain two, and strengths go from 70 to 130 %. The board is recorded in `log`, by default beside the first scheme.
    Raises InputError, SchemeError, PictureError or OutputError; nothing is written then.
    """
    if not 1 <= len(scheme_paths) <= len(LETTERS):
        rule = f"a board holds 1 to {len(LETTERS)} schemes"
        raise InputError(Problem(rule, "leave some out", field="schemes", value=str(len(scheme_paths))))
    words = board_words(words_path)
    schemes = [load_scheme(path) for path in scheme_paths]
    allowed = read_allowed(allow, schemes)
    limits = [limits_of(scheme, allowed, words) for scheme in schemes]
    lights = list(dict.fromkeys(light for scheme in schemes for light in scheme.lights))
    log = log or scheme_paths[0].parent / LOG_NAME
    record = _record(schemes, limits, log)
    board = board_id({"options": record, "version": 1})
    heading = title or _title(schemes, words)
    names = ["board.html", "board.png", *(["board.pdf"] if pdf else [])]
    inputs = [log, *(path for scheme in schemes for path in scheme.inputs), *([words_path] if words_path else [])]
    entry = {"what": "board", "time": time_now(), "board": board, "title": heading, "options": record}
    with recorded(log, entry), written_together(out, names, force=force, inputs=inputs) as paths:
        options = [
            make_option(scheme, limit, number=i, lights=lights, width_px=width_px, words=words)
            for i, (scheme, limit) in enumerate(zip(schemes, limits, strict=True))
        ]
        page = board_page(options, board=board, title=heading, words=words)
        write_text(paths["board.html"], page.html)
        _print(paths, options, heading, words)
    return _made(out, names, log, board, page, schemes)


def _print(paths: Mapping[str, Path], options: Sequence[Option], title: str, words: Mapping[str, Any]) -> None:
    write_picture(board_sheet(options, title=title, words=words), paths["board.png"])
    if "board.pdf" in paths:
        paths["board.pdf"].write_bytes(board_pdf(options, title=title, words=words))


def _made(
    out: Path, names: Sequence[str], log: Path, board: str, page: BoardPage, schemes: Sequence[Scheme]
) -> BoardMade:
    return BoardMade(
        folder=out,
        files=tuple(names),
        log=log,
        board=board,
        size_bytes=page.size_bytes,
        quality=page.quality,
        options=tuple(scheme.name for scheme in schemes),
    )


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
        raise InputError(Problem(rule, "join entries, or render the scheme instead", str(scheme.file)))
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


def _record(schemes: Sequence[Scheme], limits: Sequence[OptionLimits], log: Path) -> list[dict[str, Any]]:
    """What the log keeps of each option: enough to write the agreed scheme even if the file changes meanwhile."""
    record = []
    for letter, scheme, limit in zip(LETTERS, schemes, limits, strict=False):
        record.append(
            {
                "option": letter,
                "name": scheme.name,
                **scheme_keys(scheme.file, log),
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
