"""Makes tests/reference/clear_face.csv with mitsuba (pip install mitsuba==3.9.1 into an environment of its own; LLVM 19
or newer, DRJIT_LIBLLVM_PATH says where). Takes seconds: `python trace_clear_face.py > clear_face.csv`."""

from __future__ import annotations

import csv
import sys

import drjit as dr
import mitsuba as mi
import numpy as np

mi.set_variant("llvm_ad_mono")

INCIDENCES_DEG = (0, 30, 60, 75)
ROUGHNESSES = (0.0, 0.15, 0.35)
AZIMUTHS_DEG = (0, 180, 150, 90)
SAMPLES = 1 << 22
REFLECTED = mi.BSDFContext()
REFLECTED.type_mask = mi.BSDFFlags.Reflection


def face(roughness: float) -> mi.BSDF:
    if roughness == 0.0:
        return mi.load_dict({"type": "dielectric", "int_ior": 1.5, "ext_ior": 1.0})
    return mi.load_dict(
        {"type": "roughdielectric", "distribution": "beckmann", "alpha": roughness, "int_ior": 1.5, "ext_ior": 1.0}
    )


def lit_from(incidence_deg: float, count: int) -> mi.SurfaceInteraction3f:
    at = dr.zeros(mi.SurfaceInteraction3f, count)
    a = np.radians(incidence_deg)
    at.wi = mi.Vector3f(float(np.sin(a)), 0.0, float(np.cos(a)))
    at.sh_frame = mi.Frame3f(mi.Normal3f(0, 0, 1))
    return at


def radiance_times_cosine(
    bsdf: mi.BSDF, incidence_deg: float, polar_rad: np.ndarray, turn_rad: np.ndarray
) -> np.ndarray:
    polar, turn = np.broadcast_arrays(polar_rad, turn_rad)
    p, t = polar.ravel(), turn.ravel()
    out = mi.Vector3f(np.sin(p) * np.cos(t), np.sin(p) * np.sin(t), np.cos(p))
    found = bsdf.eval(REFLECTED, lit_from(incidence_deg, p.size), out)
    return np.array(found, dtype=np.float64).reshape(polar.shape)


def sampled_flux(bsdf: mi.BSDF, incidence_deg: float) -> float:
    draw = mi.PCG32(SAMPLES, initstate=7, initseq=1).next_float32
    _, weight = bsdf.sample(REFLECTED, lit_from(incidence_deg, SAMPLES), draw(), mi.Point2f(draw(), draw()))
    return float(np.array(weight, dtype=np.float64).mean())


def summed_flux(bsdf: mi.BSDF, incidence_deg: float) -> float:
    x, w = np.polynomial.legendre.leggauss(600)
    turn = np.radians(np.arange(0.5, 720.0) / 2.0)
    found = radiance_times_cosine(bsdf, incidence_deg, np.arccos(0.5 * (x + 1.0))[:, None], turn[None, :])
    return float(0.5 * w @ found.mean(axis=1) * 2.0 * np.pi)


table = csv.writer(sys.stdout, lineterminator="\n")
table.writerow(("roughness_alpha", "incidence_deg", "exit_deg", "azimuth_deg", "quantity", "value"))
for roughness in ROUGHNESSES:
    bsdf = face(roughness)
    for incidence in INCIDENCES_DEG:
        flux = sampled_flux(bsdf, incidence)
        if roughness == 0.0:
            table.writerow((0, incidence, "", "", "flux", f"{flux:.6f}"))
            continue
        summed = summed_flux(bsdf, incidence)
        assert abs(summed - flux) < 0.004 * summed  # the rational form of the shadow is itself good to 0.35 %
        table.writerow((roughness, incidence, "", "", "flux", f"{summed:.6f}"))
        for azimuth in AZIMUTHS_DEG:
            for polar in range(0 if azimuth == 180 else 5, 90, 5):
                a = np.radians(float(polar))
                value = radiance_times_cosine(bsdf, incidence, a, np.radians(float(azimuth))) / np.cos(a)
                table.writerow((roughness, incidence, polar, azimuth, "radiance", f"{float(value):.6g}"))
