"""The gallery: exists for a page that shows amounts or names which the program no longer has, a finish that something
speaks against, a command on the page that cannot be typed, and pictures that grow."""

from __future__ import annotations

import re
import shlex
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
import typer
from PIL import Image

from docs.make_gallery import LADDER_BYTES, LIFELIKE_BYTES, PAGE, PICTURES, ROOMS, SCHEMES, SMALL_BYTES, page
from layerpreview.cli import app
from layerpreview.errors import InputError
from layerpreview.picture.faces import bursts_out_of_touch, shapes_of
from layerpreview.scheme import load_scheme, warnings_of
from layerpreview.surface.relief import RELIEF_KINDS
from layerpreview.surface.wood import FIGURES
from layerpreview.workflows.gallery import GALLERY, finish_picture, finish_text, finish_title, gallery_lines
from layerpreview.workflows.samples import is_sample

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def told() -> str:
    return page()


def _rows(text: str) -> list[list[str]]:
    return [[cell.strip() for cell in row.split("|")[1:-1]] for row in text.splitlines() if "|" in row]


def _section(told: str, name: str) -> str:
    return told.partition(f"\n## {name.capitalize()}\n")[2].partition("\n## ")[0]


# --- the schemes ---


def test_the_folder_has_the_twelve_and_a_small_picture_of_each() -> None:
    assert len(GALLERY) == len(set(GALLERY)) == 12
    assert sorted(path.name for path in SCHEMES.iterdir()) == sorted(
        f"{n}.{e}" for n in GALLERY for e in ("toml", "jpg")
    )
    assert set(ROOMS) == set(GALLERY)


@pytest.mark.parametrize("name", GALLERY)
def test_a_finish_is_one_that_nothing_speaks_against(name: str) -> None:
    """What `check` asks, but for dyes that a card tells only so much of: there are none."""
    scheme = load_scheme(SCHEMES / f"{name}.toml")
    assert [*warnings_of(scheme), *bursts_out_of_touch(scheme, shapes_of(scheme))] == []
    assert {dye.kind for dye in scheme.dyes.values()} == {"generic"}
    text = finish_text(name)
    assert text.splitlines()[0].startswith(f"# {name.capitalize()}: ")
    assert text.splitlines()[0].endswith(". An invented scenario.")
    assert finish_title(name) == tomllib.loads(text)["name"]
    assert len(text.splitlines()) <= 120  # a person reads and changes it
    assert is_sample(SCHEMES / f"{name}.toml")


def test_all_kinds_of_base_are_there_and_no_file_is_needed() -> None:
    schemes = [load_scheme(SCHEMES / f"{name}.toml") for name in GALLERY]
    bases = [scheme.base for scheme in schemes]
    assert {base.relief for base in bases if base.kind == "metal"} == set(RELIEF_KINDS)
    assert {base.grain for base in bases if base.kind == "wood"} == set(FIGURES)
    assert any(base.kind == "solid" for base in bases)
    assert {scheme.clear.finish for scheme in schemes} == {"gloss", "satin", "matt"}
    assert all(scheme.inputs == (scheme.file,) for scheme in schemes)


# --- the page ---


def test_the_page_says_what_the_program_says_now(told: str) -> None:
    assert PAGE.read_text(encoding="utf-8") == told, "make it anew: python -m docs.make_gallery page"


def test_the_page_goes_from_pale_to_black_and_names_every_finish(told: str) -> None:
    heads = re.findall(r"^## (\w+)$", told, flags=re.MULTILINE)
    assert heads == [name.capitalize() for name in GALLERY]
    for name in GALLERY:
        section = _section(told, name)
        assert f"\nlayerpreview start my-{name} --like {name}\n" in section
        assert f"gallery/{name}.jpg)" in section
        assert f"gallery/{name}_ladder.jpg)" in section
    for path in re.findall(r"!\[[^\]]+\]\(([^)]+)\)", told):
        assert (PAGE.parent / path).is_file(), path
    index = _rows(told.partition("\n## ")[0])
    assert re.findall(r"\(#(\w+)\)", str(index)) == list(GALLERY)
    assert "approximate" in told
    assert "safety data sheet" in told


