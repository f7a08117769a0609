"""The zip that a record is, and its manifest: written the same for the same files, read with nothing trusted.

Names are plain: folders of plain names, no .. and no drive. Nothing is unpacked that the manifest does not hold with
the very bytes it has.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path, PurePosixPath

from layerpreview.errors import InputError, Problem

MANIFEST = "MANIFEST.sha256"
MOST_FILES, MOST_BYTES, MOST_TEXT_BYTES, MOST_PICTURE_BYTES = 2000, 2_000_000_000, 64_000_000, 400_000_000
_DATE = (1980, 1, 1, 0, 0, 0)
_PICTURES = (".png", ".jpg", ".pdf")
_LINE = re.compile(r"([0-9a-f]{64})  (\S.*)")
_DEVICE = re.compile(r"(?:con|prn|aux|nul|com\d|lpt\d)(?:\.|$)", re.IGNORECASE)
_AGAIN = "ask for the record again"
_PIECE = 1 << 20
_LONGEST_END = 22 + 65_535  # with the longest remark
_PACKINGS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
"""As it is written, and as programs pack it that make a new zip of an unpacked one."""
_BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, struct.error)
_TIGHTEST = 100
"""Texts and pictures pack 20 times at the most: what is tighter is made to fill a disk."""


def manifest_of(files: Mapping[str, bytes]) -> bytes:
    """A line of each file, "<sha256>  <name>", as sha256sum writes and checks them, in the order of names."""
    lines = [f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in sorted(files)]
    return "".join(lines).encode("utf-8")


def zipped(files: Mapping[str, bytes]) -> bytes:
    """The zip of `files` and their manifest, stored as they are: the same bytes for the same files on every system."""
    made = io.BytesIO()
    whole = {**files, MANIFEST: manifest_of(files)}
    with zipfile.ZipFile(made, "w") as archive:
        for name in sorted(whole):
            entry = zipfile.ZipInfo(name, _DATE)
            entry.create_system, entry.external_attr = 3, 0o644 << 16
            archive.writestr(entry, whole[name])
    return made.getvalue()


def is_plain_name(name: str) -> bool:
    """Whether a name in a record leads to a place below the folder it is unpacked in, on every system."""
    path = PurePosixPath(name)
    return (
        0 < len(name) <= 240
        and name == path.as_posix()
        and not path.is_absolute()
        and name.isprintable()
        and not re.search(r'[\\:*?"<>|]', name)
        and all(part.strip(" .") == part and part and not _DEVICE.match(part) for part in path.parts)
    )


class Packed:
    """An open record: the names in it, each file as the manifest has it. Use it in a `with`.

    Raises InputError on opening, with all that is wrong with the zip and the manifest: files that are missing, changed
    or not named, names that lead elsewhere or stand there twice, and more than a record ever holds.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.hashes: dict[str, str] = {}
        self._archive = _opened(path)
        try:
            problems = _name_problems(self._archive, str(path))
            if not problems:
                self.hashes = self._manifest()
                problems = self._file_problems()
            if problems:
                raise InputError(problems)
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Packed:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._archive.close()

    def read(self, name: str) -> bytes:
        """A file's bytes, checked against the manifest. Raises InputError where it is not there, or not the same."""
        if name not in self.hashes:
            raise InputError(Problem("the record has no such file", _AGAIN, str(self.path), field=name))
        data = self._bytes(name)
        if hashlib.sha256(data).hexdigest() != self.hashes[name]:
            raise InputError(self._problem(name, _CHANGED))
        return data

    def _manifest(self) -> dict[str, str]:
        if MANIFEST not in self._archive.namelist():
            raise InputError(self._problem(MANIFEST, "it is missing: this is no record, or not a whole one"))
        if self._archive.getinfo(MANIFEST).file_size > MOST_FILES * 400:
            raise InputError(self._problem(MANIFEST, "it is far too long for a manifest"))
        found: dict[str, str] = {}
        problems = []
        text = self._bytes(MANIFEST).decode("utf-8", errors="replace")
        for number, line in enumerate(text.removesuffix("\n").split("\n"), start=1):
            read = _LINE.fullmatch(line)
            if read is None or not is_plain_name(read[2]) or read[2] == MANIFEST or read[2] in found:
                rule = "a line is a SHA-256 in 64 small hex digits, two blanks and the name of one file, once"
                problems.append(Problem(rule, _AGAIN, f"{self.path}, {MANIFEST}", number))
            else:
                found[read[2]] = read[1]
        if problems:
            raise InputError(problems[:20])
        return found

    def _file_problems(self) -> list[Problem]:
        there = set(self._archive.namelist()) - {MANIFEST}
        lacking = "the manifest names it, and it is missing"
        problems = [self._problem(name, lacking) for name in self.hashes.keys() - there]
        problems += [self._problem(name, "the manifest does not name it") for name in there - self.hashes.keys()]
        for name in sorted(there & self.hashes.keys()):
            try:
                digest = hashlib.sha256()
                for piece in self._pieces(name):
                    digest.update(piece)
                if digest.hexdigest() != self.hashes[name]:
                    problems.append(self._problem(name, _CHANGED))
            except InputError as error:
                problems += error.problems
        return sorted(problems, key=lambda problem: problem.field)

    def _bytes(self, name: str) -> bytes:
        return b"".join(self._pieces(name))

    def _pieces(self, name: str) -> Iterator[bytes]:
        """The file piece by piece: never more than it says it holds."""
        try:
            with self._archive.open(name) as file:
                while piece := file.read(_PIECE):
                    yield piece
        except (*_BROKEN, OSError, ValueError, RuntimeError) as error:
            damaged = "it cannot be unpacked: it was changed since, or damaged"
            raise InputError(self._problem(name, damaged)) from error

    def _problem(self, name: str, rule: str) -> Problem:
        return Problem(rule, _AGAIN, str(self.path), field=name)


