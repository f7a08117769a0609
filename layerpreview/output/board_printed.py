"""What stands on a printed board: pictures first, what is sprayed in a client's words, the code that takes it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo

from layerpreview.output.board_code import Choice
from layerpreview.output.board_data import Option, Picture
from layerpreview.output.board_words import Words, coats_words, day_words, label_words, light_word, where_words
from layerpreview.picture.spots import SpotKind
from layerpreview.scheme import ShopCard
from layerpreview.told import Told

MOST_PICTURES, MOST_COLOURS = 4, 4
TALLEST = {True: 0.72, False: 0.36}
"""Greatest height of an option's first picture, as a share of the page's width: of one alone, and of one of several."""
TALLEST_SMALL = {True: 0.2, False: 0.14}
GAP = 0.016
"""Between pictures, as a share of the page's width; twice that beside the first."""
BESIDE = 0.62
"""Up to this share of the page's width, all else stands beside the first picture, else below it."""
LONG = 2.4
"""A picture that is longer than so many of its heights goes over the whole width."""
MICRON = "\u00b5m"


@dataclass(frozen=True, eq=False)
class PrintedOption:
    """One option on paper: its pictures, the first the largest; what is sprayed; figures for the painter.

    `code` takes it as it is proposed, `grouped` is the same to be read out; "" where there is no log to agree on.
    """

    letter: str
    name: str
    pictures: tuple[Picture, ...]
    lines: tuple[str, ...]
    figures: tuple[str, ...]
    code: str
    grouped: str

    def first_width(self, *, alone: bool) -> float:
        """Width of the first picture, as a share of the page's."""
        share = self.pictures[0].width_px / self.pictures[0].height_px
        return min(1.0 if alone or share > LONG else BESIDE, share * TALLEST[alone])

    def is_beside(self, *, alone: bool) -> bool:
        """Whether what is sprayed and the other pictures stand beside the first one."""
        return self.first_width(alone=alone) <= BESIDE

    def small_height(self, *, alone: bool) -> float:
        """Height of the other pictures in a row, as a share of the page's width."""
        shares = [picture.width_px / picture.height_px for picture in self.pictures[1:]]
        room = 1.0 - (self.first_width(alone=alone) + 2.0 * GAP if self.is_beside(alone=alone) else 0.0)
        return min(TALLEST_SMALL[alone], (room - GAP * (len(shares) - 1)) / sum(shares)) if shares else 0.0


@dataclass(frozen=True, eq=False)
class Printed:
    """A board on paper: heading, the line above it, its options, how to answer, and what is small at the foot."""

    title: str
    above: str
    options: tuple[PrintedOption, ...]
    choose: str
    answer: str
    foot: str
    words: Words

    @property
    def alone(self) -> bool:
        """Whether there is one option only."""
        return len(self.options) == 1

    def is_named(self, option: PrintedOption) -> bool:
        """Whether an option is called by its name: not where the heading does."""
        return not self.alone or option.name != self.title


def printed(
    options: Sequence[Option],
    *,
    title: str,
    words: Words,
    board: str = "",
    card: ShopCard | None = None,
    time: datetime | None = None,
    zone: tzinfo | None = None,
) -> Printed:
    """What is printed of these options. `board`: its digits where its choice can be agreed on, `time`: of the board.

    The day is that of a zone's clock, of this machine's where it is None.
    """
    card = card or ShopCard()
    day = day_words(time, words, zone=zone) if time else ""
    to = ", ".join(filter(None, (card.mail, card.phone)))
    named = words["print_board"].format(board=board) if board else ""
    return Printed(
        title=title,
        above=" \u00b7 ".join(filter(None, (words["eyebrow"], card.name or "", day, named))),
        options=tuple(_option(option, board, words) for option in options),
        choose=str(words["print_choose"]) if board else "",
        answer=str(words["print_answer"]).format(to=to) if board and to else "",
        foot=f"{words['approximate_long']} {words['print_note']}",
        words=words,
    )


def _option(option: Option, board: str, words: Words) -> PrintedOption:
    choice = Choice(board, option.letter, *option.limits.proposed())
    return PrintedOption(
        letter=option.letter,
        name=option.scheme.name,
        pictures=(*option.pictures.values(), option.bare_picture)[:MOST_PICTURES],
        lines=tuple(coat_lines(option, words)),
        figures=tuple(_figures(option, words)),
        code=choice.code if board else "",
        grouped=choice.grouped if board else "",
    )


def in_words(option: Option, words: Words) -> Option:
    """The option with all that it says of itself in other words."""
    coats = [
        replace(
            limit,
            label=label_words(coat, words),
            where=where_words(option.scheme, i, words),
        )
        for i, (limit, coat) in enumerate(zip(option.limits.coats, option.scheme.coats, strict=True))
    ]
    return replace(
        option,
        limits=replace(option.limits, coats=tuple(coats)),
        pictures={
            light: replace(picture, words=words["finished_under"].format(light=light_word(light, words)))
            for light, picture in option.pictures.items()
        },
        bare_picture=replace(option.bare_picture, words=words["bare"]),
    )


def coat_lines(option: Option, words: Words) -> list[str]:
    """What is sprayed, a line a coat, and the clear."""
    lines = []
    for coat in option.limits.coats:
        what, n = f"{coat.label}, {coat.where}", coats_words(coat.coats, words)
        lines.append(words["agree"]["coats"].format(what=what, n=n))
    return [*lines, words["clear"].format(finish=words[option.scheme.clear.finish])]


def _figures(option: Option, words: Words) -> list[str]:
    """Films and colours, small: what they rest on is said of each film."""
    scheme, light = option.scheme, next(iter(option.pictures))
    us = scheme.shop.units == "US"
    films = dict.fromkeys(
        f"{limit.label} {_film(coat.film_um, us=us)}"
        for limit, coat in zip(option.limits.coats, scheme.coats, strict=True)
    )
    labs = [
        f"{colour.face} {' '.join(f'{value:.0f}' for value in colour.lab)}".replace("-", "\u2212")
        for colour in option.figures.colours
        if colour.light == light and colour.kind is SpotKind.FIELD
    ][:MOST_COLOURS]
    shown = f"{words['lab']}, {words['spot_field']}, {light_word(light, words)}"
    return [f"{words['film']}: {'; '.join(films)}", f"{shown}: {'; '.join(labs)}"]


def _film(film_um: Told, *, us: bool) -> str:
    """A wet film with its range and grounds: "40 um (28 to 55), stated"."""
    low, likely, high = (
        f"{value / 25.4:.2g}" if us else f"{value:.0f}" for value in (film_um.low, film_um.likely, film_um.high)
    )
    ends = "" if low == high else f" ({low}\u2013{high})"
    return f"{likely} {'mil' if us else MICRON}{ends}, {film_um.basis}"
