"""READ_ME.txt of a record: what each file is, the units, the formulas, and how to check that nothing was changed."""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Sequence
from importlib import resources
from string import Template

from layerpreview.colour import DISPLAY_WHITE_XYZ
from layerpreview.job.cautions import CAUTION_ISOCYANATE, CAUTION_LAST_WORD, CAUTION_SKIN, CAUTION_VAPOUR
from layerpreview.output.record_model import RecordFile, in_order

WIDTH = 78
_FILES = (
    ("cover.pdf", "the cover: one page to look at and to print (PDF/A, made to be read in decades)"),
    ("picture.png", "the picture of the part as made, worked out and drawn"),
    ("record.json", "all of the below in one file for a program (UTF-8 text, JSON)"),
    ("mixes.csv", "every mix: how much of each dye, as planned and as made"),
    ("batches.csv", "everything that was poured, one line each"),
    ("films.csv", "every coat in the order sprayed: how many, how thick, what was read"),
    ("colours.csv", "the colour of each place under each light, as made and as agreed"),
    ("places.csv", "where these places lie, and how much of each coat is there"),
    ("spectra.csv", "how much light each place sends back at each wavelength"),
    ("dyes.csv", "how much light each dye takes at each wavelength"),
    ("lights.csv", "the lights, and the eye of the standard observer"),
    ("film_face.csv", "what the face of the film does to light (see formula 5)"),
    ("job-log.jsonl", "the job's diary as it was written, one JSON object a line"),
    ("scheme/", "the written scheme (scheme.toml, plain text) and the files it names"),
    ("photos/", "photos that were taken on the job, without their camera's notes"),
    ("MANIFEST.sha256", "the seal: the SHA-256 of every other file"),
    ("READ_ME.txt", "this guide"),
)


def guide_text(content: RecordFile, planned: Sequence[str], names: Collection[str], missing: Sequence[str]) -> str:
    """The reading guide, wrapped at 78.

    `planned`: the scheme in words, `names`: the files of the record, `missing`: what it does without.
    """
    template = (resources.files("layerpreview") / "data" / "record_read_me.txt").read_text(encoding="utf-8")
    held = {*names, "MANIFEST.sha256", "READ_ME.txt"}
    files = [
        _two_columns(name, words)
        for name, words in _FILES
        if name in held or (name.endswith("/") and any(one.startswith(name) for one in held))
    ]
    cautions = (CAUTION_VAPOUR, CAUTION_ISOCYANATE, CAUTION_SKIN, CAUTION_LAST_WORD)
    without = [f"It does without: {words}." for words in missing]
    return Template(template).substitute(
        name=_wrapped(content.name),
        made=content.made,
        observer=content.observer_deg,
        lights=", ".join(content.lights),
        software=_wrapped(", ".join(f"{name} {version}" for name, version in content.software.items())),
        agreed=_wrapped(f'"As agreed" is {content.agreed}.'),
        files="\n".join(files),
        missing="\n".join(_wrapped(words) for words in without) or "Nothing is missing.",
        mixes="\n".join(_wrapped(words, indent="  ") for words in _mixes(content)) or "  none",
        coats="\n".join(_wrapped(words, indent="  ") for words in _coats(content)) or "  none",
        planned="\n".join(_wrapped(words, indent="  ") for words in planned),
        white="  ".join(f"{value:.5f}" for value in DISPLAY_WHITE_XYZ),
        cautions="\n\n".join(
            _wrapped(f"{title}. {text.replace('this sheet', 'this record')}") for title, text in cautions
        ),
    )


def _two_columns(name: str, words: str) -> str:
    return textwrap.fill(words, WIDTH, initial_indent=f"  {name:<17}", subsequent_indent=" " * 19)


def _wrapped(words: str, *, indent: str = "") -> str:
    return textwrap.fill(words, WIDTH, initial_indent=indent, subsequent_indent=indent + "  " if indent else "")


def _mixes(content: RecordFile) -> list[str]:
    found = []
    for mix in content.mixes:
        dyes = ", ".join(f"{dye} {amount}" for dye, amount in mix.strengths_as_made.items())
        how = "as poured" if mix.as_made else f"as planned ({'; '.join(mix.words)})"
        found.append(f"{mix.name}: {dyes}; {how}")
    return found


def _coats(content: RecordFile) -> list[str]:
    found = []
    for coat in in_order(content):
        low, likely, high = coat.film_um
        counted = "counted" if coat.counted else "as planned"
        film = f"{likely:g} um ({low:g} to {high:g}), {coat.film_basis}"
        number = f"{coat.entry}. " if coat.entry > 0 else ""
        found.append(f"{number}{coat.mix}: {coat.done} coats ({counted}), wet film of one {film}")
    return found
