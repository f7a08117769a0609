"""Codes come back by telephone, mail and hand: these tests exist for a dash that a mail programme made longer, a comma
for a dot, a list whose end nobody typed, and a slip that is taken for another choice."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import layerpreview
from layerpreview.errors import InputError
from layerpreview.output.board_code import DIGITS, Choice, read_agreement, read_code

CODE_JS = Path(layerpreview.__file__).parent / "data" / "board" / "code.js"
CHOICE = Choice("K7QD2", "B", (3, 4, 12), (100, 85))
CHOICES = st.builds(
    Choice,
    st.text(DIGITS, min_size=5, max_size=5),
    st.sampled_from("ABCDEFGH"),
    st.lists(st.integers(0, 60), min_size=1, max_size=12).map(tuple),
    st.lists(st.integers(25, 200), max_size=6).map(tuple),
)


@given(CHOICES)
def test_read_out_in_groups_it_is_the_same_choice(choice: Choice) -> None:
    assert read_code(choice.grouped) == choice
    assert read_code(choice.code) == choice
    # as it is typed after a telephone call: blanks alone, small letters, and the two letters at its head left out
    assert read_code(choice.grouped.replace(" ·", "").lower()) == choice
    assert read_code(choice.grouped.replace(" ·", "").removeprefix("LP ")) == choice


@given(CHOICES, st.text(" -.,·–—−‐‑‒―﹣－/_;:\u00a0\u202f\n", min_size=1, max_size=3))
def test_whatever_stands_between_does_not_count(choice: Choice, between: str) -> None:
    assert read_code(re.sub(r"[-.]", lambda _: between, choice.code)) == choice


# Dashes of Unicode's category Pd, the minus sign, the soft hyphen and full-width forms (Unicode 15, names below).
TYPED = {
    "EN DASH": CHOICE.code.replace("-", "\u2013"),
    "EM DASH": CHOICE.code.replace("-", "\u2014"),
    "NON-BREAKING HYPHEN": CHOICE.code.replace("-", "\u2011"),
    "MINUS SIGN": CHOICE.code.replace("-", "\u2212"),
    "SOFT HYPHEN inside": CHOICE.code.replace("K7QD2", "K7\u00adQD2"),
    "ZERO WIDTH SPACE inside": CHOICE.code.replace("K7QD2", "K7Q\u200bD2"),
    "commas": CHOICE.code.replace(".", ","),
    "full width": "".join(chr(ord(sign) + 0xFEE0) if sign != " " else "\u3000" for sign in CHOICE.code),
    "blanks round dashes": CHOICE.code.replace("-", " - "),
    "small": CHOICE.code.lower(),
    "in a sentence": f"Hello, we take {CHOICE.code}, thank you.",
    "in brackets": f"({CHOICE.grouped})",
    "an l for the L": "l" + CHOICE.code[1:],
    "in pieces": " ".join([CHOICE.code[:5], CHOICE.code[5:-3], CHOICE.code[-3:]]),
}


@pytest.mark.parametrize("how", TYPED)
def test_a_code_as_it_was_typed(how: str) -> None:
    assert read_code(TYPED[how]) == CHOICE


def test_a_code_that_is_not_whole_is_said_to_be_none() -> None:
    whole = CHOICE.code
    for text in ("", "-", "hello", "LP", whole[:9], "I like option B best"):
        with pytest.raises(InputError, match="no code of a board is in it"):
            read_code(text)
    for text in (whole[:-1], whole + "0", whole.replace("100", "101"), whole.replace("-3.", "-3.3.")):
        with pytest.raises(InputError, match="its check does not fit") as caught:
            read_code(text)
        assert len(str(caught.value).splitlines()) == 1


def test_slips_in_groups_are_found() -> None:
    """With blanks alone the reader tries where lists end: that must not make a slip into another choice."""
    typed = CHOICE.grouped.replace(" ·", "")
    for at, sign in enumerate(typed):
        for other in "0123456789ABCDEFGH" if sign != " " and at > 2 else "":
            if other != sign:
                with pytest.raises(InputError):
                    read_code(typed[:at] + other + typed[at + 1 :])


def test_a_long_mail_is_read_in_time() -> None:
    mail = "LP 12345 A 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20 1234567 " * 1000
    started = time.perf_counter()
    with pytest.raises(InputError):
        read_agreement(mail, source="mail.txt")
    assert time.perf_counter() - started < 5.0
    assert read_agreement(f"{'so it is, ' * 5000} {CHOICE.grouped}", source="mail.txt").choice == CHOICE


@pytest.mark.skipif(shutil.which("node") is None, reason="no JavaScript outside a browser here")
def test_the_page_writes_the_same_groups() -> None:
    choices = [CHOICE, Choice("00000", "H", (0,), ()), Choice("ZZZZZ", "A", (60,) * 12, (25, 200, 7))]
    asked = json.dumps([[c.board, c.option, c.coats, c.strength_percent] for c in choices])
    script = f"{CODE_JS.read_text('utf-8')}\nconst out = {asked}.map((c) => Codes.codeOf(...c));"
    script += "console.log(JSON.stringify(out.map((c) => [c, Codes.grouped(c)])));"
    told = subprocess.run(["node", "-e", script], capture_output=True, check=True, timeout=60).stdout
    assert json.loads(told) == [[choice.code, choice.grouped] for choice in choices]


def test_a_text_full_of_numbers_keeps_no_one_waiting() -> None:
    """It took minutes to try everything that such a text could mean."""
    begun = time.process_time()
    with pytest.raises(InputError, match="its check does not fit"):
        read_code(("LP-K7QD2-B-" + "1 " * 180) * 100)
    assert time.process_time() - begun < 20
    longest = Choice("K7QD2", "H", tuple(range(12)), (100,) * 12)
    assert read_code(longest.grouped) == longest
