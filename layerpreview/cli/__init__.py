"""The command line: parse, call one workflow, show. Heavy imports wait inside the commands, so that help is at once."""

from __future__ import annotations

import errno
import io
import os
import sys

import typer

from layerpreview.cli import (
    again,
    choose,
    complete,
    day,
    desk,
    finer,
    keep,
    learn,
    many,
    mend,
    practise,
    see,
    share,
    shelf,
    shop,
)
from layerpreview.cli.common import app, at_work, say
from layerpreview.cli.typed_values import CheckedCommand
from layerpreview.cli.usage import USAGE_ERROR, problem_of

__all__ = [
    "again",
    "app",
    "choose",
    "complete",
    "day",
    "desk",
    "finer",
    "keep",
    "learn",
    "main",
    "many",
    "mend",
    "practise",
    "see",
    "share",
    "shelf",
    "shop",
]

_PRINTS_NOT = {errno.ENOSPC, errno.EFBIG, errno.EIO, errno.EBADF, getattr(errno, "EDQUOT", errno.ENOSPC)}

for _command in app.registered_commands:
    _command.cls = CheckedCommand


def main() -> None:
    """Run the command line; every expected failure is one clear line a problem.

    Exit 0 done, 1 no answer, 2 input that cannot be used, 3 a fault of ours, 130 stopped by Ctrl-C.
    """
    from layerpreview.errors import LayerPreviewError, NoAnswerError, lines_told
    from layerpreview.stops import INTERRUPTED, Ended, stopped

    # The engine has threads of its own; those of BLAS would only fight them on a two-core laptop.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _print_somewhere()
    debug = "--debug" in sys.argv  # wherever it stands; the option itself is there for the help
    if debug:
        sys.argv.remove("--debug")
    if "_LAYERPREVIEW_COMPLETE" in os.environ:  # the Tab key asks (`completion`)
        complete.ready()
    try:
        with at_work():
            code = app(prog_name="layerpreview", standalone_mode=False)
        if code == INTERRUPTED:  # what other releases of the parser make of Ctrl-C, without a word
            stopped(KeyboardInterrupt())
        sys.stdout.flush()
        sys.exit(code if isinstance(code, int) else 0)
    except LayerPreviewError as error:
        if debug:
            raise
        for line in lines_told(str(error)):
            say(f"error: {line}")
        sys.exit(1 if isinstance(error, NoAnswerError) else 2)
    except typer.Abort as error:  # what some releases of the parser make of Ctrl-C
        stopped(error)
    except (KeyboardInterrupt, Ended) as stop:
        stopped(stop)
    except USAGE_ERROR as error:
        problem = problem_of(error)
        say(f"error: {problem}" if problem else str(getattr(error, "message", "")))
        sys.exit(2)
    except BrokenPipeError:  # who read what is printed has had enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except Exception as error:
        if debug:
            raise
        told = _told(error)
        what = f"not foreseen ({type(error).__name__}: {error}); please report it with what --debug adds"
        for line in lines_told(told or what.replace("\n", " ")):
            say(f"error: {line}")
        sys.exit(2 if told else 3)


def _told(error: Exception) -> str:
    """What the system refuses, in a line; empty for a fault of ours."""
    if isinstance(error, MemoryError):
        return "there is not enough memory for this; ask for a smaller picture (--width), or close other programs"
    if isinstance(error, OSError) and error.strerror:
        if error.filename is None and error.errno in _PRINTS_NOT:  # results tell of their own in `written_together`
            return f"what is printed does not get where it goes ({error.strerror}); print it to the screen or elsewhere"
        name = f"{error.filename}: " if isinstance(error.filename, str) else ""
        return f"{name[-200:]}the system refuses this ({error.strerror}); choose another name or place"
    return ""


def _print_somewhere() -> None:
    """A console without a sign (a name in another script) shows its number instead of stopping the command; where
    there is no console at all, nothing is shown.
    """
    sys.stdout = sys.stdout or open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    sys.stderr = sys.stderr or open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
