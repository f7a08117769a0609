"""Writing results whole or not at all, never over what is there unless asked to, and never over what was read; and one
at a time: a lock on an open file, which the system takes off again when its owner ends, however it ends.
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from io import FileIO
from pathlib import Path

from layerpreview.errors import OutputError

if sys.platform == "win32":
    import msvcrt

    _FAR_BEYOND = 2**31 - 2  # Windows locks bytes, against reading too: one that no log will ever hold

    def take(file: FileIO, path: Path) -> bool:
        """Lock the open file of this name; false where another holds it."""
        file.seek(_FAR_BEYOND)
        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def leave(file: FileIO, path: Path, *, remove: bool) -> None:
        """Close the file, which unlocks it, and `remove` it: nothing removes an open file here."""
        file.seek(_FAR_BEYOND)
        with suppress(OSError):  # it may not be locked
            msvcrt.locking(file.fileno(), msvcrt.LK_UNLCK, 1)
        file.close()
        if remove:
            with suppress(OSError):  # the next one has opened it already, and will write to it
                os.remove(path)

else:
    import fcntl

    def take(file: FileIO, path: Path) -> bool:
        """Lock the open file of this name; false where another holds it, or took it away since it was opened."""
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except (BlockingIOError, PermissionError):
            return False
        except OSError:  # a network share that knows no locks: better recorded without one than not at all
            pass
        try:
            return os.path.samestat(os.fstat(file.fileno()), path.stat())
        except FileNotFoundError:
            return False

    def leave(file: FileIO, path: Path, *, remove: bool) -> None:
        """Close the file, which unlocks it, and `remove` it first: afterwards it could be another's."""
        if remove:
            with suppress(OSError):
                os.remove(path)
        file.close()


LONGEST_STEM = 60
ANOTHER_FOLDER = "name another folder with -o"
_DEVICES = re.compile(r"(?:con|prn|aux|nul|com\d|lpt\d)(?:\.|$)", re.IGNORECASE)
"""Names that one common system keeps for devices, with any ending (its published naming rules)."""


def file_stem(shown: str, *, otherwise: str) -> str:
    """The beginning of a file name for something that a person calls `shown`: small letters, digits, - and _.

    What a name may hold and a file name must not (separators, dots, quotes, control signs) becomes one _; the shown
    name is kept inside the file. `otherwise` where nothing is left.

    >>> file_stem("House amber, 2nd", otherwise="dye"), file_stem("../../etc/passwd", otherwise="dye")
    ('house_amber_2nd', 'etc_passwd')
    """
    letters = unicodedata.normalize("NFC", shown).lower()
    stem = re.sub(r"(?:[^\w-]|_)+", "_", letters).strip("_-")[:LONGEST_STEM].strip("_-") or otherwise
    return f"{stem}_" if _DEVICES.match(stem) else stem


@contextmanager
def written_together(
    folder: Path, names: Sequence[str], *, force: bool, inputs: Iterable[Path], elsewhere: str = ANOTHER_FOLDER
) -> Iterator[dict[str, Path]]:
    """Give each of `names` a temporary path to write to; on success all get their names, on failure none is left.

    `inputs`: every file that was read for this result; none of them is ever written over, `force` or not.
    `elsewhere`: how a person has the results written to another place, as the command at hand lets them.
    Raises OutputError before anything is written when the folder cannot be made or written to, when a name is none, is
    that of an input, or exists and `force` is false.
    """
    _check_names(folder, names)
    _check_places(folder, names, elsewhere)
    taken = [name for name in names if (folder / name).exists()]
    _spare_inputs(folder, taken, inputs, elsewhere)
    if taken and not force:
        what = ", ".join(taken[:4]) + (f" and {len(taken) - 4} more" if len(taken) > 4 else "")
        raise OutputError(
            f"{folder}: already there: {what}; nothing was written; add --force to replace, or {elsewhere}"
        )
    made = [path for path in (folder, *folder.parents) if not path.exists()]
    kept = False
    try:
        folder.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=".layerpreview-", dir=folder))
    except OSError as error:
        raise OutputError(
            f"{folder}: cannot be written to ({error.strerror}); nothing was written; {elsewhere}"
        ) from error
    try:
        yield {name: work / name for name in names}
        # Whatever could stop a file from getting its name is looked for before the first one gets it.
        for name in names:
            if (folder / name).is_dir() or not (work / name).is_file():
                raise IsADirectoryError(None, f"{name} became a folder meanwhile, or was not made")
        for name in names:
            os.replace(work / name, folder / name)
        kept = True
    except OutputError:  # already in plain words
        raise
    except OSError as error:
        raise OutputError(f"{folder}: writing failed ({error.strerror}); nothing was kept") from error
    finally:
        for left in work.glob("*"):
            left.unlink()
        work.rmdir()
        for path in made if not kept else ():
            with suppress(OSError):
                path.rmdir()


def _check_names(folder: Path, names: Sequence[str]) -> None:
    """A result's name is one plain name: with a separator or .. in it the file would land in another folder."""
    for name in names:
        if not name.strip(" .") or not name.isprintable() or re.search(r'[/\\:*?"<>|]', name) or _DEVICES.match(name):
            raise OutputError(f"{folder}: {name!r} cannot be the name of a file; nothing was written; choose another")
    alike = {unicodedata.normalize("NFC", name).casefold() for name in names}
    if len(alike) < len(names):
        raise OutputError(f"{folder}: two of the results would have one name; nothing was written")


def _check_places(folder: Path, names: Sequence[str], elsewhere: str) -> None:
    """A file where a folder is wanted, or a folder where a file is: --force helps with neither."""
    for path in (folder, *folder.parents):
        if os.path.lexists(path):
            if not path.is_dir():
                why = f"{path} is a file where a folder is wanted"
                raise OutputError(f"{folder}: cannot be written to ({why}); nothing was written; {elsewhere}")
            break
    for name in names:
        if (folder / name).is_dir():
            rule = "this is a folder, a file is wanted; nothing was written; move the folder away"
            raise OutputError(f"{folder / name}: {rule}, or {elsewhere}")


def _spare_inputs(folder: Path, taken: Sequence[str], inputs: Iterable[Path], elsewhere: str) -> None:
    read = [path for path in inputs if os.path.exists(path)]
    for name in taken:
        if any(os.path.samefile(folder / name, path) for path in read):
            raise OutputError(
                f"{folder / name}: this file is read for the result and is never written over, --force or not; "
                f"nothing was written; {elsewhere}"
            )


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 with plain line ends, the same bytes on every system."""
    path.write_bytes(text.encode("utf-8"))
