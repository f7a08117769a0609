"""One amounts model: exists for a job that takes one volume by the figures and another by the mix sheet, for strokes
past the edge or residue counted once only, and for one paint mixed twice because two coats of it have two names."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from layerpreview.job.figures import figures_of
from layerpreview.job.sheet import make_sheet
from layerpreview.output.figures_result import figures_json
from layerpreview.output.sheet_forms import sheet_json
from layerpreview.picture.scene import make_scene
from layerpreview.scheme import load_scheme

from ..schemes import FULL, GUN, PANEL, RIM, SILVER

Save = Callable[..., Path]
SAMPLES = Path(__file__).parents[2] / "samples"
BACK = PANEL.replace('"front"', '"back"').replace('"64 mm"', '"91 mm"')
AGAIN = '[[coat]]\nmix = "honey"\ncoats = 1\nfilm = "light"\n'
SAME_NAMES = (
    BACK
    + SILVER
    + 'coat = { name = "silver", coats = 2, film = "30 to 40 um" }\n'
    + '[base_of.back]\nkind = "metal"\ncolour = "#b9bcc0"\ncoat = { name = "silver", coats = 3, film = "wet" }\n'
)
COATED = SILVER + 'coat = { name = "silver", coats = 2, film = "30 to 40 um" }\n'


@pytest.mark.parametrize(
    "text",
    [
        FULL,
        FULL.replace(SILVER, BACK + COATED),
        FULL.replace(GUN, AGAIN + GUN),
        FULL.replace(SILVER, SAME_NAMES)
        .replace(GUN, RIM.replace("#221814", "#1a2a44") + GUN)
        .replace("[[coat]]\nopaque", '[[coat]]\nname = "clear coat"\nopaque'),
        pytest.param((SAMPLES / "octave_mandolin.toml").read_text("utf-8"), marks=pytest.mark.slow),
        pytest.param((SAMPLES / "drum_shell.toml").read_text("utf-8"), marks=pytest.mark.slow),
    ],
    ids=["panel", "two faces and a base coat", "a mix twice", "one name for two", "mandolin", "drum shell"],
)
def test_figures_and_sheet_say_the_same_to_the_last_digit(save_scheme: Save, text: str) -> None:
    """Of everything that is sprayed: dye mixes, opaque coats, base coats, clear."""
    scheme = load_scheme(save_scheme(text))
    figures = json.loads(figures_json(figures_of(scheme, make_scene(scheme, width_px=120))))
    sheet = json.loads(sheet_json(make_sheet(scheme)))
    assert len({mix["title"] for mix in sheet["mixes"]}) == len(sheet["mixes"])
    assert figures["mixes"] | figures["paints"] == {mix["title"]: mix["needed_mL"] for mix in sheet["mixes"]}
    assert set(figures["mixes"]) == {mix["title"] for mix in sheet["mixes"] if mix["kind"] == "dye"}


def test_entries_add_up_to_their_batch(save_scheme: Save) -> None:
    """What each entry takes, its share of the residue with it, is the batch together."""
    scheme = load_scheme(save_scheme(FULL.replace(GUN, AGAIN + GUN)))
    figures = figures_of(scheme, make_scene(scheme, width_px=64))
    for name, batch in (figures.mixes | figures.paints).items():
        entries = [coat.mix_needed_mL for coat in figures.coats if coat.what == name]
        if entries:
            for end in ("low", "likely", "high"):
                assert sum(getattr(entry, end) for entry in entries) == pytest.approx(getattr(batch, end))


RING = RIM.replace('width = "6 mm"', 'width = "4 mm"').replace('"outline"', '"hole"')


def _named(text: str, name: str) -> str:
    return text.replace("hiding", f'name = "{name}"\nhiding')


def test_one_paint_is_one_batch(save_scheme: Save) -> None:
    """Rim and ring of one colour: mixed once, one residue since the gun is not changed between them."""
    text = FULL.replace(RIM, _named(RIM, "rim") + _named(RING, "ring"))
    sheet = make_sheet(load_scheme(save_scheme(text)))
    assert [mix.title for mix in sheet.mixes] == ["honey", "sea", "rim and ring", "clear coat"]
    paint = sheet.mixes[2]
    assert [stage.title for stage in paint.stages] == ["rim", "ring"]
    assert paint.residue_mL == 10.0
    assert [stage.title for stage in sheet.stages if stage.kind == "opaque"] == ["rim: 2 coats", "ring: 2 coats"]
    assert "rim and ring as mixed before." in [todo for stage in sheet.stages for todo in stage.todo]


def test_paints_that_are_told_apart_are_two_batches(save_scheme: Save) -> None:
    """Another colour, or another ratio from the product's sheet; drying times are no difference."""
    other = _named(RING, "ring").replace("#221814", "#231814")
    sheet = make_sheet(load_scheme(save_scheme(FULL.replace(RIM, _named(RIM, "rim") + other))))
    assert [mix.title for mix in sheet.mixes[2:4]] == ["rim", "ring"]
    both = FULL.replace(RIM, _named(RIM, "rim") + _named(RING, "ring"))
    paints = '[paint.rim]\nratio = "1:1 base:reducer"\n[paint.ring]\n'
    same = make_sheet(load_scheme(save_scheme(both + paints + 'flash = "5 min"\n')))
    assert [mix.title for mix in same.mixes] == ["honey", "sea", "rim and ring", "clear coat"]
    assert [part.name for part in same.mixes[2].batch.parts] == ["reducer", "base"]
    unlike = make_sheet(load_scheme(save_scheme(both + paints + 'ratio = "2:1 base:reducer"\n')))
    assert [mix.title for mix in unlike.mixes[2:4]] == ["rim", "ring"]
