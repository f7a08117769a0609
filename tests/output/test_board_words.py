"""Words for a client in any language: these tests exist for a key that a translation forgot, a brace that was filled
with nothing, and a coat whose place is told in the painter's words."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from string import Formatter
from typing import Any

import pytest

from layerpreview.errors import InputError
from layerpreview.output.board_words import board_words, board_words_of, day_words, languages, where_words
from layerpreview.scheme import load_scheme

from ..schemes import DYES, FULL, HEAD, HOLE, HONEY, MIXES, PANEL, SILVER

ENGLISH = board_words()
TRANSLATED = sorted(set(languages()) - {"en"})


def texts(words: Any, table: str = "") -> Iterator[tuple[str, str]]:
    for key, value in words.items():
        if isinstance(value, str):
            yield table + key, value
        else:
            yield from texts(value, f"{key}.")


def braces(text: str) -> list[str]:
    return sorted(name for _, name, _, _ in Formatter().parse(text) if name is not None)


@pytest.mark.parametrize("lang", TRANSLATED)
def test_a_translation_is_whole(lang: str) -> None:
    path = languages()[lang]
    text = path.read_text(encoding="utf-8")
    given, english = dict(texts(tomllib.loads(text))), dict(texts(ENGLISH))
    assert list(given) == list(english)
    assert {key: braces(value) for key, value in given.items()} == {
        key: braces(value) for key, value in english.items()
    }
    assert "Own translation, not reviewed by a native speaker." in text.splitlines()[0]
    assert not re.search("  |\t|\u00a0 | \u00a0", text)
    assert given["lang"] == lang
    assert len(given["months"].split()) == 12
    assert all(value.strip() == value != "" for value in given.values())


def test_english_is_always_there_and_what_was_asked_for_comes_first() -> None:
    assert list(board_words_of()) == ["en"]
    assert board_words_of() == {"en": ENGLISH}
    found = board_words_of(["de"])
    assert list(found) == ["de", "en"]
    assert set(found["de"]) == set(found["en"])
    assert list(board_words_of(["en,DE", "de"])) == ["en", "de"]
    with pytest.raises(InputError) as caught:
        board_words_of(["xx,de,yy"])
    assert [problem.value for problem in caught.value.problems] == ["xx", "yy"]
    assert "ready are de, en, es, fr, it, ja, pl, pt;" in caught.value.problems[0].remedy


def test_a_file_of_one_s_own_goes_over_what_is_ready(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text('lang = "de"\nchoose = "{letter} soll es sein"\n[agree]\nseen = "Licht: {light}"\n', "utf-8")
    found = board_words_of((), own)
    assert list(found) == ["de", "en"]
    assert (found["de"]["choose"], found["de"]["agree"]["seen"]) == ("{letter} soll es sein", "Licht: {light}")
    assert found["de"]["note"] == board_words_of(["de"])["de"]["note"] != ENGLISH["note"]
    own.write_text('lang = "eo"\nchoose = "{letter} estu"\n', "utf-8")
    found = board_words_of(["de"], own)
    assert list(found) == ["eo", "de", "en"]
    assert found["eo"]["note"] == ENGLISH["note"]
    own.write_text('choose = "Take {letter}"\n', "utf-8")
    assert [words["choose"] for words in board_words_of((), own).values()] == ["Take {letter}"]


def test_the_day_is_that_of_the_clock_on_the_wall() -> None:
    time = datetime(2026, 3, 1, 1, 30, tzinfo=UTC)
    assert day_words(time, ENGLISH, zone=UTC) == "1 March 2026"
    assert day_words(time, ENGLISH, zone=timezone(timedelta(hours=-6))) == "28 February 2026"
    assert day_words(time, board_words_of(["de"])["de"], zone=UTC) == "1. März 2026"


# Unicode CLDR, gregorian calendar, date format "long", as browsers write it; Polish months in the genitive.
LONG_DATES = {
    "de": "1. August 2026",
    "en": "1 August 2026",
    "es": "1 de agosto de 2026",
    "fr": "1 août 2026",
    "it": "1 agosto 2026",
    "ja": "2026年8月1日",
    "pl": "1 sierpnia 2026",
    "pt": "1 de agosto de 2026",
}
DECIMAL_POINT = {"en", "ja"}  # CLDR, number symbols: the others of ours write a comma


@pytest.mark.parametrize("lang", LONG_DATES)
def test_dates_and_numbers_are_written_as_in_the_language(lang: str) -> None:
    words = board_words_of([lang])[lang]
    assert day_words(datetime(2026, 8, 1, 12, tzinfo=UTC), words, zone=UTC) == LONG_DATES[lang]
    assert words["decimal"] == ("." if lang in DECIMAL_POINT else ",")


def test_every_language_that_is_ready_is_looked_at_here() -> None:
    assert set(LONG_DATES) == set(languages())


def test_french_signs_stay_with_their_words() -> None:
    # Common practice, no source: no line breaks before the double signs and the sign of per cent.
    for text in dict(texts(board_words_of(["fr"])["fr"])).values():
        assert not re.search("[^\u00a0][:;?!%]", text)


def test_what_a_client_sends_has_no_space_that_mail_might_change() -> None:
    # The check of a choice takes a no-break space as a space (output/board_code.py), and no other one.
    for lang in languages():
        for text in board_words_of([lang])[lang]["agree"].values():
            assert not re.search("[\u2000-\u200f\u202f\u3000]", text)


def test_coats_hold_for_any_number() -> None:
    # Polish counts 2 to 4 otherwise than 5 (CLDR, plural rules: few and many); the locative plural is one for both.
    words = board_words_of(["pl"])["pl"]
    assert [words["coats"].format(n=n) for n in (2, 5, 22)] == ["w 2 warstwach", "w 5 warstwach", "w 22 warstwach"]
    assert words["one_coat"] == "w 1 warstwie"


# What is short in English lies beside something else on a phone. (1.5 times the English one, and a few signs more.)
BUTTONS = (
    "reset choose choose_one choose_look copy_code copy_text save close send again straight_on as_it_stands labels "
    "look_closer range_low range_likely range_high paler_end deeper_end compare_none compare_bare compare_proposed"
)


@pytest.mark.parametrize("lang", TRANSLATED)
def test_buttons_stay_short(lang: str) -> None:
    words = board_words_of([lang])[lang]
    assert {key: words[key] for key in BUTTONS.split() if len(words[key]) > 1.5 * len(ENGLISH[key]) + 4} == {}


SPINE = (
    '[[face.zone]]\nname = "spine"\nshape = "panel"\nwidth = "9 mm"\nheight = "90 mm"\ncentre = ["40 mm", "24 mm"]\n'
)
BURSTS = {
    "": ("all over", "auf der ganzen Fläche"),
    'burst = { from = "outline", width = "75 mm" }': (
        "fades out over 75 mm from the edge",
        "läuft vom Rand her über 75 mm aus",
    ),
    'burst = { from = "outline", width = "16 mm" }': ("on the rim, 16 mm wide", "am Rand, 16 mm breit"),
    'burst = { from = "outline", width = "40 mm", centre = 0.1 }': (
        "fades out over 40 mm from the edge (10 % of it stays further in)",
        "läuft vom Rand her über 40 mm aus (10 % davon bleiben weiter innen)",
    ),
    'burst = { from = "outline", width = "40 mm", centre = 1.0 }': ("all over", "auf der ganzen Fläche"),
    'burst = [{ from = "openings", width = "12.5 mm" }, { from = "outline", width = "30 mm" }]': (
        "round the openings, 12.5 mm wide, and fades out over 30 mm from the edge",
        "um die Öffnungen, 12,5 mm breit, und läuft vom Rand her über 30 mm aus",
    ),
    'burst = { from = "line", width = "20 mm", at = ["1 mm", "2 mm"], angle = 30 }': (
        "fades out over 20 mm on both sides of a line",
        "läuft zu beiden Seiten einer Linie über 20 mm aus",
    ),
    'burst = { from = "hole", width = "30 mm", face = "front" }\nzone = "spine"\ncut_back = "30 %"': (
        "fades out over 30 mm from hole (front), on spine, partly rubbed off again",
        "läuft von hier über 30 mm aus: hole (front), auf: spine, zum Teil wieder abgerieben",
    ),
    'zone = ["spine", "front"]': ("on spine and front", "auf: spine und front"),
}


@pytest.mark.parametrize("written", BURSTS)
def test_where_a_coat_goes(save_scheme: Callable[..., Path], written: str) -> None:
    scheme = load_scheme(
        save_scheme(HEAD + PANEL + HOLE + SPINE + SILVER + DYES + MIXES + HONEY + f"{written}\n", name="job.toml")
    )
    words = board_words_of(["de"])
    assert (where_words(scheme, 0, words["en"]), where_words(scheme, 0, words["de"])) == BURSTS[written]


def test_a_us_shop_reads_inches(save_scheme: Callable[..., Path]) -> None:
    # 1 in = 25.4 mm exactly (international yard and pound agreement, 1959): 76.2 mm are 3 in.
    text = FULL.replace('width = "15 mm"', 'width = "76.2 mm"').replace("centre = 0.1", "centre = 0.0")
    scheme = load_scheme(save_scheme(text + '[shop]\nunits = "US"\n'))
    assert where_words(scheme, 1, ENGLISH) == "fades out over 3 in from the edge"
    assert where_words(scheme, 2, ENGLISH) == "on the rim, 1/4 in wide"
