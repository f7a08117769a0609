"""The slow and literal way from a spectrum to L*a*b*, to hold the package against."""

from __future__ import annotations

import numpy as np

from layerpreview.colour import xyz_weights

# Cone responses of the linear Bradford transform, ICC.1:2022 annex E; chromaticity of D65, IEC 61966-2-1.
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
D65_XYZ = np.array([0.3127 / 0.3290, 1.0, (1.0 - 0.3127 - 0.3290) / 0.3290])


def lab_of_spectrum(spectrum: np.ndarray, *, light: str = "D65", observer_deg: int = 2) -> np.ndarray:  # type: ignore[type-arg]
    """L*a*b* (3,) of one reflectance spectrum (81,): summed, adapted to D65 cone by cone, cube roots taken."""
    weights = xyz_weights(light, observer_deg=observer_deg)
    cones, white, wanted = BRADFORD @ (weights @ spectrum), BRADFORD @ weights.sum(axis=1), BRADFORD @ D65_XYZ
    xyz = np.linalg.inv(BRADFORD) @ (cones * wanted / white)
    x, y, z = (float(np.cbrt(t)) if t > (6 / 29) ** 3 else t / 3 * (29 / 6) ** 2 + 4 / 29 for t in xyz / D65_XYZ)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def transmittance(absorbance10: object) -> np.ndarray:  # type: ignore[type-arg]
    """T = 10^-A: what a straight pass through a decadic absorbance lets through."""
    return np.power(10.0, -np.asarray(absorbance10, dtype=np.float64))
