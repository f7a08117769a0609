"""A job's file on disk: read as it is, replaced whole or not at all."""

from __future__ import annotations

import os
import stat
import sys
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from io import FileIO
from pathlib import Path

from layerpreview.errors import OutputError
from layerpreview.output.landing import sweep_file
from layerpreview.output.locks import take
from layerpreview.scheme.source import LARGEST_FILE, plain_line_ends

BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_WORKING = ".layerpreview-"


@dataclass(frozen=True)
class Stamp:
    """What tells that a file may have changed without reading it."""

    time_ns: int
    size: int
    number: int


def stamp_of(path: Path) -> Stamp | None:
    """The file's stamp; None where it is not there or cannot be looked at."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return None
    return Stamp(found.st_mtime_ns, found.st_size, found.st_ino)


def text_of(path: Path) -> tuple[str, bool] | None:
    """The text of a file to the sign, line ends too, and whether a byte order mark stood before it; None for no text.

    Line ends of a kind that TOML does not know are made plain ones.
    """
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
        text = data.removeprefix(BYTE_ORDER_MARK).decode("utf-8")
    except (OSError, ValueError):
        return None
    if len(data) > LARGEST_FILE or "\0" in text:
        return None
    if "\r" in text.replace("\r\n", ""):
        text = plain_line_ends(text)
    return text, data.startswith(BYTE_ORDER_MARK)


def replace_file(path: Path, data: bytes) -> None:
    """Put `data` in the place of a file, or make it: at every moment the name holds the old bytes or the new ones.

    Who may read it stays as it was; of a symbolic link the file it leads to is replaced. Raises OutputError, and the
    old file is as it was then.
    """
    target = Path(os.path.realpath(path))
    work = None
    try:
        handle, work = tempfile.mkstemp(prefix=_WORKING, suffix=".tmp", dir=target.parent)
        with FileIO(handle, "wb") as file:
            if (
                sys.platform != "win32"
            ):  # held until it has its name: nobody takes it for one of the dead (`sweep_file`)
                take(file, Path(work))
            rest = memoryview(data)
            while rest:
                rest = rest[file.write(rest) :]
            os.fsync(handle)
            with suppress(OSError):  # a new file has nobody's rights to keep
                os.chmod(work, stat.S_IMODE(target.stat().st_mode))
            if sys.platform != "win32":
                os.replace(work, target)
        if sys.platform == "win32":
            os.replace(work, target)
    except OSError as error:
        if work is not None:
            with suppress(OSError):
                os.unlink(work)
        why = error.strerror or "no reason is given"
        raise OutputError(f"{path.name}: cannot be written ({why}); nothing was changed") from error
    _settle(target.parent)


def _settle(folder: Path) -> None:
    """Have the folder's new entry on disk, too, where the system can be asked for that."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def clear_away(folder: Path) -> None:
    """Remove what a desk that was killed while it wrote has left in a folder; another may be writing just now."""
    for left in folder.glob(f"{_WORKING}*.tmp"):
        sweep_file(left)
