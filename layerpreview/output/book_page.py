"""The shop book as one HTML page with everything in it: it opens anywhere and asks the network for nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from layerpreview.answers.book import Book, BookColour, BookDye, BookJob, State
from layerpreview.answers.book_find import all_words, cost_words, facts_of, lab_words
from layerpreview.answers.book_order import TO_COME, OrderLine, order_note, order_of
from layerpreview.colour import delta_e_2000
from layerpreview.job.cautions import CAUTION_VAPOUR_SHORT
from layerpreview.output.book_index import BookPicture
from layerpreview.output.book_result import ISOCYANATE, amount, drops_words, takes
from layerpreview.output.html_page import content_policy, json_block

COLOURS_ON_CARD, UNLIKE_DE00 = 4, 4.0
_DATA = Path(__file__).parents[1] / "data" / "book"
_CLASSES = {State.SPRAYED: "sprayed", State.AGREED: "agreed", State.DONE: "done"}


def book_page(book: Book, pictures: Mapping[str, BookPicture]) -> str:
    """The page: a card for every job, its picture first; what to order; what could not be read.

    `pictures` by the jobs' places. Every word from outside is escaped, and nothing may be loaded or sent.
    """
    from jinja2 import Environment, StrictUndefined

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    style, script = _data("book.css"), _data("book.js")
    dyes = {dye.name: dye for job in book.jobs for dye in job.worked.dyes}
    order = order_of(book.jobs)
    to_come = sum(job.story.state in TO_COME for job in book.jobs)
    held = [ISOCYANATE] if any(line.isocyanate for line in order) else []
    return environment.from_string(_data("book.html.j2")).render(
        book=book,
        counts=_counts(book),
        policy=content_policy(style=style, script=script),
        style=style,
        script=script,
        data=json_block([_searched(job) for job in book.jobs]),
        dyes=sorted(dyes.values(), key=lambda dye: dye.name.casefold()),
        jobs=[_card(job, pictures.get(job.place)) for job in book.jobs],
        order=[_ordered(line, dyes) for line in order],
        order_jobs="one job" if to_come == 1 else f"{to_come} jobs",
        order_note=order_note(book.jobs),
        cautions=[*held, ": ".join(CAUTION_VAPOUR_SHORT)],
    )


def _counts(book: Book) -> str:
    found = Counter(job.story.state for job in book.jobs)
    jobs = "1 job" if len(book.jobs) == 1 else f"{len(book.jobs)} jobs"
    words = {State.UNKNOWN: "of an unknown state"}
    return ": ".join(
        filter(None, (jobs, ", ".join(f"{found[state]} {words.get(state, state)}" for state in State if found[state])))
    )


def _card(job: BookJob, picture: BookPicture | None) -> dict[str, Any]:
    worked, story = job.worked, job.story
    swatches = {dye.name: dye.swatch for dye in worked.dyes}
    return {
        "name": worked.name,
        "place": job.place,
        "picture": picture,
        "state": story.state,
        "state_class": _CLASSES.get(story.state, ""),
        "last": story.last,
        "client_words": story.client_words,
        "colours": _unlike(job.colours)[:COLOURS_ON_CARD],
        "mixes": [
            {
                "name": mix.name,
                "films": _films(job, mix.name),
                "dyes": [{"name": dye, "amount": strength, "swatch": swatches[dye]} for dye, strength in mix.strengths],
            }
            for mix in worked.mixes
        ],
        "hours": _hours(job),
        "cost": cost_words(job),
        "learnt": list(dict.fromkeys(one.words for one in story.learnt)),
        "facts": [(what, text) for what, text in facts_of(job) if what not in ("state", "the client said", "learnt")],
        "all_colours": [
            {"srgb": one.srgb, "place": one.place, "words": f"{one.srgb}, L* a* b* {lab_words(one.lab)}"}
            for one in (*((story.read,) if story.read else ()), *worked.colours)
        ],
    }


def _films(job: BookJob, mix: str) -> str:
    """How many coats of a mix, and the wet film of each with what it rests on: "3 + 2 coats, 40 um assumed"."""
    coats = [coat for coat in job.worked.coats if coat.what == mix]
    if not coats:
        return "not sprayed"
    films = dict.fromkeys(f"{coat.film_um.likely:.3g} um {coat.film_um.weakest}" for coat in coats)
    word = "coat" if [coat.coats for coat in coats] == [1] else "coats"
    return f"{' + '.join(str(coat.coats) for coat in coats)} {word}, {' and '.join(films)}"


def _unlike(colours: tuple[BookColour, ...]) -> list[BookColour]:
    """Those that differ from all before them as a painter would see at once."""
    found: list[BookColour] = []
    for colour in colours:
        if all(float(delta_e_2000(np.array(colour.lab), np.array(one.lab))) > UNLIKE_DE00 for one in found):
            found.append(colour)
    return found


def _hours(job: BookJob) -> str:
    hours = job.worked.hands_on_h
    return f"{hours.likely:.1f} h hands on ({hours.low:.1f} to {hours.high:.1f})"


def _ordered(line: OrderLine, dyes: Mapping[str, BookDye]) -> dict[str, str]:
    return {
        "words": line.words,
        "swatch": dyes[line.name].swatch if line.kind in ("dye", "powder") and line.name in dyes else "",
        "make": amount(line.make, line.unit),
        "takes": takes(line.needed),
        "drops": drops_words(line),
        "jobs": ", ".join(line.jobs),
    }


def _searched(job: BookJob) -> dict[str, object]:
    """What the page's search and its pair of jobs need."""
    return {
        "name": job.worked.name,
        "words": all_words(job).casefold(),
        "dyes": [dye.name for dye in job.worked.dyes],
        "colours": [
            {"srgb": one.srgb, "lab": one.lab, "place": one.place, "over": one.over.casefold()} for one in job.colours
        ],
        "facts": facts_of(job),
    }


def _data(name: str) -> str:
    return (_DATA / name).read_text(encoding="utf-8")
