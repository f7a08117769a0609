"""The page draws from numbers: these tests exist for numbers that say something else than the engine does (a factor on
the wrong layer, a map rounded until it shows rings), for text from outside that becomes markup, and for codes and logs
that take a slip for an answer."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from layerpreview.errors import InputError
from layerpreview.finish.engine import Engine
from layerpreview.finish.layers import stack_of
from layerpreview.finish.look import Look, make_look, reaching_look, scaled_look, turned_look
from layerpreview.finish.view import View, surroundings_of
from layerpreview.output import board
from layerpreview.output.board import board_page, live_packed
from layerpreview.output.board_code import (
    Choice,
    board_id,
    crc_text,
    normalised,
    read_agreement,
    read_code,
)
from layerpreview.output.board_data import Option, make_option, stills_of, told_of
from layerpreview.output.board_live import Asked, PackedBoard
from layerpreview.output.board_looks import look_json, srgb_to_p3
from layerpreview.output.board_png import SHEET_PX, sheet_of
from layerpreview.output.board_printed import printed
from layerpreview.output.board_words import board_words
from layerpreview.output.html_page import content_policy, json_block, text_direction
from layerpreview.scheme import load_scheme
from layerpreview.workflows.board_limits import limits_of
from layerpreview.workflows.lifelike import USUAL_ROOM

from ..schemes import DYES, FULL, HEAD, HONEY, MAPLE, MIXES, PANEL, RIM, SEA_BURST, SILVER, WHITE

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
WORDS = board_words()
EVIL = "<img src=x onerror=alert(1)></script><b>'\"&"


# The look as numbers -------------------------------------------------------------------------------------------------


def from_json(look: dict[str, Any], bare: F64, builds: F64, factors: F64) -> F64:
    """One pixel after another as the page's shader has it, written out from the JSON alone: (3, P) linear RGB."""

    def curve(a: float, c: list[float]) -> float:
        _, n0, n1, n2, q1, q2 = c
        return float(2.0 ** (-a * (n0 + a * (n1 + a * n2)) / (1.0 + a * (q1 + a * q2))))

    out = np.zeros((3, bare.shape[1]))
    for p in range(bare.shape[1]):
        b, visible = builds[:, p] * factors, 1.0
        for seen in look["seen"]:
            share = visible
            if seen["layer"] is not None:
                left = 2.0 ** (-seen["hiding2"] * b[seen["layer"]])
                share, visible = visible * (1.0 - left), visible * left
            for i in range(len(look["wavelength_nm"])):
                a = sum(look["density2"][i][k] * b[k] for k in seen["dyes"])
                base = look["tint"][i] * bare[0, p] if look["tint"] else float(np.dot(look["basis"][i], bare[:, p]))
                if seen["metal"]:
                    r = curve(a, seen["curves"][0]) * base
                else:
                    c, k = seen["curves"]
                    rho = seen["rho"][i] if seen["rho"] else base / (c[0] + base * k[0])
                    r = rho / (1.0 - rho * k[0] * curve(a, k)) * c[0] * curve(a, c)
                out[:, p] += share * r * np.asarray(look["to_display"][i])
    return out * (1.0 - look["veil"]) + look["veil"]


def a_look(save_scheme: Callable[..., Path], text: str, tint: tuple[float, float, float] | None) -> tuple[Look, int]:
    scheme = load_scheme(save_scheme(text))
    return make_look(stack_of(scheme), light="A", tint_rgb=tint), len(scheme.coats)