def test_every_command_on_the_page_can_be_typed(told: str) -> None:
    for line in re.findall(r"^layerpreview (.+)$", told, flags=re.MULTILINE):
        name, *arguments = shlex.split(line)
        group = typer.main.get_command(app)
        command = group.get_command(typer.Context(group), name)  # type: ignore[attr-defined]
        assert command is not None, line
        command.make_context(name, arguments)


@pytest.mark.parametrize("name", GALLERY)
def test_dye_over_mix_is_the_strength_of_the_scheme(told: str, name: str) -> None:
    """The page's mL against the strengths as tomllib reads them, to the 5 % within which a part is measured."""
    strengths = tomllib.loads(finish_text(name))["mix"]
    rows = _rows(_section(told, name))
    assert len(rows) >= 4
    seen, mix, mix_mL = set(), "", 0.0
    for head, takes, make, dye, dye_mL, drops in rows[2:]:
        if head:
            mix, mix_mL = head, float(make.removesuffix(" mL"))
            likely, low, high = map(float, re.findall(r"[\d.]+", takes))
            assert low < likely <= mix_mL
            assert likely < high
        if dye:
            stated = float(strengths[mix]["dyes"][dye].removesuffix(" mL/L"))
            assert 1000.0 * float(dye_mL) / mix_mL == pytest.approx(stated, rel=0.05)
            likely, low, high = map(int, re.findall(r"\d+", drops))
            assert low <= likely <= high
            seen.add((mix, dye))
    assert seen == {(mix, dye) for mix, table in strengths.items() for dye in table["dyes"]}


def test_pictures_are_small_enough_to_send() -> None:
    assert {path.name for path in PICTURES.iterdir()} == {
        f"{name}{end}.jpg" for name in GALLERY for end in ("", "_ladder")
    }
    assert sum(path.stat().st_size for path in PICTURES.iterdir()) <= 1_600_000
    for name in GALLERY:
        for path, most_bytes, least_px in (
            (PICTURES / f"{name}.jpg", LIFELIKE_BYTES, 400),
            (PICTURES / f"{name}_ladder.jpg", LADDER_BYTES, 600),
            (SCHEMES / f"{name}.jpg", SMALL_BYTES, 200),
        ):
            assert path.stat().st_size <= most_bytes
            with Image.open(path) as picture:
                assert picture.format == "JPEG"
                assert picture.width >= least_px


# --- the command ---


def test_a_job_begins_with_a_finish_word_for_word(run: Run, tmp_path: Path) -> None:
    code, out, err = run("start", "mine", "--like", "Oat ")
    assert (code, out) == (0, ""), err
    assert (tmp_path / "mine" / "scheme.toml").read_text(encoding="utf-8") == finish_text("oat")
    with Image.open(tmp_path / "mine" / "lifelike_window.png") as picture:
        assert picture.width == 800
    assert "layerpreview render" in err.splitlines()[-1]
    code, _, err = run("check", "mine")
    assert (code, "look again" in err) == (0, False)
    assert run("render", "mine", "--width", "120")[0] == 0
    code, _, err = run("start", "mine", "--like", "oat")
    assert code == 2
    assert "never written over" in err


def test_a_name_that_is_none_lists_all(run: Run, tmp_path: Path) -> None:
    code, out, err = run("start", "mine", "--like", "plum")
    assert (code, out) == (2, "")
    assert [line.strip() for line in err.splitlines()[:-1]] == gallery_lines()
    assert err.splitlines()[-1].startswith("error: --like = plum: there is no such finish")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("more", "named"), [(("--shape", "disc"), "--shape"), (("--photo", "a.jpg", "--part-width", "9 in"), "--photo")]
)
def test_a_finish_has_a_part_of_its_own(run: Run, tmp_path: Path, more: tuple[str, ...], named: str) -> None:
    Image.new("RGB", (40, 40), "white").save(tmp_path / "a.jpg")
    code, _, err = run("start", "mine", "--like", "oat", *more)
    assert code == 2
    assert f"leave out --like or {named}" in err
    assert not (tmp_path / "mine").exists()


@pytest.mark.parametrize("name", ["", "../starter", "oat.toml", "C:oat", "oat\0"])
def test_no_other_file_is_read(name: str) -> None:
    for read in (finish_text, finish_picture, finish_title):
        with pytest.raises(InputError, match="no such finish"):
            read(name)
