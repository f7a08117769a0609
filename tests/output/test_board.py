"""The page draws from numbers: these tests exist for numbers that say something else than the engine does (a factor on
the wrong layer, a map rounded until it shows rings), for text from outside that becomes markup, and for codes and logs
that take a slip for an answer."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from layerpreview.errors import InputError
from layerpreview.finish.engine import Engine
from layerpreview.finish.layers import stack_of
from layerpreview.finish.look import Look, make_look, reaching_look, scaled_look, turned_look
from layerpreview.finish.view import View
from layerpreview.output.board import LARGEST_BYTES, board_page, board_words, content_policy, json_block
from layerpreview.output.board_code import (
    Choice,
    board_id,
    crc_text,
    normalised,
    read_agreement,
    read_code,
)
from layerpreview.output.board_data import Option, make_option
from layerpreview.output.board_looks import look_json, srgb_to_p3
from layerpreview.output.board_maps import (
    LOSSLESS,
    face_maps,
    pack_base,
    pack_builds,
    pack_cover,
    pack_soak,
    paths_by_gain,
    unpack_map,
)
from layerpreview.output.board_print import SHEET_PX, board_sheet
from layerpreview.picture.scene import make_scene
from layerpreview.scheme import load_scheme
from layerpreview.workflows.board_limits import limits_of

from ..schemes import DYES, FULL, HEAD, HOLE, HONEY, MAPLE, MIXES, PANEL, RIM, SEA_BURST, SILVER

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


# Maps as pictures ----------------------------------------------------------------------------------------------------


def unpacked(data: bytes) -> NDArray[np.uint8]:
    return np.asarray(Image.open(io.BytesIO(data)))


def test_a_slow_burst_keeps_more_steps_than_eight_bits() -> None:
    ramp = np.tile(np.linspace(0.2, 0.4, 1200, dtype=np.float32), (40, 1))
    packed = pack_builds(ramp[None], np.ones_like(ramp))
    x, y, width, height, reduction, top = packed.places[0]
    back = unpack_map(
        unpacked(packed.data)[y : y + height, x : x + width], reduction=reduction, top=top, shape=ramp.shape
    )
    assert reduction == 8
    assert np.unique(back).size > 1000
    assert np.abs(back - ramp).max() < 0.0008
    # No ring: along the ramp no step is larger than twice the even one.
    assert np.diff(back[20]).max() < 2 * 0.2 / 1199 + 1e-6


def test_a_hard_edge_is_stored_in_full_and_equal_maps_once() -> None:
    tape = np.zeros((50, 70), dtype=np.float32)
    tape[:, 31:] = 1.0
    even = np.full_like(tape, 0.65)
    packed = pack_builds(np.stack([tape, even, tape]), np.ones_like(tape))
    assert packed.of_layer == (0, None, 0)
    assert packed.constant[1] == pytest.approx(0.65)
    assert packed.places == ((0, 0, 70, 50, 1, 1.0),)
    assert (unpack_map(unpacked(packed.data), reduction=1, top=1.0, shape=(50, 70)) == tape).all()


def test_what_lies_outside_the_part_does_not_set_the_map() -> None:
    build = np.full((30, 40), 7.0, dtype=np.float32)
    build[5:25, 5:35] = 0.5
    cover = np.zeros_like(build)
    cover[5:25, 5:35] = 1.0
    packed = pack_builds(build[None], cover)
    assert packed.of_layer == (None,)
    assert packed.constant == (0.5,)


@pytest.mark.parametrize(("channels", "step"), [(1, 1.0 / 3.0), (3, 1.0)])
def test_a_lossless_base_is_within_half_a_step(rng: np.random.Generator, channels: int, step: float) -> None:
    """One channel comes as three, of which the mean counts: its steps are thirds of a code."""
    from layerpreview.colour import decode_srgb, encode_srgb

    bare = rng.uniform(0.0, 1.3, (channels, 33, 47)).astype(np.float32)
    packed = pack_base(bare, np.ones((33, 47), dtype=np.float32), quality=LOSSLESS)
    codes = unpacked(packed.data) / 255.0
    codes = codes.mean(axis=2, keepdims=True) if channels == 1 else codes
    assert packed.scale == pytest.approx(float(bare.max()))
    wanted = encode_srgb(np.moveaxis(bare, 0, 2).astype(np.float64) / packed.scale)
    assert np.abs(codes - wanted).max() < 0.51 * step / 255.0 + 1e-4
    assert decode_srgb(codes).max() * packed.scale == pytest.approx(float(bare.max()), rel=1e-3)


def test_grain_is_stored_once_and_the_dyes_are_smooth_without_it(save_scheme: Callable[..., Path]) -> None:
    wood = '[base]\nkind = "wood"\ngrain = "flame"\nsoak = 0.6\n'
    scheme = load_scheme(save_scheme(HEAD + PANEL + wood + DYES + MIXES + HONEY + SEA_BURST + RIM))
    face = make_scene(scheme, width_px=160).faces[0]
    maps = face_maps(scheme, face)
    rows = face.picture.rows(0, face.picture.grid.n_rows)
    assert maps.soak is not None
    whole = maps.builds.copy()
    assert maps.soak.shares == (1.0, 1.0, 0.0)
    whole[:2] *= maps.soak.most  # honey and sea soak in, the rim lies on top
    assert whole.reshape(3, -1) == pytest.approx(rows.builds, abs=1e-5)
    assert np.ptp(maps.builds[0]) < 1e-5
    assert pack_builds(maps.builds, maps.cover).of_layer[0] is None
    packed = pack_soak(maps.soak.most, maps.cover)
    back = packed.low + (packed.high - packed.low) * unpacked(packed.data) / 255.0
    assert np.abs(back - maps.soak.most).mean() < 0.01


def test_cover_keeps_its_soft_edge() -> None:
    cover = np.array([[0.0, 0.25, 1.0]], dtype=np.float32)
    assert unpacked(pack_cover(cover)).tolist() == [[0, 64, 255]]


def test_the_path_of_a_facet_is_told_by_its_gain(rng: np.random.Generator) -> None:
    """A path that follows the root of the gain by straight lines comes back exactly; steps without pixels go on."""
    gain = (0.4 * rng.uniform(0.3, 1.0, (40, 50)) ** 2).astype(np.float32)
    gain[0, 0] = 0.4
    root = np.sqrt(gain / 0.4)
    path = np.stack([2.0 + root, 5.0 - 3.0 * root, 0.5 + 0.0 * root]).astype(np.float32)
    cover = np.ones_like(gain)
    cover[:5], gain[:5] = 0.0, 9.0
    table = np.array(paths_by_gain(gain, path, cover))
    assert table.shape == (17, 3)
    shares = np.arange(17) / 16.0
    seen = shares >= 0.3
    by_hand = np.stack([2.0 + shares, 5.0 - 3.0 * shares, 0.5 + 0.0 * shares], axis=1)
    assert table[seen] == pytest.approx(by_hand[seen], abs=0.01)
    assert np.all(np.isfinite(table))


# The page ------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def option(tmp_path_factory: pytest.TempPathFactory) -> Option:
    path = tmp_path_factory.mktemp("board") / "job.toml"
    name = json.dumps(EVIL)
    path.write_text(FULL.replace('name = "Test part"', f"name = {name}"), encoding="utf-8")
    scheme = load_scheme(path)
    return make_option(scheme, limits_of(scheme, [], WORDS), number=0, lights=["D65"], width_px=120, words=WORDS)


@pytest.mark.slow
def test_text_from_outside_stays_text(option: Option) -> None:
    page = board_page([option], board="ABCDE", title=EVIL, words=WORDS).html
    assert "<img src=x" not in page
    assert "&lt;img src=x onerror=alert(1)&gt;" in page
    assert page.count("</script>") == 2  # the data's and the script's own
    assert page.count("<script") == 2
    block = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.DOTALL)
    assert block is not None
    assert json.loads(block[1])["title"] == EVIL
    assert not re.search("[<>&]", block[1])


def test_json_block_cannot_end_its_element() -> None:
    assert json_block({"a": "</script><!--&\u2028"}) == '{"a":"\\u003c/script\\u003e\\u003c!--\\u0026\\u2028"}'


@pytest.mark.slow
def test_the_policy_names_the_page_s_own_script_and_style_and_nothing_else(option: Option) -> None:
    page = board_page([option], board="ABCDE", title="Test", words=WORDS).html
    policy = re.search('Content-Security-Policy" content="(.*?)"', page)
    assert policy is not None
    text = policy[1].replace("&#39;", "'")
    scripts = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    styles = re.findall(r"<style>(.*?)</style>", page, re.DOTALL)
    assert (len(scripts), len(styles)) == (1, 1)
    assert text == content_policy(style=styles[0], script=scripts[0])
    digest = base64.b64encode(hashlib.sha256(scripts[0].encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in text
    assert text.startswith("default-src 'none'; img-src data: blob:;")
    assert "connect-src 'none'" in text
    assert "unsafe" not in text
    assert page.index("Content-Security-Policy") < page.index("<style>")
    assert not re.search(r'\son\w+="|style="|https?://|javascript:', page)


def test_the_same_board_is_the_same_bytes(option: Option) -> None:
    first, second = (board_page([option], board="ABCDE", title="Test", words=WORDS) for _ in range(2))
    assert first.html == second.html
    assert first.quality == LOSSLESS
    assert first.size_bytes < LARGEST_BYTES


def test_pictures_and_figures_are_there_without_a_script(option: Option) -> None:
    page = board_page([option], board="ABCDE", title="Test", words=WORDS).html
    before = page[: page.index('<script type="application/json"')]
    # finished, base, and one rung for every number of coats of honey (1 to 5) and of sea (1 to 4)
    assert before.count("<img ") == 2 + 5 + 4
    assert all('alt="' in tag for tag in re.findall("<img [^>]*>", before))
    assert "35&ndash;<b>40</b>&ndash;45 &micro;m <small>stated</small>" in before
    assert "&minus;0" not in before


def test_words_that_cannot_be_read_say_where_the_english_ones_are(tmp_path: Path) -> None:
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe")
    (tmp_path / "slip.toml").write_text("choose = nimm", encoding="utf-8")
    for name, told in (
        ("", "this is a folder"),
        ("none.toml", "there is no such file"),
        ("bytes.toml", "this is not text saved as UTF-8"),
        ("slip.toml", "Invalid value"),
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
    assert (words["lang"], words["choose"], words["zoom_in"]) == ("de", "Option {letter} nehmen", WORDS["zoom_in"])
    assert words["agree"]["seen"] == "Gesehen: {light}"
    path.write_text('chose = "x"\nchoose = "nimm"\n[agree]\ncoats = "{what}: {m}"\n', "utf-8")
    with pytest.raises(InputError) as caught:
        board_words(path)
    assert [problem.field for problem in caught.value.problems] == ["chose", "choose", "agree.coats"]


@pytest.mark.slow
def test_the_sheet_shows_every_option(option: Option) -> None:
    one = board_sheet([option], title="Test", words=WORDS)
    two, three = (board_sheet([option] * many, title="Test", words=WORDS) for many in (2, 3))
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


def test_the_hole_is_no_part_of_the_maps(save_scheme: Callable[..., Path]) -> None:
    scheme = load_scheme(save_scheme(HEAD + PANEL + HOLE + SILVER))
    maps = face_maps(scheme, make_scene(scheme, width_px=128).faces[0])
    assert maps.builds.shape == (0, 96, 128)
    assert maps.cover[48, 40] == 0.0  # 20 and 24 mm
    assert maps.cover[10, 100] == 1.0
