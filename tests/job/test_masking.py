"""Time to mask: exists for a guess that was the same for a vent and for metres of tape, for tape cut for holes that are
plugged and for edges that no tape makes, and for faces nobody sprays counted into the time at the gun."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from layerpreview.job.sheet import MixSheet, make_sheet
from layerpreview.scheme import load_scheme

from ..schemes import DYES, GUN, HEAD, HOLE, HONEY, MIXES, PANEL, SILVER

Save = Callable[..., Path]
BACK = PANEL.replace('"front"', '"back"').replace('"64 mm"', '"91 mm"')


def zone(name: str, more: str = "") -> str:
    return (
        f'[[face.zone]]\nname = "{name}"\nshape = "panel"\nwidth = "10 mm"\nheight = "20 mm"\n'
        f'centre = ["50 mm", "26 mm"]\n{more}'
    )


def on(zone: str, coats: int = 2) -> str:
    return f'[[coat]]\nmix = "sea"\ncoats = {coats}\nfilm = "25 um"\nzone = "{zone}"\n'


def sheet_of(save_scheme: Save, face: str, coats: str, more: str = "") -> MixSheet:
    return make_sheet(load_scheme(save_scheme(HEAD + face + SILVER + DYES + MIXES + coats + more + GUN)))


@pytest.mark.parametrize(
    ("face", "coats", "what", "likely"),
    [
        (PANEL, HONEY, "mask: nothing", 0.0),
        (PANEL + HOLE, HONEY, "mask: 1 hole to plug", 2.0),
        # By hand: a line of 60 mm, 15 % more tape, 2 min a metre (assumed: common practice, no source).
        (PANEL + zone("strip"), HONEY + on("strip"), "mask: 69 mm of tape", 0.138),
        (PANEL + zone("strip"), HONEY + on("strip") + on("strip"), "mask: 69 mm of tape", 0.138),
        (PANEL + zone("strip"), on("strip") + HONEY + on("strip"), "mask: 138 mm of tape", 0.276),
        (PANEL + zone("strip", 'edge = "4 mm"\n'), HONEY + on("strip"), "mask: nothing", 0.0),
        (PANEL + HOLE + zone("seat", "masked = true\n"), HONEY, "mask: 69 mm of tape, 1 hole to plug", 2.138),
        (PANEL + BACK, on("back") + HONEY + on("front", 1), "mask: 2 covers over faces", 6.0),
        (PANEL + BACK, on("back") + on("back", 1) + HONEY, "mask: 1 cover over faces", 3.0),
    ],
    ids=["nothing", "hole", "strip", "shared", "twice", "soft", "seat and hole", "faces", "stays covered"],
)
def test_masking_takes_what_is_masked(save_scheme: Save, face: str, coats: str, what: str, likely: float) -> None:
    found = next(time for time in sheet_of(save_scheme, face, coats).times if time.what.startswith("mask"))
    assert found.what == what
    assert found.minutes is not None
    assert found.minutes.likely == pytest.approx(likely, abs=1e-6)
    assert "common practice, no source" in found.basis


def test_lengths_are_in_the_shops_units(save_scheme: Save) -> None:
    sheet = sheet_of(save_scheme, PANEL + zone("strip"), HONEY + on("strip"), '[shop]\nunits = "US"\n')
    assert sheet.times[0].what == "mask: 2 11/16 in of tape"  # 69 mm = 2.717 in


def test_a_hole_through_the_part_is_plugged_once(save_scheme: Save) -> None:
    back = '[[face]]\nname = "back"\nshape = "mirrored"\nof = "front"\nthrough = ["hole"]\n'
    masks = sheet_of(save_scheme, PANEL + HOLE + back, HONEY).masks
    assert [(mask.face, mask.what, mask.tape_mm, mask.hole) for mask in masks] == [
        ("front", "hole: plug it", 0.0, True)
    ]


def test_a_soft_masked_edge_gets_no_tape(save_scheme: Save) -> None:
    masks = sheet_of(save_scheme, PANEL + zone("seat", 'masked = true\nedge = "4 mm"\n'), HONEY).masks
    assert [(mask.tape_mm, "soft over 4 mm" in mask.what) for mask in masks] == [(0.0, True)]


def test_only_faces_that_are_sprayed_take_time(save_scheme: Save) -> None:
    """By hand: 8 min a m2 and 2 a face (assumed). Sea: two coats on one of two faces; clear: three on both."""
    sheet = sheet_of(save_scheme, PANEL + BACK, on("front"), '[clear]\ncoats = 3\nfilm = "50 um"\n')
    spray = next(time for time in sheet.times if time.what == "spray").minutes
    front, back = 0.064 * 0.048, 0.091 * 0.048
    assert spray is not None
    assert spray.likely == pytest.approx(2 * (8 * front + 2) + 3 * (8 * (front + back) + 4), rel=1e-3)
