"""Two ways to read a wanted colour over a base that is not white: that very colour, or what it is over such a base."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import DISPLAY_WHITE_XYZ, XYZ_TO_RGB_LIN, lab_to_xyz, rgb_basis, spectrum_to_lab
from layerpreview.finish.patches import Patches

F64 = NDArray[np.float64]
READINGS = ("mean", "hue")


@dataclass(frozen=True, eq=False)
class Readings:
    """A wanted colour read both ways, L*a*b* (lights, 3) adapted to D65, and the base it is read over.

    `mean`: the mean colour of the finish is to be the wanted one. `hue`: the film is to be the one that makes white
    paper look like it; see `same_film`. `bare`: the base, or what hides it, with no dye. `chosen`: one of `READINGS`.
    """

    mean: F64
    hue: F64
    bare: F64
    chosen: str = "mean"

    @property
    def aimed(self) -> F64:
        """The colour that is looked for."""
        return self.hue if self.chosen == "hue" else self.mean


def readings_of(patches: Patches, wanted_lab: F64, *, chosen: str = "mean") -> Readings:
    """Read `wanted_lab` (lights, 3) over a base, which `patches` show with no dye on it at all."""
    none = np.zeros((1, len(patches.absorbance10_per_mg_m2)))
    bare, lights = patches.reflectance(none)[0], patches.lights
    hue = same_film(wanted_lab[0], bare, veil=patches.veil, lights=lights, observer_deg=patches.observer_deg)
    return Readings(np.asarray(wanted_lab), hue, patches.lab(none)[0], chosen)


def same_film(
    wanted_lab: F64, bare: F64, *, veil: float = 0.0, lights: Sequence[str] = ("D65",), observer_deg: int = 2
) -> F64:
    """The colour (lights, 3) of a base under the film that makes white paper look like `wanted_lab` (3,), first light.

    A colour in a photo or on a card is read as a film on white: at each wavelength the share of light it lets through
    is that of the smooth spectrum of the wanted colour, S. `bare` (81,): the reflectance of the base; it then shows
    bare S, so hue and depth are those of the wanted colour and the darkness is the base's own. Depth is taken as this
    transmittance, since it is what dye and coats set, whatever lies below; a chroma kept at a lower lightness would ask
    for more dye than the wanted colour has. Over an even grey of reflectance Y all of X, Y, Z are times Y, so that L* +
    16, a* and b* all are times the cube root of Y (CIE 015:2018, above its straight line): the hue angle stays, and the
    ratio of chroma to L* + 16. What a satin clear lays over everything, `veil` [0..1], is no light through the film.

    >>> same_film(np.array([60.0, 20.0, 50.0]), np.full(81, 0.125)).round(1).tolist()
    [[22.0, 10.0, 25.0]]
    """
    rgb_lin = lab_to_xyz(np.asarray(wanted_lab), white_xyz=DISPLAY_WHITE_XYZ) @ XYZ_TO_RGB_LIN.T
    through = np.maximum(rgb_lin @ rgb_basis(), 0.0)
    shown = (bare - veil) * through + veil
    return np.stack([spectrum_to_lab(shown, light=light, observer_deg=observer_deg) for light in lights])
