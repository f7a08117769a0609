"""A problem told: exists for a name in a file that steers the terminal, fills it, or that no answer can carry."""

from __future__ import annotations

from layerpreview.errors import LONGEST_LINE, LONGEST_SHOWN, MOST_TOLD, Problem, lines_told


def test_a_line_holds_no_sign_that_steers_a_terminal_and_no_half_of_a_pair() -> None:
    told = str(Problem("a\nrule", "mend\x07 it", "job\x1b[2J.toml", 3, "dye.\u202ered", "\ud800"))
    assert told == "job?[2J.toml:3: dye.?red = ?: a?rule; mend? it"
    told.encode("utf-8")


def test_what_was_written_is_shown_as_far_as_it_tells() -> None:
    told = str(Problem("no such key", field="x" * 5000, value="9" * 5000))
    assert len(told) == 2 * LONGEST_SHOWN + len(" = : no such key")
    assert told.startswith("xxx")
    assert " ... = 999" in told
    assert len(str(Problem("r", ", ".join(map(str, range(5000)))))) == LONGEST_LINE
    assert str(Problem("r", field="x" * LONGEST_SHOWN)) == "x" * LONGEST_SHOWN + ": r"


def test_no_line_is_too_long_to_read_and_no_list_of_lines_either() -> None:
    far, long = "folder/" * 90 + "job.toml", "9" * 5000
    line = str(Problem(f"a rule of {long}", f"mend {long}", far, 12, long, long))
    assert len(line) <= LONGEST_LINE
    assert "job.toml:12: 999" in line
    assert "a rule of 99" in line
    assert "; mend 99" in line
    told = lines_told("\n".join(f"{k} {long}" for k in range(228_002)))
    assert (len(told), told[-1]) == (MOST_TOLD + 1, "and 227,982 more; mend these first")
    assert max(map(len, told)) <= LONGEST_LINE
