"""What was written here may be written anew, and nothing else: exists for a picture somebody worked on that a second
run replaces, for a list that was forged, torn or is a link, and for a run that has to be forced over its own files."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from layerpreview.errors import OutputError
from layerpreview.output.files import write_text, written_together
from layerpreview.output.written import WRITTEN_NAME, written_into

from ..written import names_in

NAMES = ("bare.png", "finish.png", "figures.json")
Change = Callable[[Path], object]


def write(folder: Path, text: str, *names: str, force: bool = False, lasting: Sequence[str] = ()) -> None:
    with written_together(folder, names, force=force, inputs=(), lasting=lasting) as paths:
        for name in names:
            write_text(paths[name], f"{text} {name}\n")


def test_the_list_is_what_others_would_write(tmp_path: Path) -> None:
    """SHA-256 of "abc" from FIPS 180-2, appendix B.1."""
    with written_together(tmp_path, ["a.txt"], force=False, inputs=()) as paths:
        paths["a.txt"].write_bytes(b"abc")
    sha256 = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert json.loads((tmp_path / WRITTEN_NAME).read_bytes()) == {
        "layerpreview_written": 1,
        "files": {"a.txt": {"bytes": 3, "sha256": sha256}},
    }


def test_a_second_run_needs_no_force_and_two_results_share_a_folder(tmp_path: Path) -> None:
    write(tmp_path, "first", "bare.png", "finish.png")
    write(tmp_path, "other", "turn.webp")
    write(tmp_path, "second", "bare.png", "finish.png")
    write(tmp_path, "others second", "turn.webp")
    assert (tmp_path / "bare.png").read_text() == "second bare.png\n"
    assert (tmp_path / "turn.webp").read_text() == "others second turn.webp\n"
    assert sorted(written_into(tmp_path)) == ["bare.png", "finish.png", "turn.webp"]


def _same_length(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-2] + b"?\n")


def _linked(path: Path) -> None:
    """A link to a file with the very bytes that were written: where it leads to is somebody's own choice."""
    path.rename(path.with_name("moved"))
    path.symlink_to(path.with_name("moved"))


def _link_to_nothing(path: Path) -> None:
    path.unlink()
    path.symlink_to(path.with_name("not there"))


@pytest.mark.parametrize(
    "change",
    [
        lambda path: path.write_text("painted over"),
        lambda path: path.write_text(""),
        _same_length,
        _linked,
        _link_to_nothing,
        lambda path: os.truncate(path, 4),
    ],
)
def test_what_was_changed_is_named_and_left(tmp_path: Path, change: Change) -> None:
    write(tmp_path, "first", *NAMES)
    change(tmp_path / "finish.png")
    before = {path.name: (path.is_symlink(), path.exists() and path.read_bytes()) for path in tmp_path.iterdir()}
    with pytest.raises(OutputError) as refused:
        write(tmp_path, "second", *NAMES)
    assert "already there and changed since it was made here: finish.png; nothing was written" in str(refused.value)
    assert "bare.png" not in str(refused.value)
    after = {path.name: (path.is_symlink(), path.exists() and path.read_bytes()) for path in tmp_path.iterdir()}
    assert after == before
    write(tmp_path, "third", *NAMES, force=True)
    write(tmp_path, "fourth", *NAMES)
    assert not (tmp_path / "finish.png").is_symlink()
    assert (tmp_path / "finish.png").read_text() == "fourth finish.png\n"


def test_touched_and_strange_are_told_apart(tmp_path: Path) -> None:
    write(tmp_path, "first", "a.png", "b.png")
    (tmp_path / "b.png").write_text("changed")
    (tmp_path / "c.png").write_text("a client's own")
    with pytest.raises(OutputError, match=r"already there: c\.png; already there and changed since .* here: b\.png; "):
        write(tmp_path, "second", "a.png", "b.png", "c.png")


def test_what_is_removed_is_written_again(tmp_path: Path) -> None:
    write(tmp_path, "first", *NAMES)
    (tmp_path / "bare.png").unlink()
    write(tmp_path, "second", *NAMES)
    assert (tmp_path / "bare.png").read_text() == "second bare.png\n"


