"""A part read from one photo: its outline square and to scale, how sure that is, and its own base to lie on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.doing import doing
from layerpreview.errors import InputError, PictureError, Problem
from layerpreview.surface import square_words as words
from layerpreview.surface.drawn import drawn_outline
from layerpreview.surface.focal_length import focal35_of
from layerpreview.surface.outline import Points
from layerpreview.surface.part import TracedPart, trace_part
from layerpreview.surface.part_photo import read_part_photo
from layerpreview.surface.photo_base import WholeBase, whole_base
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.placed_part import PlacedPart, box_picture, of_width, placed, rings_in_photo, scaled, turned
from layerpreview.surface.sheet import PAPERS_MM, paper_colour
from layerpreview.surface.square import Square, find_sheet, from_marks, marks_of
from layerpreview.surface.trace import Traced, traced_picture
from layerpreview.surface.verdict import Sureness
from layerpreview.workflows.photo_options import Wanted

_OTHER_WIDTH = 0.08  # a sheet that makes the part this much wider or narrower than told: one of the two is wrong
_SCALE_HELP = (
    'measure the part at its widest and add for example --part-width "320 mm", or lay a sheet of A4 or Letter paper '
    'beside it, or name two points of a rule: --marks "10%,90%,60%,90% = 300 mm"'
)
_FRAME_PAPER_MM = 10.0  # what is left about its marks when it is cut out (assumed)
_BURNT = 0.98  # of the highest number: its colour and texture are lost
_LEAST_KNOWN = 400  # pixels of the part


@dataclass(frozen=True, eq=False)
class Photographed:
    """A part seen in the photo `file`: where it lies and how sure that is.

    `beside`: rings [px] of what gave the scale; `covered`: rings [px] of openings that were closed on purpose;
    `neutral` "#rrggbb": what the sheet of paper shows, where one is; `scale` in a sentence; `notes` the rest.
    """

    file: Path
    picture: PictureData
    part: PlacedPart
    sureness: Sureness
    traced: Traced
    beside: tuple[Points, ...]
    covered: tuple[Points, ...]
    neutral: str | None
    scale: str
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class PhotoRead:
    """The photo `file` as it was read, and the 35 mm equivalent of its lens where its EXIF tells."""

    file: Path
    picture: PictureData
    focal35_mm: float | None


@dataclass(frozen=True, eq=False)
class Found:
    """A part found in a photo, in its pixels; `beside` and `covered` as in `Photographed`, `mended` what a hand did."""

    traced: Traced
    sureness: Sureness
    beside: tuple[Points, ...]
    covered: tuple[Points, ...] = ()
    mended: tuple[str, ...] = ()


def photographed(photo: Path, wanted: Wanted) -> Photographed:
    """Return the part in `photo`.

    Raises InputError where nothing tells the scale, PictureError for what cannot be read or traced.
    """
    doing(f"reading {photo.name}")
    read = read_photo(photo)
    doing("looking for the sheet beside the part")
    square = scale_in(read, wanted)
    return laid_out(read, square, found_in(read, square, wanted), wanted)


def read_photo(photo: Path) -> PhotoRead:
    """Return the photo in a file. Raises PictureError for what cannot be read."""
    return PhotoRead(photo, read_part_photo(photo), focal35_of(photo))


def found_in(photo: PhotoRead, square: Square | None, wanted: Wanted) -> Found:
    """Return where the part lies in the photo; `square` from `scale_in`. Raises PictureError."""
    doing("following the edge of the part")
    beside = () if square is None or square.by == "marks" else (_sheet_px(square),)
    found = _traced(photo.picture, square, wanted, beside, photo.file)
    covered: tuple[Points, ...] = ()
    if wanted.holes == "close" and found.sureness.closed:
        kept = _traced(photo.picture, square, replace(wanted, holes="keep"), beside, photo.file)
        covered = tuple(kept.traced.rings_px()[1].values())
    return Found(found.traced, found.sureness, beside, covered)


def laid_out(photo: PhotoRead, square: Square | None, found: Found, wanted: Wanted) -> Photographed:
    """Return the part that was found, square and to scale. Raises PictureError."""
    picture, focal35_mm = photo.picture, photo.focal35_mm
    outer, _ = found.traced.rings_px()
    if square is None:
        assert wanted.part_width_mm is not None
        square = of_width(
            picture,
            outer,
            part_width_mm=wanted.part_width_mm,
            turn_deg=wanted.turn_deg,
            focal35_mm=focal35_mm,
        )
    square = turned(square, wanted.turn_deg)
    against, notes = list(square.against), [*found.mended, *square.words[2:]]
    if wanted.part_width_mm is not None and square.by != "width":
        wide_mm = float(np.ptp(square.to_mm(outer)[:, 0]))
        notes.insert(0, words.of_part(wanted.part_width_mm, wide_mm, square.by))
        if abs(wide_mm / wanted.part_width_mm - 1) > _OTHER_WIDTH:
            against.append("the known width and the sheet differ by more than 8 %: one of them is wrong")
        square = scaled(square, wanted.part_width_mm / wide_mm)
    elif square.by != "width":
        notes.extend(square.said_of(outer, thickness_mm=wanted.depth_mm))
    part = placed(found.traced, square, file=str(photo.file))
    paper = paper_colour(picture, square.known_px) if square.by in PAPERS_MM else None
    if square.by in PAPERS_MM and paper is None:
        notes.append("the paper is burnt out: its white is not used")
    return Photographed(
        photo.file,
        picture,
        part,
        _doubted(found.sureness, against),
        found.traced,
        found.beside,
        found.covered,
        paper,
        "; ".join(square.words[:2]),
        tuple(notes),
    )


@dataclass(frozen=True, eq=False)
class OwnBase:
    """The photo of a part's box as a base, `width_mm` wide [mm], and where glare was [px of the photo]; `burnt`: the
    share 0..1 of the part that is burnt out."""

    whole: WholeBase
    width_mm: float
    glare: tuple[Points, ...]
    burnt: float


def own_base(seen: Photographed) -> OwnBase:
    """Return the photo of the part's box, all that is not the part made from its texture."""
    doing("making the base from the photo")
    box = box_picture(seen.picture, seen.part, covered=seen.covered)
    if np.count_nonzero(box.known) < _LEAST_KNOWN:
        rule = "the part is too small in it for a base"
        raise PictureError(Problem(rule, "go nearer, until it fills most of the picture", str(seen.file)))
    whole = whole_base(box.picture, box.known, width_mm=box.width_mm)
    numbers = box.picture.pixels[box.known].reshape(np.count_nonzero(box.known), -1)
    burnt = float((numbers.min(axis=1) >= _BURNT * np.iinfo(numbers.dtype).max).mean())
    glare = tuple(rings_in_photo(whole.glare, box, seen.part.square))
    return OwnBase(whole, box.width_mm, glare, burnt)


