"""A problem told: exists for a name in a file that steers the terminal, fills it, or that no answer can carry."""

from __future__ import annotations

from layerpreview.errors import LONGEST_SHOWN, LONGEST_TOLD, Problem


def test_a_line_holds_no_sign_that_steers_a_terminal_and_no_half_of_a_pair() -> None:
    told = str(Problem("a\nrule", "mend\x07 it", "job\x1b[2J.toml", 3, "dye.\u202ered", "\ud800"))
    assert told == "job?[2J.toml:3: dye.?red = ?: a?rule; mend? it"
    told.encode("utf-8")


def test_what_was_written_is_shown_as_far_as_it_tells() -> None:
    told = str(Problem("no such key", field="x" * 5000, value="9" * 5000))
    assert len(told) == 2 * LONGEST_SHOWN + len(" = : no such key")
    assert told.startswith("xxx")
    assert " ... = 999" in told
    assert len(str(Problem("r", ", ".join(map(str, range(5000)))))) == len("r; ") + LONGEST_TOLD
    assert str(Problem("r", field="x" * LONGEST_SHOWN)) == "x" * LONGEST_SHOWN + ": r"
