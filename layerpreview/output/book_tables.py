"""The shop book as tables: a row for every job, and one for everything to order."""

from __future__ import annotations

from layerpreview.answers.book import Book, BookJob
from layerpreview.answers.book_find import facts_of, lab_words
from layerpreview.answers.book_order import OrderLine

BOOK_HEADS = (
    *("place", "scheme", "name", "state", "begun", "last", "agreed", "client_words", "base", "mixes", "dyes", "coats"),
    *("colour_place", "srgb", "L", "a", "b", "light", "off_de00", "other_colours", "films", "clear"),
    *("hands_on_h", "hands_on_h_low", "hands_on_h_high", "waiting_h", "cost", "currency", "unpriced"),
    *("learnt", "notes", "cannot_be_read"),
)
ORDER_HEADS = (
    *("kind", "name", "bottle", "part_of", "unit", "to_mix", "jobs_take", "jobs_take_low", "jobs_take_high"),
    *("drops", "drops_low", "drops_high", "rests_on", "jobs"),
)


def book_rows(book: Book) -> list[dict[str, object]]:
    """A row for every job, and one for each that cannot be read."""
    rows = [job_row(job) for job in book.jobs]
    for one in book.faulty:
        rows.append({**dict.fromkeys(BOOK_HEADS), "place": one.place, "cannot_be_read": one.words})
    return rows


def job_row(job: BookJob) -> dict[str, object]:
    """A job as the table has it."""
    worked, story = job.worked, job.story
    facts = dict(facts_of(job))
    first = job.colours[0] if job.colours else None
    colour: dict[str, object] = {}
    if first is not None:
        light, a, b = first.lab
        colour = {"colour_place": first.place, "srgb": first.srgb, "off_de00": first.off_de00, "light": worked.light}
        colour |= {"L": light, "a": a, "b": b}
    row: dict[str, object] = {
        "place": job.place,
        "scheme": job.scheme,
        "name": worked.name,
        "state": str(story.state),
        "begun": story.begun,
        "last": story.last,
        "agreed": facts["agreed"],
        "client_words": story.client_words,
        "base": facts["base"],
        "mixes": facts["mixes"],
        "dyes": facts["dyes"],
        "coats": facts["coats"],
        **colour,
        "other_colours": "; ".join(f"{one.place} {one.srgb} ({lab_words(one.lab)})" for one in job.colours[1:]),
        "films": facts["wet film of a coat"],
        "clear": worked.finish,
        "hands_on_h": round(worked.hands_on_h.likely, 2),
        "hands_on_h_low": round(worked.hands_on_h.low, 2),
        "hands_on_h_high": round(worked.hands_on_h.high, 2),
        "waiting_h": None if worked.waiting_h is None else round(worked.waiting_h.likely, 2),
        "cost": worked.cost,
        "currency": worked.currency,
        "unpriced": worked.unpriced,
        "learnt": facts["learnt"],
        "notes": facts["notes"],
        "cannot_be_read": "",
    }
    return {head: row.get(head) for head in BOOK_HEADS}


def order_row(line: OrderLine) -> dict[str, object]:
    """An order line as the table has it."""
    drops = line.drops
    return {
        "kind": line.kind,
        "name": line.name,
        "bottle": line.bottle,
        "part_of": line.of,
        "unit": line.unit,
        "to_mix": round(line.make, 2),
        "jobs_take": round(line.needed.likely, 2),
        "jobs_take_low": round(line.needed.low, 2),
        "jobs_take_high": round(line.needed.high, 2),
        "drops": None if drops is None else round(drops.likely),
        "drops_low": None if drops is None else round(drops.low),
        "drops_high": None if drops is None else round(drops.high),
        "rests_on": line.basis,
        "jobs": ", ".join(line.jobs),
    }
