"""Photos of parts on a bench whose outline is known: bench in mm, light, shadow, glare, clutter, camera, JPEG.

A scene is laid out in mm, so that one scene at 1 and at 12 megapixels is the same bench with the same truth. What
light, shadow and camera do is simplified and its figures are assumed; the truth is exact.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage
from skimage.transform import warp

from layerpreview.surface.picture_file import PictureData

from .part_bodies import BODY, SIDES, body, glare
from .part_grounds import GROUNDS, Plane
from .part_shapes import F32, F64, circle_mm, covered
from .part_truth import FOCAL, Scene, Truth, camera, laid_out, own_rings, placed, seen, size_px

DISC_MM = (-60.0, 10.0, 22.0)
_LAMP_LIN, _SKY_LIN = np.array((1.06, 1.0, 0.90), np.float32), np.array((0.93, 1.0, 1.10), np.float32)
_SHADOW_STEP_MM = 1.5


@dataclass(frozen=True, eq=False)
class PartPhoto:
    """A photo and its truth."""

    jpeg: bytes
    """The file, upright, without EXIF."""
    truth: Truth

    @property
    def picture(self) -> PictureData:
        return PictureData(np.asarray(Image.open(io.BytesIO(self.jpeg))), file="part.jpg")

    def save(self, path: Path, *, orientation: int = 1, gps: bool = False) -> Path:
        """Write the file as a phone does: turned as it was held, as EXIF `orientation` (1, 3, 6, 8) says, with GPS."""
        held = {1: None, 3: Image.Transpose.ROTATE_180, 6: Image.Transpose.ROTATE_90, 8: Image.Transpose.ROTATE_270}
        image = Image.open(io.BytesIO(self.jpeg))
        turn = held[orientation]
        exif = Image.Exif()
        exif[0x0112], exif[0x010F] = orientation, "a phone"
        if gps:
            exif.get_ifd(0x8825).update({1: "N", 2: (47.0, 22.0, 11.0), 3: "E", 4: (8.0, 32.0, 17.0)})
        (image if turn is None else image.transpose(turn)).save(path, "JPEG", quality=95, exif=exif)
        return path


def take(scene: Scene) -> PartPhoto:
    """Take the photo."""
    truth = laid_out(scene)
    encoded = io.BytesIO()
    Image.fromarray(_developed(scene, _flat(scene, truth))).save(encoded, "JPEG", quality=scene.jpeg)
    return PartPhoto(encoded.getvalue(), truth)


def _flat(scene: Scene, truth: Truth) -> F32:
    """Light that reaches the lens (rows, cols, 3), the white of a card in full light being about 1."""
    rows, cols = size_px(scene)
    border = np.array([(0, 0), (cols, 0), (cols, rows), (0, rows)], dtype=np.float64)
    to_px = camera(scene, below_mm=scene.side_mm)
    view = seen(np.linalg.inv(to_px), border)
    bench = Plane.about(view.min(axis=0) - 2, view.max(axis=0) + 2, scene.view_mm / 1100)
    rng = np.random.default_rng([scene.seed, 3])
    light = _light(scene, bench, truth)
    picture = _warped(GROUNDS[scene.ground](bench, rng) * light, bench, to_px, rows, cols)
    light_px = _warped(light, bench, to_px, rows, cols)
    for thing in truth.things:
        picture = picture if thing.tall else thing.over(picture, light_px, to_px)
    outer, *openings = truth.rings_px
    if scene.side_mm:
        stands = _standing(truth.rings_px, [seen(to_px, ring) for ring in truth.rings_mm], rows, cols)
        picture += stands[:, :, None] * (np.array(SIDES[scene.body], np.float32) * light_px - picture)
    part = covered([outer], rows, cols) - covered(openings, rows, cols)
    face = _warped(_face(scene, rng), BODY, truth.to_px @ placed(scene), rows, cols)
    picture += part[:, :, None] * (face - picture)
    for thing in truth.things:
        picture = thing.over(picture, light_px, to_px) if thing.tall else picture
    return picture


def _standing(face: tuple[F64, ...], foot: list[F64], rows: int, cols: int) -> F32:
    """How much of each pixel (rows, cols) the part and its side hide: all between its face and its foot, but where both
    leave an opening."""
    pairs = zip(face[0], np.roll(face[0], -1, 0), np.roll(foot[0], -1, 0), foot[0], strict=True)
    sides = [shapely.MultiPoint(corners).convex_hull for corners in pairs]
    whole = shapely.union_all([shapely.Polygon(face[0]), shapely.Polygon(foot[0]), *sides])
    through = [shapely.Polygon(a).intersection(shapely.Polygon(b)) for a, b in zip(face[1:], foot[1:], strict=True)]
    hidden = covered([np.array(whole.exterior.coords)[:-1]], rows, cols)
    return hidden - covered([np.array(shape.exterior.coords)[:-1] for shape in through], rows, cols)


def _face(scene: Scene, rng: np.random.Generator) -> F32:
    """What the part's face sends (rows, cols, 3) over BODY."""
    back = np.linalg.inv(placed(scene))
    lamp = np.array([*seen(back, np.array([scene.lamp_mm[:2]]))[0], scene.lamp_mm[2]])
    eye_mm = FOCAL * scene.view_mm
    face = body(scene.body, own_rings(scene), lamp_mm=lamp, eye_mm=eye_mm, seed=scene.seed)
    if scene.disc:
        disc = covered([BODY.to_index(circle_mm(*DISC_MM))], BODY.rows, BODY.cols)[:, :, None]
        face = face + disc * (np.float32(0.025) - face)
    falls = _falls(scene, BODY.x - lamp[0], BODY.y - lamp[1])[:, :, None]
    face = face * (scene.sky * _SKY_LIN + (1 - scene.sky) * falls * _LAMP_LIN)
    to_bench = placed(scene)
    x, y = (to_bench[k, 0] * BODY.x + to_bench[k, 1] * BODY.y + to_bench[k, 2] for k in (0, 1))
    face = face * _kept_by_own_shadow(scene, x, y)[:, :, None]
    return np.asarray(face + glare(rng, spots=scene.spots, broad=scene.broad)[:, :, None], dtype=np.float32)


