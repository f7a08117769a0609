"""The film at a touched spot: these tests exist for a ladder that is not what more coats give, a coat shown where it
does not land, and a seat that is not named."""

from __future__ import annotations

from pathlib import Path

import pytest

from layerpreview.desk.jobs import OpenJob
from layerpreview.desk.nearby import openings_told, place_of_coat, within
from layerpreview.desk.spot import spot
from layerpreview.errors import InputError
from layerpreview.scheme.edit import Change

SAMPLE = Path(__file__).parents[2] / "samples" / "octave_mandolin.toml"


@pytest.fixture
def mandolin(tmp_path: Path) -> OpenJob:
    scheme = tmp_path / "scheme.toml"
    scheme.write_bytes(SAMPLE.read_bytes())
    return OpenJob(scheme)


def test_a_rung_is_the_colour_after_so_many_coats(mandolin: OpenJob) -> None:
    """35 mm in from the outline plum lands in part over honey; five coats of it, read off the ladder and sprayed."""
    assert mandolin.read is not None
    ladders = spot(mandolin.read, face="front", x_mm=35.2, y_mm=280.0)["ladders"]
    assert ladders[2] is None  # the spine is on the back
    mandolin.edit(mandolin.version, [Change("set", ("coat", 1, "coats"), 5)], "five")
    after = spot(mandolin.read, face="front", x_mm=35.2, y_mm=280.0)["after"]
    assert ladders[1][4] == after[2]


@pytest.mark.parametrize("index", range(6))
def test_a_coat_lands_where_it_is_shown(mandolin: OpenJob, index: int) -> None:
    assert mandolin.read is not None
    face, x_mm, y_mm = place_of_coat(mandolin.read, index)
    told = spot(mandolin.read, face=face, x_mm=x_mm, y_mm=y_mm)
    assert told["builds"][index] > 0.3
    assert told["edge_mm"] > 0.0


def test_no_such_coat(mandolin: OpenJob) -> None:
    assert mandolin.read is not None
    with pytest.raises(InputError, match="no coat of this number"):
        place_of_coat(mandolin.read, 6)


def test_what_a_place_lies_in(mandolin: OpenJob) -> None:
    """The seat is 44 mm wide and begins above the teardrop's tip; the sound hole is 96 by 62 mm."""
    assert mandolin.read is not None
    front = mandolin.read.shapes[0]
    seat = within(front, 160.0, 62.0)
    assert [(one["kind"], one["name"], one["masked"], one["width_mm"]) for one in seat] == [
        ("zone", "fretboard seat", True, 44.0)
    ]
    hole = within(front, 160.0, 222.0)[0]
    assert (hole["name"], hole["width_mm"], hole["height_mm"]) == ("sound hole", 96.0, 62.0)
    assert within(front, 60.0, 330.0) == []
    assert [one["at_mm"] for one in openings_told(front)] == [[160.0, 222.0], [252.0, 318.0]]
