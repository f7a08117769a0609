"""Writing results whole or not at all, and never over what is there unless asked to."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from layerpreview.errors import OutputError


@contextmanager
def written_together(folder: Path, names: Sequence[str], *, force: bool) -> Iterator[dict[str, Path]]:
    """Give each of `names` a temporary path to write to; on success all get their names, on failure none is left.

    Raises OutputError before anything is written when the folder cannot be made or written to, or when a name exists
    and `force` is false.
    """
    taken = [name for name in names if (folder / name).exists()]
    if taken and not force:
        what = ", ".join(taken[:4]) + (f" and {len(taken) - 4} more" if len(taken) > 4 else "")
        raise OutputError(
            f"{folder}: already there: {what}; nothing was written; add --force to replace, or -o another folder"
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=".layerpreview-", dir=folder))
    except OSError as error:
        raise OutputError(
            f"{folder}: cannot be written to ({error.strerror}); nothing was written; choose another with -o"
        ) from error
    try:
        yield {name: work / name for name in names}
        for name in names:
            os.replace(work / name, folder / name)
    except OSError as error:
        raise OutputError(f"{folder}: writing failed ({error.strerror}); nothing was kept") from error
    finally:
        for left in work.glob("*"):
            left.unlink()
        work.rmdir()


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 with plain line ends, the same bytes on every system."""
    path.write_bytes(text.encode("utf-8"))
