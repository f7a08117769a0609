"""Begin a job: a starter scheme and its first picture, and the demo."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from layerpreview.errors import InputError, OutputError, Problem
from layerpreview.finish.view import SURROUNDINGS
from layerpreview.output.files import ANOTHER_FOLDER, write_text, written_together
from layerpreview.output.photo_copy import copy_name, write_photo_copy
from layerpreview.output.pictures import write_picture
from layerpreview.scheme import load_scheme
from layerpreview.scheme.source import toml_string
from layerpreview.surface.picture_file import read_picture
from layerpreview.units import UnitError, parse_quantity
from layerpreview.workflows.lifelike import USUAL_ROOM, lifelike_name, write_lifelike
from layerpreview.workflows.render import Rendered, render_files

SCHEME_NAME = "scheme.toml"
FIRST_ROOM = SURROUNDINGS[USUAL_ROOM]
FIRST_NAME, FIRST_PX = lifelike_name(FIRST_ROOM), 800
ANOTHER_JOB = "start another folder"
DEMO_SAMPLE = "octave_mandolin.toml"


SHAPES: dict[str, tuple[str, tuple[str, str] | None]] = {
    # Sizes of the face, and where a hole of 36 mm lies on it.
    "panel": ('width = "300 mm"\nheight = "240 mm"', ("150 mm", "120 mm")),
    "ellipse": ('width = "300 mm"\nheight = "380 mm"', ("150 mm", "190 mm")),
    "disc": ('diameter = "12 in"', ("6 in", "6 in")),
    "teardrop": ('width = "320 mm"\nheight = "400 mm"', ("160 mm", "225 mm")),
    "double bout": ('width = "330 mm"\nheight = "450 mm"', ("165 mm", "320 mm")),
    "drum shell": ('diameter = "14 in"\ndepth = "6 1/2 in"', ("10 in", "3 1/4 in")),
    "tube": ('diameter = "32 mm"\nlength = "550 mm"', None),
}
PHOTO_NAME, TRACED_NAME = "part", "traced_edge.png"
DIRECTIONS_NAME, BRIGHTNESS_NAME = "base_slopes.png", "base_brightness.png"


@dataclass(frozen=True)
class Started:
    """What was written, and the scheme to go on with."""

    folder: Path
    files: tuple[str, ...]
    scheme: Path


def start_job(
    folder: Path,
    *,
    shape: str | None = None,
    photo: Path | Sequence[Path] | None = None,
    part_width: str | None = None,
    lamp_sides: Sequence[str] | None = None,
    force: bool = False,
) -> Started:
    """Write a commented starter scheme and its first picture into `folder`.

    `shape`: one of `SHAPES`, a panel where not given. With `photo`, a picture of the part on a plain background, the
    outline is traced from it instead; `part_width` is then the true width of the part ("320 mm"), and the traced edge
    is drawn on a copy. With three photos and `lamp_sides`, where the lamp was in each ("left", "top", "right" or
    "bottom"), slopes and flake brightness of the part are measured too and are its base. A scheme that is there is
    never written over, `force` or not: a person may have changed it.
    Raises InputError, PictureError or OutputError; nothing is written then.
    """
    _spare_scheme(folder, ANOTHER_JOB)
    if photo is not None:
        if shape is not None:
            rule = "the outline is traced from the photo, a shape has no use then"
            raise InputError(Problem(rule, "leave out --shape or --photo", field="--shape", value=shape))
        photos = [photo] if isinstance(photo, Path) else list(photo)
        if lamp_sides is not None or len(photos) != 1:
            return _start_from_lamps(folder, photos, lamp_sides or (), part_width, force=force)
        return _start_from_photo(folder, photos[0], part_width, force=force)
    if lamp_sides is not None:
        rule = "these are of three photos, and there is none"
        value = ",".join(lamp_sides)
        raise InputError(Problem(rule, "add --photo FILE three times", field="--lamp-sides", value=value))
    if part_width is not None:
        rule = "this is the width of a part in a photo, and there is no photo"
        raise InputError(Problem(rule, "add --photo FILE, or leave it out", field="--part-width", value=part_width))
    shape = "panel" if shape is None else shape
    if shape not in SHAPES:
        remedy = f"use one of {', '.join(SHAPES)}"
        raise InputError(Problem(field="--shape", value=shape, rule="no such shape", remedy=remedy))
    sizes, hole = SHAPES[shape]
    face = f'[[face]]\nname = "front"\nshape = "{shape}"\n{sizes}\n'
    if hole is not None:
        face += HOLE.format(across=hole[0], down=hole[1])
    names = [SCHEME_NAME, FIRST_NAME]
    with written_together(folder, names, force=force, inputs=(), elsewhere=ANOTHER_JOB) as paths:
        write_text(paths[SCHEME_NAME], _starter(f"First {shape}", face, rim="hole" if hole else "outline"))
        _first_picture(paths)
    return Started(folder, tuple(names), folder / SCHEME_NAME)


def _first_picture(paths: Mapping[str, Path]) -> None:
    """A job that cannot be read or drawn is no beginning: nothing is kept then."""
    write_lifelike(load_scheme(paths[SCHEME_NAME]), FIRST_ROOM, paths[FIRST_NAME], width_px=FIRST_PX)


def _spare_scheme(folder: Path, elsewhere: str, *, unless: str | None = None) -> None:
    """Refuse a folder that has a scheme, but for one whose text is still `unless`."""
    there = folder / SCHEME_NAME
    if there.is_file() and (unless is None or there.read_bytes() != unless.encode("utf-8")):
        rule = f"{folder}: already there: {SCHEME_NAME}; a scheme is never written over; nothing was written"
        raise OutputError(f"{rule}; {elsewhere}")


HOLE = """
  [[face.opening]]                 # holes and cavities, as many as there are; delete this block for none
  name = "hole"
  shape = "disc"
  diameter = "36 mm"
  centre = ["{across}", "{down}"]    # across and down from the face's top left corner
