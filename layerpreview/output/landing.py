"""How results get their names: written apart, safe on disk, then all renamed; a run that was killed is put right by the
next one.

Whoever writes into a folder holds its lock, so whatever working folders are found there are those of the dead. One
that was whole when its owner died says so (`ready.json`), and is finished: its files get their names where nobody has
changed anything since. Any other is taken away.
"""

from __future__ import annotations

import errno
import json
import os
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager, suppress
from io import FileIO
from pathlib import Path

from layerpreview.errors import OutputError
from layerpreview.output.locks import leave, take
from layerpreview.output.written import Print, note_written, print_of
from layerpreview.stops import kept, unbroken

LOCK_NAME = ".layerpreview-lock"
_WORKING, _ASIDE = ".layerpreview-work-", "layerpreview-aside-"
_READY, _OLD = "ready.json", "layerpreview-old"
_OURS = re.compile(r"\.layerpreview-(work-)?[a-z0-9_]{8}")
_SURELY_DEAD_S = 60.0
_OPEN_ELSEWHERE_S = 2.0 if sys.platform == "win32" else 0.0
"""How long a file that another program has open is waited for: one common system gives it no new name meanwhile."""


@contextmanager
def alone_in(folder: Path, elsewhere: str) -> Iterator[None]:
    """Hold the folder's lock, and put right what those left who died while they held it.

    Raises OutputError where another command writes there at this moment.
    """
    path, held = folder / LOCK_NAME, list[FileIO]()
    if path.is_symlink():  # it would be made where it leads to
        raise OutputError(f"{path}: this is a link where none belongs; nothing was written; take it away")
    try:
        while not held:
            with unbroken():
                file = path.open("a+b", buffering=0)
                if take(file, path):
                    held.append(file)
                    break
                gone = not path.exists()  # whoever had it has just ended
                leave(file, path, remove=False)
            if not gone:
                why = "another layerpreview is writing into this folder"
                raise OutputError(f"{folder}: {why}; nothing was written; wait until it has ended, or {elsewhere}")
        for left in sorted(folder.glob(".layerpreview-*")):
            if _OURS.fullmatch(left.name) and left.is_dir() and not left.is_symlink():
                _put_right(left, folder)
            elif left.suffix == ".tmp":  # of a file that was replaced alone
                sweep_file(left)
        yield
    finally:
        with unbroken():
            for file in held:
                leave(file, path, remove=True)


@contextmanager
def working_in(folder: Path) -> Iterator[Path]:
    """A folder to write in beforehand, gone afterwards."""
    made: list[Path] = []
    try:
        with unbroken():
            made.append(Path(tempfile.mkdtemp(prefix=_WORKING, dir=folder)))
        yield made[0]
    finally:
        with unbroken():
            for work in made:
                shutil.rmtree(work, ignore_errors=True)


@contextmanager
def aside() -> Iterator[Path]:
    """A folder among the system's temporary ones, gone afterwards; those that the dead left there go, too.

    Raises OSError where the system has no place for it.
    """
    try:
        place = Path(tempfile.gettempdir())
    except OSError:  # its own words are a list of every place that was tried
        raise OSError(errno.ENOSPC, "the system's folder for temporary files is full or closed") from None
    for left in place.glob(f"{_ASIDE}*"):
        with suppress(OSError):
            _sweep(left)
    made, locks = list[Path](), list[FileIO]()
    try:
        with unbroken():
            made.append(Path(tempfile.mkdtemp(prefix=_ASIDE)))
            locks.append((made[0] / LOCK_NAME).open("a+b", buffering=0))
            take(locks[0], made[0] / LOCK_NAME)
        work = made[0] / "work"
        work.mkdir(mode=0o700)
        yield work
    finally:
        with unbroken():
            for lock in locks:
                lock.close()
            for whole in made:
                shutil.rmtree(whole, ignore_errors=True)


def sweep_file(left: Path) -> None:
    """Take away what somebody who died was writing in place of one file; who lives holds its lock until it is there."""
    with suppress(OSError):
        if sys.platform == "win32":  # there nothing that is open and locked gets another name
            if _age_s(left) > _SURELY_DEAD_S:
                left.unlink()
            return
        with left.open("r+b", buffering=0) as file:
            if take(file, left):
                left.unlink()


def _sweep(left: Path) -> None:
    """Take one of these folders away, unless its owner is at work."""
    path = left / LOCK_NAME
    if left.is_symlink() or not left.is_dir():
        return
    if not path.exists():
        if _age_s(left) < _SURELY_DEAD_S:  # it may be one that is just being made
            return
    else:
        with path.open("r+b", buffering=0) as lock:
            if not take(lock, path):
                return
    shutil.rmtree(left, ignore_errors=True)


