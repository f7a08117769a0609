"""The parts of a starter scheme that come from a photo: faces and bases."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from layerpreview.scheme.source import toml_string
from layerpreview.surface.outline import Points
from layerpreview.workflows.photo_options import Wanted
from layerpreview.workflows.photographed import OwnBase, Photographed

TRACED_NAMES = {"front": "traced_edge.png", "back": "traced_back.png"}
_PAPER_REFLECTANCE = 0.9  # of white office paper: assumed


def faces_text(
    seen: Mapping[str, Photographed],
    wanted: Wanted,
    *,
    through: Sequence[str] | None = None,
    cavities: Mapping[str, Points] | None = None,
) -> str:
    """The faces of the scheme: those seen, a mirrored back and the side where they are wanted.

    through : names of the front's openings that go through, None where the back is no mirror image; cavities : rings
        (n, 2) [mm] on such a back by the names of their drawings.
    """
    one_body = through is not None
    text = "".join(
        f"""[[face]]                           # traced from your photo: look at {TRACED_NAMES[name]}
name = "{name}"
shape = "drawing"
drawing = "{name}.svg"              # in true size; any vector program can mend it

"""
        for name in seen
        if name == "front" or not one_body
    )
    if one_body:
        named = ", ".join(toml_string(name) for name in through or ())
        text += _MIRRORED_BACK.format(through=named)
        for k, (name, ring) in enumerate((cavities or {}).items(), start=1):
            across, down = (ring.max(axis=0) + ring.min(axis=0)) / 2
            text += _CAVITY.format(number=k, drawing=name, across=across, down=down)
    if wanted.depth_mm is not None:
        text += _SIDE.format(depth_mm=wanted.depth_mm)
    return text


def bases_text(seen: Mapping[str, Photographed], bases: Mapping[str, OwnBase], wanted: Wanted) -> str:
    """The base of the front, and that of the back where it has a photo of its own."""
    text = ""
    for name, base in bases.items():
        table = "base" if name == "front" else f"base_of.{name}"
        if name == "front":
            text += f"kind = {toml_string(wanted.kind)}                     # metal, solid (white or a colour), wood\n"
        else:
            text += f"[{table}]                     # all else as in [base]\n"
        text += _PHOTO_BASE.format(name=name, table=table, width_mm=base.width_mm)
        if wanted.kind != "metal":
            text += '  taken = "dry"                    # or "under clear": how the surface was when photographed\n'
        if seen[name].neutral is not None:
            text += f'  neutral_colour = "{seen[name].neutral}"       # what the white paper beside it shows\n'
            text += f"  neutral_reflectance = {_PAPER_REFLECTANCE}         # of white office paper (assumed)\n"
        text += "\n"
    return text


def on_the_back(ring: Points, back: Photographed, front: Photographed) -> Points:
    """A ring of the back's own outline [mm] where it lies on the front's mirror image: middle on middle."""
    own, other = back.part.outline, front.part.outline
    return np.asarray(ring + np.array([other.width_mm - own.width_mm, other.height_mm - own.height_mm]) / 2)


_MIRRORED_BACK = """[[face]]
name = "back"
shape = "mirrored"                 # the front's outline seen from behind
of = "front"
through = [{through}]              # the front's openings that go right through

"""
_CAVITY = """  [[face.opening]]
  name = "cavity {number}"
  shape = "drawing"
  drawing = "{drawing}"
  centre = ["{across:.2f} mm", "{down:.2f} mm"]

"""
_SIDE = """[[face]]
name = "side"
shape = "side"                     # all round the outer edge
of = "front"
depth = "{depth_mm:g} mm"

"""
_PHOTO_BASE = """picture = "{name}.jpg"              # your photo, square and to scale; the rest is from its texture

  [{table}.picture_options]
  width = "{width_mm:.2f} mm"
  tile = true                      # carried on where a face is larger
  even_out = 1.0                   # fall-off, soft reflections and glare taken out: 0 none of it, 0.5 half
"""