_CHANGED = "its bytes are not those of the manifest: it was changed since, or damaged"


def _opened(path: Path) -> zipfile.ZipFile:
    try:
        if not path.is_file():
            what = "this is a folder, a record's file is wanted" if path.is_dir() else "there is no such file"
            raise InputError(Problem(what, "name the .zip that `record` wrote", str(path)))
        _check_list(path)
        return zipfile.ZipFile(path)
    except (*_BROKEN, ValueError, OverflowError) as error:
        if isinstance(error, InputError):
            raise
        rule = "this is no zip file, or only a part of one"
        raise InputError(Problem(rule, "copy it again; check that all of it was sent", str(path))) from None
    except OSError as error:
        raise InputError(Problem(f"it cannot be read: {error.strerror}", "check who may read it", str(path))) from None


def _check_list(path: Path) -> None:
    """Raises InputError where the list of files at a zip's end is longer than any record's, before it is read.

    A list takes several times its length in memory. APPNOTE.TXT 6.3.10, 4.3.15 and 4.3.16: the end tells the length,
    or that another end has it, which is of zips with more files and bytes than a record ever has.
    """
    with path.open("rb") as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - _LONGEST_END))
        tail = file.read()
    at = tail.rfind(b"PK\5\6")
    if size > MOST_BYTES or (0 <= at <= len(tail) - 22 and _list_bytes(tail, at) > MOST_FILES * 1000):
        rule = f"it is far larger than a record, which has at most {MOST_FILES} files and {MOST_BYTES / 1e9:g} GB"
        raise InputError(Problem(rule, _AGAIN, str(path)))


def _list_bytes(tail: bytes, at: int) -> int:
    (told,) = struct.unpack_from("<L", tail, at + 12)
    return 2**32 if tail[at - 20 : at - 16] == b"PK\6\7" else int(told)


def _name_problems(archive: zipfile.ZipFile, file: str) -> list[Problem]:
    """What is wrong before anything is unpacked: names, number, sizes, secrets."""
    entries = archive.infolist()
    if len(entries) > MOST_FILES:
        return [Problem(f"{len(entries)} files are in it; a record has at most {MOST_FILES}", _AGAIN, file)]
    total = sum(entry.file_size for entry in entries)
    if total > MOST_BYTES:
        rule = f"unpacked it would be {total / 1e9:.3g} GB; a record has at most {MOST_BYTES / 1e9:g} GB"
        return [Problem(rule, _AGAIN, file)]
    problems, seen = [], set[str]()
    for entry in entries:
        shown = "".join(sign if sign.isprintable() else "?" for sign in entry.orig_filename)[:100]
        if entry.orig_filename != entry.filename or not is_plain_name(entry.filename):
            problems.append(
                Problem("this name leads out of the record, or no system has it", _AGAIN, file, field=shown)
            )
        elif entry.filename.casefold() in seen:
            problems.append(Problem("this name is in it twice", _AGAIN, file, field=shown))
        elif entry.flag_bits & 0x1:
            problems.append(Problem("it is locked with a password; a record never is", _AGAIN, file, field=shown))
        elif entry.compress_type not in _PACKINGS:
            problems.append(Problem("it is packed in a way that a record never is", _AGAIN, file, field=shown))
        elif entry.file_size > _TIGHTEST * (entry.compress_size + _PIECE):
            problems.append(Problem("it is packed far tighter than a record ever is", _AGAIN, file, field=shown))
        elif (entry.external_attr >> 16) & 0o170000 not in (0, 0o100000):
            problems.append(Problem("this is no plain file (a link?)", _AGAIN, file, field=shown))
        elif entry.file_size > (most := MOST_PICTURE_BYTES if entry.filename.endswith(_PICTURES) else MOST_TEXT_BYTES):
            problems.append(Problem(f"it is longer than {most / 1e6:g} MB", _AGAIN, file, field=shown))
        seen.add(entry.filename.casefold())
    return problems[:20]
