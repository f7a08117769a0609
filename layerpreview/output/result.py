"""A result with its ways out: words, table, JSON, picture, files; alike on the command line and in a notebook."""

from __future__ import annotations

import base64
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape
from io import BytesIO
from os import PathLike
from pathlib import Path
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from layerpreview.output.files import write_text, written_together
from layerpreview.output.plain_json import Column, columns_of, plain, plain_json

Found = TypeVar("Found", covariant=True)
U8 = NDArray[np.uint8]
Paths = Mapping[str, Path]

ROWS_SHOWN = 24
PNG_URI = "data:image/png;base64,"


@dataclass(frozen=True, eq=False, repr=False)
class Result(Generic[Found]):
    """What was found out, `found`, and how it is told, shown and kept; the fields of `found` can be asked for here too.

    `line`: what it is in a few words. `document`: what `--json` prints, for the folder it was saved in, None before.
    `rows` of its table, all with the same keys. `text`: the answer in words. `names` of its files, which `write` writes
    all but `json_name`, the document. `picture`: where it is best seen as one. `inputs`: files that were read for it.
    `lasting`: those of `names` that a person goes on with, never replaced unasked.
    `recording`: what goes on around the writing, as an entry in the job's log does. `folder`: where it was saved.
    """

    found: Found
    line: str
    document: Callable[[Path | None], Mapping[str, object]]
    rows: Callable[[], Sequence[Mapping[str, object]]]
    text: Callable[[], str]
    names: tuple[str, ...]
    write: Callable[[Paths], None] = lambda _: None
    json_name: str | None = None
    picture: Callable[[], U8] | None = None
    inputs: tuple[Path, ...] = ()
    lasting: tuple[str, ...] = ()
    recording: Callable[[Path], AbstractContextManager[object]] = lambda _: nullcontext()
    folder: Path | None = None

    @property
    def files(self) -> tuple[str, ...]:
        """Names of the files that were written; none before it is saved."""
        return () if self.folder is None else self.names

    @property
    def lines(self) -> tuple[str, ...]:
        """The answer in words, line by line."""
        return tuple(self.text().splitlines())

    def save(self, folder: str | PathLike[str], *, force: bool = False) -> Result[Found]:
        """Write the files that the command of the same name writes into `folder`, all or none; the saved result.

        What was saved there before and not touched since is replaced, anything else only with `force`, and a dye file
        only so. Raises OutputError; nothing is written then.
        """
        out = Path(folder)
        writing = written_together(out, self.names, force=force, inputs=self.inputs, lasting=self.lasting)
        with self.recording(out), writing as paths:
            return self.written(paths, out)

    def written(self, paths: Paths, folder: Path) -> Result[Found]:
        """Write every file to its place among `paths`, all of which will stand in `folder`; the saved result."""
        saved = replace(self, folder=folder)
        self.write(paths)
        if self.json_name is not None:
            write_text(paths[self.json_name], saved.json())
        return saved

    def to_dict(self) -> dict[str, Any]:
        """The result ready for JSON: what `--json` prints, which of some commands also says where files were saved."""
        document = plain(self.document(self.folder))
        assert isinstance(document, dict)
        return document

    def json(self) -> str:
        """The same as text."""
        return plain_json(self.document(self.folder))

    def table(self) -> dict[str, Column]:
        """Columns of equal length by name, as pandas.DataFrame and polars.DataFrame take them."""
        return columns_of(self.rows())

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_") or name == "found":
            raise AttributeError(f"{type(self).__name__!r} object has no attribute {name!r}")
        return getattr(self.found, name)

    def __dir__(self) -> list[str]:
        own = ("files", "folder", "found", "json", "line", "lines", "save", "table", "text", "to_dict")
        return sorted({*own, *(name for name in dir(self.found) if not name.startswith("_"))})

    def __repr__(self) -> str:
        return f"<{self.line}>" if self.folder is None else f"<{self.line}, saved in {self.folder}>"

    def _repr_html_(self) -> str:
        parts = [f"<p>{escape(self.line)}</p>"]
        if (png := self._repr_png_()) is not None:
            encoded = base64.b64encode(png).decode("ascii")
            parts.append(f'<img style="max-width: 100%" alt="{escape(self.line)}" src="{PNG_URI}{encoded}">')
        rows = self.rows()
        if rows:
            parts.append(f"<table><thead>{_row(list(rows[0]), 'th')}</thead><tbody>")
            parts += [_row(list(row.values()), "td") for row in rows[:ROWS_SHOWN]]
            parts.append("</tbody></table>")
        if len(rows) > ROWS_SHOWN:
            parts.append(f"<p>{len(rows) - ROWS_SHOWN} more rows: table() has them all</p>")
        return "".join(parts)

    def _repr_png_(self) -> bytes | None:
        return self._png

    @cached_property
    def _png(self) -> bytes | None:
        if self.picture is None:
            return None
        file = BytesIO()
        Image.fromarray(self.picture()).save(file, "PNG")
        return file.getvalue()


def _row(cells: Sequence[object], tag: str) -> str:
    return f"<tr>{''.join(f'<{tag}>{escape(_shown(cell))}</{tag}>' for cell in cells)}</tr>"


def _shown(cell: object) -> str:
    if cell is None:
        return ""
    return f"{cell:.4g}" if isinstance(cell, float | np.floating) else str(cell)
