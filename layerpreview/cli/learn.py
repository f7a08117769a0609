"""Make it your own: a dye from a card or a spectrum, a mix told apart, and where the panel stands on the day."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from layerpreview import errors
from layerpreview.cli.common import (
    Force,
    Json,
    OutFolder,
    SchemeFile,
    app,
    give,
    next_step,
    say,
    typed,
)
from layerpreview.cli.typed_values import MOST_NUMBER, number, read_light, whole, word

if TYPE_CHECKING:
    from layerpreview.output.result import Result

Strength = Annotated[
    str | None, typer.Option("--strength", metavar="AMOUNT", help='Of the dye in the sprayed mix, as "12 mL/L".')
]
Light = Annotated[
    str | None,
    typer.Option(
        "--light", metavar="NAME", help="The light it was read or photographed in; usual D65.", parser=read_light
    ),
]
_USUAL_COLUMNS = "0,1,2,3,4,5,6"
CardBase = Annotated[str | None, word("--base", "KIND", "The card's base: metal (usual), solid or wood.")]


def _numbers(text: str | None, field: str, count: int) -> tuple[float, ...] | None:
    """The numbers in "1,2,3"; InputError where they are none or not `count` of them."""
    from layerpreview.workflows.typed import numbers_typed

    example = {3: "62.5,12,48.1", 4: "120,80,40,40", 8: "60,50,940,55,935,640,58,642"}[count]
    most = 1000.0 if count == 3 else 200_000.0  # of a colour, and of pixels
    return (
        text
        if text is None
        else numbers_typed(text, field, least=count, most=count, low=-most, high=most, example=f"{field}={example}")
    )


@app.command()
def card(
    out: OutFolder = None,
    coats: Annotated[
        str, typer.Option("--coats", metavar="N,...", help='Of each column; "1x3 white": at 3 times the strength.')
    ] = _USUAL_COLUMNS,
    paper: Annotated[str, typer.Option("--paper", help="A4 or Letter.")] = "A4",
    force: Force = False,
) -> None:
    """Print the frame that is laid over a spray-out card.

    Writes spray_out_frame.pdf, to be printed at 100 %.
    """
    from layerpreview.learn.read.columns import read_columns
    from layerpreview.workflows.card import card_file

    made = card_file(out or Path("out"), coats=read_columns(coats), paper=paper, force=force)
    say(f"Wrote {made.file}")
    option = "" if coats == _USUAL_COLUMNS else f' --coats "{coats}"'
    then = f'layerpreview fit PHOTO --strength "12 mL/L" --grey 0.18{option}'
    next_step(f"print it at 100 %, spray, photograph, then: {then}")


@app.command()
def fit(
    cards: Annotated[
        list[Path],
        typer.Argument(metavar="CARD...", help="Readings (CSV) or a photo; several: one fit.", show_default=False),
    ],
    name: Annotated[str, typer.Option("--name", help="What the dye shall be called.")] = "my dye",
    strength: Strength = None,
    film: Annotated[
        str | None, typer.Option("--film", help='Wet film of one coat: light, medium, wet, "40 um".')
    ] = None,
    concentrate: Annotated[str | None, typer.Option("--concentrate", help='The dye as sold, as "40 g/L".')] = None,
    light: Light = None,
    observer: Annotated[str | None, typer.Option("--observer", help="2 or 10 (degrees).")] = None,
    base: CardBase = None,
    flake_spread: Annotated[str | None, typer.Option("--flake-spread", help="Of the card's metal base.")] = None,
    geometry: Annotated[
        str | None, word("--geometry", "NAME", "even, 45/0, d/8 excluded or d/8 included (the mirror image).")
    ] = None,
    sprayed: Annotated[str | None, word("--sprayed", "NAME", "masked (usual) or one by one.")] = None,
    coats: Annotated[str, typer.Option("--coats", metavar="N,...", help="Photo: as for card.")] = _USUAL_COLUMNS,
    corners: Annotated[
        str | None,
        typer.Option("--corners", metavar="X,Y,...", help="Photo: the four marks, clockwise from the holed."),
    ] = None,
    grey: Annotated[
        float | None,
        number("--grey", "R", "Photo: reflectance of the grey card, as 0.18.", low=0.01, high=1, example="0.18"),
    ] = None,
    chart: Annotated[
        str | None, typer.Option("--chart", metavar="find|X,Y,W,H", help="Photo: a 24-patch chart; where, in pixels.")
    ] = None,
    chart_values: Annotated[
        str, typer.Option("--chart-values", help="The chart's published table, by its name in colour-science.")
    ] = "ISO 17321-1",
    for_scheme: Annotated[
        Path | None, typer.Option("--for", metavar="SCHEME", help="The finish that the next card is to serve.")
    ] = None,
    earlier: Annotated[
        Path | None, typer.Option("--earlier", metavar="FILE", help="An earlier bottle's dye file, to compare with.")
    ] = None,
    after_clear: Annotated[
        Path | None,
        typer.Option("--after-clear", metavar="CSV", help="The same card's readings once it had its clear."),
    ] = None,
    out: OutFolder = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Learn a dye from a spray-out card, or from several at once.

    Writes NAME.dye.toml, NAME_fit.png and NAME_fit.json.
    """
    from layerpreview.learn.read.columns import read_columns
    from layerpreview.workflows.fit import fit_files
    from layerpreview.workflows.fit_options import FitOptions
    from layerpreview.workflows.fit_several import fit_several_files
    from layerpreview.workflows.places import Place, dye_place

    options = FitOptions(
        name=name,
        strength=strength,
        film=film,
        concentrate=concentrate,
        light=light,
        observer=observer,
        base=base,
        flake_spread=flake_spread,
        geometry=geometry,
        sprayed=sprayed,
        coats=read_columns(coats),
        corners=_numbers(corners, "--corners", 8),
        grey=grey,
        chart="find" if chart and chart.strip().lower() == "find" else _numbers(chart, "--chart", 4),
        chart_values=chart_values,
        earlier=earlier,
        after_clear=after_clear,
    )
    folder, aside = Place(out) if out else dye_place(cards[0], for_scheme)
    found: Result[Any] = (
        fit_several_files(cards, out=folder, options=options, scheme=for_scheme, force=force)
        if len(cards) > 1
        else fit_files(cards[0], out=folder, options=options, scheme=for_scheme, force=force)
    )
    give(found.json() if as_json else found.text())
    dye_file, picture, *_ = found.files
    say(f"Wrote {', '.join(found.files)} to {found.folder}{aside}")
    beside = for_scheme if for_scheme and folder == for_scheme.parent else None
    then = f"and write in {typed(beside)}" if beside else f"put {dye_file} beside your scheme and write there"
    for line in _surer(found, cards, folder, errors.typed(name), beside=bool(options.beside)):
        say(line)
    next_step(f'look at {folder / picture}, {then}: file = "{dye_file}"   in place of library = ...')


