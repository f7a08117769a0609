"""What `choose` asks, one question at a time and with every option."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from layerpreview.cli.common import (
    Around,
    Force,
    Json,
    Lamp,
    Lights,
    OneLight,
    ResultsFolder,
    SchemeFile,
    Width,
    app,
    give,
    next_step,
    place_for,
    reason_as_json,
    say,
    typed,
)
from layerpreview.cli.typed_values import MOST_NUMBER, number, whole, word


@app.command(hidden=True)
def ladder(
    scheme: SchemeFile,
    out: ResultsFolder = None,
    force: Force = False,
    mix: Annotated[
        str | None, typer.Option("--mix", metavar="NAME", help="The mix to climb; without it the first.")
    ] = None,
    strengths: Annotated[
        str, typer.Option("--strengths", metavar="X,...", help="Multiples of the scheme's strength.")
    ] = "0.5,1,2",
    coats: Annotated[int, whole("--coats", "N", "Coats across.", low=1, high=24, example="8")] = 8,
    agreed: Annotated[
        str | None, typer.Option("--agreed", metavar="SxN", help="Mark a cell: strength x coats, for example 1x3.")
    ] = None,
    cell: Annotated[float, number("--cell", "MM", "Size of a cell in print.", low=5, high=200, example="25")] = 25.0,
    light: Lights = None,
    view: Annotated[str, typer.Option("--view", metavar="DEG", help="Angle from straight on.")] = "0",
    lamp: Lamp = None,
    around: Around = "even",
    as_json: Json = False,
) -> None:
    """Show the base after one coat, two, three, at several strengths.

    A grid of textured swatches to print at true size, each with its L*a*b* and the step to the next.

    Writes ladder_LIGHT.png and ladder.json into ladder.
    """
    from layerpreview.workflows.choices import views_from
    from layerpreview.workflows.ladder import agreed_from, ladder_files, strengths_from

    folder, aside = place_for(scheme, "ladder", out)
    made = ladder_files(
        scheme,
        out=folder,
        force=force,
        mix=mix,
        strengths=strengths_from(strengths),
        most_coats=coats,
        lights=light,
        view=views_from(view, lamp)[0],
        around=around,
        cell_mm=cell,
        agreed=agreed_from(agreed) if agreed else None,
    )
    if as_json:
        give(made.json())
    say(f"Wrote {', '.join(made.files)} to {made.folder}{aside}")
    next_step(f"choose a cell, then see how even it will lie: layerpreview evenness {typed(scheme)}")


@app.command(hidden=True)
def reach(
    scheme: SchemeFile,
    target: Annotated[
        str,
        typer.Argument(
            metavar="COLOUR", help='"62, 12, 48", "#c88a3a", "photo.jpg@x,y,w,h" or "step 3".', show_default=False
        ),
    ],
    out: ResultsFolder = None,
    force: Force = False,
    as_json: Json = False,
    dyes: Annotated[
        list[str] | None, typer.Option("--dyes", metavar="NAME", help='Repeat for more, or "library" for all.')
    ] = None,
    light: Lights = None,
    within: Annotated[
        float, number("--within", "DE", "CIEDE2000 that counts as reached.", low=0, high=100, example="0.8")
    ] = 0.8,
    strongest: Annotated[
        float, number("--strongest", "ML/L", "Strongest dye you would mix.", low=0.1, high=500, example="40")
    ] = 40.0,
    most_coats: Annotated[
        int, whole("--most-coats", "N", "Most coats you would spray.", low=1, high=60, example="8")
    ] = 8,
    films: Annotated[str, typer.Option("--films", metavar="UM,...", help="Wet films you can lay.")] = "20,40,65",
    most_film: Annotated[
        float, number("--most-film", "UM", "Most wet film in all.", low=1, high=10_000, example="400")
    ] = 400.0,
    most_dyes: Annotated[int, whole("--most-dyes", "N", "Most dyes in the mix.", low=1, high=3, example="3")] = 3,
    coat: Annotated[
        int | None,
        whole("--coat", "N", "In place of this coat, the others as they are; not of all dye.", low=1, high=MOST_NUMBER),
    ] = None,
    reading: Annotated[
        str,
        word("--reading", "NAME", "mean: that very colour; hue: its hue and depth over the base's own darkness."),
    ] = "mean",
    atlas: Annotated[
        Path | None, typer.Option("--atlas", metavar="DIR", help="Begin with an atlas of this base and these dyes.")
    ] = None,
) -> None:
    """Find the mix and coats that come closest to a colour.

    Lists alternatives between closeness, coats, film and stripes; exit code 1 when none comes close enough.

    Writes reach.png, alternatives.png and reach.json into reach.
    """
    from layerpreview.errors import NoAnswerError
    from layerpreview.workflows.reach import limits_from, reach_files

    limits = limits_from(
        strongest_per_L=strongest, most_coats=most_coats, films_um=films, most_film_um=most_film, most_dyes=most_dyes
    )
    folder, aside = place_for(scheme, "reach", out)
    found = reach_files(
        scheme,
        target,
        out=folder,
        force=force,
        dyes=dyes,
        lights=light,
        within_de00=within,
        limits=limits,
        coat=coat,
        reading=reading,
        atlas=atlas,
    )
    give(found.json() if as_json else found.text())
    say(f"Wrote {', '.join(found.files)} to {found.folder}{aside}")
    if not found.reached:
        raise NoAnswerError(found.verdict)
    next_step(f"put the strength you like into the scheme, then: layerpreview render {typed(scheme)}")


@app.command(hidden=True)
def evenness(
    scheme: SchemeFile,
    out: ResultsFolder = None,
    force: Force = False,
    as_json: Json = False,
    width: Width = 1600,
    gun: Annotated[str | None, word("--gun", "NAME", "full, small or detail, not the scheme's.")] = None,
    fan: Annotated[float | None, number("--fan", "MM", "Your fan's width.", low=2, high=1000, example="220")] = None,
    distance: Annotated[
        float | None, number("--distance", "MM", "Gun to part.", low=5, high=1000, example="180")
    ] = None,
    beta: Annotated[
        float | None,
        number("--beta", "N", "Shape of the fan: 1.5 ellipse, 2 parabola, 3 bell.", low=1, high=12, example="2"),
    ] = None,
    overlap: Annotated[
        float | None, number("--overlap", "N", "Share of the fan, 0 to 0.95.", low=0, high=0.95, example="0.5")
    ] = None,
    direction: Annotated[
        str | None, typer.Option("--direction", metavar="TEXT", help='Such as "lengthwise, then across" or "45 deg".')
    ] = None,
    crossed: Annotated[bool, typer.Option("--crossed", help="Every other coat at right angles.")] = False,
    lines: Annotated[str | None, word("--lines", "NAME", "same, shifted, spread or random.")] = None,
    seed: Annotated[
        int, whole("--seed", "N", "Another number, another hand.", low=0, high=MOST_NUMBER, example="7")
    ] = 7,
    light: OneLight = None,
) -> None:
    """Show how even the coats will lie, and what would help.

    The finish under a flat, a good and a hurried hand, the stripes in CIEDE2000, and advice in numbers. The gun is the
    scheme's; an option here stands before it.

    Writes evenness.png, build_maps.png, uneven_HAND.png and evenness.json into evenness.
    """
    from layerpreview.answers.gun import GunOptions
    from layerpreview.workflows.evenness import evenness_files

    options = GunOptions(
        gun=gun,
        fan_mm=fan,
        distance_mm=distance,
        beta=beta,
        overlap=overlap,
        direction=direction,
        crossed=crossed,
        pattern=lines,
        seed=seed,
    )
    folder, aside = place_for(scheme, "evenness", out)
    found = evenness_files(scheme, out=folder, force=force, options=options, light=light, width_px=width)
    give(found.json() if as_json else found.text())
    say(f"Wrote {', '.join(found.files)} to {found.folder}{aside}")
    next_step(f"open {folder / 'evenness.png'}, or see how sure the colour is: layerpreview tolerance {typed(scheme)}")


@app.command(hidden=True)
def tolerance(
    scheme: SchemeFile,
    out: ResultsFolder = None,
    force: Force = False,
    within: Annotated[
        float, number("--within", "DE", "CIEDE2000 that is close enough.", low=0, high=100, example="1.8")
    ] = 1.8,
    runs: Annotated[int, whole("--runs", "N", "How often it is tried.", low=100, high=200_000, example="4000")] = 4000,
    seed: Annotated[
        int, whole("--seed", "N", "Another number, other tries.", low=0, high=MOST_NUMBER, example="7")
    ] = 7,
    light: OneLight = None,
    as_json: Json = False,
) -> None:
    """Show how pale or deep it may come out, and what to measure.

    Writes tolerance.png, what_matters.png and tolerance.json into tolerance.
    """
    from layerpreview.workflows.tolerance import tolerance_files

    folder, aside = place_for(scheme, "tolerance", out)
    with reason_as_json(as_json):
        found = tolerance_files(scheme, out=folder, force=force, within_de00=within, runs=runs, seed=seed, light=light)
    give(found.json() if as_json else found.text())
    say(f"Wrote {', '.join(found.files)} to {found.folder}{aside}")
    next_step("measure the input that matters most, write it into the scheme, and run this again")
