"""Writing results whole or not at all, unasked only over what was written here and never touched since, and never over
what was read.
"""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from layerpreview.errors import OutputError
from layerpreview.output.landing import alone_in, land, working_in
from layerpreview.output.written import WRITTEN_NAME, is_as_written, written_into

LONGEST_STEM = 60
ANOTHER_FOLDER = "name another folder with -o"
_SINCE = "already there and changed since it was made here"
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
    folder: Path,
    names: Sequence[str],
    *,
    force: bool,
    inputs: Iterable[Path],
    lasting: Collection[str] = (),
    elsewhere: str = ANOTHER_FOLDER,
) -> Iterator[dict[str, Path]]:
    """Give each of `names` a temporary path to write to; on success all get their names, on failure none is left.

    What was written here before and not touched since (`output.written`) is replaced; anything else only with `force`.
    `inputs`: every file that was read for this result; none of them is ever written over, `force` or not.
    `lasting`: those of `names` that a person goes on with, as a scheme or a dye: once there they are theirs, and never
    replaced without `force`.
    `elsewhere`: how a person has the results written to another place, as the command at hand lets them.
    Raises OutputError before anything is written when the folder cannot be made or written to, when a name is none, is
    that of an input, or exists, `force` is false and it is not ours; or became somebody else's while the work was done.
    """
    _check_names(folder, names)
    _check_places(folder, names, elsewhere)
    made = [path for path in (folder, *folder.parents) if not path.exists()]
    failed = "{folder}: cannot be written to ({why}); nothing was written; {elsewhere}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with alone_in(folder, elsewhere):
            _spare_inputs(folder, names, inputs, elsewhere)
            if not force:
                spare_others(folder, names, lasting, elsewhere)
            with working_in(folder) as work:
                failed = "{folder}: writing failed ({why}); nothing was kept"
                yield {name: work / name for name in names}
                # Whatever could stop a file from getting its name is looked for before the first one gets it.
                for name in names:
                    if (folder / name).is_dir() or not (work / name).is_file():
                        raise IsADirectoryError(None, f"{name} became a folder meanwhile, or was not made")
                if not force:  # some work takes minutes, in which a person may have saved something under a name
                    spare_others(folder, names, lasting, elsewhere)
                land(work, folder, names, lasting)
                made.clear()
    except OutputError:  # already in plain words
        raise
    except OSError as error:
        why = error.strerror or "no reason is given"
        raise OutputError(failed.format(folder=folder, why=why, elsewhere=elsewhere)) from error
    finally:
        for path in made:
            with suppress(OSError):
                path.rmdir()


@contextmanager
def written_in_steps(
    folder: Path, *, elsewhere: str = ANOTHER_FOLDER
) -> Iterator[Callable[[Mapping[str, bytes]], None]]:
    """Hold a folder for results that come one after another: what is handed on, files by name, lands whole each time.

    What has landed stays, whatever becomes of the rest, and whatever is there under its name is replaced: whose that is
    must have been looked at before. Raises OutputError where the folder cannot be made, written to or is being written
    to by another.
    """
    _check_places(folder, [], elsewhere)
    made = [path for path in (folder, *folder.parents) if not path.exists()]

    def landed(files: Mapping[str, bytes]) -> None:
        _check_names(folder, list(files))
        with working_in(folder) as work:
            for name, data in files.items():
                (work / name).write_bytes(data)
            land(work, folder, list(files), ())
        made.clear()

    try:
        folder.mkdir(parents=True, exist_ok=True)
        with alone_in(folder, elsewhere):
            yield landed
    except OutputError:
        raise
    except OSError as error:
        why = error.strerror or "no reason is given"
        raise OutputError(f"{folder}: cannot be written to ({why}); what landed before stays; {elsewhere}") from error
    finally:
        for path in made:
            with suppress(OSError):
                path.rmdir()


def _check_names(folder: Path, names: Sequence[str]) -> None:
    """A result's name is one plain name: with a separator or .. in it the file would land in another folder."""
    for name in names:
        plain = name.strip(" .") and name.isprintable() and not re.search(r'[/\\:*?"<>|]', name)
        if not plain or _DEVICES.match(name) or name.casefold() == WRITTEN_NAME:
            raise OutputError(f"{folder}: {name!r} cannot be the name of a file; nothing was written; choose another")
    alike = {unicodedata.normalize("NFC", name).casefold() for name in names}
    if len(alike) < len(names):
        raise OutputError(f"{folder}: two of the results would have one name; nothing was written")


def _check_places(folder: Path, names: Sequence[str], elsewhere: str) -> None:
    """A file where a folder is wanted, or a folder where a file is: --force helps with neither; or no place at all."""
    try:
        os.lstat(folder / max(names, key=len, default=""))  # longer than the system takes, or no name to it
    except (FileNotFoundError, NotADirectoryError):
        pass
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "it is no name"
        raise OutputError(f"{folder}: cannot be written to ({why}); nothing was written; {elsewhere}") from error
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


def _spare_inputs(folder: Path, names: Sequence[str], inputs: Iterable[Path], elsewhere: str) -> None:
    taken = [name for name in names if (folder / name).exists()]
    read = [path for path in inputs if os.path.exists(path)]
    for name in taken:
        if any(os.path.samefile(folder / name, path) for path in read):
            raise OutputError(
                f"{folder / name}: this file is read for the result and is never written over, --force or not; "
                f"nothing was written; {elsewhere}"
            )


def spare_others(
    folder: Path, names: Sequence[str], lasting: Collection[str] = (), elsewhere: str = ANOTHER_FOLDER
) -> None:
    """Raise OutputError for what is there and was not written here, or was changed since."""
    written = written_into(folder)
    others, changed = [], []
    for name in names:
        if not os.path.lexists(folder / name):
            continue
        if name in lasting or name not in written:
            others.append(name)
        elif not is_as_written(folder / name, written[name]):
            changed.append(name)
    said = [f"{word}: {_listed(found)}" for word, found in (("already there", others), (_SINCE, changed)) if found]
    if said:
        raise OutputError(f"{folder}: {'; '.join(said)}; nothing was written; add --force to replace, or {elsewhere}")


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")


def is_inside(file: Path, folder: Path) -> bool:
    """Whether it is a file that really lies below the folder: what names it (a log) can be edited by anyone."""
    try:
        real = Path(os.path.realpath(file))
        return real.is_file() and real.is_relative_to(os.path.realpath(folder))
    except (OSError, ValueError):
        return False


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 with plain line ends, the same bytes on every system."""
    path.write_bytes(utf8(text))


def utf8(text: str) -> bytes:
    """The text as UTF-8; ? for what cannot be in one, as bytes of a file's name that is not UTF-8 itself."""
    return text.encode("utf-8", errors="replace")
