"""One open job: its text, every change kept at once, undo and redo of everything, and what others do to the file."""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from layerpreview.desk.history import History, KeptVersion
from layerpreview.desk.keep import BYTE_ORDER_MARK, Stamp, clear_away, replace_file, stamp_of, text_of
from layerpreview.desk.meeting import Asked, meeting
from layerpreview.desk.steps import Step, Steps, version_of
from layerpreview.errors import InputError, LayerPreviewError, OutputError, Problem
from layerpreview.picture.faces import FaceShape, shapes_of
from layerpreview.scheme import Scheme, load_scheme, scheme_from_text
from layerpreview.scheme.edit import Change, changed
from layerpreview.scheme.shop_values import shop_places
from layerpreview.scheme.source import plain_line_ends
from layerpreview.threads import Made

KEEP_EVERY_S = 300.0
WAIT_S = 0.05
LONGEST_WORDS = 120
CHANGED_OUTSIDE = "a change made outside the desk"
OUTSIDE = "the file was changed outside the desk; what it says now is shown"
GONE = "the file is no longer there; the next change writes it again"


@dataclass(frozen=True)
class Read:
    """A text that could be read as a scheme: its version, the scheme, its faces' shapes, and how the files were that it
    names."""

    version: str
    scheme: Scheme = field(repr=False)
    shapes: tuple[FaceShape, ...] = field(repr=False)
    stamps: tuple[tuple[Path, Stamp | None], ...] = field(repr=False)

    @property
    def files(self) -> str:
        """Eight signs that are others once a file that the scheme names has changed."""
        return version_of(repr(self.stamps))