"""


def _start_from_lamps(
    folder: Path, photos: Sequence[Path], sides: Sequence[str], part_width: str | None, *, force: bool
) -> Started:
    from layerpreview.surface.trace import traced_picture
    from layerpreview.workflows.start_lamps import lit_part, write_brightness

    width_mm = _part_width_mm(part_width)
    lit = lit_part(photos, sides, part_width_mm=width_mm)
    copy = copy_name(lit.photo, PHOTO_NAME)
    names = [SCHEME_NAME, FIRST_NAME, copy, TRACED_NAME, DIRECTIONS_NAME, BRIGHTNESS_NAME]
    text = _starter("First preview", _traced_face(copy, part_width or ""), rim="outline")
    base = MEASURED_BASE.format(width_mm=lit.width_mm, lamps=", ".join(f"{deg:.0f}" for deg in lit.relief.heights_deg))
    start, end = text.index('relief = "lifted"'), text.index("# A photo of your own base")
    with written_together(folder, names, force=force, inputs=photos, elsewhere=ANOTHER_JOB) as paths:
        write_text(paths[SCHEME_NAME], text[:start] + base + text[end:])
        write_photo_copy(lit.picture, paths[copy])
        write_picture(traced_picture(lit.picture, lit.traced), paths[TRACED_NAME])
        write_picture(lit.directions, paths[DIRECTIONS_NAME])
        write_brightness(lit.brightness, paths[BRIGHTNESS_NAME])
        _first_picture(paths)
    return Started(folder, tuple(names), folder / SCHEME_NAME)


MEASURED_BASE = f"""height_picture = "{DIRECTIONS_NAME}"   # the slopes of your own base, from your three photos
silver = "medium"                  # the flakes that the slopes were worked out for

  [base.height_options]
  kind = "normal"
  width = "{{width_mm:.2f}} mm"
  tile = true                      # from here on where another face is larger
  brightness = "{BRIGHTNESS_NAME}"  # how bright its flakes are; the lamps stood at {{lamps}} degrees

"""


def _part_width_mm(part_width: str | None) -> float:
    if part_width is None:
        remedy = 'measure the part at its widest and add for example --part-width "320 mm"'
        raise InputError(Problem(field="--part-width", rule="a photo does not know its scale", remedy=remedy))
    try:
        width_mm = parse_quantity(part_width, "length")
    except UnitError as error:
        raise InputError(
            Problem(field="--part-width", value=part_width, rule=error.rule, remedy=error.remedy)
        ) from error
    if not 1.0 <= width_mm <= 20_000.0:
        rule, remedy = "this must be from 1 mm to 20000 mm", "check the number and its unit"
        raise InputError(Problem(rule, remedy, field="--part-width", value=part_width))
    return width_mm


def _traced_face(copy: str, part_width: str) -> str:
    return (
        f"[[face]]                           # the outline is traced from your photo: look at {TRACED_NAME}\n"
        f'name = "front"\nshape = "picture"\npicture = {toml_string(copy)}\ninside = "object"               '
        f"# the part, against the plain background\npart_width = {toml_string(part_width)}\n"
    )


def _start_from_photo(folder: Path, photo: Path, part_width: str | None, *, force: bool) -> Started:
    from layerpreview.surface.trace import trace_mask, traced_picture

    width_mm = _part_width_mm(part_width)
    picture = read_picture(photo)
    traced = trace_mask(picture, part_width_mm=width_mm, inside="object")
    copy = copy_name(photo, PHOTO_NAME)
    face = _traced_face(copy, part_width or "")
    names = [SCHEME_NAME, FIRST_NAME, copy, TRACED_NAME]
    with written_together(folder, names, force=force, inputs=[photo], elsewhere=ANOTHER_JOB) as paths:
        write_text(paths[SCHEME_NAME], _starter("First preview", face, rim="outline"))
        write_photo_copy(picture, paths[copy])
        write_picture(traced_picture(picture, traced), paths[TRACED_NAME])
        _first_picture(paths)
    return Started(folder, tuple(names), folder / SCHEME_NAME)


def _starter(name: str, face: str, *, rim: str) -> str:
    text = _resource("starter.toml")
    for mark, words in (("{name}", name), ("{face}", face), ("{rim}", rim)):
        text = text.replace(mark, words)
    return text


def run_demo(folder: Path, *, force: bool = False) -> tuple[Started, Rendered]:
    """Write the sample scheme into `folder` and render it there; one that was changed since is never written over."""
    text = sample_text(DEMO_SAMPLE)
    _spare_scheme(folder, ANOTHER_FOLDER, unless=text)
    with written_together(folder, [SCHEME_NAME], force=force, inputs=()) as paths:
        write_text(paths[SCHEME_NAME], text)
    started = Started(folder, (SCHEME_NAME,), folder / SCHEME_NAME)
    return started, render_files(started.scheme, out=folder / "pictures", force=force)


def sample_text(name: str) -> str:
    """A sample scheme by file name: from the installed package, or from the checkout it runs in."""
    packed = resources.files("layerpreview") / "samples" / name
    if packed.is_file():
        return packed.read_text(encoding="utf-8")
    return (Path(__file__).parents[2] / "samples" / name).read_text(encoding="utf-8")


def _resource(name: str) -> str:
    return (resources.files("layerpreview") / "data" / name).read_text(encoding="utf-8")
