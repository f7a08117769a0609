"""Begin a job, look at it, and read its figures."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from layerpreview.cli.common import (
    Around,
    Force,
    Json,
    Lamp,
    Lights,
    OneLight,
    OutFolder,
    ResultsFolder,
    SchemeFile,
    Width,
    app,
    give,
    next_render,
    next_step,
    place_for,
    say,
    typed,
)
from layerpreview.cli.typed_values import number, whole

DEMO_BOARD_PX = 1000

if TYPE_CHECKING:
    from layerpreview.workflows.render import Rendered


@app.command()
def demo(out: OutFolder = None, force: Force = False) -> None:
    """Make the sample job: pictures, figures, a client's page.

    Says at the end what to open.

    Writes out/demo: scheme.toml, pictures and figures in pictures, the client's page in board.
    """
    from layerpreview.workflows.board import board_file
    from layerpreview.workflows.start import run_demo

    made = run_demo(out or Path("out", "demo"), force=force)
    job, pictures = made.started.folder, made.rendered.folder
    board = board_file([made.started.scheme], out=job / "board", force=force, width_px=DEMO_BOARD_PX)
    count = sum(name.endswith(".png") for name in made.rendered.files)
    say(f"Wrote the sample job to {job}: {count} pictures, {len(board.files)} files for the client")
    say(f"Its figures (approximate): {made.figures}, or: layerpreview figures {typed(made.started.scheme)}")
    look = f"{pictures / made.rendered.files[0]} and {job / 'board' / board.files[0]}"
    next_render(f"open {look}, then change {made.started.scheme} and run", render=made.started.scheme)


@app.command()
def start(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder for the new job.", show_default=False)],
    shape: Annotated[
        str | None, typer.Option("--shape", metavar="NAME", help="A built-in shape, for example teardrop.")
    ] = None,
    like: Annotated[
        str | None,
        typer.Option(
            "--like", metavar="NAME", help="A finish of the gallery, for example quince; another word lists them."
        ),
    ] = None,
    photo: Annotated[
        list[Path] | None,
        typer.Option("--photo", metavar="FILE", help="A photo of the part on a plain background; or three."),
    ] = None,
    lamp_sides: Annotated[
        str | None,
        typer.Option("--lamp-sides", metavar="SIDE,...", help="Of three photos: where the lamp was, left,top,right."),
    ] = None,
    lamp_heights: Annotated[
        str | None,
        typer.Option(
            "--lamp-heights", metavar="DEG,...", help="How high it stood over the bench, one for all or each."
        ),
    ] = None,
    part_width: Annotated[
        str | None,
        typer.Option("--part-width", metavar="SIZE", help='True width of the part, once turned, as "320 mm".'),
    ] = None,
    paper: Annotated[
        str | None,
        typer.Option(
            "--paper", metavar="NAME", help="The sheet beside the part: A4, Letter or frame (as printed by card)."
        ),
    ] = None,
    marks: Annotated[
        str | None,
        typer.Option("--marks", metavar="TEXT", help='Two points and their distance: "10%,90%,60%,90% = 300 mm".'),
    ] = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="X%,Y%", help="A point of the part, where it is not found.")
    ] = None,
    background: Annotated[
        str | None, typer.Option("--background", metavar="X%,Y%", help="A point of what the part lies on.")
    ] = None,
    holes: Annotated[
        str, typer.Option("--holes", metavar="NAME", help="What shows the ground inside the part: auto, keep or close.")
    ] = "auto",
    drawn: Annotated[
        Path | None,
        typer.Option("--drawn", metavar="FILE", help="A copy of the photo with a bright green line round the part."),
    ] = None,
    turn: Annotated[
        float, number("--turn", "DEG", "Turn the part, clockwise.", low=-360, high=360, example="-30")
    ] = 0.0,
    kind: Annotated[
        str, typer.Option("--kind", metavar="NAME", help="What the base in the photo is: metal, solid or wood.")
    ] = "metal",
    depth: Annotated[
        str | None, typer.Option("--depth", metavar="SIZE", help='Add its side, as deep as this: "45 mm".')
    ] = None,
    back: Annotated[
        str | None, typer.Option("--back", metavar="FILE", help="Add its back: a photo of it, or the word mirrored.")
    ] = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Begin a job: a commented scheme and its first picture.

    From a photo of the part: its outline and its own surface as the base, put square by a sheet of paper beside it.

    Writes scheme.toml and lifelike_window.png; of a photo also front.svg, front.jpg, traced_edge.png and
    photo_notes.txt.
    """
    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.gallery import GALLERY, gallery_lines
    from layerpreview.workflows.photo_options import PhotoOptions
    from layerpreview.workflows.start import start_job

    if like is not None and like.strip().lower() not in GALLERY:
        for line in gallery_lines():
            say(f"  {line}")

    sides = None if lamp_sides is None else [side.strip().lower() for side in lamp_sides.split(",")]
    options = PhotoOptions(part_width, paper, marks, at, background, holes, drawn, turn, kind, depth, back)
    started = start_job(
        folder,
        shape=shape,
        like=like,
        photo=photo or None,
        lamp_sides=sides,
        lamp_heights=lamp_heights,
        options=options,
        force=force,
        tell=say,
    )
    if as_json:
        give(plain_json(started))
    for line in started.said:
        say(line)
    say(f"Wrote {', '.join(started.files)} to {started.folder}")
    look = " and ".join(str(folder / name) for name in started.look_at)
    if not started.usable or started.doubtful:
        from layerpreview.workflows.photo_words import HOW_TO_HELP

        again = ", into another folder" if started.usable else ""
        say(f"Look at {look} first; {HOW_TO_HELP}{again}")
        if not started.usable:
            raise typer.Exit(1)
    first = "" if started.doubtful else f"open {look}, "
    next_render(f"{first}change the scheme in any text editor, then run", render=started.scheme)


