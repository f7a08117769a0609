"""A job begun from a photo: the part's outline as a drawing, the same photo as its base, and how sure both are."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from layerpreview.output.files import write_text, written_together
from layerpreview.output.outline_svg import write_outline_svg
from layerpreview.output.photo_copy import write_photo_copy
from layerpreview.output.pictures import write_picture
from layerpreview.scheme.source import toml_string
from layerpreview.surface.photo_base import WholeBase
from layerpreview.surface.verdict import Sureness
from layerpreview.workflows.photo_options import MIRRORED, Wanted
from layerpreview.workflows.photographed import OwnBase, Photographed, own_base, photographed, to_look_at
from layerpreview.workflows.starter import ANOTHER_JOB, FIRST_NAME, SCHEME_NAME, Started, first_picture, starter

TRACED_NAMES = {"front": "traced_edge.png", "back": "traced_back.png"}
_PAPER_REFLECTANCE = 0.9  # of white office paper: assumed
HOW_TO_HELP = (
    'name a point of the part with --at "50%,50%" or of what it lies on with --background "5%,5%"; or draw round it '
    "with a bright green line on a copy and add --drawn COPY; or lay it on a plain sheet of another tone"
)


def start_from_photo(folder: Path, photo: Path, wanted: Wanted, *, force: bool) -> Started:
    """Begin a job from one photo of the part, and one of its back where wanted.

    Where an outline is not usable, only the pictures of what was traced are written. Raises InputError, PictureError
    or OutputError; nothing is written then.
    """
    seen = {"front": photographed(photo, wanted)}
    if wanted.back is not None and wanted.back != MIRRORED:
        seen["back"] = photographed(Path(wanted.back), _of_back(wanted, seen["front"]))
    photos = [one.file for one in seen.values()]
    if any(one.sureness.verdict == "not usable" for one in seen.values()):
        return not_usable(folder, seen, photos, said=seen_said(seen), force=force)
    bases = {name: own_base(one) for name, one in seen.items()}
    text = starter("First preview", faces_text(seen, wanted), rim="outline", base=_bases(seen, bases, wanted))
    drawn = [f"{name}.{suffix}" for name in seen for suffix in ("svg", "jpg")]
    names = [SCHEME_NAME, FIRST_NAME, *drawn, *(TRACED_NAMES[name] for name in seen)]
    with written_together(folder, names, force=force, inputs=photos, elsewhere=ANOTHER_JOB) as paths:
        write_text(paths[SCHEME_NAME], text)
        for name, one in seen.items():
            write_outline_svg(one.part.outline, paths[f"{name}.svg"])
            write_photo_copy(bases[name].whole.picture, paths[f"{name}.jpg"])
        _write_traced(paths, seen, bases)
        first_picture(paths)
    limits = (LIMITS,) if wanted.kind == "metal" else ()
    said = (*seen_said(seen), *(line for name, base in bases.items() for line in _base_said(name, base.whole)), *limits)
    look_at = (*(TRACED_NAMES[name] for name in seen), FIRST_NAME)
    return Started(folder, tuple(names), folder / SCHEME_NAME, said, look_at=look_at)


def not_usable(
    folder: Path, seen: Mapping[str, Photographed], photos: Sequence[Path], *, said: tuple[str, ...], force: bool
) -> Started:
    """Write no more than the pictures of what was traced: there is nothing to go on with."""
    names = [TRACED_NAMES[name] for name in seen]
    with written_together(folder, names, force=force, inputs=photos, elsewhere=ANOTHER_JOB) as paths:
        _write_traced(paths, seen)
    return Started(folder, tuple(names), folder / SCHEME_NAME, said, usable=False, look_at=tuple(names))


LIMITS = (
    "a photo of silver holds the lamps of that day: tilting the part only moves the dye over it. For a base that turns "
    "and glints, take three photos with the lamp at three sides: --photo three times and --lamp-sides left,top,right"
)


def sure_line(name: str, sureness: Sureness) -> str:
    """How sure an outline is, in one line."""
    holes = f"{sureness.openings} opening{'' if sureness.openings == 1 else 's'}"
    if sureness.closed:
        holes += f", {sureness.closed} place{'' if sureness.closed == 1 else 's'} like the ground closed"
    figures = (
        f"its edge shows along {100 * sureness.edge_clear:.0f} %, where light changes "
        f"{math.exp(sureness.contrast / math.sqrt(3)):.1f}-fold; ragged by {sureness.raggedness_mm:.2f} mm; "
        f"{100 * sureness.border_clear:.0f} % of the picture's border is plain ground; {holes}"
    )
    why = f" ({'; '.join(sureness.against)})" if sureness.against else ""
    return f"outline of the {name}: {sureness.verdict}{why}: {figures}"


def seen_said(seen: Mapping[str, Photographed]) -> tuple[str, ...]:
    """What is to be said of photos: how sure each outline is, its scale, whether two sides are alike."""
    lines: list[str] = []
    for name, one in seen.items():
        lines += [sure_line(name, one.sureness), *one.said]
    if "back" in seen:
        lines.append(_how_alike(seen["front"], seen["back"]))
    return tuple(lines)


def _base_said(name: str, base: WholeBase) -> list[str]:
    glare = float(base.glare.mean())
    lines = [
        f"base of the {name}: uneven light ({base.light_range:.1f} times from its darkest to its lightest place) is "
        "taken out, the texture kept: even_out in the scheme says how much of it"
    ]
    if glare > 0:
        lines.append(
            f"base of the {name}: glare on {100 * glare:.1g} % of its box was filled from the texture round it"
        )
    return lines


def _of_back(wanted: Wanted, front: Photographed) -> Wanted:
    """The back is as wide as the front; points named are of the front's photo."""
    width = front.part.outline.width_mm
    return replace(wanted, part_width_mm=width, marks=None, at=None, background=None, drawn=None)


