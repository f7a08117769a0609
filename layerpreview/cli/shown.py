"""One line that shows what is being done and how far it is, where somebody looks; it goes away by itself."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from layerpreview.doing import told_to
from layerpreview.errors import printable

if TYPE_CHECKING:
    from rich.progress import Progress

AFTER_S = 0.5
"""What is done sooner needs no line."""


class Line:
    """The line: there once something has taken `AFTER_S`, gone while anything else is printed."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._timer: threading.Timer | None = None
        self._progress: Progress | None = None
        self._said: tuple[str, float | None] = ("", None)

    def told(self, words: str, share: float | None) -> None:
        """Take what is being done; cheap, since rooms say so often."""
        with self._lock:
            self._said = (printable(words), share)
            if self._progress is not None:
                self._draw(self._progress)
            elif self._timer is None:
                self._timer = threading.Timer(AFTER_S, self._show)
                self._timer.daemon = True
                self._timer.start()

    def hide(self) -> None:
        """Take the line away; it comes back when work is said to go on."""
        with self._lock:
            if self._timer is not None:
                self._timer.cancel()
            shown, self._timer, self._progress = self._progress, None, None
            if shown is not None:
                shown.stop()

    def _show(self) -> None:
        # The parts of rich that this needs are read here, beside the work: help and short commands never wait for them.
        from rich.console import Console
        from rich.progress import BarColumn, Progress, SpinnerColumn, TaskProgressColumn, TextColumn, TimeElapsedColumn

        plain = bool(os.environ.get("NO_COLOR") or os.environ.get("CI"))
        console = Console(file=sys.stderr, color_system=None if plain else "auto", highlight=False)
        columns = (
            SpinnerColumn("line"),
            TextColumn("{task.description}", markup=False),
            BarColumn(24),
            TaskProgressColumn(),
            TimeElapsedColumn(),
        )
        with self._lock:
            if self._timer is not threading.current_thread():  # hidden, or begun anew, while rich was read
                return
            made = Progress(*columns, console=console, transient=True, redirect_stdout=False, redirect_stderr=False)
            made.add_task("", total=None)
            self._progress = made
            self._draw(made)
            made.start()
            console.show_cursor(True)  # a command that is killed must not leave a terminal without one

    def _draw(self, progress: Progress) -> None:
        words, share = self._said
        total, done = (None, 0.0) if share is None else (1.0, share)
        progress.update(progress.tasks[0].id, description=words, total=total, completed=done)


_line = Line()


def somebody_looks() -> bool:
    """Whether errors go to a terminal that can take a line back."""
    return sys.stderr is not None and sys.stderr.isatty() and os.environ.get("TERM", "") not in ("dumb", "unknown")


def hide() -> None:
    """Make room for what is printed."""
    _line.hide()


@contextmanager
def shown(wanted: Callable[[], bool]) -> Iterator[None]:
    """Show what is being done while this lasts, where somebody looks and it is `wanted` (asked when work begins)."""
    if not somebody_looks():
        yield
        return
    try:
        with told_to(lambda words, share: _line.told(words, share) if wanted() else None):
            yield
    finally:
        _line.hide()
