"""Photos of a chart and of dyes by cameras that never were: measured sensors, cross-talk, S-curve, clipping, JPEG.

Sensitivities: two cameras measured at the National Physical Laboratory, as colour-science distributes them, and three
Gaussian bands (assumed). What the camera makes of its numbers is assumed: a matrix to sRGB that was fitted to smooth
random spectra, more saturation, flare, an S-curve over sRGB's codes.
"""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from layerpreview.colour import WAVELENGTHS_NM, encode_srgb, light_spd
from layerpreview.learn.card.model import photo_eye
from layerpreview.learn.read.chart import chart_boxes
from layerpreview.learn.read.frame_read import Patch, patch_means
from layerpreview.surface.picture_file import PictureData

from .simulated import each_window, random_truth

F64 = NDArray[np.float64]

SENSORS = ("Nikon 5100 (NPL)", "Sigma SDMerill (NPL)", "Gaussian")
PAPER = 23  # of the dye patches: the white that they are balanced on
_PATCH_PX, _EDGE_PX = 60, 20
_RAW_GAIN = np.array([2.0, 1.0, 1.6])  # red and blue read less than green, and are raised to it: assumed
_RAW_ABOVE = 1.25  # times a JPEG's white, where the sensor is full: a third of a stop, assumed
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


@dataclass(frozen=True)
class Shot:
    """How a photo is taken: `contrast` of the S-curve (slope 1 - contrast at the ends, 1 + contrast in the middle)."""

    sensor: str
    light: str
    contrast: float = 0.4
    exposure: float = 0.9
    saturation: float = 1.15
    vignette: float = 0.15
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    flare: float = 0.005
    quality: int = 92


def every_shot() -> list[Shot]:
    """Each sensor in daylight and under LEDs: usual, flat and dark, hard and uneven with a cast, overexposed."""
    return [
        Shot(sensor, light, **how)  # type: ignore[arg-type]
        for sensor in SENSORS
        for light in ("D50", "LED-B3")
        for how in (
            {},
            {"contrast": 0.2, "vignette": 0.0, "exposure": 0.7},
            {"contrast": 0.6, "vignette": 0.3, "saturation": 1.25, "cast": (1.04, 1.0, 0.95)},
            {"contrast": 0.5, "vignette": 0.1, "saturation": 1.0, "exposure": 1.12},
        )
    ]


def patches_of(spectra: F64, shot: Shot, rng: np.random.Generator) -> list[Patch]:
    """The photo of 24 spectra (24, 81) as a chart of 4 x 6, read patch by patch."""
    seen = _exposed(spectra @ _sensitivity(shot.sensor, shot.light).T @ _built_in_matrix(shot).T, shot, rng)
    code = encode_srgb(seen)
    code = code - shot.contrast * np.sin(2 * np.pi * code) / (2 * np.pi)
    held = io.BytesIO()
    Image.fromarray(np.rint(255 * code).astype(np.uint8)).save(held, format="JPEG", quality=shot.quality)
    return _read(np.asarray(Image.open(held)))


def raw_patches_of(spectra: F64, shot: Shot, rng: np.random.Generator) -> list[Patch]:
    """The same as camera raw: linear light in the sensor's own colours, in 12 bits, balanced on white."""
    lower = replace(shot, exposure=shot.exposure / _RAW_ABOVE)
    seen = _exposed(spectra @ _sensitivity(shot.sensor, shot.light).T, lower, rng)
    bits = np.rint(4095 * seen / _RAW_GAIN) * _RAW_GAIN / 4095
    return _read(np.rint(65535 * encode_srgb(np.minimum(bits, 1.0))).astype(np.uint16))


def _exposed(rgb: F64, shot: Shot, rng: np.random.Generator) -> F64:
    """Light on the sensor (h, w, 3), 0..1: flare, fall-off, cast and 1 % noise of each pixel."""
    squares = (rgb + shot.flare).reshape(4, 6, 3).repeat(_PATCH_PX, axis=0).repeat(_PATCH_PX, axis=1)
    light = np.pad(squares, ((_EDGE_PX, _EDGE_PX), (_EDGE_PX, _EDGE_PX), (0, 0)), constant_values=0.08)
    high, wide = light.shape[:2]
    v, u = np.mgrid[0:high, 0:wide]
    u, v = u / wide * 2 - 1, v / high * 2 - 1
    fall = 1.0 - shot.vignette * (0.5 * (u**2 + v**2) / 2 + 0.5 * (0.5 + 0.35 * u - 0.2 * v))
    seen = light * shot.exposure * fall[..., None] * np.array(shot.cast)
    return np.asarray(np.clip(seen * (1.0 + 0.01 * rng.standard_normal(seen.shape)), 0.0, 1.0))


def _read(pixels: NDArray[np.uint8] | NDArray[np.uint16]) -> list[Patch]:
    return patch_means(PictureData(pixels, file="chart"), chart_boxes(_EDGE_PX, _EDGE_PX, 6 * _PATCH_PX, 4 * _PATCH_PX))


def chart_spectra(name: str = "ISO 17321-1") -> F64:
    """A 24-patch chart's reflectances (24, 81), by way of colour-science."""
    spectra = _colour().SDS_COLOURCHECKERS[name].values()
    return np.stack([np.interp(WAVELENGTHS_NM, each.wavelengths, each.values) for each in spectra])


def dye_spectra(rng: np.random.Generator) -> F64:
    """24 windows (24, 81) of six random dyes, over white and metal, the last of them plain paper."""
    windows = [list(each_window(random_truth(rng))) for _ in range(6)]
    spectra = np.stack([each[i][2] for each in windows for i in (0, 2, 4, 13)])
    spectra[PAPER] = 0.86
    return spectra


def sensor_matrix(sensor: str, light: str) -> F64:
    """A maker's matrix (3, 3) from a sensor's numbers to linear sRGB, both balanced on white: of smooth spectra."""
    rng = np.random.default_rng(99)
    middle, width, height = (
        rng.uniform(380, 780, (300, 1)),
        rng.uniform(30, 120, (300, 1)),
        rng.uniform(-1, 1, (300, 1)),
    )
    smooth = np.clip(0.5 + height * np.exp(-0.5 * ((WAVELENGTHS_NM - middle) / width) ** 2), 0.02, 0.95)
    matrix = np.linalg.lstsq(smooth @ _sensitivity(sensor, light).T, smooth @ photo_eye(light).take.T, rcond=None)[0].T
    return np.asarray(matrix / matrix.sum(axis=1, keepdims=True))


def _sensitivity(sensor: str, light: str) -> F64:
    """What each channel (3, 81) takes of a reflectance under the light, balanced on white."""
    if sensor == "Gaussian":
        bands = np.stack([np.exp(-0.5 * ((WAVELENGTHS_NM - m) / w) ** 2) for m, w in ((600, 38), (535, 42), (455, 30))])
    else:
        held = _colour().MSDS_CAMERA_SENSITIVITIES[sensor]
        bands = np.stack([np.interp(WAVELENGTHS_NM, held.wavelengths, held.values[:, c]) for c in range(3)])
    taken = bands * light_spd(light)
    return np.asarray(taken / taken.sum(axis=1, keepdims=True))


def _built_in_matrix(shot: Shot) -> F64:
    saturate = shot.saturation * np.eye(3) + (1.0 - shot.saturation) * np.outer(np.ones(3), _LUMINANCE)
    return np.asarray(saturate @ sensor_matrix(shot.sensor, shot.light))


def _colour():  # type: ignore[no-untyped-def]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of libraries that only its own pictures need
        import colour

        return colour
