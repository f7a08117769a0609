"""The command line: parse, call one workflow, show. Heavy imports wait inside the commands, so that help is at once."""

from __future__ import annotations

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
    mend,
    practise,
    see,
    share,
    shelf,
    shop,
)
from layerpreview.cli.common import app, at_work, say
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
    "mend",
    "practise",
    "see",
    "share",
    "shelf",
    "shop",
]


def main() -> None:
    """Run the command line; every expected failure is one clear line a problem.

    Exit 0 done, 1 no answer, 2 input that cannot be used, 3 a fault of ours.
    """
    from layerpreview.errors import LayerPreviewError, NoAnswerError, printable

    # The engine has threads of its own; those of BLAS would only fight them on a two-core laptop.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    debug = "--debug" in sys.argv  # wherever it stands; the option itself is there for the help
    if debug:
        sys.argv.remove("--debug")
    if "_LAYERPREVIEW_COMPLETE" in os.environ:  # the Tab key asks (`completion`)
        complete.ready()
    try:
        with at_work():
            code = app(prog_name="layerpreview", standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except LayerPreviewError as error:
        if debug:
            raise
        for line in str(error).splitlines():
            say(f"error: {printable(line)}")
        sys.exit(1 if isinstance(error, NoAnswerError) else 2)
    except typer.Abort:
        say("error: stopped")
        sys.exit(1)
    except USAGE_ERROR as error:
        problem = problem_of(error)
        say(f"error: {problem}" if problem else str(getattr(error, "message", "")))
        sys.exit(2)
    except Exception as error:
        if debug:
            raise
        say(f"error: not foreseen ({type(error).__name__}: {error}); please report it with what --debug adds")
        sys.exit(3)
