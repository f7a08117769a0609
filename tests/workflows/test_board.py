"""A client's choice must come back as the scheme that was shown: these tests exist for a strength scaled twice, a coat
changed in the wrong place, a comment lost, a file overwritten, and a code of another board taken for this one."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from layerpreview.errors import InputError, OutputError
from layerpreview.output.board_code import Choice
from layerpreview.output.board_result import Board
from layerpreview.output.board_words import board_words
from layerpreview.output.job_entries import Offer
from layerpreview.output.joblog import LOG_NAME, read_lines
from layerpreview.output.result import Result
from layerpreview.scheme import load_scheme
from layerpreview.units import parse_strength
from layerpreview.workflows.agree import agree
from layerpreview.workflows.agreed_scheme import agreed_text, scaled_strength
from layerpreview.workflows.board import board_file
from layerpreview.workflows.board_allow import read_allowed
from layerpreview.workflows.board_limits import limits_of

from ..schemes import FULL
from ..written import names_in

pytestmark = pytest.mark.usefixtures("quick_pages")
COMMENTED = FULL.replace("coats = 3\n", "coats = 3   # by eye\n", 1)


@pytest.fixture
def job(save_scheme: Callable[..., Path]) -> Path:
    return save_scheme(COMMENTED)


@pytest.fixture
def made(job: Path, tmp_path: Path, quick_pages: None) -> Result[Board]:
    return board_file([job], out=tmp_path / "out", width_px=96)


def code(made: Result[Board], coats: tuple[int, ...], strengths: tuple[int, ...]) -> str:
    return Choice(made.board, "A", coats, strengths).code


def test_a_board_is_written_and_recorded(made: Result[Board], job: Path) -> None:
    assert names_in(made.folder) == ["board.html", "board.png"]
    entry = read_lines(job.parent / LOG_NAME).entries[-1].values
    assert (entry["what"], entry["board"]) == ("board", made.board)
    offer = entry["options"][0]
    assert offer["text"] == COMMENTED
    assert [(c["from"], c["proposed"], c["to"]) for c in offer["coats"]] == [(0, 3, 5), (0, 2, 4), (2, 2, 2)]
    assert offer["mixes"] == [{"mix": "honey", "from": 70, "to": 130}, {"mix": "sea", "from": 70, "to": 130}]


@pytest.mark.slow
def test_boards_of_another_scheme_or_other_limits_have_other_names(
    made: Result[Board], job: Path, tmp_path: Path
) -> None:
    def board(**options: object) -> str:
        return board_file([job], out=tmp_path / "again", force=True, width_px=64, **options).board  # type: ignore[arg-type]

    assert board() == made.board
    assert board(allow=["honey coats 2 to 4"]) != made.board
    job.write_text(COMMENTED + "# more\n", encoding="utf-8")
    assert board() != made.board


@pytest.mark.slow
def test_the_choice_becomes_a_scheme_with_its_comments(made: Result[Board], job: Path) -> None:
    agreed = agree(code(made, (4, 2, 2), (110, 100)), job=job.parent)
    assert agreed.scheme == job.parent / "job.agreed.toml"
    text = agreed.scheme.read_text(encoding="utf-8")
    assert text.startswith(f"# Agreed: option A of board {made.board}, code LP-")
    assert "coats = 4   # by eye" in text
    scheme = load_scheme(agreed.scheme)
    assert [coat.coats for coat in scheme.coats] == [4, 2, 2]
    honey, sea = (scheme.mixes[name].strengths for name in ("honey", "sea"))
    assert (honey["yellow"].amount, honey["blue"].amount, sea["blue"].amount) == pytest.approx((13.2, 2.2, 30.0))
    entry = read_lines(job.parent / LOG_NAME).entries[-1].values
    assert entry["what"] == "agreed"
    assert entry["changes"] == ["honey, all over: 3 -> 4 coats", "strength of honey: 110 % of proposed"]
    assert agreed.cautions == ()


@pytest.mark.slow
def test_nothing_is_overwritten_or_recorded_twice_by_accident(made: Result[Board], job: Path) -> None:
    agree(code(made, (3, 2, 2), (100, 100)), job=job.parent)
    before = (job.parent / LOG_NAME).read_bytes()
    with pytest.raises(OutputError, match="--force"):
        agree(code(made, (2, 2, 2), (100, 100)), job=job.parent)
    assert (job.parent / LOG_NAME).read_bytes() == before
    agree(code(made, (2, 2, 2), (100, 100)), job=job.parent, force=True)
    assert load_scheme(job.parent / "job.agreed.toml").coats[0].coats == 2
    assert job.read_text(encoding="utf-8") == COMMENTED


@pytest.mark.slow
def test_a_scheme_changed_since_is_told_and_the_shown_one_is_agreed(made: Result[Board], job: Path) -> None:
    job.write_text(COMMENTED.replace("12 mL/L", "40 mL/L"), encoding="utf-8")
    agreed = agree(code(made, (3, 2, 2), (100, 100)), job=job.parent)
    assert len(agreed.cautions) == 1
    assert "changed since" in agreed.cautions[0]
    assert '"12 mL/L"' in agreed.scheme.read_text(encoding="utf-8")


@pytest.mark.slow
def test_what_the_board_did_not_offer_is_refused(made: Result[Board], job: Path) -> None:
    with pytest.raises(InputError) as caught:
        agree(code(made, (9, 2, 2), (100, 140)), job=job.parent)
    assert [problem.value for problem in caught.value.problems] == ["9", "140"]
    with pytest.raises(InputError, match="does not fit"):
        agree(code(made, (3, 2), (100, 100)), job=job.parent)
    with pytest.raises(InputError, match="no option B"):
        agree(Choice(made.board, "B", (3, 2, 2), (100, 100)).code, job=job.parent)
    with pytest.raises(InputError, match="the log knows no board"):
        agree(Choice("00000", "A", (3, 2, 2), (100, 100)).code, job=job.parent)
    with pytest.raises(InputError, match="no such file"):
        agree("answer.txt", job=job.parent)
    assert not (job.parent / "job.agreed.toml").exists()


@pytest.mark.slow
def test_no_coats_at_all_takes_the_entry_out(made: Result[Board], job: Path) -> None:
    agreed = agree(code(made, (3, 0, 2), (100, 100)), job=job.parent)
    raw = tomllib.loads(agreed.scheme.read_text(encoding="utf-8"))
    assert [coat.get("mix", "opaque") for coat in raw["coat"]] == ["honey", "opaque"]
    load_scheme(agreed.scheme)


def test_ring_coats_stay_and_later_entries_are_found() -> None:
    rule = {"from": 1, "to": 9}
    offer = {
        "option": "A",
        "name": "rings",
        "scheme": "/job/scheme.toml",
        "text": '[[coat]]\nrings = "x"\n[[coat]]\nmix = "sea"\ncoats = 2\n[mix.sea]\ndyes = { blue = "30 mL/L" }\n',
        "coats": [
            {"what": "ring 1", "entry": 0, "proposed": 1, **rule},
            {"what": "ring 2", "entry": 0, "proposed": 1, **rule},
            {"what": "sea", "entry": 1, "proposed": 2, **rule},
        ],
        "mixes": [{"mix": "sea", "from": 50, "to": 150}],
    }
    changed, words = agreed_text(Offer.model_validate(offer), Choice("00000", "A", (1, 1, 5), (90,)))
    assert tomllib.loads(changed)["coat"] == [{"rings": "x"}, {"mix": "sea", "coats": 5}]
    assert words == ["sea: 2 -> 5 coats", "strength of sea: 90 % of proposed"]


@pytest.mark.parametrize(
    "written", ["12 mL/L", "14,5 mL/L", "20 drops per 100 mL", "1 1/2 %", "3 fl oz/gal", "0.8 % by weight", "2 g/L"]
)
def test_a_scaled_strength_means_what_it_should(written: str) -> None:
    meant, found = parse_strength(written), parse_strength(scaled_strength(written, 1.15))
    assert found.unit == meant.unit
    assert found.amount == pytest.approx(1.15 * meant.amount, rel=1e-3)


def test_limits_say_what_the_painter_allows(job: Path) -> None:
    scheme = load_scheme(job)
    allowed = read_allowed(["coats 1 to 3", "honey coats 2 - 6", "sea strength 50..110 %"], [scheme])
    limits = limits_of(scheme, allowed, board_words())
    assert [(c.fewest, c.most) for c in limits.coats] == [(2, 6), (1, 3), (2, 2)]  # the rim is no dye
    assert [(m.name, m.weakest, m.strongest) for m in limits.mixes] == [("honey", 70, 130), ("sea", 50, 110)]
    # 6 of 3 coats, 1.3 times as strong, 45 um for 40
    assert limits.most_build()[0] == pytest.approx(2.0 * 1.3 * 45.0 / 40.0)
    with pytest.raises(InputError) as caught:
        read_allowed(["plum coats 1 to 2", "coats 5 to 2", "a lot", "strength 10 to 20 %"], [scheme])
    assert len(caught.value.problems) == 4


def test_up_to_eight_options(job: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="1 to 8"):
        board_file([job] * 9, out=tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_a_pdf_has_the_same_options(job: Path, tmp_path: Path) -> None:
    pytest.importorskip("typst", reason="the extra 'pdf' is not installed")
    made = board_file([job, job], out=tmp_path / "out", width_px=64, pdf=True, title='Tap #strong[x] "y"')
    pdf = (made.folder / "board.pdf").read_bytes()
    assert pdf.startswith(b"%PDF")


@pytest.mark.slow
def test_the_log_keeps_json_lines(made: Result[Board], job: Path) -> None:
    lines = (job.parent / LOG_NAME).read_text(encoding="utf-8").splitlines()
    assert [json.loads(line)["what"] for line in lines] == ["board"]
