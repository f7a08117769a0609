"""What all commands share: the app, the options that mean the same everywhere, and how results are told."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from layerpreview import errors
from layerpreview.cli import shown
from layerpreview.cli.groups import Grouped
from layerpreview.cli.typed_values import number, read_light, whole

if TYPE_CHECKING:
    from layerpreview.workflows.places import Place

app = typer.Typer(
    cls=Grouped,
    help="See a transparent dye finish over a metallic, white or wood base before you spray it.",
    epilog="Begin with: layerpreview demo. More of a command: layerpreview help COMMAND",
    context_settings={"help_option_names": ["-h", "--help"]},
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _show_version(asked: bool) -> None:
    if asked:
        from layerpreview import __version__

        give(f"layerpreview {__version__}\n")
        raise typer.Exit


@dataclass
class Asked:
    """What was asked of the way in which this run talks: `quiet`, or `as_json` for another program to read."""

    quiet: bool = False
    as_json: bool = False


asked = Asked()


def _hush(quiet: bool) -> bool:
    asked.quiet = asked.quiet or quiet
    return quiet


def _for_programs(as_json: bool) -> bool:
    asked.as_json = as_json
    return as_json


@app.callback()
def options(
    version: Annotated[
        bool, typer.Option("--version", help="Say which version this is.", callback=_show_version, is_eager=True)
    ] = False,
    debug: Annotated[
        bool, typer.Option("--debug", help="Show where in the program a fault happened; with any command.")
    ] = False,
    quiet: Annotated[
        bool,
        typer.Option("--quiet", "-q", help="Show no progress and no next step; errors all the same.", callback=_hush),
    ] = False,
) -> None:
    """See a transparent dye finish over a metallic, white or wood base before you spray it."""


def scheme_in(place: Path | None) -> Path | None:
    """The scheme that is meant by what was typed: in a folder it is the job's own. Raises InputError."""
    if place is None or not os.path.isdir(place):
        return place
    from layerpreview.workflows.places import scheme_of_job

    return scheme_of_job(place)


def _schemes_in(places: list[Path] | None) -> list[Path]:
    return [found for place in places or [] if (found := scheme_in(place)) is not None]


_JOB_HELP = "The job's folder, or its scheme (.toml)."
SchemeFile = Annotated[Path, typer.Argument(metavar="JOB", help=_JOB_HELP, show_default=False, callback=scheme_in)]
"""A scheme, found in its folder where that is what was typed."""
SchemeFiles = Annotated[
    list[Path],
    typer.Argument(
        metavar="JOB...", help="One for each option: folders or schemes.", show_default=False, callback=_schemes_in
    ),
]
Job = Annotated[Path, typer.Argument(metavar="JOB", help=_JOB_HELP, show_default=False)]
"""A job as it was typed: with its log, which need not be where its scheme is."""
OutFolder = Annotated[Path | None, typer.Option("--out", "-o", metavar="DIR", help="Folder to write to.")]
ResultsFolder = Annotated[
    Path | None,
    typer.Option("--out", "-o", metavar="DIR", help="Folder to write to, instead of one in the job's own."),
]
Force = Annotated[
    bool, typer.Option("--force", help="Also replace files that were changed since, or are not from this tool.")
]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON.", callback=_for_programs)]
Width = Annotated[int, whole("--width", "PX", "Width of the pictures in pixels.", low=64, high=30_000, example="1600")]

Lights = Annotated[
    list[str] | None,
    typer.Option(
        "--light",
        metavar="NAME",
        help="Instead of the scheme's lights, as D65 or daylight; repeat for more.",
        parser=read_light,
    ),
]

OneLight = Annotated[
    str | None,
    typer.Option(
        "--light", metavar="NAME", help="Instead of the scheme's first light, as D65 or daylight.", parser=read_light
    ),
]

Lamp = Annotated[
    float | None,
    number(
        "--lamp",
        "DEG",
        "One lamp at this angle from straight on, instead of even light.",
        low=0,
        high=80,
        example="45",
    ),
]

Around = Annotated[
    str,
    typer.Option(
        "--around",
        metavar="NAME",
        help="Where the part is looked at: even (to judge colour by), workshop, window, sun, overcast, stage, or own.",
    ),
]


def give(text: str) -> None:
    """Give a result, whole lines, to stdout; everything else goes to stderr by `say` and `next_step`."""
    shown.hide()
    typer.echo(_harmless(text), nl=False)


def say(text: str) -> None:
    """Tell the person; to stderr."""
    shown.hide()
    typer.echo(_harmless(text), err=True)


def _harmless(text: str) -> str:
    """A text without signs that steer a terminal, whoever wrote them into a name, a note or a header; lines stay."""
    if text.isprintable():
        return text
    return "".join(sign if sign.isprintable() or sign == "\n" else "?" for sign in text)


def next_step(text: str) -> None:
    """End with what to do next, where that is wanted."""
    if not asked.quiet:
        say(f"Next: {text}")


@contextmanager
def at_work() -> Iterator[None]:
    """Show what a command does while it does it, where somebody looks and reads words."""
    asked.quiet = asked.as_json = False
    with shown.shown(lambda: not (asked.quiet or asked.as_json)):
        yield


@contextmanager
def reason_as_json(as_json: bool) -> Iterator[None]:
    """Where there is no answer, give the reason as JSON to those who asked for that; the exit code tells it too."""
    try:
        yield
    except errors.NoAnswerError as error:
        if as_json:
            from layerpreview.output.plain_json import plain_json

            give(plain_json({"reason": str(error)}))
        raise


def place_for(scheme: Path, what: str, out: Path | None) -> Place:
    """Where a command writes, and what to say of that: into `out` where one is named, else the job's own for `what`."""
    from layerpreview.workflows.places import Place, results_place

    return Place(out) if out else results_place(scheme, what)


def next_render(text: str, *, render: Path) -> None:
    """End with what to type next."""
    next_step(f"{text}: layerpreview render {typed(render)}")


def typed(path: Path) -> str:
    """A path as it is typed: in quotes where it needs them."""
    return errors.typed(str(path))
