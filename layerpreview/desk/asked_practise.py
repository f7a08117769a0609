"""What the page of learning the eye asks for, one function each, as in `asked`; and the pictures it shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from layerpreview.answers.practise import BASES, CHOICES, FILM_UM, ROUNDS, Round
from layerpreview.answers.practise_lessons import choice_words, coats_words, mix_words, question_words, verdict
from layerpreview.desk.desk import Desk
from layerpreview.errors import InputError, Problem
from layerpreview.output.practise_pictures import chips_png, picture_png
from layerpreview.workflows import practise

Words = Mapping[str, str]
Body = Mapping[str, Any]
Answer = tuple[int, Any]


def get_set(desk: Desk, words: Words) -> Answer:
    """The next set, and how many were finished."""
    return 200, {"set": practise.next_set(), "rounds": ROUNDS, "finished": len(practise.kept_sets())}


def get_round(desk: Desk, words: Words) -> Answer:
    """One question in words."""
    asked = _round(words)
    return 200, {
        "number": asked.number,
        "asks": asked.asks,
        "question": question_words(asked),
        "choices": [choice_words(asked, k) for k in range(CHOICES)],
        "base": BASES[asked.base][0],
        "mix": mix_words(asked),
        "one": f"One medium coat ({FILM_UM:g} µm, {FILM_UM / 25.4:.2g} mil wet) of {mix_words(asked)}",
        "target": "The target" if asked.asks == "coats" else f"The target: {coats_words(asked.coats)}",
    }


def post_guess(desk: Desk, words: Words, body: Body) -> Answer:
    """How far off a guess is."""
    asked = practise.round_in(body.get("set"), body.get("round"))
    guess = body.get("guess")
    if type(guess) is not int:
        raise InputError(Problem("a guess is a whole number", field="guess", value=str(guess)[:40]))
    told = verdict(asked, guess)
    return 200, {
        "guess": told.guess,
        "right": told.right,
        "de00": round(told.de00, 1),
        "said": f"You said {choice_words(asked, told.guess)}",
        "was": f"It is {choice_words(asked, told.right)}",
        "words": told.words,
        "lesson": told.lesson,
        "on_screen": told.on_screen,
    }


def post_finish(desk: Desk, words: Words, body: Body) -> Answer:
    """Keep a finished set; all of it beside what is right, and the medians of all sets so far."""
    found = practise.finish(body.get("set"), body.get("guesses"))
    rows = [
        {
            "round": one.number,
            "said": choice_words(one, guess),
            "was": choice_words(one, one.right),
            "de00": round(off, 1),
        }
        for one, guess, off in zip(found.rounds, found.done.guesses, found.done.off_de00, strict=True)
    ]
    return 200, {
        "rows": rows,
        "median": round(found.done.median_de00, 1),
        "times": [{"when": f"{one.when:%Y-%m-%d}", "median": one.median_de00} for one in found.all_done],
        "trouble": found.trouble,
    }


def post_forget(desk: Desk, words: Words, body: Body) -> Answer:
    """Remove what was kept."""
    practise.forget()
    return 200, {}


GET: dict[str, Callable[[Desk, Words], Answer]] = {"set": get_set, "round": get_round}
POST: dict[str, Callable[[Desk, Words, Body], Answer]] = {
    "guess": post_guess,
    "finish": post_finish,
    "forget": post_forget,
}


def picture_asked(words: Words) -> bytes:
    """A picture of a round: its bare base, one coat, the target, what a choice [0..8] would be, or chips of all."""
    asked, what = _round(words), words.get("what", "")
    if what == "all":
        return chips_png(asked)
    loads = {"base": 0.0, "one": 1.0, "target": asked.loads[asked.right]}
    loads |= {str(k): load for k, load in enumerate(asked.loads)}
    if what not in loads:
        raise InputError(Problem("there is no such picture", f"use one of {', '.join(loads)}", value=what[:40]))
    return picture_png(asked, loads[what])


def _round(words: Words) -> Round:
    number = words.get("round", "")
    return practise.round_in(words.get("set"), int(number) if number.isdecimal() and len(number) < 4 else None)
