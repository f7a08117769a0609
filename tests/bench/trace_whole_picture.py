"""Makes tests/reference/whole_picture.npz of whole_picture.toml and .png beside it with mitsuba (see the README there).

Needs this project and mitsuba==3.9.1 in one environment, LLVM 19 or newer (DRJIT_LIBLLVM_PATH says where). Half an hour
on two shared cores: `python tests/bench/trace_whole_picture.py 36`, passes of 64 paths for each of 57,600 facets.
"""

from __future__ import annotations

import sys
from pathlib import Path

import drjit as dr
import mitsuba as mi
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from layerpreview import load_scheme
from layerpreview.colour import display_matrix
from layerpreview.film import SILVERS
from layerpreview.finish.layers import stack_of
from layerpreview.finish.texture import texture_of
from layerpreview.finish.view import STRAIGHT_ON
from layerpreview.picture.scene import make_scene
from layerpreview.scheme import Scheme

mi.set_variant("llvm_ad_mono")

F64 = NDArray[np.float64]
REFERENCE = Path(__file__).parents[1] / "reference"
SIZE_MM, FACETS, SHOWN = 60.0, 240, 120
ABSORBANCES10 = (0.0, 0.05, 0.12, 0.25, 0.45, 0.7, 1.0, 1.35, 1.75, 2.2)
FALLS = [-float(np.log(10.0) * a) for a in ABSORBANCES10]
PATHS = 64
INDEX = 1.5
EVEN, LAMP, HALF_DEG = 0.4, 0.6, 10.0
ZENITH, AZIMUTH = np.radians(90.0 - 50.0), np.radians(90.0 - 315.0)  # y up: counted from the right to the top
TOWARDS_LAMP = [float(v) for v in (np.sin(ZENITH) * np.cos(AZIMUTH), np.sin(ZENITH) * np.sin(AZIMUTH), np.cos(ZENITH))]
COS_HALF = float(np.cos(np.radians(HALF_DEG)))
# A disc of even radiance that gives the level face pi times its power, as a sky of radiance EVEN does.
LAMP_RADIANCE = float(LAMP / (np.sin(np.radians(HALF_DEG)) ** 2 * np.cos(ZENITH)))
DARK, LONGEST = 1e-5, 400
FACE = {"type": "dielectric", "int_ior": INDEX, "ext_ior": 1.0}


def flakes(spread: float, scale: float) -> dict[str, object]:
    """Aluminium at 550 nm relative to the film."""
    return {
        "type": "roughconductor",
        "distribution": "beckmann",
        "alpha": spread,
        "eta": 0.64,
        "k": 4.46,
        "specular_reflectance": scale,
    }


def facets(normals: F64) -> dict[str, object]:
    """A level surface that mirrors as if it leaned by its normals (rows, cols, 3), the first row at v = 0."""
    silver = SILVERS["medium"]
    (_, narrow), (share, broad) = silver.lobes
    return {
        "type": "normalmap",
        "flip_invalid_normals": False,
        "use_shadowing_function": False,
        "normalmap": {
            "type": "bitmap",
            "raw": True,
            "filter_type": "nearest",
            "data": mi.TensorXf(np.ascontiguousarray(0.5 * normals + 0.5, dtype=np.float32)),
        },
        "flakes": {
            "type": "blendbsdf",
            "weight": share,
            "narrow": flakes(narrow, silver.scale),
            "broad": flakes(broad, silver.scale),
        },
    }


def patch(normals: F64) -> mi.Scene:
    """A level face over a level base of facets; the film between is 1 thick and 3000 times as wide."""
    wide = mi.ScalarTransform4f().scale([3000.0, 3000.0, 1.0])
    up = mi.ScalarTransform4f().translate([0.0, 0.0, 1.0])
    return mi.load_dict(
        {
            "type": "scene",
            "base": {"type": "rectangle", "to_world": wide, "bsdf": facets(normals)},
            "face": {"type": "rectangle", "to_world": up @ wide, "bsdf": FACE},
        }
    )


def ray_to_lamp(rng: mi.PCG32) -> tuple[mi.Vector3f, mi.Float]:
    """A direction inside the film towards a point of the lamp's disc, even over its solid angle, and what comes from
    there, per solid angle inside and over the sampling density; n^2 of the radiance and of the angle cancel."""
    cosine = 1.0 - rng.next_float32() * (1.0 - COS_HALF)
    turn = 2.0 * np.pi * rng.next_float32()
    across = dr.sqrt(dr.maximum(0.0, 1.0 - cosine * cosine))
    air = mi.Frame3f(mi.Vector3f(TOWARDS_LAMP)).to_world(
        mi.Vector3f(across * dr.cos(turn), across * dr.sin(turn), cosine)
    )
    reflected = mi.fresnel(air.z, INDEX)[0]
    towards = mi.Vector3f(air.x / INDEX, air.y / INDEX, 0.0)
    towards.z = dr.sqrt(1.0 - towards.x**2 - towards.y**2)
    solid_angle = 2.0 * np.pi * (1.0 - COS_HALF)
    return towards, LAMP_RADIANCE * solid_angle * (1.0 - reflected) * air.z / towards.z


