"""The shop book with its ways out: the page, the tables, and short answers for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from layerpreview.answers.book import Book, BookJob, Faulty
from layerpreview.answers.book_find import Beside, Near, cost_words, dyes_of, facts_of
from layerpreview.answers.book_order import OrderLine, order_note, order_of
from layerpreview.output.book_index import BookPicture
from layerpreview.output.book_tables import BOOK_HEADS, ORDER_HEADS, book_rows, job_row, order_row
from layerpreview.output.csv_table import csv_text
from layerpreview.output.files import write_text
from layerpreview.output.plain_json import plain, text_table
from layerpreview.output.result import Paths, Result
from layerpreview.told import Told

PAGE, TABLE, ORDER = "book.html", "book.csv", "order.csv"
NAMES = (PAGE, TABLE, ORDER)
WIDTH = 100
MOST_SHOWN = 12
ISOCYANATE = (
    "Hardeners of two-pack products can hold isocyanates: store, mix and spray them only as the safety data sheet and "
    "local rules say."
)


@dataclass(frozen=True)
class Asked:
    """An answer: jobs found, with `near` their nearest colours; an `order`; or a `pair` with its `lines`."""

    folder: str
    jobs: tuple[BookJob, ...] = ()
    near: tuple[Near, ...] | None = None
    order: tuple[OrderLine, ...] | None = None
    pair: tuple[BookJob, BookJob] | None = None
    lines: tuple[Beside, ...] = ()
    faulty: tuple[Faulty, ...] = ()


def book_result(book: Book, pictures: Mapping[str, BookPicture], *, inputs: tuple[Path, ...]) -> Result[Book]:
    """The book; its table has a row for every job."""

    def write(paths: Paths) -> None:
        from layerpreview.output.book_page import book_page

        write_text(paths[PAGE], book_page(book, pictures))
        write_text(paths[TABLE], csv_text(book_rows(book), BOOK_HEADS))
        write_text(paths[ORDER], csv_text([order_row(line) for line in order_of(book.jobs)], ORDER_HEADS))

    return Result(
        found=book,
        line=f"Book of {book.folder}, {_jobs(len(book.jobs))}",
        document=lambda folder: _document(book, folder),
        rows=lambda: book_rows(book)[: len(book.jobs)],
        text=lambda: book_text(book),
        names=NAMES,
        write=write,
        inputs=inputs,
    )


def _document(book: Book, folder: Path | None) -> dict[str, object]:
    where = {} if folder is None else {"written_to": folder, "files": NAMES}
    told = plain(book)
    assert isinstance(told, dict)
    return {**where, **told, "order": order_of(book.jobs)}


def _jobs(count: int) -> str:
    return "1 job" if count == 1 else f"{count} jobs"


def book_text(book: Book) -> str:
    """A line for every job, and what cannot be read."""
    rows = [["state", "job", "first colour", "dyes", "last day"]]
    rows += [[job.story.state, job.place, _first(job), dyes_of(job), job.story.last] for job in book.jobs]
    lines = text_table(rows, width=WIDTH, ruled=True) if book.jobs else []
    return "\n".join([*lines, *faulty_lines(book.faulty), *(f"note: {note}" for note in book.notes), ""])


def faulty_lines(faulty: Sequence[Faulty]) -> list[str]:
    """What cannot be read, a line each."""
    return [f"cannot be read: {one.place}: {one.words}" for one in faulty]


def _first(job: BookJob) -> str:
    return job.colours[0].srgb if job.colours else ""


def amount(value: float, unit: str = "") -> str:
    """An amount that can be measured: two digits behind the point below 10, one below 100, none above.

    >>> amount(1.404, "mL"), amount(24.96, "mL"), amount(412.3, "mL")
    ('1.40 mL', '25.0 mL', '412 mL')
    """
    digits = 2 if value < 10.0 else 1 if value < 99.95 else 0
    return f"{value:.{digits}f}" + (f" {unit}" if unit else "")


def takes(told: Told) -> str:
    """What the jobs take, with its range."""
    return f"{amount(told.likely)} ({amount(told.low)} to {amount(told.high)}) {told.unit}"


def drops_words(line: OrderLine) -> str:
    """The same in drops, of a liquid dye."""
    return "" if line.drops is None else f"{line.drops.likely:.0f} ({line.drops.low:.0f} to {line.drops.high:.0f})"


def order_text(lines: Sequence[OrderLine], note: str) -> list[str]:
    """What to order, short; `note` says what the sums are of."""
    if not lines:
        return ["nothing to order: every job is done, or none needs anything"]
    rows = [["", "to mix", "the jobs take", "drops", "jobs"]]
    rows += [
        [line.words, amount(line.make, line.unit), takes(line.needed), drops_words(line), str(len(line.jobs))]
        for line in lines
    ]
    held = [ISOCYANATE] if any(line.isocyanate for line in lines) else []
    told = [part for text in (f"Approximate. {note}", *held) for part in textwrap.wrap(text, WIDTH)]
    return [*text_table(rows, width=WIDTH, ruled=True), "", *told]


def asked_result(asked: Asked) -> Result[Asked]:
    """An answer with its ways out."""
    return Result(
        found=asked,
        line=f"Book of {asked.folder}, asked: {_jobs(len(asked.jobs)) if asked.pair is None else 'two jobs'}",
        document=lambda _: _asked_document(asked),
        rows=lambda: [job_row(job) for job in asked.jobs],
        text=lambda: "\n".join([*_asked_lines(asked), *faulty_lines(asked.faulty), ""]),
        names=(),
    )


def _asked_document(asked: Asked) -> dict[str, object]:
    if asked.pair is not None:
        lines = [
            {"what": line.what, "one": line.one, "other": line.other, "differs": line.differs} for line in asked.lines
        ]
        return {"beside": [job.place for job in asked.pair], "lines": lines}
    found = [{"place": job.place, "scheme": job.scheme, "name": job.worked.name} for job in asked.jobs]
    if asked.near is not None:
        found = [
            {**told, "de00": near.de00, "at": near.colour}  # type: ignore[dict-item]
            for told, near in zip(found, asked.near, strict=True)
        ]
    order = {} if asked.order is None else {"order": asked.order}
    return {"jobs": found, **order, "faulty": asked.faulty}


def _asked_lines(asked: Asked) -> list[str]:
    if asked.pair is not None:
        rows = [["", *(job.place for job in asked.pair)]]
        rows += [[("* " if line.differs else "  ") + line.what, line.one, line.other] for line in asked.lines]
        return [*text_table(rows, width=WIDTH, ruled=True), "", "* they differ. Approximate."]
    if asked.order is not None:
        return order_text(asked.order, order_note(asked.jobs))
    if asked.near is not None:
        return _near_lines(asked.near)
    rows = [["job", "state", "dyes", "hands on", "cost", "the client said"], *map(_short, asked.jobs)]
    return text_table(rows, width=WIDTH, ruled=True)


def _near_lines(found: Sequence[Near]) -> list[str]:
    rows = [["dE00", "colour", "where", "job", "mixes"]]
    for near in found[:MOST_SHOWN]:
        mixes = dict(facts_of(near.job))["mixes"]
        rows.append([f"{near.de00:.1f}", near.colour.srgb, near.colour.place, near.job.place, mixes])
    more = len(found) - MOST_SHOWN
    tail = [f"and {more} more that are further off"] if more > 0 else []
    told = "dE00: from the colour wanted to that as planned, or read off a photo; 1 is just seen; approximate."
    return [*text_table(rows, width=WIDTH, ruled=True), *tail, "", told]


def _short(job: BookJob) -> list[str]:
    hours = f"{job.worked.hands_on_h.likely:.1f} h"
    return [job.place, str(job.story.state), dyes_of(job), hours, cost_words(job), job.story.client_words]
