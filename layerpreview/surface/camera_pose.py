"""From where a camera saw four points of a plane: its tilt, its distance, and how well one rectangle explains them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.surface.plane import placement_through

F64 = NDArray[np.float64]

_DIAGONAL_35_MM = 43.27  # of a 24 x 36 mm frame, to which focal lengths in EXIF are related (CIPA DCG-001)
_USUAL_35_MM = 28.0  # assumed: the main camera of a phone has 23 to 28, twice that for portraits
_USUAL_DOUBT_LN, _STATED_DOUBT_LN = 0.4, 0.03
_STEP = float(np.sqrt(np.finfo(np.float64).eps))  # of an unknown, to find a slope by
_ONE = np.eye(3)
_CROSS = np.array(  # a vector by this is the matrix of its cross product, row after row
    [[0, 0, 0, 0, 0, -1, 0, 1, 0], [0, 0, 1, 0, 0, 0, -1, 0, 0], [0, -1, 0, 1, 0, 0, 0, 0, 0]], dtype=np.float64
)
_CORNER_DOUBT = 0.001  # assumed, of the picture's long side: what lens and paper leave in a corner


@dataclass(frozen=True)
class CameraPose:
    """`tilt_deg` 0..90 between the line of sight and the plane's normal; `distance_mm` from the camera to the middle.

    `residual_px` is the root mean square of what no pinhole camera with square pixels and its axis through the
    picture's middle explains; `focal_px` the focal length that explains most; `misfit` the sum of squares of what is
    left and of what the focal length had to give, each in standard deviations.
    """

    tilt_deg: float
    distance_mm: float
    focal_px: float
    residual_px: float
    misfit: float


def usual_focal_px(size_px: tuple[int, int], focal35_mm: float | None = None) -> float:
    """Focal length [px] from its 35 mm equivalent, or of a usual one (28 mm, assumed)."""
    return (focal35_mm or _USUAL_35_MM) / _DIAGONAL_35_MM * float(np.hypot(*size_px))


def camera_pose(
    points_mm: F64, points_px: F64, *, size_px: tuple[int, int], focal35_mm: float | None = None
) -> CameraPose:
    """The pinhole camera that brings points (N, 2) [mm] of a plane nearest to pixels (N, 2); N is 4 or more.

    `focal35_mm` is the 35 mm equivalent from EXIF, known to 3 %; without it one of 28 mm is assumed, free by a factor
    of 1.5 (one standard deviation) and bounded by 2.7. Least squares of the reprojection (Zhang,
    doi:10.1109/34.888718, gives the start and the theory).
    """
    from scipy.optimize import least_squares
    from scipy.spatial.transform import Rotation

    middle = np.array(size_px) / 2
    usual = usual_focal_px(size_px, focal35_mm)
    doubt = _STATED_DOUBT_LN if focal35_mm else _USUAL_DOUBT_LN
    corner_px = _CORNER_DOUBT * max(size_px)
    centred = points_px - middle
    turn, place = _start(points_mm, centred, usual)

    def off_each(unknowns: F64) -> F64:
        turned = rotations(unknowns[:, :3])
        seen = points_mm @ turned[:, :, :2].swapaxes(1, 2) + unknowns[:, None, 3:6] * usual_mm
        focal = usual * np.exp(doubt * unknowns[:, 6, None, None])
        away = focal * seen[:, :, :2] / np.maximum(seen[:, :, 2:], 1e-3) - centred
        return np.hstack([away.reshape(len(unknowns), -1) / corner_px, unknowns[:, 6:]])

    def off(unknown: F64) -> F64:
        return np.asarray(off_each(unknown[None])[0])

    def slopes(unknown: F64) -> F64:
        step = _STEP * np.maximum(1.0, np.abs(unknown))
        moved = off_each(unknown + np.diag(step))
        return np.asarray(((moved - off(unknown)) / step[:, None]).T)

    usual_mm = float(place[2])
    start = np.concatenate([Rotation.from_matrix(turn).as_rotvec(), place / usual_mm, [0.0]])
    wide = np.full(7, np.inf)
    wide[6] = 2.5
    solved = least_squares(off, start, slopes, bounds=(-wide, wide), x_scale="jac")
    best = solved.x
    left = off(best)[:-1].reshape(-1, 2) * corner_px
    turned = rotations(best[None, :3])[0]
    tilt = float(np.degrees(np.arccos(np.clip(abs(turned[2, 2]), 0, 1))))
    focal = float(usual * np.exp(doubt * best[6]))
    middle_mm = turned[:, :2] @ points_mm.mean(axis=0) + best[3:6] * usual_mm
    residual = float(np.sqrt((left**2).sum(axis=1).mean()))
    return CameraPose(tilt, float(np.linalg.norm(middle_mm)), focal, residual, 2 * float(solved.cost))


def rotations(vectors: F64) -> F64:
    """Rotation matrices (k, 3, 3) of rotation vectors (k, 3), by Rodrigues' formula."""
    angle = np.sqrt((vectors * vectors).sum(axis=1))[:, None, None]
    cross = (vectors @ _CROSS).reshape(-1, 3, 3)
    return np.asarray(_ONE + np.sinc(angle / np.pi) * cross + 0.5 * np.sinc(angle / (2 * np.pi)) ** 2 * cross @ cross)


def _start(points_mm: F64, centred_px: F64, focal_px: float) -> tuple[F64, F64]:
    """Rotation (3, 3) and place (3,) of the plane before the camera, from the projective map."""
    matrix = placement_through(points_mm, centred_px).matrix / np.array([[focal_px], [focal_px], [1.0]])
    matrix = matrix * np.sign(matrix[2] @ [*points_mm.mean(axis=0), 1.0])
    scale = np.sqrt(np.linalg.norm(matrix[:, 0]) * np.linalg.norm(matrix[:, 1]))
    x, y = matrix[:, 0] / scale, matrix[:, 1] / scale
    u, _, v = np.linalg.svd(np.column_stack([x, y, np.cross(x, y)]))
    turn = u @ np.diag([1.0, 1.0, np.linalg.det(u @ v)]) @ v
    return np.asarray(turn), np.asarray(matrix[:, 2] / scale)