def _falls(scene: Scene, x: F32, y: F32) -> F32:
    """A small lamp's light on a plane (x, y) [mm] from below it, 1 in the picture's middle: the cube of its cosine."""
    high = scene.lamp_mm[2]
    middle = np.square(scene.lamp_mm[0]) + np.square(scene.lamp_mm[1]) + high**2
    return np.asarray((middle / (np.square(x) + np.square(y) + high**2)) ** 1.5, dtype=np.float32)


def _kept_by_own_shadow(scene: Scene, x: F32, y: F32) -> F32:
    """The share of light that is left at places on the bench [mm] by a head and shoulders that lean in from below."""
    head, shoulders = 85 - np.hypot(x - 70, y - 40), 190 - np.hypot(0.7 * (x - 90), y - 280)
    within = 1 / (1 + np.exp(-np.maximum(head, shoulders) / 7.0))
    return np.asarray(1 - scene.own_shadow * within, dtype=np.float32)


def _light(scene: Scene, bench: Plane, truth: Truth) -> F32:
    """Light on the bench (rows, cols, 3): the lamp where no shadow lies, the sky where no part stands in its way."""
    low, high = np.array([bench.x_mm, bench.y_mm]), np.array([bench.x[0, -1], bench.y[-1, 0]])
    coarse = Plane.about(low, high + 2 * _SHADOW_STEP_MM, _SHADOW_STEP_MM)
    near, shade = np.zeros((2, coarse.rows, coarse.cols), np.float32)
    standing = [(truth.rings_mm, scene.lift_mm), *(((thing.rings[0],), 60.0) for thing in truth.things if thing.tall)]
    for (outer, *openings), high_mm in standing:
        inside = covered([coarse.to_index(outer)], coarse.rows, coarse.cols)
        inside -= covered([coarse.to_index(ring) for ring in openings], coarse.rows, coarse.cols)
        near = np.maximum(near, ndimage.gaussian_filter(inside, 0.5 * scene.lift_mm / _SHADOW_STEP_MM))
        shade = np.maximum(shade, _shade(inside, high_mm, scene.lamp_mm))
    lamp = _falls(scene, coarse.x - scene.lamp_mm[0], coarse.y - scene.lamp_mm[1]) * (1 - shade)
    sky = scene.sky * (1 - 0.55 * near)
    light = sky[:, :, None] * _SKY_LIN + (1 - scene.sky) * lamp[:, :, None] * _LAMP_LIN
    light = light * _kept_by_own_shadow(scene, coarse.x, coarse.y)[:, :, None]
    to_coarse = np.diag([bench.step_mm / coarse.step_mm, bench.step_mm / coarse.step_mm, 1.0])
    return np.asarray(warp(light, to_coarse, output_shape=(bench.rows, bench.cols), order=1, mode="edge"), np.float32)


