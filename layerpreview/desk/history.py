"""Versions of a scheme kept beside it: one file each in `history/`, readable with any editor, the oldest unnamed go."""

from __future__ import annotations

import json
import re
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from layerpreview.desk.keep import replace_file, text_of
from layerpreview.errors import InputError, OutputError, Problem
from layerpreview.held import shown, usable_json
from layerpreview.output.files import file_stem

FOLDER = "history"
MOST_UNNAMED = 100
LONGEST_NAME = 60
_HEAD = "# Kept by the desk: "
_ID = re.compile(r"\d{8}-\d{6}-\d{3}[a-z0-9_]*")


@dataclass(frozen=True)
class KeptVersion:
    """One version: its `id`, the name a person gave it (or ""), when it was kept, and what had been done last."""

    id: str
    name: str
    when: str
    words: str


class History:
    """The versions of one scheme file; several schemes of a folder share its `history`, each with its own list."""

    def __init__(self, scheme: Path) -> None:
        self._file, self._folder = scheme.name, scheme.parent / FOLDER

    def keep(self, text: str, *, name: str = "", words: str = "", now: datetime | None = None) -> KeptVersion:
        """Keep a text. Raises OutputError where that cannot be written."""
        time = now or datetime.now().astimezone()
        name = " ".join("".join(s if s.isprintable() else " " for s in name).split())[:LONGEST_NAME]
        start = time.strftime("%Y%m%d-%H%M%S")
        taken = {path.name[: len(start) + 4] for path in self._folder.glob(f"{start}-*.toml")}
        number = next((n for n in range(999) if f"{start}-{n:03d}" not in taken), 999)
        plain = re.sub("[^a-z0-9_]", "_", file_stem(name, otherwise="")) if name else ""
        version = KeptVersion(f"{start}-{number:03d}{plain}", name, time.isoformat(timespec="seconds"), words)
        head = {"file": self._file, "name": name, "when": version.when, "words": words}
        try:
            self._folder.mkdir(exist_ok=True)
        except OSError as error:
            raise OutputError(f"{FOLDER}: cannot be made ({error.strerror}); this version is not kept") from error
        told = f"{_HEAD}{json.dumps(head, ensure_ascii=False)}\n{text}"
        replace_file(self._folder / f"{version.id}.toml", told.encode("utf-8"))
        self._thin_out()
        return version

    def versions(self) -> list[KeptVersion]:
        """All versions of this scheme, the newest first; a file that is none of them is left alone."""
        found = [self._read(path) for path in sorted(self._folder.glob("*.toml"), reverse=True)]
        return [version for version, _ in filter(None, found)]

    def text(self, version: str) -> str:
        """The text of a version to the sign. Raises InputError where there is none of that id."""
        found = self._read(self._folder / f"{version}.toml") if _ID.fullmatch(version) else None
        if found is None:
            raise InputError(Problem("this version is no longer kept", "look at the list again"))
        return found[1]

    def _read(self, path: Path) -> tuple[KeptVersion, str] | None:
        read = text_of(path) if _ID.fullmatch(path.stem) and not path.is_symlink() else None
        if read is None or not read[0].startswith(_HEAD):
            return None
        first, _, text = read[0].partition("\n")
        try:
            head: Any = usable_json(first.removeprefix(_HEAD))
        except ValueError:
            return None
        if not isinstance(head, dict) or head.get("file") != self._file:
            return None
        name, when, words = (shown(head.get(key), longest=500) for key in ("name", "when", "words"))
        return KeptVersion(path.stem, name, when, words), text

    def _thin_out(self) -> None:
        unnamed = [version for version in self.versions() if not version.name]
        for version in unnamed[MOST_UNNAMED:]:
            with suppress(OSError):
                (self._folder / f"{version.id}.toml").unlink()
