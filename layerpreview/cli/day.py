"""The day at the booth: what was done, what comes next and when."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from layerpreview import errors
from layerpreview.cli.common import Job, Json, app, give, next_step, say, typed

if TYPE_CHECKING:
    from layerpreview.answers.day import Day, DiaryEntry
    from layerpreview.workflows.diary_said import Typed


def _text(name: str, metavar: str, told: str) -> typer.models.OptionInfo:
    """An option that takes a text."""
    return typer.Option(name, metavar=metavar, help=told)  # type: ignore[no-any-return]


@app.command()
def diary(
    job: Job,
    coat: Annotated[
        str | None, _text("--coat", "NAME", 'A coat is on: next, "honey" for the next of it, "honey 2" for its second.')
    ] = None,
    wet: Annotated[
        str | None,
        _text(
            "--wet",
            "TEXT",
            'Wet-film gauge on the last coat at several spots: "38, 45, 41 um", or mil; of a comb the last wet tooth.',
        ),
    ] = None,
    batch: Annotated[str | None, _text("--batch", "NAME", "A batch is made; its name as on the mix sheet.")] = None,
    poured: Annotated[
        str | None, _text("--poured", "TEXT", 'What went into it: "amber 1.4 mL, red 0.12 mL, carrier 60 mL".')
    ] = None,
    lot: Annotated[
        list[str] | None, _text("--lot", "TEXT", 'The bottle it came from: "amber B12"; repeat for more.')
    ] = None,
    card: Annotated[str | None, _text("--card", "FILE", "The card or dye file that the batch was fitted to.")] = None,
    left: Annotated[
        str | None, _text("--left", "TEXT", 'What is left of the batch in the end: "22 mL"; --batch says which.')
    ] = None,
    temperature: Annotated[str | None, _text("--temperature", "TEXT", '"21 C" or "70 F".')] = None,
    humidity: Annotated[str | None, _text("--humidity", "TEXT", '"45 %".')] = None,
    gun: Annotated[str | None, _text("--gun", "TEXT", "How the gun is set, in your words.")] = None,
    drops: Annotated[str | None, _text("--drops", "TEXT", 'Drops counted: "amber 43 drops = 1 mL".')] = None,
    at: Annotated[str | None, _text("--at", "TIME", 'When it was, if not now: "14:20", or "2026-05-04 14:20".')] = None,
    note: Annotated[str | None, _text("--note", "TEXT", "A remark to keep with it.")] = None,
    photo: Annotated[
        Path | None,
        typer.Option("--photo", metavar="FILE", help="A photo after the last coat, with a white card in it."),
    ] = None,
    white: Annotated[
        str | None, _text("--white", "X,Y", 'Where the white card is in the photo, across and down: "15 %, 30 %".')
    ] = None,
    spot: Annotated[
        list[str] | None, _text("--spot", "X,Y", "Where paint is to be judged, away from edges; repeat for more.")
    ] = None,
    witness: Annotated[bool, typer.Option("--witness", help="The photo is of a witness card.")] = False,
    strip: Annotated[bool, typer.Option("--strip", help="Write all photos in one light as a picture.")] = False,
    withdraw: Annotated[
        str | None, _text("--withdraw", "LINE", "Take back a line of the diary by its number; last for the last one.")
    ] = None,
    watch: Annotated[bool, typer.Option("--watch", help="Stay, count down and ring the bell; Ctrl-C ends it.")] = False,
    as_json: Json = False,
) -> None:
    """Keep the booth's diary: what was done, what comes next.

    Alone it shows where the job stands. Each thing you say is a line of the job's log; nothing in it is ever erased.

    Writes a line into the job's log, job-log.jsonl, for each thing said.
    """
    from layerpreview.workflows.diary import diary as look
    from layerpreview.workflows.diary import withdraw as take_back
    from layerpreview.workflows.diary_said import Typed, line_typed, typed_said

    told = Typed(coat, wet, batch, poured, tuple(lot or ()), card, temperature, humidity, gun, left, drops, at, note)
    if photo is not None or white is not None or spot or strip:
        _photos(job, told, photo, white, spot or [], witness=witness, strip=strip, as_json=as_json)
        return
    if withdraw is not None and told != Typed():
        rule = "one thing at a time: this takes a line back, the others say something"
        raise errors.InputError(
            errors.Problem(rule, "take it back first, then say it anew", field="--withdraw", value=withdraw)
        )
    gone: int | None = None
    written: tuple[DiaryEntry, ...] = ()
    if withdraw is not None:
        gone, day = take_back(job, line_typed(withdraw))
    elif told != Typed():
        written, day = typed_said(job, told)
    else:
        day = look(job)
    give(day.json() if as_json else day.text())
    if gone is not None:
        say(f"Withdrew line {gone} of the diary")
    for entry in written:
        say(f"Wrote line {entry.line}: {entry.words}")
    next_step(_next(job, day.found))
    if watch:
        from layerpreview.cli.watch import watch_job

        watch_job(job)


def _next(job: Path, day: Day) -> str:
    """What to type next."""
    command = f"layerpreview diary {typed(job)}"
    what = next((may for may in day.may_say if may.what in ("batch", "coat-done")), None)
    if what is None:
        return f'to add a remark: {command} --note "..."; the whole log in words: layerpreview log {typed(job)}'
    if what.what == "batch":
        return f"when it is made: {command} --batch {errors.typed(str(what.values['batch']))}"
    film = any(may.what == "film-read" for may in day.may_say)
    some = "1.5, 1.75, 1.5 mil" if day.units == "US" else "38, 45, 41 um"
    wet = f', or with gauge readings of the last coat: {command} --wet "{some}"' if film else ""
    return f"when it is on: {command} --coat next{wet}"


def _photos(
    job: Path,
    told: Typed,
    photo: Path | None,
    white: str | None,
    spots: list[str],
    *,
    witness: bool,
    strip: bool,
    as_json: bool,
) -> None:
    """Say a photo, and write the strip of all."""
    from dataclasses import replace

    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.diary_photo import photo_said, touch_typed
    from layerpreview.workflows.photo_strip import strip_file

    if replace(told, note=None) != type(told)():
        rule = "one thing at a time: a photo is said alone, with --note at most"
        raise errors.InputError(errors.Problem(rule, "say the other things first", field="--photo"))
    if photo is None and not strip:
        rule = "touches are about a photo"
        raise errors.InputError(errors.Problem(rule, "add --photo FILE", field="--white" if white else "--spot"))
    if photo is not None:
        if white is None or not spots:
            rule = "a photo needs a touch on its white card and one or more on the paint"
            remedy = 'add --white "15 %, 30 %" and --spot "60 %, 50 %", across and down'
            raise errors.InputError(errors.Problem(rule, remedy, field="--photo", value=str(photo)))
        found = photo_said(
            job,
            photo,
            card=touch_typed(white, "--white"),
            spots=[touch_typed(each, "--spot") for each in spots],
            of="card" if witness else "part",
            note=told.note or "",
        )
        if as_json:
            give(plain_json(found))
        else:
            give("".join(f"{line}\n" for line in (*found.words, *(f"note: {note}" for note in found.notes))))
        kept = "The diary has this photo already" if found.known else "Wrote the photo into the diary"
        say(f"{kept}: {found.photo.file}")
    if strip:
        made = strip_file(job)
        if as_json and photo is None:
            give(plain_json({"file": str(made.file), "photos": made.photos, "notes": made.notes}))
        say(f"Wrote {typed(made.file) if made.file else ''}")
        next_step("show it beside the panel it is to match")
    else:
        next_step(f"all photos in one light: layerpreview diary {typed(job)} --strip")
