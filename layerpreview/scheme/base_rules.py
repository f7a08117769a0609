"""Rules of the base that tie several of its values together."""

from __future__ import annotations

from typing import Any

from layerpreview.scheme.base import BASE_SOURCES
from layerpreview.scheme.fields import did_you_mean, listed
from layerpreview.scheme.raw import Table, given_in, named, names, tables, word
from layerpreview.scheme.report import Place, Report

_OPTIONS_OF = {
    "relief_options": "relief",
    "grain_options": "grain",
    "picture_options": "picture",
    "height_options": "height_picture",
}
_ONLY_OF = {"flake_spread": "metal", "relief": "metal", "height_picture": "metal", "grain": "wood", "soak": "wood"}


def check_bases(report: Report) -> None:
    """Add every broken rule of the base and of the bases of single faces."""
    raw = report.raw
    if isinstance(raw.get("base"), dict):
        _base(report, ("base",), raw["base"])
    faces = names(tables(raw, "face"))
    for name, base in named(raw, "base_of"):
        if name not in faces:
            hint = did_you_mean(name, faces) or (f"the faces are: {', '.join(faces)}" if faces else "add a [[face]]")
            report.add(("base_of", name), "there is no face of this name", hint)
        _base(report, ("base_of", name), base)


def _base(report: Report, place: Place, base: Table) -> None:
    given, found = given_in(base, BASE_SOURCES)
    if len(given) != 1:
        sources = listed(BASE_SOURCES).replace(" or ", " and ")
        report.add(place, f"a base has exactly one of {sources}; {found}", 'for example relief = "lifted"')
    for options, source in _OPTIONS_OF.items():
        if options in base and source not in given:
            report.add(
                (*place, options), f"these belong to a base with {source} = ...", f"add {source} or leave them out"
            )
    kind = word(base, "kind")
    for key, owner in _ONLY_OF.items():
        if key in base and kind in ("metal", "solid", "wood") and kind != owner:
            report.add((*place, key), f"only a {owner} base has this", f'leave it out, or write kind = "{owner}"')
    picture = base.get("picture_options")
    if isinstance(picture, dict) and picture.get("tile") is True and "width" not in picture:
        report.add(
            (*place, "picture_options", "tile"), "repeating needs the picture's true width", 'add width = "420 mm"'
        )
    if "height_picture" in base:
        _height(report, (*place, "height_options"), base.get("height_options", {}))


def _height(report: Report, place: Place, options: Any) -> None:
    if not isinstance(options, dict):
        return
    if "width" not in options:
        report.add((*place, "width"), "a relief picture needs its true width", 'add height_options.width = "120 mm"')
    slopes = word(options, "kind") == "normal"
    if slopes and "depth" in options:
        report.add((*place, "depth"), "a normal map holds slopes, it has no depth", "leave it out")
    if not slopes and "depth" not in options:
        report.add(
            (*place, "depth"),
            "a height map needs the height from its black to its white",
            'add height_options.depth = "0.4 mm", or kind = "normal" for a normal map',
        )
