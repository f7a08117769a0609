"""Writing results whole or not at all, and never over what is there unless asked to."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
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
    made = [path for path in (folder, *folder.parents) if not path.exists()]
    kept = False
    try:
        folder.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=".layerpreview-", dir=folder))
    except OSError as error:
        raise OutputError(
            f"{folder}: cannot be written to ({error.strerror}); nothing was written; choose another with -o"
        ) from error
    try:
        yield {name: work / name for name in names}
        # Whatever could stop a file from getting its name is looked for before the first one gets it.
        for name in names:
            if (folder / name).is_dir() or not (work / name).is_file():
                raise IsADirectoryError(None, f"{name} is a folder, or was not made")
        for name in names:
            os.replace(work / name, folder / name)
        kept = True
    except OSError as error:
        raise OutputError(f"{folder}: writing failed ({error.strerror}); nothing was kept") from error
    finally:
        for left in work.glob("*"):
            left.unlink()
        work.rmdir()
        for path in made if not kept else ():
            with suppress(OSError):
                path.rmdir()


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 with plain line ends, the same bytes on every system."""
    path.write_bytes(text.encode("utf-8"))
