"""The sheet as files: exist for half-written folders, overwritten sheets, and problems told one at a time."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from layerpreview.errors import InputError, OutputError
from layerpreview.workflows.sheet import mix_sheet, sheet_files

from ..schemes import FULL
from ..written import names_in

Save = Callable[..., Path]
Run = Callable[..., tuple[int, str, str]]


def test_every_form_is_written_and_nothing_else(save_scheme: Save, tmp_path: Path) -> None:
    pytest.importorskip("typst")
    made = sheet_files(save_scheme(FULL), out=tmp_path / "o", forms=["pdf", "html", "text", "json"], templates=True)
    assert names_in(tmp_path / "o") == sorted(made.files)
    assert len(made.files) == 5


@pytest.mark.slow
def test_what_is_there_is_kept(save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(FULL)
    for _ in range(2):
        sheet_files(scheme, out=tmp_path / "o", forms=["text"])
    (tmp_path / "o" / "mix_sheet.txt").write_text("with a line of my own")
    with pytest.raises(OutputError, match="--force"):
        sheet_files(scheme, out=tmp_path / "o", forms=["text", "json"])
    assert names_in(tmp_path / "o") == ["mix_sheet.txt"]
    sheet_files(scheme, out=tmp_path / "o", forms=["text"], force=True)


def test_without_typst_the_page_is_written_and_the_rest_told(
    save_scheme: Save, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "typst", None)
    code, out, err = run("sheet", save_scheme(FULL), "-o", "o")
    assert (code, out) == (0, "")
    assert names_in(tmp_path / "o") == ["mix_sheet.html"]
    assert "without mix_sheet.pdf: PDF needs one more package: pip install typst" in err.splitlines()
    code, _, err = run("sheet", save_scheme(FULL), "-o", "p", "--form", "pdf")
    assert code == 2
    assert "pip install typst" in err
    assert not (tmp_path / "p").exists()


def test_problems_are_told_at_once(save_scheme: Save, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        sheet_files(save_scheme(FULL), out=tmp_path / "o", forms=["docx"], paper="A5")
    assert [problem.field for problem in caught.value.problems] == ["--form", "--paper"]
    assert not (tmp_path / "o").exists()


@pytest.mark.slow
@pytest.mark.parametrize("sample", ["octave_mandolin", "drum_shell"])
def test_the_samples_have_sheets(sample: str) -> None:
    sheet = mix_sheet(Path(__file__).parents[2] / "samples" / f"{sample}.toml")
    assert all(sum(part.mL for part in mix.batch.parts) == mix.make_mL for mix in sheet.mixes)
