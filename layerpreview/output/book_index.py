"""The shop book's index: what was worked out of each job, in the user's cache folder, never in a job's.

What is torn, old, of another program or of a job that was changed since counts as not there, and is made anew. The
whole folder may be deleted at any time.
"""

from __future__ import annotations

import base64
import hashlib
import os
import shutil
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from layerpreview.answers.book import Worked
from layerpreview.held import bytes_of, usable_json
from layerpreview.kept import program_state, write_whole
from layerpreview.output.plain_json import json_line, plain

VERSION = 1
MOST_FOLDERS = 12
_LONGEST_BYTES = 8_000_000
_WORKED = TypeAdapter(Worked)

Stamp = tuple[int, int] | str | None


@dataclass(frozen=True)
class BookPicture:
    """A small picture of a job as a JPEG, its size [px], and what it is of."""

    jpeg: bytes
    width_px: int
    height_px: int
    words: str

    @property
    def uri(self) -> str:
        """The picture as it stands in a page."""
        return "data:image/jpeg;base64," + base64.b64encode(self.jpeg).decode("ascii")


@dataclass(frozen=True)
class Kept:
    """What is kept of a job; `inputs`: the files its scheme names, `picture_from`: what its picture was made of."""

    worked: Worked
    inputs: tuple[Path, ...] = ()
    picture: BookPicture | None = None
    picture_from: str = ""


class Index:
    """The index of the jobs below `folder`; without a cache folder that can be written to, nothing is kept."""

    def __init__(self, folder: Path) -> None:
        self._home = _home(folder)
        self._used: set[str] = set()
        self._program = hashlib.sha256(f"{VERSION} {program_state()}".encode()).hexdigest()

    def kept(self, scheme: Path) -> Kept | None:
        """What is kept of the job with this scheme, if neither it nor a file it names was changed since."""
        path = self._path(scheme)
        if path is None:
            return None
        try:
            held = usable_json(bytes_of(path, what="an index", most_bytes=_LONGEST_BYTES))
            if held["program"] != self._program or not _stand(held["stamps"]):
                return None
            worked = _WORKED.validate_python(held["worked"])
            inputs = tuple(Path(name) for name in held["inputs"])
            return Kept(worked, inputs, _picture(held["picture"]), str(held["picture_from"]))
        except (ValueError, KeyError, TypeError):  # of these are InputError and ValidationError
            return None

    def keep(self, scheme: Path, before: Stamp, kept: Kept) -> None:
        """Keep what was worked out of a scheme; it counts while all files that it was read from stay as they are.

        `before`: the scheme's stamp (`whole`) as it was before it was read.
        """
        path = self._path(scheme)
        if path is None:
            return
        picture = kept.picture
        told = None
        if picture is not None:
            jpeg = base64.b64encode(picture.jpeg).decode("ascii")
            told = {"jpeg": jpeg, "size": [picture.width_px, picture.height_px], "words": picture.words}
        looked_at = sorted({str(one) for one in (*kept.inputs, *shop_files(scheme))} - {str(scheme)})
        held = {
            "program": self._program,
            "stamps": [[str(scheme), before], *([name, stamp_of(Path(name))] for name in looked_at)],
            "inputs": [str(one) for one in kept.inputs],
            "worked": plain(kept.worked),
            "picture": told,
            "picture_from": kept.picture_from,
        }
        write_whole(path, json_line(held, ascii_only=True).encode())

    def tidy(self) -> None:
        """Forget jobs that are no longer there, and the folders that were looked at longest ago."""
        if self._home is None:
            return
        with suppress(OSError):
            for path in self._home.iterdir():
                if path.name not in self._used:
                    path.unlink()
            os.utime(self._home)
            others = sorted(self._home.parent.glob("book-*"), key=lambda one: one.stat().st_mtime)
            for old in others[:-MOST_FOLDERS]:
                shutil.rmtree(old, ignore_errors=True)

    def _path(self, scheme: Path) -> Path | None:
        if self._home is None:
            return None
        name = hashlib.sha256(str(scheme).encode("utf-8", "surrogatepass")).hexdigest()[:24] + ".json"
        self._used.add(name)
        return self._home / name


def shop_files(scheme: Path) -> tuple[Path, ...]:
    """Where the shop's own values would stand: beside the scheme, and beside the jobs."""
    return tuple(folder / "shop.toml" for folder in (scheme.parent, scheme.parent.parent))


def stamp_of(path: Path, *, whole: bool = False) -> Stamp:
    """By what a file is known again: size and time, of a scheme its bytes (`whole`); None where there is none."""
    try:
        if whole:
            return hashlib.sha256(path.read_bytes()).hexdigest()
        held = path.stat()
    except OSError:
        return None
    return held.st_size, held.st_mtime_ns


def _stand(stamps: Sequence[Any]) -> bool:
    """Whether every file is as it was."""
    for name, stamp in stamps:
        now = stamp_of(Path(name), whole=isinstance(stamp, str))
        if now != (tuple(stamp) if isinstance(stamp, list) else stamp):
            return False
    return True


def _picture(held: Any) -> BookPicture | None:
    if held is None:
        return None
    width, height = held["size"]
    return BookPicture(base64.b64decode(held["jpeg"], validate=True), int(width), int(height), str(held["words"]))


def _home(folder: Path) -> Path | None:
    from platformdirs import user_cache_path

    name = hashlib.sha256(str(folder).encode("utf-8", "surrogatepass")).hexdigest()[:24]
    with suppress(OSError):
        home = user_cache_path("layerpreview", ensure_exists=True) / f"book-{name}"
        home.mkdir(exist_ok=True)
        return home
    return None
