"""The bases that are made rather than photographed, each as a real chip: a small plate of it, by a window, no dye."""

from __future__ import annotations

import io
from pathlib import Path
from threading import Lock

from PIL import Image

from layerpreview.colour import LIFELIKE
from layerpreview.errors import InputError, Problem
from layerpreview.finish.view import surroundings_of
from layerpreview.output.live_kept import kept_whole
from layerpreview.output.pictures import rendered_small
from layerpreview.picture.lifelike import lifelike_of, looks_of
from layerpreview.scheme import scheme_from_text
from layerpreview.surface.relief import RELIEF_KINDS
from layerpreview.surface.wood import FIGURES
from layerpreview.threads import Made
from layerpreview.workflows.starter import MADE_BASE

WHITE = "#f4f2ec"
CHIP_PX = 240
_PLATE_MM = 60.0
_MARGIN = 0.115
"""Of the picture: the backdrop round the plate, cut off."""
_chips: Made[bytes] = Made(16)
_drawing = Lock()
"""A page asks for all chips at once, and what they share would be made for each of them."""

_CHIP = f"""layerpreview = 1
name = "chip"
lights = ["D65"]

[[face]]
name = "chip"
shape = "panel"
width = "{_PLATE_MM:g} mm"
height = "{_PLATE_MM:g} mm"

[base]
{{base}}
[clear]
finish = "gloss"
"""
_WOOD = """\
kind = "wood"
grain = "{figure}"                    # or plain, flame; a photo of your own wood: picture = "my-wood.jpg"

  [base.grain_options]
  seed = 3                         # another number, another board

"""
_WHITE = f"""\
kind = "solid"
colour = "{WHITE}"                 # white primer; or any colour

"""

WORDS = {
    **{f"relief {kind}": f"{kind} silver" for kind in RELIEF_KINDS},
    **{f"grain {figure}": f"{figure} wood" for figure in FIGURES},
    "white": "white",
}
"""The bases that are made, by the name the page asks for them with, and what a person calls them."""


def base_text(name: str) -> str:
    """The base `name`, one of WORDS, as the scheme has it. Raises InputError for another."""
    if name not in WORDS:
        raise InputError(Problem("there is no such base", f"use one of {', '.join(WORDS)}", field="base", value=name))
    kind, _, figure = name.partition(" ")
    if kind == "relief":
        return MADE_BASE.replace('relief = "lifted"', f'relief = "{figure}"')
    return _WOOD.format(figure=figure) if kind == "grain" else _WHITE


def chip(name: str) -> bytes:
    """The chip of a base as JPEG, made once. Raises InputError for a base there is not."""
    text = _CHIP.format(base=base_text(name))
    return _chips.get(name, lambda: kept_whole("chip", text, lambda: _drawn(text)))


def _drawn(text: str) -> bytes:
    scheme = scheme_from_text(text, Path("chip.toml"))
    with _drawing:
        scene = lifelike_of(scheme, surroundings_of(scheme, "window"), width_px=CHIP_PX)
        shown = Image.fromarray(rendered_small(scene, looks_of(scheme, scene, "D65"), rolled_from=LIFELIKE))
    edge = round(_MARGIN * CHIP_PX)
    out = io.BytesIO()
    shown.crop((edge, edge, shown.width - edge, shown.height - edge)).save(out, "JPEG", quality=90)
    return out.getvalue()
