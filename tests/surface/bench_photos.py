"""Photos of a part and a sheet of paper on a bench, seen by a pinhole camera: geometry, light and paper are known.

Every pixel's ray is met with the bench (mm), so that no picture is resampled; edges are one pixel wide by coverage.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.plane import projected

F64 = NDArray[np.float64]

PAPERS_MM = {"A4": (297.0, 210.0), "Letter": (279.4, 215.9), "frame": (194.0, 134.0)}  # ISO 216; ANSI Y14.1


@dataclass(frozen=True)
class Bench:
    """One photo: the camera looks at the bench's origin from `distance_mm`, tilted towards `towards_deg`."""

    paper: str = "A4"
    sheet_at_mm: tuple[float, float] = (-115.0, 20.0)
    sheet_turn_deg: float = 93.0
    part_at_mm: tuple[float, float] = (125.0, -10.0)
    part_mm: tuple[float, float] = (190.0, 240.0)  # width, height of an ellipse
    tilt_deg: float = 0.0
    towards_deg: float = 0.0
    roll_deg: float = 3.0
    megapixels: float = 1.5
    focal: float = 0.78  # of the long side: a phone's main camera
    shows_mm: float = 640.0
    ground: tuple[float, float, float] = (0.25, 0.22, 0.2)
    ground_texture: float = 0.04
    paper_texture: float = 0.006
    shadow: float = 0.5  # how dark a soft-edged shadow over part of the sheet is, 0 none
    shadow_mm: float = 6.0  # softness of its edge
    falloff: float = 0.4
    rounded_mm: float = 0.0
    curl_mm: float = 0.0  # how far one corner has moved inwards
    noise: float = 0.008
    jpeg: int = 88
    seed: int = 1

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        wide = round(np.sqrt(self.megapixels * 1e6 * 4 / 3))
        return wide, round(wide * 3 / 4)

    @property
    def distance_mm(self) -> float:
        """From the camera to the bench's origin."""
        return self.shows_mm * self.focal

    @property
    def to_px(self) -> F64:
        """The projective map (3, 3) from the bench [mm] to the picture."""
        wide, high = self.size_px
        tilt, towards, roll = np.radians([self.tilt_deg, self.towards_deg, self.roll_deg])
        axis = np.array([np.cos(towards), np.sin(towards), 0.0])
        cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
        turned = np.eye(3) + np.sin(tilt) * cross + (1 - np.cos(tilt)) * cross @ cross
        about = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
        turned = turned @ about
        camera = np.array([[self.focal * wide, 0, wide / 2], [0, self.focal * wide, high / 2], [0, 0, 1]])
        return np.asarray(camera @ np.column_stack([turned[:, 0], turned[:, 1], [0, 0, self.distance_mm]]))

    def part_outline_mm(self) -> F64:
        """The part's outline (720, 2) on the bench."""
        turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
        half = np.array(self.part_mm) / 2
        return np.asarray(self.part_at_mm + half * np.column_stack([np.cos(turn), np.sin(turn)]))

    def sheet_corners_mm(self) -> F64:
        """The sheet's corners (4, 2) on the bench."""
        half = np.array(PAPERS_MM[self.paper]) / 2
        return self._turned(half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]))

    def _turned(self, points: F64) -> F64:
        turn = np.radians(self.sheet_turn_deg)
        about = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        return np.asarray(points @ about.T + self.sheet_at_mm)

    def on_sheet(self, points_mm: F64) -> F64:
        """Places (N, 2) from the sheet's middle along its sides."""
        turn = np.radians(self.sheet_turn_deg)
        about = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        return np.asarray((points_mm - self.sheet_at_mm) @ about)


def photograph(bench: Bench) -> PictureData:
    """The photo as a JPEG decodes it."""
    wide, high = bench.size_px
    rng = np.random.default_rng(bench.seed)
    row, col = np.mgrid[0:high, 0:wide]
    places = np.column_stack([col.ravel() + 0.5, row.ravel() + 0.5])
    mm = projected(np.linalg.inv(bench.to_px), places)
    pixel_mm = bench.shows_mm / wide
    light = _reflected(bench, mm, pixel_mm, rng).reshape(high, wide, 3)
    across, down = (col / wide - 0.5)[..., None], (row / high - 0.5)[..., None]
    light *= 1 - bench.falloff * (0.5 + 0.7 * across - 0.4 * down)
    light = ndimage.gaussian_filter(light * 0.9 / np.percentile(light, 99.5), (0.7, 0.7, 0))
    light = np.clip(light + bench.noise * np.sqrt(light + 0.02) * rng.standard_normal(light.shape), 0, 1)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    stored = io.BytesIO()
    Image.fromarray((255 * code + 0.5).astype(np.uint8)).save(stored, "JPEG", quality=bench.jpeg)
    return PictureData(np.asarray(Image.open(io.BytesIO(stored.getvalue()))), file="bench.jpg")


