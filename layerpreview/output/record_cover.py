"""The cover of a record: one page with the picture, the colours under the lights, mixes and coats; PDF/A to last."""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from layerpreview.colour import light_words
from layerpreview.job.finished import FinishedPlace
from layerpreview.output.record_model import RecordedCoat, RecordFile, in_order
from layerpreview.output.typst_pdf import Standard, compile_pdf, shortened
from layerpreview.picture.spots import SpotKind

STANDARDS: tuple[Standard, ...] = ("a-2a", "ua-1")
"""PDF/A-2a (ISO 19005-2, level A) and PDF/UA-1: all that is shown is in the file, with its text and its order."""
_MOST_PLACES, _MOST_MIXES, _MOST_COATS = 4, 5, 9
_ORDER = (SpotKind.FIELD, SpotKind.BURST, SpotKind.ZONE, SpotKind.EDGE, SpotKind.BASE)
"""What says most of a finish comes first where there is no room for all."""


def cover_pdf(
    content: RecordFile, places: Sequence[FinishedPlace], picture: NDArray[np.uint8] | None, *, seal: str
) -> bytes:
    """The cover of a record on A4; `picture` (rows, cols, 3), `seal`: the SHA-256 of its record.json.

    Raises OutputError where typst is missing, or where a text cannot be set.
    """
    made = datetime.fromisoformat(content.made)
    shown = sorted(places, key=lambda place: _ORDER.index(SpotKind(place.kind)))[:_MOST_PLACES]
    coats = [
        (f"{coat.entry}. {coat.mix}" if coat.entry > 0 else coat.mix, _coat_words(coat)) for coat in in_order(content)
    ]
    data = {
        "title": f"{content.name}: record of a finish",
        "name": shortened(content.name, 60),
        "line": f"Record of a finish, made on {made.day} {made:%B %Y}. {_base_words(content)}",
        "date": [made.year, made.month, made.day],
        "picture": "" if picture is None else "picture.jpg",
        "about": f"{content.name} as it was made, worked out and drawn; approximate",
        "colours_head": "Colours as made" if content.from_diary else "Colours as planned: nothing is in the diary yet",
        "lights": [light_words(light) for light in content.lights],
        "places": [
            {"name": shortened(place.name, 24), "swatches": [_swatch(place, light) for light in content.lights]}
            for place in shown
        ],
        "colours_foot": _colours_foot(content, len(places) - len(shown)),
        "mixes_head": "Mixes, per litre ready to spray",
        "mixes": _cut([(mix.name, _mix_words(content, mix.name)) for mix in content.mixes], _MOST_MIXES, "mixes.csv"),
        "coats_head": "Coats, in the order sprayed",
        "coats": _cut(coats, _MOST_COATS, "films.csv"),
        "foot": "All figures are approximate. Spray a card before the part. The products' safety data sheets, local "
        "codes and licensed practice come first.",
        "seal": f"Sealed: SHA-256 of record.json {seal}",
    }
    files = {} if picture is None else {"picture.jpg": _jpeg(picture)}
    stamp = int(made.timestamp())
    return compile_pdf("record.typ", data, paper="A4", files=files, standards=STANDARDS, timestamp=stamp)


def _jpeg(picture: NDArray[np.uint8]) -> bytes:
    made = io.BytesIO()
    Image.fromarray(picture).save(made, "JPEG", quality=92, subsampling=0)
    return made.getvalue()


def _swatch(place: FinishedPlace, light: str) -> dict[str, str]:
    lightness, a, b = place.lab[light]
    de00 = place.de00(light)
    said = "" if de00 is None else f"off by {de00:.1f}"
    return {"srgb": place.srgb[light], "lab": f"{lightness:.1f}  {a:.1f}  {b:.1f}".replace("-", "\u2212"), "de00": said}


def _colours_foot(content: RecordFile, left_out: int) -> str:
    more = f" {left_out} more in colours.csv." if left_out > 0 else ""
    return (
        f"L*, a*, b* ({content.observer_deg}-degree observer, adapted to D65, even light, seen straight on); at the "
        f"right how far it is off what was agreed (CIEDE2000). As agreed is {content.agreed}.{more}"
    )


def _base_words(content: RecordFile) -> str:
    words = str(content.base.get("words", ""))
    clear = content.base.get("clear", {}).get("finish", "")
    return shortened(f"Base: {words.split('; sprayed')[0]}; {clear} clear.", 150)


def _mix_words(content: RecordFile, name: str) -> str:
    mix = next(mix for mix in content.mixes if mix.name == name)
    dyes = ", ".join(f"{dye} {amount.removesuffix('/L')}" for dye, amount in mix.strengths_as_made.items())
    how = f"as poured, {mix.batches} batch{'es' if mix.batches > 1 else ''}" if mix.as_made else "as planned"
    lots = f", lots {', '.join(mix.lots.values())}" if mix.lots else ""
    return shortened(f"{dyes} ({how}{lots})", 150)


def _coat_words(coat: RecordedCoat) -> str:
    low, likely, high = coat.film_um
    film = f"{likely:.0f} um wet" + (f" ({low:.0f} to {high:.0f})" if high - low >= 1.0 else "")
    count = f"{coat.done} coat{'' if coat.done == 1 else 's'}"
    asked = f" of {coat.planned}" if coat.counted and coat.done != coat.planned else ""
    how = "" if coat.counted else " as planned"
    return shortened(f"{count}{asked}{how}, {film}, {coat.film_basis.partition(' (')[0]}", 110)


def _cut(lines: Sequence[tuple[str, str]], most: int, file: str) -> list[dict[str, str]]:
    """The first lines, and where the rest is told."""
    shown = [{"name": shortened(name, 30), "words": words} for name, words in lines[:most]]
    left = len(lines) - len(shown)
    return [*shown, {"name": f"and {left} more", "words": f"in {file}"}] if left else shown