def _age_s(path: Path) -> float:
    try:
        return time.time() - path.lstat().st_mtime
    except OSError:
        return 0.0


def land(work: Path, folder: Path, names: Sequence[str], lasting: Collection[str]) -> None:
    """Give the files in `work` their names in `folder`; those not `lasting` go on the list of what was written there.

    Raises OSError; then all is as it was. Where the power fails in the midst, the next run puts it right.
    """
    for name in names:
        _on_disk(work / name)
    _old_kept(work, folder, names)
    before = {name: _print_or_none(folder / name) for name in names}
    after = {name: print_of(work / name) for name in names}
    text = json.dumps({"before": before, "after": after, "lasting": sorted(lasting)})
    (work / "ready.tmp").write_text(text, encoding="ascii")
    _on_disk(work / "ready.tmp")
    with unbroken():
        os.replace(work / "ready.tmp", work / _READY)
        done: list[str] = []
        try:
            for name in names:
                _patiently(work / name, folder / name)
                done.append(name)
        except OSError:
            (work / _READY).unlink()  # nothing is to be finished later
            for name in reversed(done):
                _taken_back(work, folder, name)
            raise
        _noted(work, folder, after, lasting)
        kept(folder)


def _old_kept(work: Path, folder: Path, names: Sequence[str]) -> None:
    """Keep what is about to be replaced, under a second name where the disk can do that, until all are renamed."""
    if len(names) < 2:  # one is renamed or not
        return
    (work / _OLD).mkdir()
    for name in names:
        there, old = folder / name, work / _OLD / name
        if there.is_symlink():
            old.symlink_to(os.readlink(there))
        elif there.exists():
            try:
                os.link(there, old)
            except OSError:  # some disks have no second names
                shutil.copy2(there, old)


def _taken_back(work: Path, folder: Path, name: str) -> None:
    """Give a name its old file again, or take it away where there was none."""
    old = work / _OLD / name
    if os.path.lexists(old):
        _patiently(old, folder / name)
    else:
        (folder / name).unlink()


def _put_right(work: Path, folder: Path) -> None:
    """Finish what a dead run had ready, where all is as it was then, and take its folder away."""
    with suppress(OSError, ValueError, TypeError, KeyError, RecursionError):
        told = json.loads((work / _READY).read_text(encoding="ascii"))
        before = {name: _as_print(one) for name, one in told["before"].items()}
        after = {name: _as_print(one) for name, one in told["after"].items()}
        lasting = [str(name) for name in told["lasting"]]
        plain = [name for name in before if Path(name).name == name and name in after]
        for name in plain:
            whole = (work / name).is_file() and print_of(work / name) == after[name]
            if whole and _print_or_none(folder / name) == before[name]:
                _patiently(work / name, folder / name)
        stands = {name: after[name] for name in plain if _print_or_none(folder / name) == after[name]}
        _noted(work, folder, {name: one for name, one in stands.items() if one is not None}, lasting)
    with unbroken():
        shutil.rmtree(work, ignore_errors=True)


def _noted(work: Path, folder: Path, after: dict[str, Print], lasting: Collection[str]) -> None:
    ours = {name: one for name, one in after.items() if name not in lasting}
    note_written(folder, ours, forget=lasting, work=work)
    with suppress(OSError):
        (work / _READY).unlink()
    _on_disk(folder)


def _as_print(told: object) -> Print | None:
    if told is None:
        return None
    if not isinstance(told, list) or len(told) != 2:
        raise ValueError("no print")
    return Print(str(told[0]), int(told[1]))


def _print_or_none(path: Path) -> Print | None:
    try:
        return print_of(path)
    except FileNotFoundError:
        return None


def _patiently(source: Path, target: Path) -> None:
    """Rename, waiting a little for a target that another program has open; that one is named where it stays open."""
    until = time.monotonic() + _OPEN_ELSEWHERE_S
    while True:
        try:
            os.replace(source, target)
            return
        except PermissionError as error:
            if time.monotonic() >= until:
                raise PermissionError(error.errno, f"{target.name}: {error.strerror}; is it open elsewhere?") from error
            time.sleep(0.05)


def _on_disk(path: Path) -> None:
    """Have the system put a file, or the names in a folder, on the disk itself, where it can.

    Raises OSError where the disk is full: that some systems tell only now.
    """
    try:
        handle = os.open(path, os.O_RDONLY if sys.platform != "win32" or path.is_dir() else os.O_RDWR)
    except OSError:  # one common system opens no folders
        return
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC), errno.EFBIG, errno.EIO):
            raise
    finally:
        os.close(handle)
