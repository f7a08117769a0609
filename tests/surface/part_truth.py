"""What lies on the bench in a photo of a part, and where everything is: the truth, in mm and in the picture's px."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .part_shapes import F64, circle_mm, shape_mm, turned
from .part_things import Thing, things_on

FOCAL = 1.3
"""Focal length in picture widths, as a phone's main camera has (assumed); so the camera is 1.3 views away."""
HOLE_MM = (38.0, 6.0, 26.0)


@dataclass(frozen=True)
class Scene:
    """What lies on the bench and how it is photographed; everything random comes from `seed`."""

    name: str
    shape: str = "mandolin"
    body: str = "silver"
    ground: str = "white"
    seed: int = 1
    fair: bool = True
    """A tracer may be asked to get it right: part clear of the border, in focus, ground unlike the part."""
    size: float = 1.0
    """The part against its usual size."""
    hole: bool = False
    """A round opening through which the ground is seen."""
    disc: bool = False
    """A dark disc on the face that is no opening."""
    things: tuple[str, ...] = ()
    """Of part_things: what else lies there."""
    sheet: str = ""
    """"A4" or "Letter": lies flat beside the part."""
    marks: bool = False
    """Two crosses on the ground of known distance."""
    lamp_mm: tuple[float, float, float] = (-330.0, -300.0, 620.0)
    """Where the lamp is, from the middle of the picture: fall-off and the way of the shadow follow."""
    sky: float = 0.5
    """Share of the light that comes evenly from above, where nothing is in its way."""
    own_shadow: float = 0.0
    """How much light the one who takes the photo keeps off where the shadow of head and shoulders falls [0..1]."""
    lift_mm: float = 14.0
    """How high the part's face is for its shadow, the shadow alone."""
    side_mm: float = 0.0
    """How far the ground really lies below the face, so that the part's side can be seen; a sheet lies there, too."""
    spots: float = 0.0
    """Size of the three glare spots [60 mm]."""
    broad: float = 0.0
    """Strength of a window's broad reflection [of white]."""
    tilt_deg: float = 0.0
    shift_mm: tuple[float, float] = (0.0, 0.0)
    view_mm: float = 560.0
    """Width of the bench in the picture, where it is not tilted; the picture is 4 : 3."""
    mp: float = 2.0
    exposure_ev: float = 0.0
    blur_mm: float = 0.0
    """Out of focus by a spread of this much on the bench."""
    noise: float = 0.008
    """Spread at white [share of white]; shot noise, so it falls with the root of the light."""
    jpeg: int = 88

    def at(self, mp: float) -> Scene:
        """The same bench by a camera of `mp` megapixels."""
        return replace(self, mp=mp)


@dataclass(frozen=True, eq=False)
class Truth:
    """Where everything is: places in mm are on the bench from the middle of the picture, in px from its corner."""

    to_px: F64
    """Homography (3, 3) from the plane of the part's face [mm] to the picture [px]."""
    rings_mm: tuple[F64, ...]
    """The part's outline, then its openings, each (n, 2)."""
    things: tuple[Thing, ...]
    sheet_mm: F64 | None
    """Corners (4, 2) of the sheet of paper from its top left, where one lies there."""
    marks_mm: F64 | None
    """Middles (2, 2) of the two marks, where they are there."""

    @property
    def rings_px(self) -> tuple[F64, ...]:
        return tuple(seen(self.to_px, ring) for ring in self.rings_mm)


def seen(matrix: F64, points: F64) -> F64:
    """Points (n, 2) through a homography."""
    through = np.column_stack((points, np.ones(len(points)))) @ matrix.T
    return np.asarray(through[:, :2] / through[:, 2:])


def size_px(scene: Scene) -> tuple[int, int]:
    """Rows and cols of the picture."""
    cols = round(float(np.sqrt(scene.mp * 1e6 * 4 / 3)))
    return round(cols * 3 / 4), cols


def camera(scene: Scene, *, below_mm: float = 0.0) -> F64:
    """The homography to the picture [px] from the plane of the part's face [mm], at whose middle a pinhole looks, or
    from the plane `below_mm` further down."""
    rows, cols = size_px(scene)
    way = np.random.default_rng([scene.seed, 1]).uniform(0, 2 * np.pi)
    axis, lean = np.array([np.cos(way), np.sin(way), 0.0]), np.radians(scene.tilt_deg)
    cross = np.array([[0, 0, axis[1]], [0, 0, -axis[0]], [-axis[1], axis[0], 0]])
    turn = np.eye(3) + np.sin(lean) * cross + (1 - np.cos(lean)) * cross @ cross  # Rodrigues' formula
    focal = np.array([[FOCAL * cols, 0, cols / 2], [0, FOCAL * cols, rows / 2], [0, 0, 1.0]])
    away = np.array([0, 0, FOCAL * scene.view_mm]) + below_mm * turn[:, 2]
    matrix = focal @ np.column_stack((turn[:, 0], turn[:, 1], away))
    return np.asarray(matrix / matrix[2, 2])


def laid_out(scene: Scene) -> Truth:
    """Return where everything is, without taking the photo."""
    to_bench = placed(scene)
    rings = tuple(seen(to_bench, ring) for ring in own_rings(scene))
    things, sheet, marks = things_on(
        scene.things, rings[0], view_mm=scene.view_mm, sheet=scene.sheet, marks=scene.marks
    )
    return Truth(camera(scene), rings, tuple(things), sheet, marks)


def own_rings(scene: Scene) -> list[F64]:
    """The part's outline and opening, about its own middle."""
    return [scene.size * shape_mm(scene.shape), *([circle_mm(*HOLE_MM)] if scene.hole else [])]


def placed(scene: Scene) -> F64:
    """From the part's own plane to the bench: a little turned, shifted."""
    rng = np.random.default_rng([scene.seed, 2])
    matrix = np.eye(3)
    matrix[:2, :2] = turned(rng.uniform(-8, 8))
    matrix[:2, 2] = rng.uniform(-10, 10, 2) + scene.shift_mm
    return matrix
