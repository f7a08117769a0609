"""What all commands share: the app, the options that mean the same everywhere, and how results are told."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from typer.core import TyperGroup

from layerpreview import errors
from layerpreview.cli.typed_values import number, read_light, whole

if TYPE_CHECKING:
    from layerpreview.workflows.places import Place

ORDER = (
    "desk",
    *("demo", "start", "check", "render", "turn", "figures"),
    *("card", "fit", "fit-mix", "import", "progress", "diary", "log"),
    *("ladder", "reach", "evenness", "tolerance", "fade", "sweep"),
    *("sheet", "board", "agree"),
    "teach",
    *("record", "check-record", "remake"),
    "book",
    "touch-up",
    "practise",
)
"""The commands in the order of a job, as help lists them."""


class InOrder(TyperGroup):
    """Lists commands in the order of a job rather than of the modules they live in."""

    def list_commands(self, ctx: typer.Context) -> list[str]:  # type: ignore[override]
        return sorted(super().list_commands(ctx), key=lambda name: ORDER.index(name) if name in ORDER else len(ORDER))


app = typer.Typer(
    cls=InOrder,
    help="See a transparent dye finish over a metallic, white or wood base before you spray it.",
    epilog="Begin with: layerpreview demo",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _show_version(asked: bool) -> None:
    if asked:
        from layerpreview import __version__

        give(f"layerpreview {__version__}", end="\n")
        raise typer.Exit


@app.callback()
def options(
    version: Annotated[
        bool, typer.Option("--version", help="Say which version this is.", callback=_show_version, is_eager=True)
    ] = False,
    debug: Annotated[
        bool, typer.Option("--debug", help="Show where in the program a fault happened; with any command.")
    ] = False,
) -> None:
    """See a transparent dye finish over a metallic, white or wood base before you spray it."""


SchemeFile = Annotated[Path, typer.Argument(metavar="SCHEME", help="The scheme file (.toml).", show_default=False)]
OutFolder = Annotated[Path | None, typer.Option("--out", "-o", metavar="DIR", help="Folder to write to.")]
ResultsFolder = Annotated[
    Path | None,
    typer.Option("--out", "-o", metavar="DIR", help="Folder to write to, instead of one in the job's own."),
]
Force = Annotated[
    bool, typer.Option("--force", help="Also replace files that were changed since, or are not from this tool.")
]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
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


BELL = ""


def say(text: str) -> None:
    """Tell the person; results go to stdout, everything else here, to stderr."""
    typer.echo(_harmless(text), err=True)


def give(text: str, *, end: str = "") -> None:
    """Print a result to stdout."""
    typer.echo(_harmless(text) + end, nl=False)


def _harmless(text: str) -> str:
    """A text without signs that steer a terminal, whoever wrote them into a name, a note or a header; lines stay."""
    if text.isprintable():
        return text
    return "".join(sign if sign.isprintable() or sign == "\n" else "?" for sign in text)


@contextmanager
def reason_as_json(as_json: bool) -> Iterator[None]:
    """Where there is no give, give the reason as JSON to those who asked for that; the exit code tells it too."""
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


def next_step(text: str, *, render: Path) -> None:
    """End with what to type next."""
    say(f"Next: {text}: layerpreview render {typed(render)}")


def typed(path: Path) -> str:
    """A path as it is typed: in quotes where it needs them."""
    return errors.typed(str(path))
