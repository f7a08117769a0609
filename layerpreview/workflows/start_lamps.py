"""A job begun from three photos of the part, the lamp at another side in each: its own relief as the base."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import InputError, PictureError, Problem
from layerpreview.output.files import write_text, written_together
from layerpreview.output.outline_svg import write_outline_svg
from layerpreview.output.pictures import write_picture
from layerpreview.surface.height_picture import directions_picture
from layerpreview.surface.part_photo import read_part_photo
from layerpreview.surface.photo import srgb_table
from layerpreview.surface.photos_aligned import aligned, held_still
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.placed_part import box_picture, rings_in_photo
from layerpreview.surface.quilt import quilted
from layerpreview.surface.three_lamps import (
    HIGHEST_DEG,
    LOWEST_DEG,
    MeasuredRelief,
    check_heights,
    check_sides,
    measured_relief,
)
from layerpreview.surface.trace import traced_picture
from layerpreview.workflows.photo_options import MIRRORED, Wanted
from layerpreview.workflows.photo_scheme import TRACED_NAMES
from layerpreview.workflows.photo_words import seen_said
from layerpreview.workflows.photographed import Photographed, photographed
from layerpreview.workflows.places import SCHEME_NAME
from layerpreview.workflows.start_photo import NOTES_NAME, faces, not_usable, notes
from layerpreview.workflows.starter import (
    ANOTHER_JOB,
    FIRST_JOB,
    FIRST_NAME,
    SCHEMA_NAME,
    Started,
    first_picture,
    starter,
    write_scheme,
)
from layerpreview.workflows.typed import numbers_typed

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

BRIGHTEST = 8.0
"""The gain that the whitest number stands for in the picture of brightness."""
_ROOM_SHARE = 0.08  # of the part's longer side: what a hand moves between photos is followed within this
_RIM_MM = 0.5  # of the part: measured up to there
DIRECTIONS_NAME, BRIGHTNESS_NAME = "base_slopes.png", "base_brightness.png"


@dataclass(frozen=True, eq=False)
class LitPart:
    """A part measured from three photos: where it was seen, and the pictures of its box, `width_mm` wide [mm].

    `filled`: what two photos tell too little of and texture from elsewhere fills, as rings [px of the first photo].
    """

    seen: Photographed
    relief: MeasuredRelief
    width_mm: float
    directions: NDArray[np.uint8]
    brightness: NDArray[np.uint16]
    filled: list[F64]


def start_from_lamps(
    folder: Path,
    photos: Sequence[Path],
    sides: Sequence[str],
    wanted: Wanted,
    *,
    heights: str | None = None,
    force: bool,
) -> Started:
    """Begin a job from three photos, the lamp at another side in each.

    `heights`: of the lamps over the bench as typed, "45" or "40,45,50" [deg]; found where not given. Where the outline
    is not usable, only the picture of what was traced is written. Raises InputError, PictureError or OutputError;
    nothing is written then.
    """
    first = check_sides(sides, photos=len(photos))
    if wanted.back not in (None, MIRRORED):
        remedy = f"write {MIRRORED}, or add [base_of.back] to the scheme afterwards"
        raise InputError(
            Problem("three photos are of the front alone", remedy, field="--back", value=wanted.back or "")
        )
    heights_deg = None if heights is None else read_heights(heights)
    seen = photographed(photos[first], wanted)
    return start_from_lit(folder, seen, photos, sides, wanted, heights_deg=heights_deg, force=force)


def start_from_lit(
    folder: Path,
    seen: Photographed,
    photos: Sequence[Path],
    sides: Sequence[str],
    wanted: Wanted,
    *,
    heights_deg: Sequence[float] | None = None,
    force: bool,
    name: str = FIRST_JOB,
) -> Started:
    """Begin a job called `name` from a part that was `seen` in one of its three photos; as `start_from_lamps`."""
    if seen.sureness.verdict == "not usable":
        return not_usable(folder, {"front": seen}, said=seen_said({"front": seen}), more=photos, force=force)
    lit = lit_part(seen, photos, sides, heights_deg=heights_deg)
    said = (*seen_said({"front": seen}), *lit.relief.trust.lines)
    if lit.relief.trust.verdict == "not usable":
        return not_usable(folder, {"front": seen}, said=said, more=photos, force=force)
    lamps = ", ".join(f"{deg:.0f}" for deg in lit.relief.heights_deg)
    base = MEASURED_BASE.format(width_mm=lit.width_mm, lamps=lamps, silver=lit.relief.silver)
    text = starter(name, faces({"front": seen}, wanted), rim="outline", base=base)
    lasting = [SCHEME_NAME, "front.svg", DIRECTIONS_NAME, BRIGHTNESS_NAME]
    names = [*lasting, FIRST_NAME, TRACED_NAMES["front"], NOTES_NAME]
    writing = written_together(
        folder, [*names, SCHEMA_NAME], force=force, inputs=photos, lasting=lasting, elsewhere=ANOTHER_JOB
    )
    with writing as paths:
        write_scheme(paths, text)
        write_text(paths[NOTES_NAME], notes(said, {"front": seen}, wanted, tilts=True))
        write_outline_svg(seen.part.outline, paths["front.svg"])
        look = traced_picture(seen.picture, seen.traced, beside=seen.beside, glare=lit.filled)
        write_picture(look, paths[TRACED_NAMES["front"]])
        write_picture(lit.directions, paths[DIRECTIONS_NAME])
        write_brightness(lit.brightness, paths[BRIGHTNESS_NAME])
        first_picture(paths)
    look_at = (TRACED_NAMES["front"], FIRST_NAME)
    doubtful = seen.sureness.verdict != "good"
    return Started(folder, tuple(names), folder / SCHEME_NAME, said, look_at=look_at, doubtful=doubtful)


MEASURED_BASE = f"""\
kind = "metal"
height_picture = "{DIRECTIONS_NAME}"   # the slopes of your own base, from your three photos
silver = "{{silver}}"                  # the flakes that the slopes were worked out for

  [base.height_options]
  kind = "normal"
  width = "{{width_mm:.2f}} mm"
  tile = true                      # from here on where another face is larger
  brightness = "{BRIGHTNESS_NAME}"  # how bright its flakes are; the lamps stood at {{lamps}} degrees

