"""The client's board: one HTML file with everything in it, which opens anywhere and asks the network for nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from layerpreview.job.colours import ColourFigures
from layerpreview.output.board_code import TEXT_BEGINS, TEXT_ENDS, Choice
from layerpreview.output.board_data import Option, option_json
from layerpreview.output.board_live import UNPACK_SCRIPTS, Asked, PackedBoard, Part, packed_board, texts_of
from layerpreview.output.board_words import coats_words, light_word
from layerpreview.output.html_page import content_policy, json_block, text_direction
from layerpreview.output.live import LIVE_SCRIPTS
from layerpreview.picture.spots import SpotKind

if TYPE_CHECKING:
    from jinja2 import Environment

_DATA = Path(str(resources.files("layerpreview"))) / "data"
LIVE_LIMIT_BYTES, LIVE_LIMIT_MORE_BYTES = 2_200_000, 350_000
"""What the live pictures of up to two options may take, and of each more: with all else a mail of some 3 MB, of eight
options some 6 MB."""
_SCRIPTS = (
    *(f"live/{name}" for name in LIVE_SCRIPTS),
    *UNPACK_SCRIPTS,
    *(f"board/{name}.js" for name in ("code", "depth", "store", "words", "stage", "swing", "halves")),
    *(f"board/{name}.js" for name in ("marks", "tiles", "controls", "choose", "begin")),
)


@dataclass(frozen=True)
class BoardPage:
    """The finished page, how fine the steps of its pictures are [%], and what takes most where it is too large."""

    html: str
    quality: int
    too_large: tuple[Part, ...] = ()

    @property
    def size_bytes(self) -> int:
        return len(self.html.encode("utf-8"))


def live_packed(asked: Sequence[Asked], *, longest_px: int) -> PackedBoard:
    """Pack the live pictures of a board's options into what they may take of a page.

    `longest_px`: the longer side of the picture that their maps are made for. Raises InputError and PictureError.
    """
    limit_bytes = LIVE_LIMIT_BYTES + LIVE_LIMIT_MORE_BYTES * max(0, len(asked) - 2)
    return packed_board(asked, limit_bytes=limit_bytes, longest_px=longest_px)


def board_page(
    options: Sequence[Option],
    *,
    board: str,
    title: str,
    words: Mapping[str, Mapping[str, Any]],
    packed: PackedBoard,
    shop: Mapping[str, str] | None = None,
) -> BoardPage:
    """Lay the options out as one HTML page.

    `board`: the five digits that stand for it in codes; `words`: by language, the first one being that of the page
    before its scripts run; `packed`: their live pictures (`live_packed`); `shop`: as far as it is known the `name`,
    `mail` and `phone` to which a choice goes. Every word from outside is escaped, every script and style is named by
    its hash in the page's content policy, and nothing may be loaded or sent.
    """
    card: dict[str, str | None] = {**dict.fromkeys(("name", "mail", "phone")), **(shop or {})}
    shown = {**card, "goes": _goes(card)}
    whole = [{**option_json(one, words), "live": live} for one, live in zip(options, packed.pictures, strict=True)]
    data: dict[str, Any] = {
        "board": board,
        "title": title,
        "lights": list(options[0].pictures),
        "options": whole,
        "files": texts_of(packed.files),
        "languages": list(words),
        "directions": {lang: text_direction(lang) for lang in words},
        "words": dict(words),
        "shop": shown,
        "text_begins": TEXT_BEGINS,
        "text_ends": TEXT_ENDS,
    }
    first = next(iter(words.values()))
    ready = [_ready(option, board=board, title=title, shop=card, words=first) for option in options]
    html = _html(options, data, title=title, words=first, ready=ready, shop=shown)
    return BoardPage(html, round(100 / packed.files.coarser), packed.too_large)


def _goes(shop: Mapping[str, str | None]) -> str:
    """The key of the words that say whom a choice goes to."""
    if shop["mail"]:
        return "goes_to" if shop["name"] else "goes_to_mail"
    return "goes_by_hand_to" if shop["name"] else "goes_by_hand"


def _ready(
    option: Option, *, board: str, title: str, shop: Mapping[str, str | None], words: Mapping[str, Any]
) -> dict[str, str]:
    """What a page without scripts gives to pass on: the code of the option as proposed, and a mail with it."""
    choice = Choice(board, option.letter, *option.limits.proposed())
    subject = words["mail_subject"].format(letter=option.letter, name=title)
    body = (
        f"{words['agree']['option'].format(letter=option.letter, name=option.scheme.name)}\r\nCode: {choice.code}\r\n"
    )
    mailto = (
        f"mailto:{quote(shop['mail'] or '', safe='@')}?subject={quote(subject, safe='')}&body={quote(body, safe='')}"
    )
    return {"code": choice.code, "grouped": choice.grouped, "mailto": mailto}


def _html(
    options: Sequence[Option],
    data: Mapping[str, Any],
    *,
    title: str,
    words: Mapping[str, Any],
    ready: Sequence[Mapping[str, str]],
    shop: Mapping[str, str | None],
) -> str:
    style = _data("board.css") + _data("stage.css")
    script = "\n".join((_DATA / name).read_text(encoding="utf-8") for name in _SCRIPTS)
    return (
        _environment(words)
        .get_template("board.html.j2")
        .render(
            data=json_block(data),
            dir=text_direction(words["lang"]),
            options=options,
            ready=ready,
            shop=shop,
            policy=content_policy(style=style, script=script),
            script=script,
            style=style,
            t=SimpleNamespace(**words),
            title=title,
        )
    )


def _environment(words: Mapping[str, Any]) -> Environment:
    from jinja2 import DictLoader, Environment, StrictUndefined

    environment = Environment(
        autoescape=True,
        loader=DictLoader({"board.html.j2": _data("board.html.j2")}),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["whole"] = lambda number: f"{round(number) + 0:d}".replace("-", "\u2212")
    environment.filters["spot"] = lambda colour: _spot_words(colour, words)
    environment.filters["light_named"] = lambda name: _light_named(name, words)
    environment.filters["coats"] = lambda n: coats_words(n, words)
    environment.filters["fill"] = lambda text, **values: text.format(**values)
    return environment


def _light_named(name: str, words: Mapping[str, Any]) -> str:
    """A light by its plain word and, for the painter, its name."""
    plain = light_word(name, words)
    return name if plain == name else f"{plain} ({name})"


def _spot_words(colour: ColourFigures, words: Mapping[str, Any]) -> str:
    """A place of the figures in the page's words; names from the scheme stay as they are."""
    told = colour.place if colour.kind is SpotKind.ZONE else str(words.get(f"spot_{colour.place}", colour.place))
    return colour.spot.removesuffix(colour.place) + told


def _data(name: str) -> str:
    return (_DATA / "board" / name).read_text(encoding="utf-8")