@app.command()
def check(scheme: SchemeFile, as_json: Json = False) -> None:
    """Say what will be sprayed, in order, and what looks wrong."""
    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.check import check_scheme

    checked = check_scheme(scheme)
    give(plain_json(checked) if as_json else "\n".join(checked.lines) + "\n")
    for warning in checked.warnings:
        say(f"look again: {warning}")
    next_render("if this is what you mean, run", render=scheme)


@app.command()
def render(
    scheme: SchemeFile,
    out: ResultsFolder = None,
    force: Force = False,
    width: Width = 1600,
    light: Lights = None,
    view: Annotated[
        str, typer.Option("--view", metavar="DEG,...", help="Angles from straight on, for example 0,15,45,70.")
    ] = "0",
    lamp: Lamp = None,
    around: Around = "window",
    lifelike: Annotated[
        bool, typer.Option("--lifelike/--flat", help="Also show the part as a solid in its surroundings.")
    ] = True,
    timing: Annotated[bool, typer.Option("--timing", help="Say where the time went.")] = False,
    as_json: Json = False,
) -> None:
    """Make the pictures and figures of a scheme.

    The part as one would see it, a picture per light and view to judge colour by, the bare base, a sheet side by side,
    and figures.json.

    Writes into pictures: lifelike_PLACE.png, bare.png, finish_LIGHT.png, side_by_side.png, figures.json.
    """
    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.choices import views_from
    from layerpreview.workflows.render import render_files

    folder, aside = place_for(scheme, "pictures", out)
    rendered = render_files(
        scheme,
        out=folder,
        force=force,
        width_px=width,
        lights=light,
        views=views_from(view, lamp),
        around=around,
        lifelike=lifelike,
    )
    if as_json:
        give(plain_json(rendered))
    told(rendered, aside)
    if timing:
        for name, seconds in rendered.timing.items():
            say(f"  {name:<22} {seconds:6.2f} s")
    first = "side_by_side.png" if not lifelike else rendered.files[0]
    next_step(f"open {folder / first}, or see the amounts with: layerpreview figures {typed(scheme)}")


@app.command()
def turn(
    scheme: SchemeFile,
    out: ResultsFolder = None,
    force: Force = False,
    width: Annotated[int, whole("--width", "PX", "Width in pixels.", low=64, high=2000, example="480")] = 480,
    light: OneLight = None,
    around: Around = "window",
    frames: Annotated[int, whole("--frames", "N", "Pictures of one turn.", low=2, high=120, example="36")] = 36,
    as_json: Json = False,
) -> None:
    """Make a small moving picture of the part turning, to send.

    Writes turn.webp into pictures.
    """
    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.lifelike import turn_file

    folder, aside = place_for(scheme, "pictures", out)
    turning = turn_file(
        scheme,
        out=folder,
        force=force,
        width_px=width,
        light=light,
        around=around,
        frames=frames,
    )
    if as_json:
        give(plain_json(turning))
    say(f"Wrote {turning.file}{aside}: {turning.size_bytes / 1e6:.1f} MB, {len(turning.views_deg)} pictures")
    next_step("open it in any browser, or send it as it is")


@app.command()
def figures(scheme: SchemeFile, as_json: Json = False) -> None:
    """Print loads, films, amounts and colours.

    Each with its range and what it rests on: stated, table, assumed or measured.
    """
    from layerpreview.workflows.check import scheme_figures

    found = scheme_figures(scheme)
    give(found.json() if as_json else found.text())
    next_step(f"what to mix and how to spray it, to hang by the booth: layerpreview sheet {typed(scheme)}")


def told(rendered: Rendered, aside: str = "") -> None:
    """Say what was written (`aside`: why there), and what the screen cannot show of it."""
    say(f"Wrote {', '.join(rendered.files)} to {rendered.folder}{aside}")
    for note in rendered.cautions:
        say(f"look again: {note}")
    for name, share in rendered.out_of_gamut.items():
        if share >= 0.0005:
            say(f"  {name}: {100 * share:.1f} % of the part is more colourful or brighter than a screen can show")