def _reflected(bench: Bench, mm: F64, pixel_mm: float, rng: np.random.Generator) -> F64:
    x, y = np.ascontiguousarray(mm.T)
    light = np.array(bench.ground) * (1 + bench.ground_texture * _cloth(mm, 3.0, rng))[:, None]
    cover = _cover(_outside_sheet(bench, mm), pixel_mm)
    there = np.flatnonzero(cover)
    sheet = 0.86 * (1 + bench.paper_texture * _cloth(mm[there], 1.5, rng))[:, None] * np.array([1.0, 0.995, 0.975])
    light[there] += cover[there, None] * (sheet - light[there])
    if bench.paper == "frame":
        light += _cover(_outside_ink(bench.on_sheet(mm)), pixel_mm)[:, None] * (0.045 - light)
    if bench.shadow:
        # a straight shadow, as of an arm, slantwise over the sheet's lower half
        depth = (y - bench.sheet_at_mm[1] - 0.35 * (x - bench.sheet_at_mm[0]) - 30.0) / bench.shadow_mm
        light *= (1 - bench.shadow / (1 + np.exp(-np.clip(depth, -40, 40))))[:, None]
    half = np.array(bench.part_mm) / 2
    right, down = x - bench.part_at_mm[0], y - bench.part_at_mm[1]
    reach = np.hypot(right / half[0], down / half[1])
    cover = _cover((reach - 1) * np.hypot(right, down) / np.maximum(reach, 1e-6), pixel_mm)
    there = np.flatnonzero(cover)
    silver = 0.42 * np.exp(0.35 * _cloth(mm[there], 7.0, rng))[:, None] * np.array([1.0, 1.0, 1.02])
    light[there] += cover[there, None] * (silver - light[there])
    return light


def _outside_sheet(bench: Bench, mm: F64) -> F64:
    """Signed distance [mm] from the sheet: positive outside; corners rounded, one of them curled inwards."""
    along, down = np.ascontiguousarray(bench.on_sheet(mm).T)
    half = np.array(PAPERS_MM[bench.paper]) / 2
    one, other = np.abs(along) - half[0] + bench.rounded_mm, np.abs(down) - half[1] + bench.rounded_mm
    signed = np.hypot(np.maximum(one, 0), np.maximum(other, 0)) + np.minimum(np.maximum(one, other), 0)
    signed -= bench.rounded_mm
    if bench.curl_mm:
        beyond_corner = along + down - sum(PAPERS_MM[bench.paper]) / 2
        signed = np.maximum(signed, 0.7 * beyond_corner + bench.curl_mm)
    return np.asarray(signed)


def _outside_ink(own_mm: F64) -> F64:
    """Signed distance [mm] from what is dark on the frame: 10 mm squares, 176 x 116 mm apart, two rows of windows.

    The top left square has a hole of 4 mm; windows are cut out, 20 x 30 mm, 24 mm apart.
    """
    x, y = np.ascontiguousarray(own_mm.T)
    squares = np.maximum(np.abs(np.abs(x) - 88.0), np.abs(np.abs(y) - 58.0)) - 5.0
    x, y = x + 88.0, y + 58.0
    hole = np.hypot(x, y) - 2.0
    column = np.clip(np.rint((x - 16.0) / 24.0), 0, 6)
    across, down = np.abs(x - 16.0 - 24.0 * column) - 10.0, np.abs(y - np.where(y < 45.0, 27.0, 63.0)) - 15.0
    return np.asarray(np.minimum(np.maximum(squares, -hole), np.maximum(across, down)))


def _cover(outside_mm: F64, pixel_mm: float) -> F64:
    return np.asarray(np.clip(0.5 - outside_mm / pixel_mm, 0, 1))


def _cloth(mm: F64, size_mm: float, rng: np.random.Generator) -> F64:
    """Smooth random pattern of mean 0 and spread 1 that lies on the bench and repeats after 128 sizes."""
    tile = ndimage.gaussian_filter(rng.standard_normal((256, 256)), 1.0, mode="wrap")
    places = (mm / (size_mm / 2)).T[::-1]
    return np.asarray(ndimage.map_coordinates(tile / tile.std(), places, order=1, mode="grid-wrap"))