@pytest.mark.parametrize(
    ("base", "tint", "clear"),
    [
        (SILVER, (0.50, 0.52, 0.55), "gloss"),
        (SILVER, None, "satin"),
        (MAPLE, (0.70, 0.48, 0.26), "matt"),
        (MAPLE, None, "gloss"),
    ],
)
def test_json_says_what_the_engine_draws(
    save_scheme: Callable[..., Path],
    rng: np.random.Generator,
    base: str,
    tint: tuple[float, float, float] | None,
    clear: str,
) -> None:
    # Two opaque coats, one of them between the dyes: order, masks and albedos all matter.
    coats = HONEY + RIM + SEA_BURST + RIM.replace("#221814", "#88aa33").replace("0.9", "0.4")
    text = HEAD + PANEL + base + DYES + MIXES + coats + f'[clear]\nfinish = "{clear}"\n'
    look, layers = a_look(save_scheme, text, tint)
    bare = rng.uniform(0.05, 0.9, (1 if tint else 3, 24)).astype(np.float32)
    builds = rng.uniform(0.0, 1.2, (layers, 24)).astype(np.float32)
    document = json.loads(json.dumps(look_json(look, layers=layers)))
    drawn = from_json(document, bare.astype(np.float64), builds.astype(np.float64), np.ones(layers))
    assert drawn == pytest.approx(Engine(look).pixels(bare, builds), abs=3e-4)
    factors = [0.5, 1.7, 0.0, 1.1]
    weaker = Engine(scaled_look(look, factors)).pixels(bare, builds)
    assert from_json(document, bare.astype(float), builds.astype(float), np.array(factors)) == pytest.approx(
        weaker, abs=3e-4
    )


def test_a_reaching_look_holds_at_the_far_end(save_scheme: Callable[..., Path], rng: np.random.Generator) -> None:
    scheme = load_scheme(save_scheme(FULL))
    stack, tint = stack_of(scheme), (0.5, 0.52, 0.55)
    look = reaching_look(stack, light="D65", observer_deg=2, tint_rgb=tint, most=[2.5, 1.7, 2.0])
    bare = rng.uniform(0.1, 0.9, (1, 300)).astype(np.float32)
    builds = rng.uniform(0.0, 1.0, (3, 300)).astype(np.float32) * np.array([[2.5], [1.7], [0.2]], dtype=np.float32)
    from layerpreview.colour import display_matrix, rgb_basis

    spectrum = bare.T.astype(np.float64) * (np.asarray(tint) @ rgb_basis())
    exact = stack.reflectance(spectrum, builds.T.astype(np.float64)) @ display_matrix("D65").T
    assert pytest.approx(exact, abs=4e-3) == Engine(look).pixels(bare, builds).T


def test_a_turned_look_keeps_its_wavelengths_and_takes_the_films(save_scheme: Callable[..., Path]) -> None:
    scheme = load_scheme(save_scheme(FULL))
    look = make_look(stack_of(scheme), light="D65", tint_rgb=(0.5, 0.5, 0.5))
    side = stack_of(scheme, View(60.0))
    turned = turned_look(look, side)
    assert turned.wavelength_nm.tolist() == look.wavelength_nm.tolist()
    assert turned.seen[-1].film == side.film
    assert turned.seen[-1].film != look.seen[-1].film
    opaque = turned.seen[0]
    assert opaque.film == side.opaque_film
    # The same opaque colour is asked of another view: its albedo inside the film is another.
    assert opaque.rho is not None
    assert not np.allclose(opaque.rho, np.asarray(look.seen[0].rho))


def test_white_is_white_on_a_wide_screen_and_red_lies_inside() -> None:
    matrix = np.array(srgb_to_p3())
    assert matrix.sum(axis=1) == pytest.approx(np.ones(3), abs=1e-6)
    # CSS Color Module Level 4 (W3C), sample code for colour conversions: red of sRGB in Display P3, linear.
    assert matrix[:, 0] == pytest.approx([0.8224620, 0.0331942, 0.0170826], abs=2e-6)


# The page ------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def option(tmp_path_factory: pytest.TempPathFactory) -> Option:
    path = tmp_path_factory.mktemp("board") / "job.toml"
    name = json.dumps(EVIL)
    text = FULL.replace('name = "Test part"', f"name = {name}").replace(SILVER, WHITE)
    path.write_text(text, encoding="utf-8")
    scheme = load_scheme(path)
    limits, around = limits_of(scheme, [], WORDS), surroundings_of(scheme, USUAL_ROOM, field="--around")
    stills = stills_of(scheme, len(limits.coats), lights=["D65"], around=around, words=WORDS)
    return make_option(scheme, limits, number=0, around=around, stills=stills, told=told_of(scheme, lights=["D65"]))


