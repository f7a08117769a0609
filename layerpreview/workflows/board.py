"""Make the client's board: schemes as options in one HTML file, a page to print, and a line in the job's log."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

from layerpreview.errors import InputError, Problem
from layerpreview.finish.view import Surroundings, surroundings_of
from layerpreview.output.board import board_page, live_packed
from layerpreview.output.board_code import LETTERS, board_id
from layerpreview.output.board_data import OptionLimits, make_option, stills_of, told_of
from layerpreview.output.board_live import LONGEST_PX, Asked
from layerpreview.output.board_result import Board, board_names, board_result
from layerpreview.output.board_words import Words, board_words, board_words_of, where_words
from layerpreview.output.files import written_together
from layerpreview.output.job_entries import scheme_keys
from layerpreview.output.joblog import LOG_NAME, recorded, time_of
from layerpreview.output.result import Result
from layerpreview.processes import Shared, process_pool
from layerpreview.scheme import Scheme, ShopCard, load_scheme
from layerpreview.scheme.fields import FieldError, text
from layerpreview.scheme.shop_card import first_card
from layerpreview.workflows.board_allow import read_allowed
from layerpreview.workflows.board_limits import all_limits, check_sprayed, moving_words
from layerpreview.workflows.lifelike import USUAL_ROOM


@dataclass(frozen=True)
class Plan:
    """What a board will hold before anything is drawn: `options` as the log keeps them, `log` None where
    there is nothing to agree on. `languages`: the words of the page by language; the first is that of the print.
    """

    schemes: tuple[Scheme, ...]
    limits: tuple[OptionLimits, ...]
    lights: tuple[str, ...]
    arounds: tuple[Surroundings, ...]
    languages: Mapping[str, Words]
    card: ShopCard
    time: datetime
    board: str
    title: str
    names: tuple[str, ...]
    inputs: tuple[Path, ...]
    log: Path | None
    options: Sequence[Mapping[str, Any]]
    moving: tuple[str, ...]

    @property
    def words(self) -> Words:
        """The words of what is printed."""
        return next(iter(self.languages.values()))

    def recording(self) -> AbstractContextManager[object]:
        """Hold the log with the board's entry in it; nothing where there is no log."""
        if self.log is None:
            return nullcontext()
        entry = {"what": "board", "time": time_of(self.time), "board": self.board, "title": self.title}
        return recorded(self.log, {**entry, "options": self.options})

    def drawn(self, width_px: int, pool: Executor) -> Result[Board]:
        """Render every option, as far as it goes in the `pool`, and lay the page out."""
        planned = list(zip(self.schemes, self.limits, self.arounds, strict=True))
        asked = [Asked(scheme, around, self.lights, limit.most_build()) for scheme, limit, around in planned]
        drawing = [
            partial(stills_of, scheme, len(limit.coats), lights=self.lights, around=around, words=self.words)
            for scheme, limit, around in planned
        ]
        telling = [partial(told_of, scheme, lights=self.lights) for scheme in self.schemes]
        stills, told = Shared(pool, "drawing the options", drawing), Shared(pool, "working out the figures", telling)
        packed = live_packed(asked, longest_px=width_px)  # what moves is made here meanwhile
        all_told, all_stills = told.results(), stills.results()
        options = [
            make_option(scheme, limit, number=i, around=around, stills=all_stills[i], told=all_told[i])
            for i, (scheme, limit, around) in enumerate(planned)
        ]
        page = board_page(
            options,
            board=self.board,
            title=self.title,
            words=self.languages,
            packed=packed,
            shop=self.card.said,
        )
        found = Board(
            board=self.board,
            title=self.title,
            options=tuple(scheme.name for scheme in self.schemes),
            size_bytes=page.size_bytes,
            quality=page.quality,
            log=self.log,
            page=page,
            drawn=tuple(options),
            words=self.words,
            card=self.card,
            time=self.time,
            moving=self.moving,
        )
        return board_result(found, names=self.names, inputs=self.inputs, recording=lambda _: self.recording())


def board(
    schemes: Sequence[Scheme],
    *,
    width_px: int = LONGEST_PX,
    title: str | None = None,
    allow: Sequence[str] = (),
    langs: Sequence[str] = (),
    words_path: Path | None = None,
    pdf: bool = False,
    log: Path | None = None,
    around: str = USUAL_ROOM,
    now: datetime | None = None,
) -> Result[Board]:
    """Make the board of up to eight schemes, one option each: `board.html`, `board.png` and with `pdf` `board.pdf`.

    `allow`: texts such as "honey coats 1 to 5", "coat 3 coats 1 to 4", "strength 80 to 120 %" or "lock honey"; without
    one each coat of dye may lose three and gain two, strengths go from 70 to 130 %, and coats that hide stay. `langs`:
    ready languages ("de"), `words_path`: words of your own; the first is that of the print. `width_px`: the longer side
    of the picture that the live one's maps are made for. `now`: the day it is printed with. When it is saved it is
    recorded in `log`, by default beside the first scheme, so that a choice can be agreed on; a scheme that was built in
    code has no file to agree on, and a board with one is not recorded. Raises InputError or PictureError.
    """
    with _readied_pool() as pool:
        plan = _plan(
            schemes,
            title=title,
            allow=allow,
            langs=langs,
            words_path=words_path,
            pdf=pdf,
            log=log,
            around=around,
            now=now,
        )
        return plan.drawn(width_px, pool)