@dr.syntax
def traced(scene: mi.Scene, place: mi.Point2f, seed: int) -> list[mi.Float]:
    """Radiance of each path from an eye straight above its facet, for each of ABSORBANCES10; a level white card is 1.

    A path's way through the film, in thicknesses, makes its light at every absorbance. The lamp is met from each bounce
    through the level face (its refraction is known), the sky by chance.
    """
    count = dr.width(place)
    rng, context = mi.PCG32(size=count, initstate=seed), mi.BSDFContext()
    ray = dr.zeros(mi.Ray3f, count)
    ray.o, ray.d, ray.maxt = mi.Vector3f(0.0, 0.0, 2.0), mi.Vector3f(0.0, 0.0, -1.0), dr.largest(mi.Float)
    weight, way = dr.full(mi.Float, 1.0, count), dr.full(mi.Float, 0.0, count)
    inside, active = dr.full(mi.Bool, False, count), dr.full(mi.Bool, True, count)
    bounces = dr.full(mi.UInt32, 0, count)
    seen = [dr.full(mi.Float, 0.0, count) for _ in ABSORBANCES10]
    while active:
        at = scene.ray_intersect(ray, active)
        hit = at.is_valid()
        way += dr.select(active & hit & inside, at.t, 0.0)
        sky = dr.select(active & ~hit & (ray.d.z > 0.0), weight * EVEN, 0.0)
        active &= hit
        on_base = active & (at.p.z < 0.5)
        at.uv = dr.select(on_base, place, at.uv)  # every bounce meets the same facet
        bsdf = at.bsdf()
        towards, arriving = ray_to_lamp(rng)
        sent = bsdf.eval(context, at, at.to_local(towards), on_base)[0]
        lamp = dr.select(on_base, weight * sent * arriving, 0.0)
        for k in range(len(FALLS)):
            seen[k] += sky * dr.exp(FALLS[k] * way) + lamp * dr.exp(FALLS[k] * (way + 1.0 / towards.z))
        sample, part = bsdf.sample(
            context, at, rng.next_float32(), mi.Point2f(rng.next_float32(), rng.next_float32()), active
        )
        weight = dr.select(active, weight * part[0], weight)
        leaving = at.to_world(sample.wo)
        active &= ~((bounces == 0) & (leaving.z > 0.0))  # the face's own mirror image is no part of it
        inside = dr.select(active, on_base | (leaving.z < 0.0), inside)
        bounces += 1
        active &= (weight > DARK) & (bounces < LONGEST)
        ray = at.spawn_ray(leaving)
    return seen


def facet_curves(normals: F64, passes: int) -> tuple[F64, F64]:
    """Reflectance factor of each facet at each absorbance (facets, absorbances), and its standard error."""
    scene = patch(normals)
    middle = (np.arange(FACETS) + 0.5) / FACETS
    v, u = (np.repeat(w.ravel(), PATHS).astype(np.float32) for w in np.meshgrid(middle, middle, indexing="ij"))
    place = mi.Point2f(u, v)
    total, squares = np.zeros((2, FACETS**2, len(ABSORBANCES10)))
    for seed in range(passes):
        means = [dr.block_sum(part, PATHS) / PATHS for part in traced(scene, place, mi.UInt64(seed + 1))]
        found = np.stack([np.array(mean, dtype=np.float64) for mean in means], axis=1)
        total += found
        squares += found**2
        print(f"pass {seed + 1} of {passes}", file=sys.stderr)
    mean = total / passes
    return mean, np.sqrt(np.maximum(squares / passes - mean**2, 0.0) / max(passes - 1, 1))


def normals_of(scheme: Scheme) -> F64:
    """Normals (rows, cols, 3) of the patch's facets, x to the right, y up, z to the eye; rows from the top."""
    relief = texture_of(scheme.base, SIZE_MM, SIZE_MM)
    normals = np.stack([-relief.slope_x, relief.slope_y, np.ones_like(relief.slope_x)], axis=-1).astype(np.float64)
    return normals / np.linalg.norm(normals, axis=-1, keepdims=True)


def dye_on(scheme: Scheme) -> F64:
    """Decadic absorbance (facets, 81) of a straight pass over each facet."""
    builds, _ = make_scene(scheme, width_px=FACETS).faces[0].picture.maps.rows(0, FACETS)
    layers = np.stack([layer.absorbance10 for layer in stack_of(scheme, STRAIGHT_ON, base=scheme.base).layers])
    return builds.T.astype(np.float64) @ layers


def shown_of(scheme: Scheme, mean: F64, error: F64) -> tuple[F64, F64]:
    """The picture (120, 120, 3) of curves and the standard error of its green, as a share of it.

    The local dye at all 81 wavelengths, each facet's own curve at that dye, and only then colour.
    """
    rgb_lin, noise = np.empty((2, FACETS**2, 3))
    matrix = display_matrix("D65").T
    for i, (curve, off, absorbance10) in enumerate(zip(mean, error, dye_on(scheme), strict=True)):
        reflected = np.exp(CubicSpline(ABSORBANCES10, np.log(np.maximum(curve, 1e-9)))(absorbance10))
        rgb_lin[i] = reflected @ matrix
        noise[i] = (reflected * np.interp(absorbance10, ABSORBANCES10, off / np.maximum(curve, 1e-9))) @ matrix
    blocks = SHOWN, FACETS // SHOWN, SHOWN, FACETS // SHOWN, 3
    shown = rgb_lin.reshape(blocks).mean(axis=(1, 3))
    return shown, np.sqrt((noise.reshape(blocks)[..., 1] ** 2).mean(axis=(1, 3)) / 4.0) / shown[..., 1]


def main(passes: int) -> None:
    scheme = load_scheme(REFERENCE / "whole_picture.toml")
    shown, green_error = shown_of(scheme, *facet_curves(normals_of(scheme), passes))
    print(f"standard error of green, median {np.median(green_error):.4f} of its value")
    np.savez_compressed(REFERENCE / "whole_picture.npz", rgb_lin=shown.astype(np.float16))


if __name__ == "__main__":
    main(int(sys.argv[1]))