def test_a_folder_in_its_place_helps_no_force(tmp_path: Path) -> None:
    write(tmp_path, "first", *NAMES)
    (tmp_path / "bare.png").unlink()
    (tmp_path / "bare.png").mkdir()
    with pytest.raises(OutputError, match="this is a folder, a file is wanted"):
        write(tmp_path, "second", *NAMES)


def test_what_a_person_goes_on_with_stays(tmp_path: Path) -> None:
    """A dye file or a scheme, whether or not it was touched; also where it once was a mere result."""
    write(tmp_path, "first", "amber.dye.toml", "amber_fit.png", lasting=["amber.dye.toml"])
    with pytest.raises(OutputError, match=r"already there: amber\.dye\.toml; nothing was written"):
        write(tmp_path, "second", "amber.dye.toml", "amber_fit.png", lasting=["amber.dye.toml"])
    assert (tmp_path / "amber_fit.png").read_text() == "first amber_fit.png\n"
    write(tmp_path, "third", "amber_fit.png")
    write(tmp_path, "fourth", "amber_fit.png", lasting=["amber_fit.png"], force=True)
    assert written_into(tmp_path) == {}
    with pytest.raises(OutputError, match=r"already there: amber_fit\.png"):
        write(tmp_path, "fifth", "amber_fit.png")


def test_nothing_is_listed_for_what_lasts_alone(tmp_path: Path) -> None:
    write(tmp_path, "first", "amber.dye.toml", lasting=["amber.dye.toml"])
    assert [path.name for path in tmp_path.iterdir()] == ["amber.dye.toml"]


def _of(files: object, version: object = 1) -> bytes:
    return json.dumps({"layerpreview_written": version, "files": files}).encode()


SHA = hashlib.sha256(b"first bare.png\n").hexdigest()
RIGHT = {"sha256": SHA, "bytes": 15}


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"{",
        b"\xff\xfe\x00",
        b"null",
        b"[]",
        b"7",
        b"[" * 100_000,
        b'{"layerpreview_written": 1, "files": ' + b"9" * 5000 + b"}",
        _of([]),
        _of({"bare.png": RIGHT}, version=2),
        _of({"bare.png": RIGHT}, version=[1]),
        _of({"bare.png": {"sha256": SHA}}),
        _of({"bare.png": {"sha256": SHA.upper(), "bytes": 15}}),
        _of({"bare.png": {"sha256": SHA, "bytes": "15"}}),
        _of({"bare.png": {"sha256": SHA, "bytes": True}}),
        _of({"bare.png": {"sha256": [SHA], "bytes": 15}}),
        _of({"bare.png": None}),
        _of({"BARE.PNG": RIGHT, "./bare.png": RIGHT, "../bare.png": RIGHT}),
        _of({"bare.png": RIGHT, "pad": "x" * 4_000_000}),
    ],
)
def test_a_list_that_cannot_be_used_is_none(tmp_path: Path, data: bytes) -> None:
    write(tmp_path, "first", "bare.png")
    (tmp_path / WRITTEN_NAME).write_bytes(data)
    with pytest.raises(OutputError, match=r"already there: bare\.png; nothing was written"):
        write(tmp_path, "second", "bare.png")
    write(tmp_path, "second", "bare.png", force=True)
    write(tmp_path, "third", "bare.png")