SHOP = {"name": EVIL, "mail": "finish+board@example.org"}


@pytest.fixture(scope="module")
def html(option: Option) -> str:
    """The page of a board whose names, title and shop all try to be markup."""
    return laid_out(option)


def laid_out(option: Option) -> str:
    words = {"en": WORDS, "ar": {**WORDS, "lang": "ar"}}
    return board_page([option], board="ABCDE", title=EVIL, words=words, packed=live_of(option), shop=SHOP).html


def live_of(option: Option) -> PackedBoard:
    asked = Asked(option.scheme, option.around, list(option.pictures), option.limits.most_build())
    return live_packed([asked], longest_px=64)


def data_of(page: str) -> dict[str, Any]:
    block = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.DOTALL)
    assert block is not None
    assert not re.search("[<>&]", block[1])
    found: dict[str, Any] = json.loads(block[1])
    return found


def test_text_from_outside_stays_text(html: str) -> None:
    assert "<img src=x" not in html
    assert "<bdi>&lt;img src=x onerror=alert(1)&gt;" in html
    assert html.count("</script>") == 2  # the data's and the script's own
    assert html.count("<script") == 2
    data = data_of(html)
    assert data["title"] == data["options"][0]["name"] == EVIL
    assert data["shop"] == {**SHOP, "phone": None, "goes": "goes_to"}
    assert data["languages"] == ["en", "ar"]


def test_json_block_cannot_end_its_element() -> None:
    assert json_block({"a": "</script><!--&\u2028"}) == '{"a":"\\u003c/script\\u003e\\u003c!--\\u0026\\u2028"}'