def _surer(found: Result[Any], cards: Sequence[Path], folder: Path, name: str, *, beside: bool) -> list[str]:
    """What to spray to be surer of each dye, and how that is fitted together with what there is."""
    from layerpreview.output.fit_words import next_columns

    dyes = found.found.dyes if len(cards) > 1 else (found.found,)
    windows = [(dye.name, columns) for dye in dyes if (columns := next_columns(dye))]
    lines = []
    for dye_name, columns in windows:
        of = f" of {dye_name}" if len(dyes) > 1 else ""
        lines.append(f'To be surer, spray these windows{of}: layerpreview card --coats "{columns}" -o {typed(folder)}')
    if windows and not beside:
        both = " ".join([*map(typed, cards), "NEW.csv", "--name", name, "-o", typed(folder / "surer")])
        lines.append(f"A further card is fitted with this one, by the options you gave here: layerpreview fit {both}")
    return lines


@app.command(name="fit-mix", hidden=True)
def fit_mix(
    source: Annotated[Path, typer.Argument(metavar="CARD", help="Readings (CSV).", show_default=False)],
    dye: Annotated[
        list[str], typer.Option("--dye", metavar="FILE=AMOUNT", help='A dye file and its strength meant, "6 mL/L".')
    ],
    film: Annotated[str | None, typer.Option("--film", help="Wet film of one coat.")] = None,
    light: Light = None,
    base: CardBase = None,
    flake_spread: Annotated[str | None, typer.Option("--flake-spread", help="Of the card's metal base.")] = None,
    as_json: Json = False,
) -> None:
    """Tell how much of each known dye a sprayed mix holds."""
    from layerpreview.errors import InputError, Problem
    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.fit_mix import mix_of_card
    from layerpreview.workflows.fit_options import FitOptions

    pairs = [tuple(part.split("=", 1)) for part in dye]
    if any(len(pair) != 2 for pair in pairs):
        raise InputError(Problem("a file, =, and a strength are wanted", 'as my.dye.toml="6 mL/L"', field="--dye"))
    if twice := [file for n, (file, _) in enumerate(pairs) if file in [before for before, _ in pairs[:n]]]:
        raise InputError(
            Problem("the same dye twice cannot be told apart", "name each once", field="--dye", value=twice[0])
        )
    options = FitOptions(film=film, light=light, base=base, flake_spread=flake_spread)
    told = mix_of_card(source, {Path(pair[0]): pair[1] for pair in pairs}, options=options)
    if as_json:
        give(plain_json(told))
    for dye_name, share in () if as_json else told.share.items():
        ends = f"{100 * share.low:.0f} to {100 * share.high:.0f}"
        give(f"{dye_name}: {100 * share.likely:.0f} % of the {told.meant[dye_name]} meant ({ends} %)\n")
    for note in told.notes:
        say(f"note: {note}")
    next_step("write these strengths into the scheme where the part was sprayed with that mix, or mix anew")