def test_a_forged_list_leads_nowhere_else(tmp_path: Path) -> None:
    """It names what lies outside and what is nobody's business: none of it is read as a path, written or kept."""
    folder, outside = tmp_path / "job", tmp_path / "outside.txt"
    outside.write_text("mine")
    write(folder, "first", "bare.png")
    forged = dict.fromkeys(("../outside.txt", str(outside), "a\x00b", "�", "/dev/zero", ""), RIGHT)
    (folder / WRITTEN_NAME).write_bytes(_of({**forged, "bare.png": RIGHT}))
    write(folder, "second", "bare.png")
    assert outside.read_text() == "mine"
    assert list(written_into(folder)) == ["bare.png"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job", "outside.txt"]


def test_a_list_that_is_a_link_is_neither_read_nor_followed(tmp_path: Path) -> None:
    folder, elsewhere = tmp_path / "job", tmp_path / "list.json"
    write(folder, "first", "bare.png")
    (folder / WRITTEN_NAME).rename(elsewhere)
    before = elsewhere.read_bytes()
    (folder / WRITTEN_NAME).symlink_to(elsewhere)
    with pytest.raises(OutputError, match=r"already there: bare\.png"):
        write(folder, "second", "bare.png")
    write(folder, "second", "bare.png", force=True)
    assert elsewhere.read_bytes() == before
    assert not (folder / WRITTEN_NAME).is_symlink()


def test_a_folder_in_place_of_the_list(tmp_path: Path) -> None:
    """The results are written all the same; they only need --force the next time."""
    (tmp_path / WRITTEN_NAME).mkdir()
    write(tmp_path, "first", "bare.png")
    assert names_in(tmp_path) == ["bare.png"]
    with pytest.raises(OutputError, match=r"already there: bare\.png"):
        write(tmp_path, "second", "bare.png")


def test_the_list_is_no_name_for_a_result(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be the name of a file"):
        write(tmp_path, "first", WRITTEN_NAME.upper())


def _saved_meanwhile(folder: Path, name: str) -> None:
    with written_together(folder, ["a.png", "b.png"], force=False, inputs=()) as paths:
        for other in paths:
            write_text(paths[other], "second")
        (folder / name).write_text("saved meanwhile")


def test_what_is_saved_while_the_work_is_done_is_left(tmp_path: Path) -> None:
    """Work takes minutes; that a name was free, or a file untouched, when it began says nothing of its end."""
    write(tmp_path, "first", "a.png")
    for name, told in (("a.png", "changed since"), ("b.png", "already there: b")):
        with pytest.raises(OutputError, match=told):
            _saved_meanwhile(tmp_path, name)
        assert (tmp_path / name).read_text() == "saved meanwhile"
        write(tmp_path, "first", "a.png", force=True)
    assert names_in(tmp_path) == ["a.png", "b.png"]


class Killed(BaseException):
    """Stands for the process's end: nothing catches it, and what comes after it does not happen."""


def renames_until(steps: int) -> Callable[[Path, Path], None]:
    """Stands for `os.replace` in a process that dies after so many of them."""
    whole, done = os.replace, list[Path]()

    def replace(source: Path, target: Path) -> None:
        if len(done) == steps:
            raise Killed
        done.append(target)
        whole(source, target)

    return replace


STEPS = len(NAMES) + 2
"""Renames of a run: the word that all is ready, each file, the list."""


@pytest.mark.parametrize("steps", range(STEPS + 1))
def test_killed_between_files_and_list(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, steps: int) -> None:
    """After any number of files and before the list: a touched file is refused whatever happened; what is left over of
    ours may count as touched, and nothing worse."""
    write(tmp_path, "first", *NAMES)
    with monkeypatch.context() as patch:
        patch.setattr("layerpreview.output.landing.os.replace", renames_until(steps))
        if steps < STEPS:
            with pytest.raises(Killed):
                write(tmp_path, "second", *NAMES)
        else:
            write(tmp_path, "second", *NAMES)
    for name in NAMES:
        held = (tmp_path / name).read_bytes()
        (tmp_path / name).write_bytes(held + b"a stroke of my own")
        with pytest.raises(OutputError, match=name):
            write(tmp_path, "third", *NAMES)
        assert (tmp_path / name).read_bytes() == held + b"a stroke of my own"
        (tmp_path / name).write_bytes(held)
    write(tmp_path, "fourth", *NAMES, force=True)
    write(tmp_path, "fifth", *NAMES)


@pytest.mark.parametrize("steps", range(STEPS))
def test_what_a_killed_run_had_ready_is_finished_by_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, steps: int
) -> None:
    """As after SIGKILL, nothing is put away; before it was ready all is old, after it the next run makes all new."""
    write(tmp_path, "first", *NAMES)
    with monkeypatch.context() as patch:
        patch.setattr("layerpreview.output.landing.os.replace", renames_until(steps))
        patch.setattr("layerpreview.output.landing.shutil.rmtree", lambda *_, **__: None)
        patch.setattr("layerpreview.output.landing.leave", lambda file, *_, **__: file.close())
        with pytest.raises(Killed):
            write(tmp_path, "second", *NAMES)
    mine = NAMES[0] if steps == 1 else None  # not renamed yet, and a person saves under its name meanwhile
    if mine:
        (tmp_path / mine).write_text("my own")
    write(tmp_path, "other", "other.png")
    run = "second" if steps else "first"
    for name in NAMES:
        assert (tmp_path / name).read_text() == ("my own" if name == mine else f"{run} {name}\n")
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == [WRITTEN_NAME]
    ours = [name for name in NAMES if name != mine]
    write(tmp_path, "third", *ours)  # without force: they count as ours


def test_two_that_write_into_one_folder_are_never_mixed(tmp_path: Path) -> None:
    with written_together(tmp_path / "new", ["a.png"], force=False, inputs=()) as paths:
        with pytest.raises(OutputError, match="another layerpreview is writing"):
            write(tmp_path / "new", "second", "a.png", force=True)
        write_text(paths["a.png"], "first")
    assert names_in(tmp_path / "new") == ["a.png"]
    assert (tmp_path / "new" / "a.png").read_text() == "first"


class WrittenLaw(RuleBasedStateMachine):
    """The law, against a model that remembers who wrote which bytes: a write without force goes through exactly when
    every file in its way holds bytes that this tool wrote under that name, and then changes nothing else."""

    some = st.sets(st.sampled_from(NAMES), min_size=1).map(sorted)
    one = st.sampled_from(NAMES)

    def __init__(self) -> None:
        super().__init__()
        self.room = TemporaryDirectory()
        self.folder = Path(self.room.name, "job")
        self.folder.mkdir()
        self.held: dict[str, tuple[str, bool]] = {}  # what it holds, and whether it is a link
        self.ours: dict[str, str] = {}
        self.run = 0

    def teardown(self) -> None:
        self.room.cleanup()

    @rule(names=some, force=st.booleans())
    def written(self, names: list[str], force: bool) -> None:
        self.run += 1
        strange = [n for n in names if n in self.held and self.held[n] != (self.ours.get(n), False)]
        try:
            write(self.folder, str(self.run), *names, force=force)
        except OutputError as refused:
            assert strange
            assert not force
            named = str(refused).split("; nothing")[0]
            assert [name for name in names if name in named] == strange
            return
        assert force or not strange
        self.held |= {name: (f"{self.run} {name}\n", False) for name in names}
        self.ours |= {name: self.held[name][0] for name in names}
        self.ours = {name: text for name, text in self.ours.items() if name in self.held}  # others are forgotten

    @rule(name=one, text=st.sampled_from(["mine\n", "1 bare.png\n", "2 finish.png\n", ""]))
    def touched(self, name: str, text: str) -> None:
        (self.folder / name).unlink(missing_ok=True)
        (self.folder / name).write_text(text)
        self.held[name] = (text, False)

    @rule(name=one)
    def removed(self, name: str) -> None:
        (self.folder / name).unlink(missing_ok=True)
        self.held.pop(name, None)

    @rule(name=one)
    def put_back(self, name: str) -> None:
        """A touched file put back to what was written is as it was."""
        if name in self.ours and name in self.held:
            (self.folder / name).unlink()
            (self.folder / name).write_text(self.ours[name])
            self.held[name] = (self.ours[name], False)

    @precondition(lambda self: self.held)
    @rule(name=one)
    def linked(self, name: str) -> None:
        if name in self.held and not self.held[name][1]:
            target = self.folder.parent / f"{self.run}-{len(list(self.folder.parent.iterdir()))}"
            (self.folder / name).rename(target)
            (self.folder / name).symlink_to(target)
            self.held[name] = (self.held[name][0], True)

    @rule(data=st.sampled_from([b"", b"{}", b"\xff", _of({"bare.png": {"sha256": "0" * 64, "bytes": 0}})]))
    def list_spoilt(self, data: bytes) -> None:
        (self.folder / WRITTEN_NAME).write_bytes(data)
        self.ours = {}

    @invariant()
    def holds_what_it_should(self) -> None:
        assert names_in(self.folder) == sorted(self.held)
        for name, (text, link) in self.held.items():
            assert (self.folder / name).read_text() == text
            assert (self.folder / name).is_symlink() == link


TestWrittenLaw = WrittenLaw.TestCase
TestWrittenLaw.settings = settings(max_examples=60, stateful_step_count=20)
