"""What the painter allows: exists for a dark rim that a client could wipe out, a limit that left the proposal out and
made a code that nobody could redeem, a name that is nowhere, and a board with nothing on it to choose."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from layerpreview.errors import InputError
from layerpreview.output.board_data import OptionLimits
from layerpreview.output.board_words import board_words_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.workflows.board import board
from layerpreview.workflows.board_allow import read_allowed
from layerpreview.workflows.board_limits import check_sprayed, limits_of, moving_words

from ..schemes import DYES, FULL, HEAD, MIXES, PANEL, RIM, SILVER, bare_scheme

WORDS = board_words_of()["en"]
TWICE = '[[coat]]\nmix = "sea"\ncoats = 4\nfilm = "25 um"\n'
NAMED = FULL.replace("opaque =", 'name = "dark rim"\nopaque =') + TWICE
"""honey 3, sea 2 (a burst), dark rim 2, sea 4: numbers that all differ where they could be mixed up."""
Save = Callable[..., Path]


@pytest.fixture
def scheme(save_scheme: Save) -> Scheme:
    return load_scheme(save_scheme(NAMED))


def limits(scheme: Scheme, *texts: str, number: int = 0, of: int = 1) -> OptionLimits:
    return limits_of(scheme, read_allowed(texts, [scheme] * of), WORDS, number=number)


def coats(found: OptionLimits) -> list[tuple[int, int]]:
    return [(coat.fewest, coat.most) for coat in found.coats]


def strengths(found: OptionLimits) -> list[tuple[int, int]]:
    return [(mix.weakest, mix.strongest) for mix in found.mixes]


USUAL, USUAL_STRENGTHS = [(0, 5), (0, 4), (2, 2), (1, 6)], [(70, 130), (70, 130)]


@pytest.mark.parametrize(
    ("texts", "moved", "strong"),
    [
        ([], USUAL, USUAL_STRENGTHS),
        (["coats 1 to 4"], [(1, 4), (1, 4), (2, 2), (1, 4)], USUAL_STRENGTHS),
        (["dark rim coats 1 to 3"], [(0, 5), (0, 4), (1, 3), (1, 6)], USUAL_STRENGTHS),
        (["Coat 4 coats 3–7"], [(0, 5), (0, 4), (2, 2), (3, 7)], USUAL_STRENGTHS),
        (["coat 3 coats 0 to 2"], [(0, 5), (0, 4), (0, 2), (1, 6)], USUAL_STRENGTHS),
        (["dark rim coat 3 coats 1 to 2"], [(0, 5), (0, 4), (1, 2), (1, 6)], USUAL_STRENGTHS),
        (["sea coats 2 to 5"], [(0, 5), (2, 5), (2, 2), (2, 5)], USUAL_STRENGTHS),
        (["lock honey"], [(3, 3), (0, 4), (2, 2), (1, 6)], [(100, 100), (70, 130)]),
        (["lock coat 2"], [(0, 5), (2, 2), (2, 2), (1, 6)], USUAL_STRENGTHS),
        (["lock strength"], USUAL, [(100, 100), (100, 100)]),
        (["lock sea strength"], USUAL, [(70, 130), (100, 100)]),
        (["lock coats", "LOCK strength"], [(3, 3), (2, 2), (2, 2), (4, 4)], [(100, 100), (100, 100)]),
        # what is said of one counts before what is said of all, whichever comes first
        (["lock coat 4", "sea coats 1 to 9", "coats 2 to 4"], [(2, 4), (1, 9), (2, 2), (4, 4)], USUAL_STRENGTHS),
        (["honey strength 90 to 105", "strength 80 % to 120 %"], USUAL, [(90, 105), (80, 120)]),
        (["lock dark rim"], USUAL, USUAL_STRENGTHS),
    ],
)
def test_what_moves_and_what_does_not(
    scheme: Scheme, texts: list[str], moved: list[tuple[int, int]], strong: list[tuple[int, int]]
) -> None:
    found = limits(scheme, *texts)
    assert coats(found) == moved
    assert strengths(found) == strong


def test_one_option_of_several(scheme: Scheme) -> None:
    texts = ["option B lock coats", "option A: honey coats 2 to 3"]
    assert coats(limits(scheme, *texts, of=2)) == [(2, 3), *USUAL[1:]]
    assert coats(limits(scheme, *texts, number=1, of=2)) == [(3, 3), (2, 2), (2, 2), (4, 4)]


REFUSED = {
    "plum coats 1 to 2": "no coat here is plum; there is: honey (coat 1), sea (coat 2 and coat 4), dark rim (coat 3)",
    "coat 7 coats 1 to 2": "no coat here is coat 7; there is: honey",
    "honey coat 2 coats 1 to 2": "no coat here is honey coat 2; there is",
    "coat 0 coats 1 to 2": "no coat here is coat 0; there is: honey",
    "lock plum": "no coat here is plum",
    "option C lock coats": "this board has no option C; its options: honey (coat 1)",
    "dark rim strength 80 to 120": "dark rim is no dye and has no strength",
    "coat 2 strength 80 to 120": "strength is that of a mix in all its coats",
    "honey coats 5 to 2": "coats go from 0 to 60, the smaller number first",
    "strength 10 to 120": "strength goes from 25 to 200",
    "lock": "this is not understood",
    "a lot": 'this is not understood; write for example "honey coats 1 to 5"',
}


def test_all_that_cannot_be_used_is_told_at_once(scheme: Scheme) -> None:
    with pytest.raises(InputError) as caught:
        limits(scheme, "honey coats 1 to 5", *REFUSED)
    lines = str(caught.value).splitlines()
    assert len(lines) == len(REFUSED)
    for line, (text, told) in zip(lines, REFUSED.items(), strict=True):
        assert line.startswith(f"--allow = {text}: ")
        assert told in line


def test_what_is_proposed_can_always_be_chosen(scheme: Scheme) -> None:
    with pytest.raises(InputError) as caught:
        limits(scheme, "honey coats 4 to 6", "coat 4 coats 1 to 3", "sea strength 50 to 90")
    told = [problem.rule for problem in caught.value.problems]
    assert told == [
        "coat 1 (honey) is proposed with 3, which 4 to 6 leaves out",
        "coat 4 (sea) is proposed with 4, which 1 to 3 leaves out",
        "strength of sea is proposed with 100 %, which 50 to 90 leaves out",
    ]


def test_rings_told_in_one_line_stay(save_scheme: Save) -> None:
    rings = '[[coat]]\nrings = "honey x2 | #140d0e x2 16 mm fan"\n'
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + rings))
    assert all(coat.fewest == coat.most for coat in limits(scheme, "coats 0 to 9").coats)
    with pytest.raises(InputError, match="rings told in one line stay as they are"):
        limits(scheme, "coat 1 coats 0 to 3")


MASKED = (
    '[[face.zone]]\nname = "all"\nshape = "panel"\nwidth = "90 mm"\nheight = "90 mm"\n'
    'centre = ["32 mm", "24 mm"]\nmasked = true\n'
)


def test_a_board_with_nothing_to_choose_is_refused(save_scheme: Save, scheme: Scheme) -> None:
    bare = load_scheme(save_scheme(bare_scheme(SILVER), name="bare.toml"))
    masked = load_scheme(save_scheme(FULL.replace(SILVER, MASKED + SILVER), name="masked.toml"))
    with pytest.raises(InputError) as caught:
        board([scheme, bare, masked])
    lines = str(caught.value).splitlines()
    assert len(lines) == 2
    assert "bare.toml: nothing is sprayed in this scheme, so that there is nothing to choose" in lines[0]
    assert "masked.toml: no coat of this scheme reaches the part" in lines[1]


def test_a_scheme_without_dye_can_be_taken_as_it_is(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + RIM))
    check_sprayed([scheme])
    assert moving_words([scheme], [limits(scheme)]) == (
        "option A: the client may move nothing, and takes it as it is or not; fixed: opaque #221814",
    )


def test_what_the_client_may_move_is_told(scheme: Scheme) -> None:
    (told,) = moving_words([scheme], [limits(scheme, "lock sea", "coat 4 coats 3 to 4")])
    assert told == (
        "option A: the client may move honey 0 to 5 coats, sea (coat 4) 3 to 4 coats, strength of honey 70 to 130 %; "
        "fixed: sea (coat 2), dark rim"
    )


def test_all_is_told_in_lines_before_anything_is_drawn(
    save_scheme: Save, run: Callable[..., tuple[int, str, str]]
) -> None:
    job = save_scheme(NAMED)
    status, out, err = run("board", job, "--allow", "plum coats 1 to 2", "--allow", "honey coats 9 to 2")
    assert (status, out) == (2, "")
    assert [line.split(":")[1] for line in err.splitlines()] == [
        " --allow = plum coats 1 to 2",
        " --allow = honey coats 9 to 2",
    ]
    status, _, err = run("board", job, "--lang", "de,xx")
    assert (status, err) == (
        2,
        "error: --lang = xx: this language is not ready; ready are de, en, es, fr, it, ja, pl, pt; "
        "for another one hand over your own file with --words\n",
    )
    assert not (job.parent / "job").exists()
