"""One at a time: a lock on an open file, which the system takes off again when its owner ends, however it ends."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from io import FileIO
from pathlib import Path

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
