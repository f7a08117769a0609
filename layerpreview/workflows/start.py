"""Begin a job: a starter scheme and its first picture, and the demo."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from layerpreview.errors import InputError, Problem
from layerpreview.output.figures_result import figures_text
from layerpreview.output.files import ANOTHER_FOLDER, write_text, written_together
from layerpreview.scheme.source import toml_string
from layerpreview.workflows.gallery import start_like
from layerpreview.workflows.photo_options import PhotoOptions, length_mm, read_options
from layerpreview.workflows.places import SCHEME_NAME
from layerpreview.workflows.render import Rendered, render_files
from layerpreview.workflows.samples import SAMPLES, sample_text
from layerpreview.workflows.starter import (
    ANOTHER_JOB,
    FIRST_JOB,
    FIRST_NAME,
    MADE_BASE,
    SCHEMA_NAME,
    Started,
    first_picture,
    spare_scheme,
    starter,
    write_scheme,
)

DEMO_SAMPLE = SAMPLES[0]
FIGURES_NAME = "figures.txt"

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


def start_job(
    folder: Path,
    *,
    shape: str | None = None,
    like: str | None = None,
    photo: Path | Sequence[Path] | None = None,
    part_width: str | None = None,
    lamp_sides: Sequence[str] | None = None,
    lamp_heights: str | None = None,
    options: PhotoOptions | None = None,
    force: bool = False,
    tell: Callable[[str], None] | None = None,
) -> Started:
    """Write a commented starter scheme and its first picture into `folder`.

    `shape`: one of `SHAPES`, a panel where not given; or `like`, a finish of the gallery, with its own shapes. With
    `photo`, a picture of the part on a plain ground, its outline and its base are read from it instead; `options` say
    what of it is known, or `part_width` alone, the true width of the part ("320 mm"). With three photos and
    `lamp_sides`, where the lamp was in each ("left", "top", "right" or "bottom"), slopes and flake brightness of the
    part are measured and are its base; `lamp_heights` [deg] over the bench, "45" or one each ("40,45,50"), are found
    where not given. A scheme that is there is never written over, `force` or not: a person may have changed it.
    `tell` is given a word before what takes time.
    Raises InputError, PictureError or OutputError; nothing is written then.
    """
    spare_scheme(folder, ANOTHER_JOB)
    options = options or PhotoOptions(part_width=part_width)
    if like is not None and (shape is not None or photo):
        other = "--photo" if shape is None else "--shape"
        rule = "a finish of the gallery has a part of its own"
        raise InputError(Problem(rule, f"leave out --like or {other}", field="--like", value=like))
    photos = [] if photo is None else [photo] if isinstance(photo, Path) else list(photo)
    if not photos:
        _no_photo(options, lamp_sides, lamp_heights)
        if like is not None:
            return start_like(folder, like, force=force)
        return _start_from_shape(folder, "panel" if shape is None else shape, force=force)
    if shape is not None:
        rule = "the outline is traced from the photo, a shape has no use then"
        raise InputError(Problem(rule, "leave out --shape or --photo", field="--shape", value=shape))
    wanted = read_options(options)
    if tell is not None:
        tell("Looking for the part in the photo; a large one takes some ten seconds")
    # Reading a photo brings libraries of its own: loaded only here.
    if lamp_sides is not None or lamp_heights is not None or len(photos) != 1:
        from layerpreview.workflows.start_lamps import start_from_lamps

        return start_from_lamps(folder, photos, lamp_sides or (), wanted, heights=lamp_heights, force=force)
    from layerpreview.workflows.start_photo import start_from_photo

    return start_from_photo(folder, photos[0], wanted, force=force)


def _no_photo(options: PhotoOptions, lamp_sides: Sequence[str] | None, lamp_heights: str | None) -> None:
    told = options.told()
    if lamp_sides is not None:
        told["--lamp-sides"] = ",".join(lamp_sides)
    if lamp_heights is not None:
        told["--lamp-heights"] = lamp_heights
    rule, remedy = "this is of a part in a photo, and there is no photo", "add --photo FILE, or leave it out"
    if told:
        raise InputError(Problem(rule, remedy, field=field, value=value) for field, value in told.items())


def _start_from_shape(folder: Path, shape: str, *, force: bool) -> Started:
    _check_shape(shape)
    sizes, hole = SHAPES[shape]
    face = f'[[face]]\nname = "front"\nshape = "{shape}"\n{sizes}\n'
    if hole is not None:
        face += HOLE.format(across=hole[0], down=hole[1])
    return _start_with_face(folder, face, rim="hole" if hole else "outline", name=f"First {shape}", force=force)


def start_from_sizes(
    folder: Path, shape: str, sizes: Mapping[str, str], *, base: str = MADE_BASE, name: str = FIRST_JOB
) -> Started:
    """Begin a job called `name` from one of `SHAPES` in sizes as typed ({"width": "320 mm"}), no hole in it.

    `base`: the text of its base. Raises InputError with every fault, or OutputError; nothing is written then.
    """
    _check_shape(shape)
    problems: list[Problem] = []
    for size in size_names(shape):
        try:
            length_mm(size, sizes.get(size, ""))
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    told = "".join(f"{size} = {toml_string(sizes[size])}\n" for size in size_names(shape))
    face = f'[[face]]\nname = "front"\nshape = "{shape}"\n{told}'
    return _start_with_face(folder, face, rim="outline", name=name, base=base)


def start_from_drawing(
    folder: Path, drawing: Path, *, width: str | None = None, base: str = MADE_BASE, name: str = FIRST_JOB
) -> Started:
    """Begin a job called `name` from an SVG drawing in true size, of which the job keeps a copy, `front.svg`.

    `width`: of the outline as typed, for a drawing that has no size of its own. Raises InputError (PictureError) or
    OutputError; nothing is written then.
    """
    face = '[[face]]\nname = "front"\nshape = "drawing"\ndrawing = "front.svg"              # in true size\n'
    if width is not None:
        length_mm("width", width)
        face += f"width = {toml_string(width)}\n"
    files = {"front.svg": drawing.read_bytes()}
    return _start_with_face(folder, face, rim="outline", name=name, base=base, files=files, inputs=[drawing])


def _start_with_face(
    folder: Path,
    face: str,
    *,
    rim: str,
    name: str,
    base: str = MADE_BASE,
    files: Mapping[str, bytes] | None = None,
    inputs: Sequence[Path] = (),
    force: bool = False,
) -> Started:
    files = files or {}
    names = [SCHEME_NAME, FIRST_NAME, *files]
    lasting = [SCHEME_NAME, *files]
    writing = written_together(
        folder, [*names, SCHEMA_NAME], force=force, inputs=inputs, lasting=lasting, elsewhere=ANOTHER_JOB
    )
    with writing as paths:
        write_scheme(paths, starter(name, face, rim=rim, base=base))
        for file, data in files.items():
            paths[file].write_bytes(data)
        first_picture(paths)
    return Started(folder, tuple(names), folder / SCHEME_NAME)


def size_names(shape: str) -> list[str]:
    """The sizes that a shape of `SHAPES` has: width and height for one.

    >>> size_names("drum shell")
    ['diameter', 'depth']
    """
    return [line.partition(" = ")[0] for line in SHAPES[shape][0].splitlines()]


def _check_shape(shape: str) -> None:
    if shape not in SHAPES:
        remedy = f"use one of {', '.join(SHAPES)}"
        raise InputError(Problem(field="--shape", value=shape, rule="no such shape", remedy=remedy))


HOLE = """
  [[face.opening]]                 # holes and cavities, as many as there are; delete this block for none
  name = "hole"
  shape = "disc"
  diameter = "36 mm"
  centre = ["{across}", "{down}"]    # across and down from the face's top left corner
"""


@dataclass(frozen=True)
class Demo:
    """The sample job: how it was begun, its pictures, and the file of its figures in words."""

    started: Started
    rendered: Rendered
    figures: Path


def run_demo(folder: Path, *, force: bool = False) -> Demo:
    """Write the sample scheme into `folder` and render it there; one that was changed since is never written over."""
    text = sample_text(DEMO_SAMPLE)
    spare_scheme(folder, ANOTHER_FOLDER, unless=text)
    if not (folder / SCHEME_NAME).is_file():
        with written_together(folder, [SCHEME_NAME], force=force, inputs=(), lasting=[SCHEME_NAME]) as paths:
            write_text(paths[SCHEME_NAME], text)
    started = Started(folder, (SCHEME_NAME,), folder / SCHEME_NAME)
    pictures = folder / "pictures"
    rendered = render_files(started.scheme, out=pictures, force=force)
    with written_together(pictures, [FIGURES_NAME], force=force, inputs=[started.scheme]) as paths:
        write_text(paths[FIGURES_NAME], figures_text(rendered.figures) + "\n")
    return Demo(started, rendered, pictures / FIGURES_NAME)
