"""The command line: parse, call one workflow, show. Heavy imports wait inside the commands, so that help is at once."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from layerpreview.workflows.render import Rendered

app = typer.Typer(
    help="See a transparent dye finish over a metallic, white or wood base before you spray it.",
    epilog="Begin with: layerpreview demo",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

SchemeFile = Annotated[Path, typer.Argument(metavar="SCHEME", help="The scheme file (.toml).", show_default=False)]
OutFolder = Annotated[Path | None, typer.Option("--out", "-o", metavar="DIR", help="Folder to write to.")]
Force = Annotated[bool, typer.Option("--force", help="Replace files that are already there.")]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
Width = Annotated[
    int, typer.Option("--width", min=64, max=30_000, metavar="PX", help="Width of the pictures in pixels.")
]

Lamp = Annotated[
    float | None,
    typer.Option("--lamp", metavar="DEG", help="One lamp at this angle from straight on, instead of even light."),
]


@app.command()
def demo(out: OutFolder = None, force: Force = False) -> None:
    """Write the sample job, render it, print its figures and say which pictures to open."""
    from layerpreview.output.table import figures_text
    from layerpreview.workflows.start import run_demo

    started, rendered = run_demo(out or Path("out", "demo"), force=force)
    typer.echo(figures_text(rendered.figures))
    _told(rendered)
    _next(f"open {rendered.folder / 'side_by_side.png'}, then change {started.scheme} and run", render=started.scheme)


@app.command()
def start(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder for the new job.", show_default=False)],
    shape: Annotated[
        str, typer.Option("--shape", metavar="NAME", help="A built-in shape, for example teardrop.")
    ] = "panel",
    photo: Annotated[
        Path | None, typer.Option("--photo", metavar="FILE", help="A photo of the part on a plain background.")
    ] = None,
    part_width: Annotated[
        str | None, typer.Option("--part-width", metavar="SIZE", help='True width of the part in it, as "320 mm".')
    ] = None,
    force: Force = False,
) -> None:
    """Write a commented starter scheme and a base picture into a folder."""
    from layerpreview.workflows.start import start_job

    started = start_job(folder, shape=shape, photo=photo, part_width=part_width, force=force)
    _say(f"Wrote {', '.join(started.files)} to {started.folder}")
    _next("change the scheme in any text editor, then run", render=started.scheme)


@app.command()
def check(scheme: SchemeFile) -> None:
    """Say in plain words what will be sprayed, in order, and warn about what looks wrong."""
    from layerpreview.workflows.check import check_scheme

    checked = check_scheme(scheme)
    for line in checked.lines:
        typer.echo(line)
    for warning in checked.warnings:
        _say(f"look again: {warning}")
    _next("if this is what you mean, run", render=scheme)


@app.command()
def render(
    scheme: SchemeFile,
    out: OutFolder = None,
    force: Force = False,
    width: Width = 1600,
    light: Annotated[
        list[str] | None,
        typer.Option("--light", metavar="NAME", help="Instead of the scheme's lights; repeat for more."),
    ] = None,
    view: Annotated[
        str, typer.Option("--view", metavar="DEG,...", help="Angles from straight on, for example 0,15,45,70.")
    ] = "0",
    lamp: Lamp = None,
    form: Annotated[bool, typer.Option("--form", help="Shade the part as a solid body (pictures only).")] = False,
    sheen: Annotated[
        bool, typer.Option("--sheen", help="Add the mirror image of a soft window (pictures only).")
    ] = False,
    timing: Annotated[bool, typer.Option("--timing", help="Say where the time went.")] = False,
) -> None:
    """Render a picture per light, the bare base, a sheet side by side, and the figures."""
    from layerpreview.workflows.render import render_files
    from layerpreview.workflows.views import views_from

    folder = out or Path("out", scheme.stem)
    rendered = render_files(
        scheme,
        out=folder,
        force=force,
        width_px=width,
        lights=light,
        views=views_from(view, lamp),
        sheen=sheen,
        form=form,
    )
    _told(rendered)
    if timing:
        for name, seconds in rendered.timing.items():
            _say(f"  {name:<22} {seconds:6.2f} s")
    _say(f"Next: open {folder / 'side_by_side.png'}, or see the amounts with: layerpreview figures {_typed(scheme)}")


@app.command()
def tilt(
    scheme: SchemeFile,
    out: OutFolder = None,
    force: Force = False,
    width: Annotated[int, typer.Option("--width", min=64, max=2000, metavar="PX", help="Width in pixels.")] = 480,
    light: Annotated[
        str | None, typer.Option("--light", metavar="NAME", help="Instead of the scheme's first light.")
    ] = None,
    lamp: Lamp = None,
    frames: Annotated[int, typer.Option("--frames", min=2, max=40, help="Views from one end to the other.")] = 9,
) -> None:
    """Write a small animated picture of the finish tilted to and fro, to send by e-mail."""
    from layerpreview.workflows.tilt import tilt_file

    tilted = tilt_file(
        scheme,
        out=out or Path("out", scheme.stem),
        force=force,
        width_px=width,
        light=light,
        lamp_deg=lamp,
        frames=frames,
    )
    _say(f"Wrote {tilted.file} ({tilted.size_bytes / 1e6:.1f} MB, {len(tilted.views_deg)} views)")
    _say("Next: open it in any browser, or send it as it is")


@app.command()
def figures(scheme: SchemeFile, as_json: Json = False) -> None:
    """Print the dye-load figures: loads, films, amounts and colours, each with its range and what it rests on."""
    from layerpreview.output.figures_json import figures_json
    from layerpreview.output.table import figures_text
    from layerpreview.workflows.check import scheme_figures

    found = scheme_figures(scheme)
    typer.echo(figures_json(found) if as_json else figures_text(found), nl=False)


def _told(rendered: Rendered) -> None:
    _say(f"Wrote {', '.join(rendered.files)} to {rendered.folder}")
    for name, share in rendered.out_of_gamut.items():
        if share >= 0.0005:
            _say(f"  {name}: {100 * share:.1f} % of the part is more colourful than a screen can show")


def _say(text: str) -> None:
    typer.echo(text, err=True)


def _next(text: str, *, render: Path) -> None:
    _say(f"Next: {text}: layerpreview render {_typed(render)}")


def _typed(path: Path) -> str:
    """A path as it is typed: in quotes where it has spaces, which every shell understands."""
    return f'"{path}"' if " " in str(path) else str(path)


def main() -> None:
    """Run the command line; every expected failure is one clear line a problem, and exit 1 (no answer) or 2 (input)."""
    from layerpreview.errors import LayerPreviewError, NoAnswerError

    # The engine has threads of its own; those of BLAS would only fight them on a two-core laptop.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    debug = "--debug" in sys.argv
    if debug:
        sys.argv.remove("--debug")
    try:
        app()
    except LayerPreviewError as error:
        if debug:
            raise
        for line in str(error).splitlines():
            _say(f"error: {line}")
        sys.exit(1 if isinstance(error, NoAnswerError) else 2)
    except Exception as error:
        if debug:
            raise
        _say(f"error: not foreseen ({type(error).__name__}: {error}); please report it with what --debug adds")
        sys.exit(2)


if __name__ == "__main__":
    main()