def _shade(inside: F32, high_mm: float, lamp_mm: tuple[float, float, float]) -> F32:
    """The shadow of what stands `high_mm` high: that of each height lies further away and is softer."""
    made = np.zeros_like(inside)
    for share in (0.1, 0.4, 0.7, 1.0):
        x, y = (-share * high_mm * at / lamp_mm[2] / _SHADOW_STEP_MM for at in lamp_mm[:2])
        soft = ndimage.gaussian_filter(inside, (0.6 + 0.14 * share * high_mm) / _SHADOW_STEP_MM)
        made = np.maximum(made, ndimage.shift(soft, (y, x), order=1, mode="nearest"))
    return made


def _warped(numbers: F32, plane: Plane, to_px: F64, rows: int, cols: int) -> F32:
    """What lies on a plane as the camera sees it, (rows, cols, 3)."""
    scale = 1 / plane.step_mm
    index = np.array([[scale, 0, -plane.x_mm * scale], [0, scale, -plane.y_mm * scale], [0, 0, 1.0]])
    middle = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])  # a pixel's middle from the picture's corner
    matrix = index @ np.linalg.inv(to_px) @ middle
    return np.asarray(warp(numbers, matrix, output_shape=(rows, cols), order=1, mode="edge"), dtype=np.float32)


def _developed(scene: Scene, light: F32) -> NDArray[np.uint8]:
    """Lens, sensor and what a phone does: vignette, focus, exposure, noise, sharpening, sRGB; (rows, cols, 3)."""
    rows, cols = light.shape[:2]
    y, x = (np.arange(rows)[:, None] + 0.5) / cols - rows / cols / 2, (np.arange(cols)[None, :] + 0.5) / cols - 0.5
    light = light * (1 / np.square(1 + 0.5 * (x * x + y * y) / FOCAL**2 * 1.6))[:, :, None].astype(np.float32)
    blur = np.hypot(0.55, scene.blur_mm * cols / scene.view_mm)
    light = ndimage.gaussian_filter(light, (blur, blur, 0))
    meter = min(0.95 / float(np.percentile(light[::4, ::4], 98)), 0.42 / float(light[::4, ::4].mean()))
    light = light * np.float32(meter * 2.0**scene.exposure_ev)
    rng = np.random.default_rng([scene.seed, 4])
    grain = rng.standard_normal(light.shape, dtype=np.float32)
    light = light + np.float32(scene.noise) * np.sqrt(np.maximum(light, 0) + 0.01) * grain
    light += 0.4 * (light - ndimage.gaussian_filter(light, (1.2, 1.2, 0)))
    light = np.clip(light, 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-6) ** (1 / 2.4) - 0.055)
    return np.asarray(255 * coded + 0.5).astype(np.uint8)
