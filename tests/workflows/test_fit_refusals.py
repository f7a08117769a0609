"""What a hurried hand gets wrong on a card: exists for faults told as ours, without a file, or passed in silence."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

import layerpreview.cli.learn  # noqa: F401  (adds its commands)
from layerpreview.cli import app
from layerpreview.errors import InputError, SchemeError
from layerpreview.learn.read.readings import load_readings
from layerpreview.scheme import load_scheme
from layerpreview.scheme.dyefile import load_dye_file
from layerpreview.workflows.dye_import import import_dye
from layerpreview.workflows.fit import aims_notes, fit
from layerpreview.workflows.fit_options import FitOptions
from layerpreview.workflows.fit_several import fit_several_files, mix_of

SAMPLES = Path(__file__).parents[2] / "samples"
CARD = SAMPLES / "spray_out.csv"
HEADER = "background,coats,L,a,b\n"
ROWS = HEADER + "white,0,93,0.7,1.3\nwhite,1,79,8,34\nwhite,2,73,13,45\nwhite,4,62,22,58\n"


def written(folder: Path, text: str, name: str = "card.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def refused(path: Path, **said: object) -> str:
    with pytest.raises(InputError) as caught:
        fit(path, options=FitOptions(**{"strength": "12 mL/L", "film": "40 um", **said}))  # type: ignore[arg-type]
    return str(caught.value)


@pytest.mark.parametrize(
    "said", [{"strength": "0 mL/L"}, {"film": "0 um"}, {"concentrate": "0 g/L"}, {"strength": "0 g/L"}]
)
def test_a_coat_without_dye_is_no_fault_of_ours(tmp_path: Path, said: dict[str, str]) -> None:
    assert "must be above zero" in refused(written(tmp_path, ROWS), **said)


def test_what_is_wrong_with_the_steps_names_the_file(tmp_path: Path) -> None:
    one = written(tmp_path, HEADER + "white,0,93,0.7,1.3\nwhite,1,79,8,34\n")
    assert refused(one).startswith(f"{one}: fewer than two steps")
    lighter = written(tmp_path, ROWS.replace("white,1,79,8,34", "white,1,50,30,48"))
    assert refused(lighter).startswith(f"{lighter}:4: over white the card gets lighter from 1 to 2 coats")


def test_a_decimal_comma_between_commas_is_not_read_as_two_columns(tmp_path: Path) -> None:
    shifted = written(tmp_path, ROWS.replace("white,2,73,13,45", "white,2,73,5,13,45"))
    with pytest.raises(InputError, match=r"card\.csv:4: has 6 cells, the header 5; write decimal points"):
        load_readings(shifted)
    with_words = written(tmp_path, ROWS.replace("white,2,73,13,45", "white,2,73,13,45,a run here"))
    assert load_readings(with_words).rows == load_readings(written(tmp_path, ROWS)).rows


def test_colours_that_no_surface_has_are_refused_at_their_line(tmp_path: Path) -> None:
    """Optimal colours reach a* -168 and b* 152 under the lights known here; 171 is the most of either."""
    assert "card.csv:4: a = 900: no surface" in refused(written(tmp_path, ROWS.replace("73,13,45", "73,900,45")))
    fit(written(tmp_path, ROWS.replace("73,13,45", "73,13,152")), strength="12 mL/L", film="40 um")


@pytest.mark.parametrize(
    ("columns", "cells", "said"),
    [
        ("X,Y,Z", "-50,30,12", ":5: X = -0.5: no surface has less than -0.02"),
        ("X,Y,Z", "41,900,12", ":5: Y = 9: no surface has less than -0.02 or more than 2 of a white"),
        ("420,480,540,600,660", "11,12,13,-5,15", ":5: 600 nm = -0.05: no surface"),
        ("420,480,540,540,660", "11,12,13,14,15", ":1: a wavelength stands there twice"),
    ],
)
def test_light_that_no_surface_sends_back(tmp_path: Path, columns: str, cells: str, said: str) -> None:
    count = columns.count(",") + 1
    steps = [",".join([f"white,{coats}", *[str(90 // (coats + 1))] * count]) for coats in range(3)]
    path = written(tmp_path, "\n".join([f"background,coats,{columns}", *steps, f"white,3,{cells}"]) + "\n")
    assert refused(path).startswith(f"{path}{said}")


def test_a_card_beside_itself_after_its_clear(tmp_path: Path) -> None:
    assert "the card before its clear, too" in refused(CARD, after_clear=tmp_path / ".." / CARD)


@pytest.mark.parametrize("said", [{"grey": 0.18}, {"chart": "find"}, {"corners": (1.0,) * 8}])
def test_options_for_photos_are_not_passed_over_with_readings(tmp_path: Path, said: dict[str, object]) -> None:
    words = f"--{next(iter(said))}: only a photo has corners"
    assert words in refused(CARD, **said)
    other = written(tmp_path, CARD.read_text(encoding="utf-8"))
    with pytest.raises(InputError, match=words):
        fit_several_files([CARD, other], out=tmp_path / "out", options=FitOptions(**said))  # type: ignore[arg-type]
    assert not (tmp_path / "out").exists()


def test_a_mix_is_read_with_semicolons_and_decimal_commas() -> None:
    amounts = {"house amber": "6,5 mL/L", "dark brown": "2 mL/L"}
    assert mix_of("house amber=6,5 mL/L; dark brown=2 mL/L", "card.csv") == amounts
    assert mix_of("house amber=6,5 mL/L,dark brown=2 mL/L", "card.csv") == amounts
    with pytest.raises(InputError, match="each dye once with its strength"):
        mix_of("house amber 6 mL/L; dark brown=2 mL/L", "card.csv")


def test_a_mistyped_name_in_a_mix_is_pointed_at(tmp_path: Path) -> None:
    rows = "".join(line for line in CARD.read_text(encoding="utf-8").splitlines(True) if not line.startswith("#"))
    alone = written(tmp_path, f"# name: house amber\n# strength: 12 mL/L\n# film: 40 um\n{rows}", "alone.csv")
    mix = written(tmp_path, f"# mix: house ambr=6 mL/L, dark brown=2 mL/L\n# film: 40 um\n{rows}", "mix.csv")
    with pytest.raises(InputError, match='"house amber" and "house ambr" are taken as two dyes'):
        fit_several_files([alone, mix], out=tmp_path / "out", options=FitOptions())
    assert not (tmp_path / "out").exists()


def test_a_finish_without_the_dye_is_said_to_stand_for_it() -> None:
    scheme = load_scheme(SAMPLES / "octave_mandolin.toml")
    name = next(iter(scheme.dyes))
    assert aims_notes(scheme, dye=name) == []
    assert aims_notes(None, dye="zorro") == []
    (note,) = aims_notes(scheme, dye="zorro")
    assert "has no dye called zorro" in note
    assert name in note


def test_a_scheme_in_place_of_a_dye_is_one_line() -> None:
    with pytest.raises(SchemeError) as caught:
        load_dye_file(SAMPLES / "octave_mandolin.toml")
    assert [problem.rule for problem in caught.value.problems] == ["this is a scheme, not a dye"]


def test_a_spectrum_without_dye_in_it_makes_no_dye(tmp_path: Path) -> None:
    dye = written(tmp_path, "nm;absorbance\n400;0,3\n500;0,9\n600;0,1\n700;0\n")
    with pytest.raises(InputError, match="nothing of the dye is left"):
        import_dye(dye, out=tmp_path / "out", name="red", strength="0.02 g/L", blank=str(dye))
    infrared = written(tmp_path, "nm;absorbance\n1400;0,3\n1500;0,9\n1600;0,1\n1700;0\n")
    with pytest.raises(InputError, match="1400 to 1700 nm, where nothing is seen"):
        import_dye(infrared, out=tmp_path / "out", name="red", strength="0.02 g/L")
    assert not (tmp_path / "out").exists()


def test_one_dye_given_twice_to_be_told_apart(tmp_path: Path) -> None:
    twice = ["--dye", "a.dye.toml=6 mL/L", "--dye", "a.dye.toml=2 mL/L"]
    found = CliRunner().invoke(app, ["fit-mix", str(CARD), *twice])
    assert isinstance(found.exception, InputError)
    assert str(found.exception).startswith("--dye = a.dye.toml: the same dye twice")


@pytest.mark.parametrize(("first", "last", "fine"), [(400, 450, False), (520, 700, False), (420, 660, True)])
def test_spectra_of_part_of_the_visible_are_told(tmp_path: Path, first: int, last: int, fine: bool) -> None:
    nm = range(first, last + 1, 10)
    rows = [f"white,{coats}," + ",".join(f"{0.85 * 0.9**coats:.4f}" for _ in nm) for coats in (0, 1, 2, 4)]
    card = written(tmp_path, "background,coats," + ",".join(map(str, nm)) + "\n" + "\n".join(rows) + "\n")
    if fine:
        assert fit(card, options=FitOptions(strength="12 mL/L", film="40 um")).found.misfit < 2.0
    else:
        told = refused(card)
        assert told.startswith(f"{card}: spectra from {first} to {last} nm do not tell how the dye looks; give them")
        assert "\n" not in told