def test_the_policy_names_the_page_s_own_script_and_style_and_nothing_else(html: str) -> None:
    policy = re.search('Content-Security-Policy" content="(.*?)"', html)
    assert policy is not None
    text = policy[1].replace("&#39;", "'")
    scripts = re.findall(r"<script>(.*?)</script>", html, re.DOTALL)
    styles = re.findall(r"<style>(.*?)</style>", html, re.DOTALL)
    assert (len(scripts), len(styles)) == (1, 1)
    assert text == content_policy(style=styles[0], script=scripts[0])
    digest = base64.b64encode(hashlib.sha256(scripts[0].encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in text
    assert text.startswith("default-src 'none'; img-src data: blob:;")
    assert "connect-src 'none'" in text
    assert "unsafe" not in text
    assert html.index("Content-Security-Policy") < html.index("<style>")
    assert not re.search(r'\son\w+="|style="|https?://|javascript:', html)


def test_the_same_board_is_the_same_bytes(option: Option, html: str) -> None:
    assert laid_out(option) == html


def test_a_page_that_is_too_large_says_what_takes_most(option: Option, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(board, "LIVE_LIMIT_BYTES", 1)
    page = board_page([option], board="ABCDE", title="Test", words={"en": WORDS}, packed=live_of(option))
    assert page.quality < 100
    sizes = [part.size_bytes for part in page.too_large]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[0] > 1


def test_without_a_script_there_are_pictures_and_a_code_that_is_read(html: str) -> None:
    """The code in the page, the one in its mail, and what `read_code` makes of both: all coats as proposed."""
    before = html[: html.index('<script type="application/json"')]
    assert before.count('<img src="data:') == 2  # finished and its base
    assert all('alt="' in tag for tag in re.findall("<img [^>]*>", before))
    codes = re.findall(r'<p class="code">(.*?)</p>', before)
    assert [read_code(code) for code in codes] == [Choice("ABCDE", "A", (3, 2, 2), (100, 100))]
    (mail,) = re.findall('href="(mailto:[^"]*)"', before)
    found = urlsplit(mail.replace("&amp;", "&"))
    assert found.path == "finish%2Bboard@example.org"  # RFC 6068: a plus sign stands for itself only when it is escaped
    told = parse_qs(found.query)
    assert EVIL in told["subject"][0]
    assert read_agreement(told["body"][0], source="mail").choice.code == codes[0]
    assert "3 coats" in before


def test_figures_are_folded_under_for_the_painter(html: str) -> None:
    folded = html[html.index('id="figures"') : html.index("<dialog")]
    assert "35&ndash;<b>40</b>&ndash;45 &micro;m <small>stated</small>" in folded
    assert "Daylight (D65)" in folded
    assert "&minus;0" not in folded
    rest = html[html.index("<body>") : html.index('id="figures"')]
    assert not re.search(r"&micro;m|L\* a\* b\*|D65<", rest)


@pytest.mark.parametrize(
    ("lang", "way"), [("en", "ltr"), ("de-AT", "ltr"), ("ar", "rtl"), ("he-IL", "rtl"), ("fa", "rtl")]
)
def test_the_page_is_written_the_way_of_its_language(lang: str, way: str) -> None:
    # Scripts of the languages: Unicode CLDR, supplemental data, likely subtags (Arab and Hebr run from right to left).
    assert text_direction(lang) == way


@pytest.mark.parametrize(
    ("shop", "goes"),
    [
        ({}, "goes_by_hand"),
        ({"name": "Invented Finishes"}, "goes_by_hand_to"),
        ({"mail": "a@example.org"}, "goes_to_mail"),
        ({"name": "Invented Finishes", "mail": "a@example.org"}, "goes_to"),
    ],
)
def test_whom_a_choice_goes_to_is_said_as_far_as_it_is_known(shop: dict[str, str], goes: str) -> None:
    known = {"name": None, "mail": None, **shop}
    assert board._goes(known) == goes
    assert "None" not in WORDS[goes].format(**known)


def test_words_that_cannot_be_read_say_where_the_english_ones_are(tmp_path: Path) -> None:
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe")
    (tmp_path / "slip.toml").write_text("choose = nimm", encoding="utf-8")
    for name, told in (
        ("", "this is a folder"),
        ("none.toml", "there is no such file"),
        ("bytes.toml", "this is not text saved as UTF-8"),
        ("slip.toml", "a text goes in quotes"),
    ):
        with pytest.raises(InputError, match=told) as caught:
            board_words(tmp_path / name)
        assert "Errno" not in str(caught.value)
        (english,) = re.findall(r"the English ones, which are in (.*), and", str(caught.value))
        assert board_words(Path(english)) == WORDS


def test_another_language_is_one_file(tmp_path: Path) -> None:
    path = tmp_path / "words.toml"
    path.write_text('lang = "de"\nchoose = "Option {letter} nehmen"\n[agree]\nseen = "Gesehen: {light}"\n', "utf-8")
    words = board_words(path)
    assert (words["lang"], words["choose"], words["close"]) == ("de", "Option {letter} nehmen", WORDS["close"])
    assert words["agree"]["seen"] == "Gesehen: {light}"
    path.write_text('chose = "x"\nchoose = "nimm"\n[agree]\ncoats = "{what}: {m}"\n', "utf-8")
    with pytest.raises(InputError) as caught:
        board_words(path)
    assert [problem.field for problem in caught.value.problems] == ["chose", "choose", "agree.coats"]


@pytest.mark.parametrize(
    ("written", "field"),
    [
        ('lang = "de_CH"', "lang"),  # no browser takes it, and then no choice can be made
        ('lang = ""', "lang"),
        ('months = "Jan, Feb"', "months"),
        ('decimal = ""', "decimal"),
        ('coats = "{n:zz} coats"', "coats"),
        ('coats = "{n!r} coats"', "coats"),
    ],
)
def test_words_that_a_page_could_not_use_are_refused(tmp_path: Path, written: str, field: str) -> None:
    (tmp_path / "words.toml").write_text(written, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        board_words(tmp_path / "words.toml")
    assert [problem.field for problem in caught.value.problems] == [field]


@pytest.mark.parametrize("lang", ["pt-BR", "zh-Hant-TW", "es-419", "gsw"])
def test_a_language_may_have_its_country(tmp_path: Path, lang: str) -> None:
    (tmp_path / "words.toml").write_text(f'lang = "{lang}"', encoding="utf-8")
    assert board_words(tmp_path / "words.toml")["lang"] == lang


@pytest.mark.slow
def test_the_sheet_shows_every_option(option: Option) -> None:
    one, two, three = (sheet_of(printed([option] * many, title="Test", words=WORDS)) for many in (1, 2, 3))
    assert one.shape[1] == two.shape[1] == SHEET_PX
    assert three.shape[0] - two.shape[0] > 500
    assert np.ptp(one.astype(int), axis=2).max() > 30  # there is colour on it


# Codes ---------------------------------------------------------------------------------------------------------------


def test_the_check_is_crc_32() -> None:
    # The check value of CRC-32/ISO-HDLC, 0xCBF43926 for "123456789" (RevEng catalogue of CRC algorithms).
    digits = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
    number = 0
    for sign in crc_text("123456789"):
        number = 32 * number + digits.index(sign)
    assert number == 0xCBF43926 == zlib.crc32(b"123456789")


@given(
    st.integers(0, 2**25 - 1),
    st.sampled_from("ABCDEFGH"),
    st.lists(st.integers(0, 60), max_size=8),
    st.lists(st.integers(25, 200), max_size=4),
)
def test_a_code_comes_back_as_it_went(board: int, option: str, coats: list[int], strengths: list[int]) -> None:
    choice = Choice(board_id({"n": board}), option, tuple(coats) or (0,), tuple(strengths))
    assert read_code(choice.code) == choice
    assert read_code(f"  it is {choice.code.lower()}, thank you") == choice


def test_letters_that_look_like_digits_are_taken_for_them() -> None:
    code = Choice("10ABC", "A", (3, 1), (100,)).code
    head, rest = code[:3], code[3:]
    assert read_code(head + rest.replace("10ABC", "IOABC")).board == "10ABC"
    assert read_code(head + rest.replace("10ABC", "loabc")).board == "10ABC"


def test_every_single_slip_is_found() -> None:
    code = Choice("K7QD2", "B", (3, 4, 12), (100, 85)).code
    for i, sign in enumerate(code):
        if sign in "-." or i < 3:
            continue
        for other in "012345678ABCDEFGHJKMN":
            if other != sign:
                with pytest.raises(InputError):
                    read_code(code[:i] + other + code[i + 1 :])


def sealed(*lines: str) -> str:
    body = "\n".join(["layerpreview agreement 1", *lines])
    return f"{body}\nCheck: {crc_text(normalised(body))}\n"


def test_a_text_survives_the_mail_and_not_a_change() -> None:
    code = Choice("K7QD2", "B", (3, 4), (110,)).code
    text = sealed("My board", "honey: 3 coats", "Note: Mehr Rot, bitte. Code: wie besprochen", f"Code: {code}")
    mailed = "Hello,\r\n\r\n" + "\r\n".join(
        "> " + line.replace("honey: 3", "honey:\r\n> 3") for line in text.split("\n")
    )
    for version in (text, mailed, "\ufeff" + text, text.replace("My board", "My  board ")):
        found = read_agreement(version, source="mail.txt")
        assert found.choice.code == code
        assert found.note == "Mehr Rot, bitte. Code: wie besprochen"
    for old, new in (("3 coats", "4 coats"), ("Mehr", "mehr"), ("Check: ", "Check: Z")):
        with pytest.raises(InputError):
            read_agreement(text.replace(old, new), source="mail.txt")
    with pytest.raises(InputError, match="a part is missing"):
        read_agreement("Hello, I like the second one", source="mail.txt")
    assert read_agreement(f"The code is {code}.", source="mail.txt").note == ""
