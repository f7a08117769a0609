"""The mix sheet of a scheme as files, or as text or JSON to show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from layerpreview.errors import InputError, Problem
from layerpreview.job.sheet import MixSheet, make_sheet
from layerpreview.output.files import written_together
from layerpreview.output.sheet_forms import sheet_html, sheet_json, sheet_pdf, sheet_text
from layerpreview.output.templates_pdf import template_pdf
from layerpreview.output.typst_pdf import PAPERS
from layerpreview.picture.faces import shapes_of
from layerpreview.scheme import load_scheme

FORMS = ("pdf", "html", "text", "json")


@dataclass(frozen=True)
class SheetFiles:
    """What was written."""

    folder: Path
    files: tuple[str, ...]


def mix_sheet(scheme_path: Path) -> MixSheet:
    """The mix sheet of the scheme at `scheme_path`.

    Raises SchemeError, PictureError or InputError listing all that is wrong.
    """
    return make_sheet(load_scheme(scheme_path))


def sheet_files(
    scheme_path: Path,
    *,
    out: Path,
    forms: Sequence[str] = ("pdf", "html"),
    paper: str = "A4",
    templates: bool = False,
    force: bool = False,
) -> SheetFiles:
    """Write the mix sheet into the folder `out` in each of `forms` ("pdf", "html", "text", "json").

    With `templates` also `templates.pdf`: outlines and burst lines at true scale. Raises SchemeError, PictureError,
    InputError or OutputError; nothing is written then.
    """
    _check(forms, paper)
    scheme = load_scheme(scheme_path)
    parts = shapes_of(scheme)
    sheet = make_sheet(scheme, parts=parts)
    made: dict[str, bytes] = {}
    for form in dict.fromkeys(forms):
        if form == "pdf":
            made["mix_sheet.pdf"] = sheet_pdf(sheet, paper=paper)
        elif form == "html":
            made["mix_sheet.html"] = sheet_html(sheet).encode()
        elif form == "text":
            made["mix_sheet.txt"] = sheet_text(sheet).encode()
        else:
            made["mix_sheet.json"] = sheet_json(sheet).encode()
    if templates:
        made["templates.pdf"] = template_pdf(scheme, parts, paper=paper, units=sheet.units)
    with written_together(out, list(made), force=force, inputs=scheme.inputs) as paths:
        for name, content in made.items():
            paths[name].write_bytes(content)
    return SheetFiles(out, tuple(made))


def _check(forms: Sequence[str], paper: str) -> None:
    known = ", ".join(FORMS)
    problems = [
        Problem("no such form of the sheet", f"use one of {known}", field="--form", value=form)
        for form in forms
        if form not in FORMS
    ]
    if paper not in PAPERS:
        problems.append(Problem("no such paper", "use A4 or Letter", field="--paper", value=paper))
    if problems:
        raise InputError(problems)