class OpenJob:
    """A job that is open at the desk. Every method may be called from any thread; one waits for the other.

    `read` is the last text that could be read, None where there never was one; `problems` say why the text of now
    cannot be, and `outside` that someone else changed it last. `opening` is another each time that a job is opened:
    what was meant for one is never done to the next.
    """

    def __init__(self, path: Path) -> None:
        self.path, self.folder = path, path.parent
        self.opening = secrets.token_hex(4)
        self.history = History(path)
        self.read: Read | None = None
        self.problems: tuple[Problem, ...] = ()
        self.outside: str | None = None
        self.text = ""
        self.notes: tuple[str, ...] = ()
        self._mark, self._no_text = False, False
        self._undo, self._redo = Steps(), Steps()
        self._stamp: Stamp | None = None
        self._lock = threading.RLock()
        self._kept_at, self._kept_text = 0.0, ""
        self._older: Made[Read] = Made(2)
        self._shapes_for: tuple[object, tuple[FaceShape, ...]] | None = None
        clear_away(path.resolve().parent)
        self._begin()

    def _begin(self) -> None:
        self.look()
        self.outside = None
        self._undo.clear()
        if self.read is not None:
            self._keep_quietly("as it was opened")

    @property
    def version(self) -> str:
        return version_of(self.text)

    @property
    def undo_words(self) -> str | None:
        return self._undo.words()

    @property
    def redo_words(self) -> str | None:
        return self._redo.words()

    def look(self) -> None:
        """Take in what another program has made of the file since it was last looked at."""
        with self._lock:
            stamp = stamp_of(self.path)
            if stamp is None:
                self._stamp, self._no_text = None, False
                self.problems = (Problem(GONE, file=self.path.name),) if self.text else self._why_not()
            elif stamp != self._stamp:
                self._look_inside(stamp)
            elif self.read is not None and _stamps(self.read.scheme) != self.read.stamps:
                self._take()  # a photo, a drawing or a dye that it names is another now

    def _look_inside(self, stamp: Stamp | None) -> None:
        found = text_of(self.path)
        if found is not None and not found[0].strip():
            # Most editors empty a file before they write it: a moment later it is whole.
            time.sleep(WAIT_S)
            found, stamp = text_of(self.path), stamp_of(self.path)
        self._no_text = found is None
        if found is None:
            self.problems = self._why_not()
        elif found[0] != self.text:
            self._undo.push(Step(self.text, CHANGED_OUTSIDE))
            self._redo.clear()
            self.text, self._mark = found
            self.outside = OUTSIDE
            self._take()
        elif self.problems:
            self._take()
        self._stamp = stamp

    def _take(self) -> None:
        """Read the text of now; where it cannot be, the last one that could stays."""
        try:
            self.read, self.problems = self._as_read(self.text), ()
        except LayerPreviewError as error:
            self.problems = _problems(error)

    def _why_not(self) -> tuple[Problem, ...]:
        """Why the file on disk cannot be read."""
        try:
            load_scheme(self.path)
        except LayerPreviewError as error:
            return _problems(error)
        return (Problem("the file cannot be read", "look at it with an editor", self.path.name),)

    def _as_read(self, text: str, *, apart: bool = False) -> Read:
        """The scheme in a text with its faces made; `apart`: beside the job's own text, whose faces are kept.

        Raises SchemeError, InputError or PictureError.
        """
        scheme = scheme_from_text(plain_line_ends(text), self.path)
        files = _stamps(scheme)
        bases = tuple(scheme.base_for(face.name) for face in scheme.faces)
        key = (scheme.faces, bases, files)
        held = self._shapes_for
        if held is None or held[0] != key:
            held = key, tuple(shapes_of(scheme))
        if not apart:
            self._shapes_for = held
        return Read(version_of(text), scheme, held[1], files)

    def edit(self, base: str, changes: Sequence[Change], words: str, *, force: bool = False) -> tuple[Asked, ...]:
        """Make changes and have them on disk before this returns; gives what must be asked first, if anything.

        `base`: the version that whoever asks had seen. Raises InputError for what the scheme's reader refuses and
        OutputError where the file cannot be written; nothing is changed then.
        """
        with self._lock:
            self._look_again()
            if self._no_text:
                raise self._as_it_stands()
            try:
                if base != self.version and not force:
                    seen = self._undo.text_of(base) or self._redo.text_of(base)
                    if asked := meeting(changes, now=self.text, seen=seen):
                        return asked
                self._change_to(changed(self.text, changes), _plain_words(words))
            except InputError as error:
                # A change may be what mends it; where it is not, what is wrong with the file comes first.
                raise self._as_it_stands() if self.problems and self._stamp is not None else error from None
            return ()

    def _as_it_stands(self) -> InputError:
        rule, remedy = "the file cannot be read as it stands", "mend it there, or undo to the last good one"
        return InputError([Problem(rule, remedy, self.path.name), *self.problems])

    def _look_again(self) -> None:
        """Look into the file whatever its stamp says: nothing of another's may be written over unseen."""
        self._stamp = None
        self.look()

    def _change_to(self, text: str, words: str) -> None:
        """Read, write and then take a new text; the old one can be gone back to."""
        if text == self.text and self._stamp is not None:
            return
        read = self._as_read(text)
        self._write(text)
        self._undo.push(Step(self.text, words))
        self._redo.clear()
        self._now(text, read)
        if time.monotonic() - self._kept_at > KEEP_EVERY_S:
            self._keep_quietly(words)

    def _now(self, text: str, read: Read) -> None:
        self.text, self.read, self.problems, self.outside = text, read, (), None

    def _write(self, text: str) -> None:
        replace_file(self.path, (BYTE_ORDER_MARK if self._mark else b"") + text.encode("utf-8"))
        self._stamp = stamp_of(self.path)

    def undo(self, base: str) -> bool:
        """Go back a step; false where `base` is no longer the version of now, so that it is looked at first."""
        return self._step(base, self._undo, self._redo)

    def redo(self, base: str) -> bool:
        """Take back the last undo; as `undo`."""
        return self._step(base, self._redo, self._undo)

    def _step(self, base: str, take: Steps, give: Steps) -> bool:
        with self._lock:
            self._look_again()
            if base != self.version:
                return False
            if take.words() is None:
                raise InputError(Problem("there is nothing to go back to", "change something first"))
            step = take.pop()
            try:
                read = self._as_read(step.text)
                self._write(step.text)
            except LayerPreviewError:
                take.push(step)
                raise
            give.push(Step(self.text, step.words))
            self._now(step.text, read)
            return True

    def keep(self, name: str) -> KeptVersion:
        """Keep the text of now as a version with a name. Raises OutputError, and InputError for no name."""
        with self._lock:
            if not name.strip():
                raise InputError(Problem("a version to keep has a name", "write for example the client's choice"))
            return self.history.keep(self.text, name=name, words=self.undo_words or "")

    def restore(self, version: str) -> None:
        """Make a kept version the text of now; undo goes back. Raises InputError and OutputError."""
        with self._lock:
            self._look_again()
            text = self.history.text(version)
            self._change_to(text, f"back to the version of {version[:8]}")

    def read_of(self, version: str) -> Read:
        """A kept version as it can be shown. Raises InputError, SchemeError and PictureError."""
        return self._older.get(version, lambda: self._as_read(self.history.text(version), apart=True))

    def _keep_quietly(self, words: str) -> None:
        """Keep an unnamed version where it differs from the last; a folder that cannot be written to is said once."""
        self._kept_at = time.monotonic()
        if self.text == self._kept_text:
            return
        try:
            last = self.history.versions()[:1]
            if not last or self.history.text(last[0].id) != self.text:
                self.history.keep(self.text, words=words)
            self._kept_text, self.notes = self.text, ()
        except (OutputError, InputError, OSError) as error:
            self.notes = (f"no versions are kept: {error}",)


def _stamps(scheme: Scheme) -> tuple[tuple[Path, Stamp | None], ...]:
    """How the files are now that a scheme names, and those that may hold the shop's own values."""
    paths = dict.fromkeys((*scheme.inputs[1:], *shop_places(scheme.file)))
    return tuple((path, stamp_of(path)) for path in paths)


def _plain_words(words: str) -> str:
    told = " ".join("".join(sign if sign.isprintable() else " " for sign in words).split())
    return told[:LONGEST_WORDS] or "a change"


def _problems(error: LayerPreviewError) -> tuple[Problem, ...]:
    return error.problems if isinstance(error, InputError) else (Problem(str(error)),)