def board_file(
    scheme_paths: Sequence[Path],
    *,
    out: Path,
    force: bool = False,
    width_px: int = LONGEST_PX,
    title: str | None = None,
    allow: Sequence[str] = (),
    langs: Sequence[str] = (),
    words_path: Path | None = None,
    pdf: bool = False,
    log: Path | None = None,
    around: str = USUAL_ROOM,
    now: datetime | None = None,
) -> Result[Board]:
    """Write the board of the schemes at `scheme_paths` into the folder `out`, and record it in the log.

    The choices are those of `board`. Raises InputError, SchemeError, PictureError or OutputError; nothing is written
    then.
    """
    _check_count(scheme_paths)
    with _readied_pool() as pool:
        schemes = [load_scheme(path) for path in scheme_paths]
        plan = _plan(
            schemes,
            title=title,
            allow=allow,
            langs=langs,
            words_path=words_path,
            pdf=pdf,
            log=log,
            around=around,
            now=now,
        )
        with plan.recording(), written_together(out, plan.names, force=force, inputs=plan.inputs) as paths:
            return plan.drawn(width_px, pool).written(paths, out)


@contextmanager
def _readied_pool() -> Iterator[Executor]:
    """A pool that reads the parts of this program it will need while the plan is made."""
    with process_pool() as pool:
        pool.submit(import_module, stills_of.__module__)
        yield pool


def _plan(
    schemes: Sequence[Scheme],
    *,
    title: str | None,
    allow: Sequence[str],
    langs: Sequence[str],
    words_path: Path | None,
    pdf: bool,
    log: Path | None,
    around: str,
    now: datetime | None,
) -> Plan:
    _check_count(schemes)
    check_sprayed(schemes)
    languages = board_words_of(langs, words_path)
    words = next(iter(languages.values()))
    allowed = read_allowed(allow, schemes)
    limits = all_limits(schemes, allowed, words)
    written = all(scheme.text for scheme in schemes)
    log = (log or schemes[0].file.parent / LOG_NAME) if written else None
    record = _record(schemes, limits, log, board_words())
    return Plan(
        schemes=tuple(schemes),
        limits=limits,
        lights=tuple(dict.fromkeys(light for scheme in schemes for light in scheme.lights)),
        arounds=tuple(surroundings_of(scheme, around, field="--around") for scheme in schemes),
        languages=languages,
        card=first_card(schemes),
        time=now or datetime.now(UTC),
        board=board_id({"options": [_anywhere(option) for option in record], "version": 1}),
        title=_title(schemes, words) if title is None else _checked(title),
        names=board_names(pdf=pdf),
        inputs=(
            *([log] if log else []),
            *(path for scheme in schemes for path in scheme.inputs),
            *([words_path] if words_path else []),
        ),
        log=log,
        options=record,
        moving=moving_words(schemes, limits),
    )


def _check_count(schemes: Sequence[object]) -> None:
    if not 1 <= len(schemes) <= len(LETTERS):
        rule = f"a board holds 1 to {len(LETTERS)} schemes"
        raise InputError(Problem(rule, "leave some out", field="schemes", value=str(len(schemes))))


def _record(
    schemes: Sequence[Scheme], limits: Sequence[OptionLimits], log: Path | None, words: Words
) -> list[dict[str, Any]]:
    """What the log keeps of each option: enough to write the agreed scheme even if the file changes meanwhile.

    `words`: those of the log, whatever the client reads, so that codes are the same in every language.
    """
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
                        "what": f"{scheme.coats[i].label}, {where_words(scheme, i, words)}",
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


def _anywhere(option: Mapping[str, Any]) -> dict[str, Any]:
    """What is the same of an option wherever the job's folder is: made again after a move a board keeps its codes."""
    return {key: value for key, value in option.items() if key != "scheme"}


def _checked(title: str) -> str:
    """A title as typed. Raises InputError for one that is not one line of printable signs."""
    try:
        return text(title)
    except FieldError as error:
        raise InputError(Problem(error.rule, error.remedy, field="--title", value=title)) from None


def _title(schemes: Sequence[Scheme], words: Mapping[str, Any]) -> str:
    if len(schemes) == 1:
        return str(words["title_one"]).format(name=schemes[0].name)
    return str(words["title_many"]).format(n=len(schemes))