def to_look_at(seen: Photographed, base: OwnBase | None = None) -> NDArray[np.uint8]:
    """The photo with its outline in red, the sheet beside it in blue and filled glare in orange, uint8 (h, w, 3)."""
    return traced_picture(seen.picture, seen.traced, beside=seen.beside, glare=() if base is None else base.glare)


def scale_in(photo: PhotoRead, wanted: Wanted) -> Square | None:
    """Return what gives the photo its scale; None where that is the part's own width.

    Raises InputError where nothing tells it, PictureError where what was named is not there.
    """
    picture, focal35_mm = photo.picture, photo.focal35_mm
    if wanted.marks is not None:
        marks_px, apart_mm = marks_of(wanted.marks, picture)
        return from_marks(picture, marks_px, apart_mm=apart_mm, focal35_mm=focal35_mm)
    try:
        return find_sheet(picture, paper=wanted.paper or "auto", focal35_mm=focal35_mm)
    except PictureError:
        if wanted.paper is not None:
            raise
        if wanted.part_width_mm is not None:
            return None
        rule = "a photo does not know its scale, and no sheet of paper was found in it"
        raise InputError(Problem(rule, _SCALE_HELP, field="--part-width")) from None


def _traced(
    picture: PictureData, square: Square | None, wanted: Wanted, beside: Sequence[Points], photo: Path
) -> TracedPart:
    rough, paint = None, None
    if wanted.drawn is not None:
        drawn = read_part_photo(wanted.drawn)
        ring, line = drawn_outline(drawn)
        rough = ring * (picture.width_px / drawn.width_px, picture.height_px / drawn.height_px)
        paint = line if wanted.drawn == photo else None  # the photo itself was drawn on
    return trace_part(
        picture,
        part_width_mm=wanted.part_width_mm if square is None else None,
        mm_per_px=None if square is None else square.mm_per_px,
        at=wanted.at,
        background=wanted.background,
        holes=wanted.holes,
        leave_out=beside,
        rough=rough,
        paint=paint,
    )


def _doubted(sureness: Sureness, against: Sequence[str]) -> Sureness:
    if not against:
        return sureness
    verdict = "look at it" if sureness.verdict == "good" else sureness.verdict
    return replace(sureness, verdict=verdict, against=(*sureness.against, *against))


def _sheet_px(square: Square) -> Points:
    """The corners [px] of the sheet, or of the printed frame with the paper about its marks."""
    import shapely

    hull = shapely.MultiPoint(square.known_mm).convex_hull
    if square.by == "frame":
        hull = hull.buffer(_FRAME_PAPER_MM, join_style="mitre")
    return square.px_from_mm(np.asarray(shapely.get_coordinates(hull)[:-1]))
