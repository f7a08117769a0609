"""A photo of a part made square and to scale: by a sheet of paper or the printed frame beside it, or by two marks.

All that is said holds in the plane that the sheet or the marks lie in. Pixels count from the outer corner of the
picture's first pixel, x right, y down; millimetres from the middle of the picture, along its own x and y there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import PictureError, Problem
from layerpreview.surface import square_words as words
from layerpreview.surface.camera_pose import CameraPose, camera_pose, usual_focal_px
from layerpreview.surface.marks import find_marks, mark_corners_mm
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.plane import Placement, placement_through
from layerpreview.surface.sheet import PAPERS_MM, clockwise, look_for_sheet, sheet_corners_mm
from layerpreview.surface.sides import settled_corners
from layerpreview.units import parse_number, parse_quantity

F64 = NDArray[np.float64]
Paper = Literal["auto", "A4", "Letter", "frame"]

_MARKS_AS = 'give them as --marks "10%,20%,90%,20%=300 mm"'
_SMALLEST_MARK = 0.015  # of a frame that fills the picture: one eighth as wide as the picture
_LOOK_PX = 800  # sheet and frame are looked for in a photo of about this size
_OTHER_PAPER = 9.0  # three standard deviations: another paper that is that much better, or not that much worse, is told
_LEAST_DOUBT_PX = 0.1
_POINTED_PX = 2.0  # assumed: how far off its mark a point is given


@dataclass(frozen=True, eq=False)
class Square:
    """Where a plane lies in a photo, to scale.

    `by` what told it; `known_mm` and `known_px` (N, 2) the points it stands on; `mm_per_px` the scale at their middle;
    `tilt_deg` 0..90 of the camera from straight above, None where two marks cannot tell; `distance_mm` from the camera
    to the plane; `residual_mm` what remains (root mean square: edges off their lines, corners off a rectangle seen by
    a pinhole camera; of marks, what a hand is off); `words` says all that in sentences, scale and tilt first; `against`
    what speaks against the size.
    """

    placement: Placement
    by: str
    known_mm: F64
    known_px: F64
    mm_per_px: float
    tilt_deg: float | None
    distance_mm: float
    residual_mm: float
    words: tuple[str, ...]
    against: tuple[str, ...] = ()

    def to_mm(self, points_px: F64) -> F64:
        """Points (N, 2) [mm] in the plane of pixels (N, 2)."""
        return self.placement.to_mm(points_px)

    def px_from_mm(self, points_mm: F64) -> F64:
        """Pixels (N, 2) of points (N, 2) [mm] in the plane."""
        return self.placement.to_px(points_mm)

    def doubt_mm(self, points_px: F64) -> F64:
        """How far off (N,) [mm] points (N, 2) [px] may be, one standard deviation: what remains, carried outwards."""
        points = np.asarray(points_px, dtype=np.float64)
        off_px = max(self.residual_mm / self.mm_per_px, _LEAST_DOUBT_PX)
        if len(self.known_px) < 4:
            apart = float(np.hypot(*(self.known_px[1] - self.known_px[0])))
            away = np.hypot(*(points - self.known_px.mean(axis=0)).T)
            return np.asarray(self.mm_per_px * off_px * np.hypot(np.sqrt(0.5), np.sqrt(2) * away / apart))
        here, squares = self.to_mm(points), np.zeros(len(points))
        for place in np.ndindex(self.known_px.shape):
            moved = self.known_px.copy()
            moved[place] += off_px
            # known_mm is in the axes of the placement, so that nothing else moves
            squares += ((placement_through(self.known_mm, moved).to_mm(points) - here) ** 2).sum(axis=1)
        return np.asarray(np.sqrt(squares / 2))  # a residual is of x and y together

    def said_of(self, outline_px: F64, *, thickness_mm: float | None = None) -> tuple[str, ...]:
        """In words: how far out of the sheet a part (its outline (N, 2) [px]) lies, and what its thickness does."""
        spread = np.ptp(self.known_mm, axis=0).max()
        away = np.abs(self.to_mm(outline_px) - self.known_mm.mean(axis=0)).max()
        said = words.out_of_sheet(float(away / (spread / 2)), float(self.doubt_mm(outline_px).max()), self.by)
        if thickness_mm is None:
            return (said,)
        share = nearer_share(thickness_mm=thickness_mm, distance_mm=self.distance_mm)
        return said, words.thick(thickness_mm, share, self.distance_mm)


def nearer_share(*, thickness_mm: float, distance_mm: float) -> float:
    """By what share a face `thickness_mm` above the plane looks larger to a camera `distance_mm` from the plane.

    Similar triangles: t / (d - t).

    >>> round(nearer_share(thickness_mm=40.0, distance_mm=840.0), 3)
    0.05
    """
    if not 0 <= thickness_mm < distance_mm:
        raise ValueError(f"a thickness of {thickness_mm:g} mm is not between 0 and the camera's {distance_mm:g} mm")
    return thickness_mm / (distance_mm - thickness_mm)


def find_sheet(picture: PictureData, *, paper: Paper = "auto", focal35_mm: float | None = None) -> Square:
    """Find the printed frame or a white sheet (A4, Letter) in a photo.

    With "auto" the frame's marks are looked for first, then a sheet of either size, which its proportions tell.
    `focal35_mm` is the lens's 35 mm equivalent from EXIF, where known: it settles the tilt. Raises PictureError with
    one line when there is none.
    """
    if paper in ("auto", "frame"):
        try:
            return _of_frame(picture, focal35_mm)
        except PictureError:
            if paper == "frame":
                raise
    found = look_for_sheet(picture, focal35_mm=focal35_mm)
    within = max(2.0, 3.0 * max(picture.width_px, picture.height_px) / _LOOK_PX)
    settled = found and settled_corners(picture, clockwise(found.corners_px), within_px=within)
    if not settled:
        what = "sheet of paper" if paper == "auto" else f"{paper} sheet"
        remedy = "lay a whole white sheet flat on a darker ground beside the part, or give two marks with --marks"
        raise PictureError(Problem(f"no {what} with four straight edges was found", remedy, picture.file))
    return _of_sheet(picture, *settled, paper=paper, focal35_mm=focal35_mm)


def from_marks(picture: PictureData, marks_px: F64, *, apart_mm: float, focal35_mm: float | None = None) -> Square:
    """The scale from two points (2, 2) [px] that lie `apart_mm` apart, a rule's ends for one; no tilt is taken out.

    Raises PictureError when the points are outside the picture or nearer than 20 pixels.
    """
    marks = np.asarray(marks_px, dtype=np.float64).reshape(2, 2)
    size = np.array([picture.width_px, picture.height_px])
    apart_px = float(np.hypot(*(marks[1] - marks[0])))
    if ((marks < 0) | (marks > size)).any() or apart_px < 20 or not apart_mm > 0:
        rule = "two marks must lie in the picture, 20 pixels or more and a known length apart"
        raise PictureError(Problem(rule, _MARKS_AS, picture.file))
    scale = apart_mm / apart_px
    placement = Placement(np.array([[1 / scale, 0, size[0] / 2], [0, 1 / scale, size[1] / 2], [0, 0, 1]]))
    focal = usual_focal_px((int(size[0]), int(size[1])), focal35_mm)
    remains = _POINTED_PX * scale
    to_share = float(np.sqrt(2)) * remains / apart_mm
    said = (words.scale("two marks", scale), words.of_marks(apart_mm, to_share), words.lens(focal35_mm))
    return Square(placement, "marks", placement.to_mm(marks), marks, scale, None, focal * scale, remains, said)


def marks_of(text: str, picture: PictureData) -> tuple[F64, float]:
    """Two points (2, 2) [px] and how far apart they are [mm], from text such as "10%,20%,90%,20% = 300 mm".

    Raises PictureError with one line for anything else.
    """
    places, _, apart = text.partition("=")
    try:
        typed = places.split(";" if ";" in places else ",")
        shares = [parse_number(share.strip().removesuffix("%"), 0, 100) / 100 for share in typed if "%" in share]
        size = np.array([picture.width_px, picture.height_px])
        return np.array(shares).reshape(2, 2) * size, parse_quantity(apart, "length")
    except ValueError:
        rule = "two points in per cent of the picture, across and down, and the length between them are wanted"
        raise PictureError(Problem(rule, _MARKS_AS, picture.file, field="marks", value=text)) from None


def _of_frame(picture: PictureData, focal35_mm: float | None) -> Square:
    try:
        placed = find_marks(picture, smallest=_SMALLEST_MARK)
    except PictureError:
        rule = "the frame's four corner squares were not found"
        raise PictureError(Problem(rule, "show all four, flat, on something lighter", picture.file)) from None
    within = 2.0 * max(1.0, max(picture.width_px, picture.height_px) / _LOOK_PX)
    marks = [(mark_corners_mm(n), placed.to_px(mark_corners_mm(n))) for n in range(4)]
    settled = [settled_corners(picture, corners, within_px=within, inside=-1.0) for _, corners in marks]
    seen = [(known, each[0], each[1]) for (known, _), each in zip(marks, settled, strict=True) if each]
    if len(seen) < 4:
        rule = f"only {len(seen)} of the frame's four marks have clear edges"
        raise PictureError(Problem(rule, "show all four, sharp and in even light", picture.file))
    known_mm, known_px = np.concatenate([s[0] for s in seen]), np.concatenate([s[1] for s in seen])
    pose = camera_pose(known_mm, known_px, size_px=(picture.width_px, picture.height_px), focal35_mm=focal35_mm)
    return _placed(picture, "frame", known_mm, known_px, pose, 0.0, (), focal35_mm)


def _of_sheet(picture: PictureData, corners_px: F64, edge_px: float, *, paper: str, focal35_mm: float | None) -> Square:
    size = (picture.width_px, picture.height_px)
    fits: dict[str, tuple[CameraPose, F64]] = {}
    for name in PAPERS_MM:
        turned = [corners_px, np.roll(corners_px, -1, axis=0)]
        poses = [camera_pose(sheet_corners_mm(name), c, size_px=size, focal35_mm=focal35_mm) for c in turned]
        fits[name] = min(zip(poses, turned, strict=True), key=lambda fit: fit[0].misfit)
    likeliest = min(fits, key=lambda name: fits[name][0].misfit)
    chosen = likeliest if paper == "auto" else paper
    pose, corners = fits[chosen]
    other = min((name for name in fits if name != chosen), key=lambda name: fits[name][0].misfit)
    worse = pose.misfit - fits[other][0].misfit
    doubt: tuple[str, ...] = ()
    if worse > _OTHER_PAPER:
        doubt = (words.rather(chosen, other),)
    elif paper == "auto" and worse > -_OTHER_PAPER:
        doubt = (words.either(chosen, other),)
    return _placed(picture, chosen, sheet_corners_mm(chosen), corners, pose, edge_px, doubt, focal35_mm)


def _placed(
    picture: PictureData, by: str, known_mm: F64, known_px: F64, pose: CameraPose, edge_px: float,
    doubt: tuple[str, ...], focal35_mm: float | None,
) -> Square:  # fmt: skip
    upright = _upright(placement_through(known_mm, known_px), (picture.width_px, picture.height_px))
    own_mm = upright.to_mm(known_px)
    scale = _mm_per_px(upright, known_px.mean(axis=0))
    # of many points the map itself leaves something; of four nothing
    left_px = float(np.sqrt(((upright.to_px(own_mm) - known_px) ** 2).sum(axis=1).mean()))
    remains = float(np.hypot(np.hypot(edge_px, pose.residual_px), left_px)) * scale
    name = "the printed frame" if by == "frame" else f"a sheet of {by} paper"
    said = (
        words.scale(name, scale),
        words.tilt(pose.tilt_deg, remains),
        *words.same_shape(by),
        words.lens(focal35_mm),
    )
    return Square(upright, by, own_mm, known_px, scale, pose.tilt_deg, pose.distance_mm, remains, said, doubt)


def _upright(placed: Placement, size_px: tuple[int, int]) -> Placement:
    """The same plane with its millimetres counted from the picture's middle, x as the picture's x there."""
    middle = np.array(size_px) / 2
    here, beside = placed.to_mm(middle + np.array([[0.0, 0.0], [1.0, 0.0]]))
    across = (beside - here) / np.hypot(*(beside - here))
    move = np.array([[across[0], -across[1], here[0]], [across[1], across[0], here[1]], [0, 0, 1]])
    matrix = placed.matrix @ move
    return Placement(matrix / matrix[2, 2])


def _mm_per_px(placed: Placement, at_px: F64) -> float:
    """The square root of the area [mm2] of a pixel there."""
    here, right, down = placed.to_mm(at_px + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    (a, b), (c, d) = right - here, down - here
    return float(np.sqrt(abs(a * d - b * c)))
