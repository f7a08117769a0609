"""The mix sheet of a scheme as files, or as text or JSON to show."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import cache
from pathlib import Path

from layerpreview.doing import doing
from layerpreview.errors import InputError, Problem, printable
from layerpreview.job.sheet import MixSheet, make_sheet
from layerpreview.output.agreement import how_agreed_beside
from layerpreview.output.files import utf8
from layerpreview.output.result import Result
from layerpreview.output.sheet_code import code_text, first_signs
from layerpreview.output.sheet_forms import sheet_html, sheet_json, sheet_pdf, sheet_result, sheet_text
from layerpreview.output.sheet_seen import seen_of
from layerpreview.output.sheet_wall import Wall, wall_of
from layerpreview.output.templates_pdf import template_pdf
from layerpreview.output.typst_pdf import PAPERS, what_pdf_lacks
from layerpreview.picture.faces import shapes_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.scheme.source import plain_line_ends
from layerpreview.workflows.typed import in_words

NAMES = {"pdf": "mix_sheet.pdf", "html": "mix_sheet.html", "text": "mix_sheet.txt", "json": "mix_sheet.json"}
TEMPLATES = "templates.pdf"
USUAL_FORMS = ("pdf", "html")


def sheet(
    scheme: Scheme, *, forms: Sequence[str] = USUAL_FORMS, paper: str = "A4", templates: bool = False
) -> Result[MixSheet]:
    """Make the mix sheet of a scheme, to be saved in each of `forms` ("pdf", "html", "text", "json").

    The log beside the scheme says whether it was agreed. With `templates` also outlines and burst lines at true scale.
    Where no PDF can be set the others are made, if others were asked for: `left_out` says so.

    Raises PictureError or InputError listing all that is wrong.
    """
    _check(forms, paper)
    doing("working out amounts and colours of the sheet")
    parts = shapes_of(scheme)
    surveys = [Survey(scheme, part) for part in parts]
    found = make_sheet(
        scheme, parts=parts, surveys=surveys, how_agreed=how_agreed_beside(scheme.file, text=scheme.text)
    )
    code = code_text(found, file=printable(scheme.file.name or scheme.name), sha256=_signs(scheme))
    plain = wall_of(found, code=code)

    @cache
    def wall() -> Wall:
        return wall_of(found, seen_of(scheme, parts=parts, surveys=surveys), code=code)

    ways: dict[str, Callable[[], bytes]] = {
        "pdf": lambda: sheet_pdf(found, wall(), paper=paper),
        "html": lambda: utf8(sheet_html(found, wall())),
        "text": lambda: utf8(sheet_text(found, plain)),
        "json": lambda: utf8(sheet_json(found)),
    }
    made = {NAMES[form]: ways[form] for form in dict.fromkeys(forms)}
    if templates:
        made[TEMPLATES] = lambda: template_pdf(scheme, parts, paper=paper, units=found.units)
    rest = {name: way for name, way in made.items() if not name.endswith(".pdf")}
    if rest and what_pdf_lacks():
        made = rest
    return sheet_result(found, plain, made=made, inputs=scheme.inputs)


def left_out(made: Result[MixSheet], forms: Sequence[str], *, templates: bool = False) -> str:
    """Which of the files that were asked for were not made, and what they need; nothing where all were."""
    asked = [NAMES[form] for form in dict.fromkeys(forms)] + [TEMPLATES] * templates
    missing = [name for name in asked if name not in made.names]
    return f"without {' and '.join(missing)}: {what_pdf_lacks()}" if missing else ""


def _signs(scheme: Scheme) -> str:
    """The first signs of the scheme's file; of its text where it has none, or an editor has saved another since."""
    try:
        data = scheme.file.read_bytes()
        if plain_line_ends(data.decode("utf-8-sig")) == plain_line_ends(scheme.text):
            return first_signs(data)
    except (OSError, ValueError):
        pass
    return first_signs(scheme.text.encode("utf-8"))


def mix_sheet(scheme_path: Path) -> Result[MixSheet]:
    """The mix sheet of the scheme at `scheme_path`. Raises SchemeError, and as `sheet` does."""
    return sheet(load_scheme(scheme_path))


def sheet_files(
    scheme_path: Path,
    *,
    out: Path,
    forms: Sequence[str] = USUAL_FORMS,
    paper: str = "A4",
    templates: bool = False,
    force: bool = False,
) -> Result[MixSheet]:
    """Write the mix sheet of the scheme at `scheme_path` into the folder `out` in each of `forms`.

    The choices are those of `sheet`. Raises SchemeError, PictureError, InputError or OutputError; nothing is written
    then.
    """
    forms = [form.strip().lower() for form in forms]
    with suppress(InputError):  # told with all else that is wrong
        paper = in_words(paper, tuple(PAPERS), "--paper")
    return sheet(load_scheme(scheme_path), forms=forms, paper=paper, templates=templates).save(out, force=force)


def _check(forms: Sequence[str], paper: str) -> None:
    known = ", ".join(NAMES)
    problems = [
        Problem("no such form of the sheet", f"use one of {known}", field="--form", value=form)
        for form in forms
        if form not in NAMES
    ]
    if paper not in PAPERS:
        problems.append(Problem("no such paper", "use A4 or Letter", field="--paper", value=paper))
    if problems:
        raise InputError(problems)
