"""Exists for a library dye that cannot be read, or that hides where its spectrum comes from."""

from __future__ import annotations

import pytest

from layerpreview.errors import SchemeError
from layerpreview.scheme import library_names, load_dye, load_library_dye, load_scheme
from layerpreview.scheme.dyefile import load_dye_file

RIGHT = """layerpreview_dye = 1
name = "sample"
kind = "fitted"
provenance = "spray-out of our own"
drops_per_mL = 48
absorptivity_L_per_g_cm = [[380, 61.0], [390, 58.2], [780, 0.4]]
"""


def test_library_is_listed_and_every_dye_reads() -> None:
    names = library_names()
    assert "amber" in names
    assert list(names) == sorted(names)
    for name in names:
        dye = load_library_dye(name)
        assert dye.name == name
        assert dye.provenance
        assert dye.concentrate_g_per_L
        assert dye.wavelength_nm == tuple(float(nm) for nm in range(380, 781, 10))


def test_a_library_dye_in_a_scheme_keeps_its_provenance(good: str, write) -> None:
    text = good.replace("absorptivity = [[380, 82.0], [450, 60.0], [720, 0.5]]", 'library = "amber"')
    found = load_scheme(write(text)).dyes["amber"]
    library = load_library_dye("amber")
    assert (found.kind, found.provenance) == (library.kind, library.provenance)
    assert found.absorptivity_L_per_g_cm == library.absorptivity_L_per_g_cm


def test_a_dye_of_ones_own(write) -> None:
    dye = load_dye(write(RIGHT, "sample.dye.toml"))
    assert (dye.kind, dye.concentrate_g_per_L, dye.wavelength_nm) == ("fitted", None, (380.0, 390.0, 780.0))
    assert dye.drops_per_mL is not None
    assert dye.drops_per_mL.likely == 48.0


@pytest.mark.parametrize(
    ("old", "new", "line", "field", "said"),
    [
        ("layerpreview_dye = 1\n", "", None, "layerpreview_dye", "add a line such as layerpreview_dye = 1"),
        ("layerpreview_dye = 1\n", "layerpreview_dye = 2\n", 1, "layerpreview_dye", "the number 1 is wanted"),
        ('kind = "fitted"', 'kind = "stated"', 3, "kind", "generic, fitted or table"),
        ('provenance = "spray-out of our own"\n', "", None, "provenance", "where the spectrum comes from"),
        ("drops_per_mL = 48", 'drops_per_ml = "48"', 5, "drops_per_ml", 'did you mean "drops_per_mL"?'),
        ("[390, 58.2]", "[370, 58.2]", 6, "absorptivity_L_per_g_cm", "wavelengths must rise"),
    ],
)
def test_faults_are_told_with_their_line(write, old: str, new: str, line: int | None, field: str, said: str) -> None:
    with pytest.raises(SchemeError) as caught:
        load_dye(write(RIGHT.replace(old, new), "sample.dye.toml"))
    (problem,) = caught.value.problems
    assert (problem.line, problem.field) == (line, field)
    assert said in str(problem)


@pytest.mark.parametrize(
    ("rows", "wrong"),
    [
        ("[[400, 0.1, 0.0], [500, 0.2, -0.1]]", ""),
        ("[[400, 0.1, 0.0]]", "at least two rows"),
        ("[[400, 0.1, 0.0], [500, 0.2]]", "row 2 does not fit"),
        ("[[400, 0.1, 0.0], [390, 0.2, 0.1]]", "row 2 does not fit"),
        ("[[400, true], [500, 0.2]]", "row 1 does not fit"),
        ("[[400, nan], [500, 0.2]]", "row 1 does not fit"),
        ('"0.1"', "at least two rows"),
    ],
)
def test_the_doubt_hangs_together_over_rising_wavelengths(save_scheme, rows: str, wrong: str) -> None:  # type: ignore[no-untyped-def]
    path = save_scheme(f"{RIGHT}doubt_of_log = {rows}\n", "sample.dye.toml")
    if not wrong:
        assert load_dye_file(path).doubt_of_log == ((400.0, 0.1, 0.0), (500.0, 0.2, -0.1))
        assert load_dye(path).name == "sample"
        return
    with pytest.raises(SchemeError, match=wrong):
        load_dye_file(path)