def _how_alike(front: Photographed, back: Photographed) -> str:
    import shapely
    from shapely import affinity

    one, other = (shapely.Polygon(seen.part.outline.outer) for seen in (front, back))
    wide, high = back.part.outline.width_mm, back.part.outline.height_mm
    mirrored = affinity.scale(other, xfact=-1, origin=(wide / 2, high / 2))
    off = float(one.symmetric_difference(mirrored).area) / float(one.area)
    again = "" if off < 0.03 else ": are both photos of one part, the back turned over sideways?"
    return f"front and mirrored back differ on {100 * off:.1f} % of the area{again}"


def _write_traced(
    paths: Mapping[str, Path], seen: Mapping[str, Photographed], bases: Mapping[str, OwnBase] | None = None
) -> None:
    for name, one in seen.items():
        write_picture(to_look_at(one, bases[name] if bases else None), paths[TRACED_NAMES[name]])


def faces_text(seen: Mapping[str, Photographed], wanted: Wanted) -> str:
    """The faces of the scheme: those seen, a mirrored back and the side where they are wanted."""
    text = "".join(
        f"""[[face]]                           # traced from your photo: look at {TRACED_NAMES[name]}
name = "{name}"
shape = "drawing"
drawing = "{name}.svg"              # in true size; any vector program can mend it

"""
        for name in seen
    )
    if wanted.back == MIRRORED:
        text += _MIRRORED_BACK
    if wanted.depth_mm is not None:
        text += _SIDE.format(depth_mm=wanted.depth_mm)
    return text


_MIRRORED_BACK = """[[face]]
name = "back"
shape = "mirrored"                 # the front seen from behind, without its openings
of = "front"

"""
_SIDE = """[[face]]
name = "side"
shape = "side"                     # all round the outer edge
of = "front"
depth = "{depth_mm:g} mm"

"""


def _bases(seen: Mapping[str, Photographed], bases: Mapping[str, OwnBase], wanted: Wanted) -> str:
    text = ""
    for name, base in bases.items():
        table = "base" if name == "front" else f"base_of.{name}"
        head = "" if name == "front" else f"[{table}]\n"
        text += f"""{head}kind = {toml_string(wanted.kind)}                     # metal, solid (white or a colour), wood
picture = "{name}.jpg"              # your photo, square and to scale; what is not the part is made from its texture

  [{table}.picture_options]
  width = "{base.width_mm:.2f} mm"
  tile = true                      # carried on where a face is larger
  even_out = 1.0                   # fall-off, soft reflections and glare taken out: 0 none of it, 0.5 half
"""
        if wanted.kind != "metal":
            text += '  taken = "dry"                    # or "under clear": how the surface was when photographed\n'
        if seen[name].neutral is not None:
            text += f'  neutral_colour = "{seen[name].neutral}"       # what the white paper beside it shows\n'
            text += f"  neutral_reflectance = {_PAPER_REFLECTANCE}         # of white office paper (assumed)\n"
        text += "\n"
    return text
