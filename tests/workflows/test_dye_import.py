"""A spectrum becomes a dye file in the right unit: per gram, per litre, per centimetre, decadic."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from layerpreview.errors import InputError
from layerpreview.film import diffuse_film
from layerpreview.scheme import load_dye
from layerpreview.workflows.dye_import import import_dye

NM = np.arange(380, 781, 10)
SHAPE = np.exp(-0.5 * ((NM - 505) / 31) ** 2)


def saved(tmp_path: Path, head: str, *columns: np.ndarray) -> Path:  # type: ignore[type-arg]
    rows = [",".join(f"{value:.6f}" for value in row) for row in zip(NM, *columns, strict=True)]
    path = tmp_path / "spectrum.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def test_a_cell_of_5_mm(tmp_path: Path) -> None:
    # A = a c l: 0.8 = a * 0.02 g/L * 0.5 cm, so a = 80 L/(g cm).
    path = saved(tmp_path, "nm,absorbance", 0.8 * SHAPE)
    made = import_dye(path, out=tmp_path / "out", name="Coral", strength="0.02 g/L", path="5 mm", concentrate="35 g/L")
    dye = load_dye(made.dye_file)
    assert dye.kind == "table"
    assert dye.concentrate_g_per_L == 35
    np.testing.assert_allclose(dye.absorptivity_L_per_g_cm, 80.0 * SHAPE, atol=0.01)


def test_reflectance_over_white_needs_the_film(tmp_path: Path) -> None:
    # 3 g/L in 40 um: A = a * 3 * 0.004 cm; a = 20 gives 0.24.
    white = np.full(NM.size, 0.82)
    over = diffuse_film().reflectance(0.24 * SHAPE, white)
    path = saved(tmp_path, "nm,reflectance of dye over white,reflectance of white", 100 * over, 100 * white)
    made = import_dye(path, out=tmp_path / "out", name="coral", strength="3 g/L", path="40 um")
    np.testing.assert_allclose(load_dye(made.dye_file).absorptivity_L_per_g_cm, 20.0 * SHAPE, atol=0.05)


def test_what_looks_wrong_is_said(tmp_path: Path) -> None:
    made = import_dye(
        saved(tmp_path, "nm,absorbance", 3.1 * SHAPE - 0.05), out=tmp_path / "out", name="coral", strength="1 g/L"
    )
    assert any("blank is off" in note for note in made.notes)
    assert any("dilute" in note for note in made.notes)


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"strength": "1 mL/L"}, "strength"),
        ({"strength": "1 g/L", "path": "0 mm"}, "above zero"),
        ({"strength": "1 g/L", "sample": "blue"}, "absorbance one, absorbance two"),
        ({"strength": "1 g/L"}, "which is the dye?; name one with --sample: absorbance one, absorbance two"),
        (
            {"strength": "1 g/L", "sample": "absorbance one", "blank": "water"},
            "no such spectrum; name one with --blank",
        ),
        ({"strength": "1 g/L", "sample": "absorbance one", "blank": "absorbance two", "use_blank": False}, "leave one"),
        ({"strength": "1 g/L", "sample": "absorbance one", "baseline": "sloped"}, "use flat"),
        ({"strength": "1 g/L", "name": " "}, '--name = " ": a dye needs a name; write for example'),
        ({"strength": "1 g/L", "name": "x" * 300}, ": one line of at most 200 characters is wanted"),
        ({"strength": "1 g/L", "sample": "absorbance one", "concentrate": "9000 g/L"}, "the dye file: concentrate: "),
        ({"strength": "1e-9 g/L", "sample": "absorbance one"}, "the dye file: absorptivity"),
    ],
)
def test_bad_input_in_one_line(tmp_path: Path, how: dict[str, object], said: str) -> None:
    path = saved(tmp_path, "nm,absorbance one,absorbance two", SHAPE, 2 * SHAPE)
    with pytest.raises(InputError) as caught:
        import_dye(path, out=tmp_path / "out", **{"name": "coral", **how})  # type: ignore[arg-type]
    assert len(caught.value.problems) == 1
    assert said in str(caught.value)


def test_more_light_than_numbers_hold_is_told(tmp_path: Path) -> None:
    path = saved(tmp_path, "nm,absorbance one", 1e308 * (SHAPE / SHAPE.max()))
    with pytest.raises(InputError, match=r"an absorbance of 1e[+]308, more than any instrument reads"):
        import_dye(path, name="coral", strength="0.02 g/L", out=tmp_path / "out")
