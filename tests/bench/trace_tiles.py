"""Holds the renderer's own volumetric path tracer against the pictures' law on tiles of the whole picture.

The film has its true thickness and is a medium, the facets lie side by side, lamp and sky are met by chance alone.
Prints figures and judges nothing. As trace_whole_picture.py, beside which it lies: `python tests/bench/trace_tiles.py
12`, passes of 1024 paths a facet, takes five minutes.
"""

from __future__ import annotations

import sys

import mitsuba as mi
import numpy as np
from trace_whole_picture import (
    EVEN,
    F64,
    FACE,
    FACETS,
    HALF_DEG,
    LAMP_RADIANCE,
    REFERENCE,
    TOWARDS_LAMP,
    dye_on,
    facets,
    normals_of,
)

from layerpreview import load_scheme
from layerpreview.finish.layers import facet_law_of
from layerpreview.finish.texture import texture_of
from layerpreview.finish.view import View, surroundings_of

PIXEL_MM, FILM_MM = 0.25, 0.032  # the scheme's 90 and 70 um wet at 20 % solids
TILE, MARGIN = 24, 8
TILES = {"middle": (108, 60), "below": (150, 120), "top edge": (10, 100), "left edge": (60, 6)}
WAVELENGTHS = (20, 32, 40)
HALF_MM = 0.5 * (TILE + 2 * MARGIN) * PIXEL_MM
FAR_MM = 2000.0


def medium(absorbance10: F64) -> dict[str, object]:
    """The dye, absorbing only. A ray starts a little off its surface; each pass is made up for what it is short of."""
    x = (np.arange(TILE + 2 * MARGIN) + 0.5) * PIXEL_MM - HALF_MM
    short_mm = 1500.0 * 2.0**-24 * (1.0 + np.maximum(np.abs(x)[:, None], np.abs(x)[None, :]))
    per_mm = (absorbance10 * np.log(10.0) / (FILM_MM - short_mm))[None, ::-1, :, None]
    place = mi.ScalarTransform4f().translate([-HALF_MM, -HALF_MM, 0.0]).scale([2.0 * HALF_MM, 2.0 * HALF_MM, FILM_MM])
    return {
        "type": "heterogeneous",
        "albedo": {"type": "constvolume", "value": 0.0},
        "sigma_t": {
            "type": "gridvolume",
            "grid": mi.VolumeGrid(np.ascontiguousarray(per_mm, dtype=np.float32)),
            "filter_type": "nearest",
            "wrap_mode": "clamp",
            "to_world": place,
        },
    }


def tile_scene(normals: F64, absorbance10: F64) -> mi.Scene:
    dye, flat = medium(absorbance10), mi.ScalarTransform4f()
    wide = flat.scale([HALF_MM, HALF_MM, 1.0])
    lamp_at = [FAR_MM * v for v in TOWARDS_LAMP]
    lamp = flat.look_at(origin=lamp_at, target=[0.0, 0.0, 0.0], up=[0.0, 0.0, 1.0])
    eye = flat.look_at(origin=[0.0, 0.0, 10.0], target=[0.0, 0.0, 0.0], up=[0.0, 1.0, 0.0])
    half_tile = 0.5 * TILE * PIXEL_MM
    up = flat.translate([0.0, 0.0, FILM_MM])
    # The disc stands before the sky.
    glow = {"type": "uniform", "value": LAMP_RADIANCE + EVEN}
    return mi.load_dict(
        {
            "type": "scene",
            "integrator": {"type": "volpath", "max_depth": 200, "rr_depth": 64},
            "base": {"type": "rectangle", "to_world": wide, "exterior": dye, "bsdf": facets(normals[::-1])},
            "face": {"type": "rectangle", "to_world": up @ wide, "interior": dye, "bsdf": FACE},
            "sky": {"type": "constant", "radiance": {"type": "uniform", "value": EVEN}},
            "lamp": {
                "type": "disk",
                "to_world": lamp.scale([FAR_MM * float(np.tan(np.radians(HALF_DEG)))] * 3),
                "emitter": {"type": "area", "radiance": glow},
            },
            "sensor": {
                "type": "orthographic",
                "to_world": eye.scale([half_tile, half_tile, 1.0]),
                "film": {
                    "type": "hdrfilm",
                    "width": TILE,
                    "height": TILE,
                    "rfilter": {"type": "box"},
                    "pixel_format": "luminance",
                    "component_format": "float32",
                },
                "sampler": {"type": "independent"},
            },
        }
    )


def rendered(scene: mi.Scene, passes: int) -> tuple[F64, F64]:
    """Reflectance factor of each pixel and its standard error, without the face's own mirror image of the sky."""
    shots = np.stack(
        [np.array(mi.render(scene, spp=1024, seed=i + 1), dtype=np.float64)[..., 0] for i in range(passes)]
    )
    return shots.mean(axis=0) - 0.04 * EVEN, shots.std(axis=0, ddof=1) / np.sqrt(passes)


def in_fours(values: F64) -> F64:
    return values.reshape(TILE // 4, 4, TILE // 4, 4).mean(axis=(1, 3))


def main(passes: int) -> None:
    scheme = load_scheme(REFERENCE / "whole_picture.toml")
    normals, dye = normals_of(scheme), dye_on(scheme).reshape(FACETS, FACETS, -1)
    relief = texture_of(scheme.base, FACETS * PIXEL_MM, FACETS * PIXEL_MM)
    law = facet_law_of(scheme.base, View(around=surroundings_of(scheme, "bench")))
    print("tile, wavelength: absorbance, mean of both, ours over theirs; blocks of 4 x 4: rms difference (their noise)")
    for name, (row, col) in TILES.items():
        around = np.ix_(*(np.clip(np.arange(at - MARGIN, at + TILE + MARGIN), 0, FACETS - 1) for at in (row, col)))
        here = slice(row, row + TILE), slice(col, col + TILE)
        for k in WAVELENGTHS:
            theirs, error = rendered(tile_scene(normals[around], dye[around][..., k]), passes)
            facets_here = relief.slope_x[here].ravel(), relief.slope_y[here].ravel(), dye[here][..., k].ravel()
            ours = np.array(
                [law.reflectance(np.array([a]), x[None], y[None])[0, 0] for x, y, a in zip(*facets_here, strict=True)]
            )
            ours = ours.reshape(TILE, TILE)
            off = np.sqrt(((in_fours(ours) - in_fours(theirs)) ** 2).mean()) / theirs.mean()
            noise = np.sqrt((in_fours(error**2) / 16.0).mean()) / theirs.mean()
            print(
                f"{name}, {380 + 5 * k} nm: {dye[here][..., k].mean():.2f}, {ours.mean():.4f} {theirs.mean():.4f}, "
                f"{ours.mean() / theirs.mean():.4f}; {off:.3f} ({noise:.3f})"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]))