"""


def read_heights(text: str) -> tuple[float, ...]:
    """Return the height of each lamp [deg] from "45", one for all, or "40,45,50". Raises InputError."""
    heights = numbers_typed(text, "--lamp-heights", most=3, low=LOWEST_DEG, high=HIGHEST_DEG, example="45")
    heights = heights * 3 if len(heights) == 1 else heights
    check_heights(heights, text)
    return heights


def lit_part(
    seen: Photographed, photos: Sequence[Path], sides: Sequence[str], *, heights_deg: Sequence[float] | None = None
) -> LitPart:
    """Return slopes and flake brightness of the part `seen` in one of three photos, `sides` saying where the lamp was.

    `heights_deg`: of each lamp over the bench, where known. Raises InputError for photos of other sizes, PictureError
    for what cannot be read or laid on one another.
    """
    pictures = [seen.picture if photo == seen.file else read_part_photo(photo) for photo in photos]
    sizes = {(picture.width_px, picture.height_px) for picture in pictures}
    if len(sizes) > 1:
        value = ", ".join(f"{wide} x {high}" for wide, high in sorted(sizes))
        raise InputError(Problem("the photos must be of one size", "do not crop them", field="--photo", value=value))
    outline = seen.part.outline
    room_mm = _ROOM_SHARE * max(outline.width_mm, outline.height_mm)
    boxes = [box_picture(picture, seen.part, margin_mm=room_mm, rim_mm=_RIM_MM) for picture in pictures]
    inside = boxes[0].known
    if not inside.any():
        raise PictureError(Problem("the part is too small in the photo", "come nearer", str(seen.file)))
    pixel_mm, size_mm = boxes[0].width_mm / inside.shape[1], np.array([outline.width_mm, outline.height_mm])
    edge_px = (outline.outer - size_mm / 2) / pixel_mm + np.array(inside.shape[::-1]) / 2 - 0.5
    lights = [_light(box.picture) for box in boxes]
    # Stripes, as of brushed silver, cannot be laid on each other: on a stand there is no need.
    if not held_still(lights, edge_px):
        lights = aligned(lights, sides)
    margins = ((n - mm / pixel_mm) / 2 for n, mm in zip(inside.shape, size_mm[::-1], strict=True))
    box = tuple(slice(int(margin), n - int(margin)) for margin, n in zip(margins, inside.shape, strict=True))
    relief = measured_relief([light[box] for light in lights], sides, heights_deg=heights_deg, inside=inside[box])
    brightness = np.rint(np.clip(relief.gain / BRIGHTEST, 0.0, 1.0) * 65535).astype(np.uint16)
    directions = directions_picture(relief.slope_x, relief.slope_y)
    # What lies outside the part is seen on other faces: its texture goes on there. Where slopes one way are not known
    # a level base would look dead as it turns: texture is wrong in its place and right in kind.
    measured, held = np.dstack((directions.astype(np.uint16), brightness)), inside[box] & ~relief.one_way
    whole = quilted(measured, held)
    whole[held] = measured[held]  # pieces reach over the border: what was measured stays
    filled = np.zeros_like(inside)
    filled[box] = relief.one_way
    rings = rings_in_photo(filled, boxes[0], seen.part.square)
    wide_mm = held.shape[1] * pixel_mm
    return LitPart(seen, relief, wide_mm, whole[:, :, :3].astype(np.uint8), whole[:, :, 3], rings)


def _light(picture: PictureData) -> F32:
    """Linear light (rows, cols) of a photo; of a colour photo its green."""
    numbers = picture.pixels if picture.pixels.ndim == 2 else picture.pixels[:, :, 1]
    return np.asarray(srgb_table(int(np.iinfo(numbers.dtype).max) + 1)[numbers], dtype=np.float32)


def write_brightness(brightness: NDArray[np.uint16], path: Path) -> None:
    """Write a 16-bit grey PNG."""
    from PIL import Image

    picture: Any = Image.fromarray(brightness)
    picture.save(path, "PNG")