@app.command(name="import")
def import_spectrum(
    source: Annotated[
        Path, typer.Argument(metavar="SPECTRUM", help="Text export, CSV, CGATS, .spdx, .dx, .cxf.", show_default=False)
    ],
    strength: Annotated[str, typer.Option("--strength", metavar="AMOUNT", help='Pure dye in it, as "0.02 g/L".')],
    name: Annotated[str, typer.Option("--name", help="What the dye shall be called.")] = "my dye",
    path: Annotated[str, typer.Option("--path", help="The cell, or the wet film if it was read over white.")] = "10 mm",
    sample: Annotated[
        str | None, typer.Option("--sample", "--column", help="Which spectrum of the file, by its name.")
    ] = None,
    quantity: Annotated[
        str | None, word("--quantity", "NAME", "absorbance, transmittance or reflectance, if the file is silent.")
    ] = None,
    blank: Annotated[
        str | None, typer.Option("--blank", metavar="NAME|FILE", help="Read without dye; else one called blank.")
    ] = None,
    no_blank: Annotated[bool, typer.Option("--no-blank", help="Leave the blank out.")] = False,
    baseline: Annotated[
        str | None, word("--baseline", "NAME", "flat: take the least absorbance in the visible off.")
    ] = None,
    concentrate: Annotated[str | None, typer.Option("--concentrate", help='The dye as sold, as "40 g/L".')] = None,
    out: OutFolder = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Make a dye file from a measured spectrum.

    Writes NAME.dye.toml.
    """
    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.dye_import import import_dye

    made = import_dye(
        source,
        out=out or Path("out", source.stem),
        name=name,
        strength=strength,
        path=path,
        sample=sample,
        quantity=quantity,
        blank=blank,
        use_blank=not no_blank,
        baseline=baseline,
        concentrate=concentrate,
        force=force,
    )
    if as_json:
        give(plain_json(made))
    for note in made.notes:
        say(f"note: {note}")
    say(f"Wrote {made.dye_file}")
    next_step(f'put it beside your scheme and write there: file = "{made.dye_file.name}"   in place of library = ...')


@app.command()
def progress(
    scheme: SchemeFile,
    coats_done: Annotated[
        int, whole("--coats-done", "N", "Coats of this entry that are on.", low=0, high=60, example="2")
    ],
    mix: Annotated[str | None, typer.Option("--mix", help="Which mix; usual the last that goes to the middle.")] = None,
    coat: Annotated[
        int | None, whole("--coat", "N", "Which coat, by its number in figures.", low=1, high=MOST_NUMBER)
    ] = None,
    lab: Annotated[str | None, typer.Option("--lab", metavar="L,a,b", help="A reading.")] = None,
    srgb: Annotated[str | None, typer.Option("--srgb", metavar="#RRGGBB", help="A reading.")] = None,
    photo: Annotated[
        Path | None, typer.Option("--photo", metavar="FILE", help="A photo, with --patch and --white.")
    ] = None,
    patch: Annotated[str | None, typer.Option("--patch", metavar="X,Y,W,H", help="The spot, in pixels.")] = None,
    white: Annotated[str | None, typer.Option("--white", metavar="X,Y,W,H", help="A white card beside it.")] = None,
    white_reflectance: Annotated[
        float, number("--white-reflectance", "R", "Of that white card.", low=0.02, high=1, example="0.9")
    ] = 0.9,
    light: Light = None,
    witness: Annotated[
        bool, typer.Option("--witness", help="Read from a card, sprayed where the coat is fullest.")
    ] = False,
    under_clear: Annotated[bool, typer.Option("--under-clear", help="Read under the scheme's clear, not wet.")] = False,
    log: Annotated[Path | None, typer.Option("--log", metavar="FILE", help="The job's log.")] = None,
    keep: Annotated[bool, typer.Option("--keep", help="Log even a reading that cannot be right.")] = False,
    as_json: Json = False,
) -> None:
    """Tell where the panel stands and how many coats are left.

    A reading that does not fit the scheme is shown but not logged; exit code 1.

    Writes a line into the job's log, job-log.jsonl.
    """
    from layerpreview.errors import NoAnswerError
    from layerpreview.output.plain_json import plain_json
    from layerpreview.output.progress_result import progress_text
    from layerpreview.workflows.progress import Reading, log_progress

    reading = Reading(
        lab=_numbers(lab, "--lab", 3),
        srgb=srgb,
        photo=photo,
        patch=_numbers(patch, "--patch", 4),
        white=_numbers(white, "--white", 4),
        white_reflectance=white_reflectance,
        light=light,
    )
    found = log_progress(
        scheme,
        reading,
        coats_done=coats_done,
        mix=mix,
        coat=coat,
        witness=witness,
        under_clear=under_clear,
        log=log,
        keep=keep,
    )
    give(plain_json(found) if as_json else progress_text(found))
    if not found.logged:
        raise NoAnswerError(f"not logged: {found.standing.misfit}; look again, or add --keep to log it all the same")
    readings = f"{found.readings_in_log} reading{'' if found.readings_in_log == 1 else 's'}"
    say(f"Logged in {typed(found.log)} ({readings})")
    next_step("read again after the next coat")
