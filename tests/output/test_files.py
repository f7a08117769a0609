"""Writing whole or not at all: exists for half a set of pictures after a failure, a client's files replaced unasked,
working folders left behind, a user's photo replaced by a result, and names that lead out of the folder."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layerpreview.errors import OutputError
from layerpreview.output.files import file_stem, write_text, written_together

from ..written import names_in

NAMES = ["one.txt", "two.txt"]


def _write_one(folder: Path, name: str, *, inputs: list[Path]) -> None:
    with written_together(folder, [name], force=True, inputs=inputs) as paths:
        write_text(paths[name], "result\n")


def _write(folder: Path, text: str, *, force: bool = False, inputs: Sequence[Path] = (), **more: str) -> None:
    with written_together(folder, NAMES, force=force, inputs=inputs, **more) as paths:
        for name in NAMES:
            write_text(paths[name], f"{text} {name}\n")


def _fail_half_way(folder: Path, *, force: bool = False) -> None:
    with written_together(folder, NAMES, force=force, inputs=()) as paths:
        write_text(paths["one.txt"], "half")
        raise ValueError("half way")


def _forget_one(folder: Path) -> None:
    with written_together(folder, NAMES, force=False, inputs=()) as paths:
        write_text(paths["one.txt"], "only this")


def test_all_of_it(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "er"
    _write(folder, "first")
    assert names_in(folder) == NAMES
    assert (folder / "two.txt").read_bytes() == b"first two.txt\n"


def test_nothing_on_failure(tmp_path: Path) -> None:
    """Not the files, not the working folder, and not the folder made for them."""
    folder = tmp_path / "new" / "job"
    with pytest.raises(ValueError, match="half way"):
        _fail_half_way(folder)
    assert list(tmp_path.iterdir()) == []


def test_a_failure_leaves_what_was_there(tmp_path: Path) -> None:
    _write(tmp_path, "first")
    with pytest.raises(ValueError, match="half way"):
        _fail_half_way(tmp_path, force=True)
    assert (tmp_path / "one.txt").read_text() == "first one.txt\n"
    assert names_in(tmp_path) == NAMES


def test_never_over_what_is_there_unless_asked(tmp_path: Path) -> None:
    (tmp_path / "two.txt").write_text("a client's own")
    with pytest.raises(OutputError, match=r"already there: two\.txt; nothing was written; .*--force"):
        _write(tmp_path, "new")
    assert [path.name for path in tmp_path.iterdir()] == ["two.txt"]
    _write(tmp_path, "new", force=True)
    assert (tmp_path / "two.txt").read_text() == "new two.txt\n"


def test_other_files_in_the_folder_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / "notes.md").write_text("mine")
    _write(tmp_path, "first")
    assert (tmp_path / "notes.md").read_text() == "mine"


def test_a_file_in_place_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    for folder in (tmp_path / "out", tmp_path / "out" / "deeper"):
        with pytest.raises(OutputError, match=r"cannot be written to \(.*out is a file where a folder is wanted\)"):
            _write(folder, "new")
    assert (tmp_path / "out").read_text() == "a file"


def test_a_folder_in_place_of_a_file(tmp_path: Path) -> None:
    """Found when all is done and names are given: then too nothing of it may be left."""
    (tmp_path / "two.txt").mkdir()
    with pytest.raises(OutputError, match=r"two\.txt|writing failed"):
        _write(tmp_path, "new", force=True)
    assert [path.name for path in tmp_path.iterdir()] == ["two.txt"]


def test_the_remedy_is_one_that_the_command_has(tmp_path: Path) -> None:
    """`start` and `agree` have no -o, and a folder in place of a file gives way to no --force."""
    told = "start another folder"
    (tmp_path / "one.txt").write_text("mine")
    with pytest.raises(OutputError, match=rf"add --force to replace, or {told}$"):
        _write(tmp_path, "new", elsewhere=told)
    with pytest.raises(OutputError, match=rf"wanted\); nothing was written; {told}$"):
        _write(tmp_path / "one.txt", "new", elsewhere=told)
    with pytest.raises(OutputError, match=rf"never written over, --force or not; nothing was written; {told}$"):
        _write(tmp_path, "new", force=True, inputs=[tmp_path / "one.txt"], elsewhere=told)
    (tmp_path / "two.txt").mkdir()
    with pytest.raises(OutputError, match=rf"two\.txt: this is a folder, a file is wanted.*, or {told}$"):
        _write(tmp_path, "new", elsewhere=told)


def test_a_name_that_was_not_written(tmp_path: Path) -> None:
    with pytest.raises(OutputError):
        _forget_one(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_text_is_the_same_bytes_on_every_system(tmp_path: Path) -> None:
    write_text(tmp_path / "a.txt", "µm\r\n25 °\n")
    assert (tmp_path / "a.txt").read_bytes() == "µm\r\n25 °\n".encode()


def test_never_over_an_input(tmp_path: Path) -> None:
    """Not with --force either, and not when the input is named by another way to the same file."""
    photo = tmp_path / "base.png"
    photo.write_text("a photo")
    other = tmp_path / "linked.png"
    os.link(photo, other)
    for name, read in (("base.png", tmp_path / "x" / ".." / "base.png"), ("linked.png", photo), ("base.png", photo)):
        (tmp_path / "x").mkdir(exist_ok=True)
        with pytest.raises(OutputError, match=rf"{name}: this file is read .*nothing was written; .*-o"):
            _write_one(tmp_path, name, inputs=[read])
    assert photo.read_text() == "a photo"
    _write_one(tmp_path, "other.png", inputs=[photo])


@pytest.mark.parametrize(
    "name",
    ["../up.txt", "a/b.txt", "/abs.txt", "a\\b.txt", "C:x.txt", "..", ".", "", " ", "a\nb", "CON", "nul.txt", "a\0"],
)
def test_a_name_stays_in_its_folder(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "job"
    with pytest.raises(OutputError, match=r"cannot be the name of a file; nothing was written"):
        _write_one(folder, name, inputs=[])
    assert list(tmp_path.rglob("*")) == []


def test_two_results_of_one_name(tmp_path: Path) -> None:
    """Systems that do not tell A from a would keep the last of them only."""
    with (
        pytest.raises(OutputError, match="one name"),
        written_together(tmp_path, ["a.png", "A.png"], force=False, inputs=()),
    ):
        pass


@given(shown=st.text(max_size=300))
def test_any_name_makes_a_plain_file_name(shown: str) -> None:
    stem = file_stem(shown, otherwise="dye")
    assert 1 <= len(stem) <= 61
    assert re.fullmatch(r"[\w-]+", stem)
    assert file_stem(stem, otherwise="dye") == stem


@pytest.mark.parametrize(
    ("shown", "stem"),
    [
        ("../../up", "up"),
        ("/etc/motd", "etc_motd"),
        ("C:\\dyes\\amber", "c_dyes_amber"),
        ("House Amber", "house_amber"),
        ("Käfer-Rot №3", "käfer-rot_3"),
        ("con", "con_"),
        ("...", "dye"),
        ('13"', "13"),
    ],
)
def test_file_names_of_shown_names(shown: str, stem: str) -> None:
    assert file_stem(shown, otherwise="dye") == stem
