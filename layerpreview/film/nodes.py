"""Few wavelengths instead of eighty-one: non-negative weights chosen for the colours one scheme can show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import delta_e_2000, xyz_to_lab

F64 = NDArray[np.float64]

FEWEST, MOST = 8, 32
P99_DELTA_E, MAX_DELTA_E = 0.10, 0.30


@dataclass(frozen=True)
class SpectralNodes:
    """Wavelengths to evaluate and what each counts for.

    `index` (n,): positions on the 5 nm grid; `weight` (n,): how many grid samples each stands for, >= 0;
    `p99_delta_e`, `max_delta_e`: CIEDE2000 against the full sum, over colours that were not used to choose.
    """

    index: NDArray[np.intp]
    weight: F64
    p99_delta_e: float
    max_delta_e: float

    @property
    def within_limits(self) -> bool:
        return self.p99_delta_e <= P99_DELTA_E and self.max_delta_e <= MAX_DELTA_E


def choose_nodes(
    reflectance: F64, unseen: F64, *, xyz_weights: F64, exact: F64, fewest: int = FEWEST, most: int = MOST
) -> SpectralNodes:
    """Pick the fewest wavelengths whose weighted sum gives the scheme's colours within the stated error.

    `reflectance` (S, W): spectra the scheme can show, to choose by; `unseen` (U, W): others, to check by;
    `xyz_weights` (3, W): the light and observer; `exact` (E, W): spectra whose XYZ must come out exact (the base with
    no dye). The limits are 0.1 (99 %) and 0.3 (largest) CIEDE2000; if `most` nodes do not reach them the best found
    is returned and says so.

    The full sum is a quadrature with weight 1 at every wavelength. Moments that matter (the exact ones, then the
    leading directions in which the scheme's colours differ, measured in L*a*b* steps) are held while weight is moved
    along the null space until wavelengths drop out; weights never become negative (Caratheodory's theorem;
    Tchakaloff 1957).
    """
    white_xyz = xyz_weights.sum(axis=1)
    held = _orthonormal((exact[:, None, :] * xyz_weights).reshape(-1, xyz_weights.shape[1]))
    moments = _lab_moments(reflectance, xyz_weights, white_xyz)
    moments -= (moments @ held.T) @ held
    directions = np.linalg.svd(moments, full_matrices=False)[2]
    best: SpectralNodes | None = None
    for count in range(max(fewest, held.shape[0] + 1), most + 1):
        index, weight = _reduce(np.concatenate([held, directions[: count - held.shape[0]]]))
        nodes = _checked(index, weight, unseen, xyz_weights, white_xyz)
        if best is None or nodes.p99_delta_e < best.p99_delta_e:
            best = nodes
        if nodes.within_limits:
            return nodes
    assert best is not None
    return best


def _orthonormal(rows: F64) -> F64:
    """Orthonormal basis of the rows' span, near-dependent directions left out."""
    _, size, directions = np.linalg.svd(rows, full_matrices=False)
    basis: F64 = directions[size > 1e-9 * size[0]]
    return basis


def _lab_moments(reflectance: F64, xyz_weights: F64, white_xyz: F64) -> F64:
    """What each wavelength adds to each sample's L*, a*, b*, to first order; (3 * samples, W)."""
    xyz = reflectance @ xyz_weights.T
    step = 1e-6 * white_xyz
    # dLab/dXYZ column by column; exact enough at a step of a millionth of the white.
    slopes = np.stack(
        [
            (xyz_to_lab(xyz + step * axis, white_xyz=white_xyz) - xyz_to_lab(xyz, white_xyz=white_xyz)) / step[i]
            for i, axis in enumerate(np.eye(3))
        ],
        axis=-1,
    )
    moments: F64 = np.einsum("slc,cw,sw->slw", slopes, xyz_weights, reflectance, optimize=True)
    return moments.reshape(-1, reflectance.shape[1])


def _reduce(moments: F64) -> tuple[NDArray[np.intp], F64]:
    """Move weight along null directions of `moments` (M, W) until at most M wavelengths carry any."""
    weight = np.ones(moments.shape[1])
    null = np.linalg.svd(moments)[2][moments.shape[0] :]  # a direction a row
    ratio = np.empty(weight.size)
    while len(null):
        step = null[-1] if null[-1].max() >= -null[-1].min() else -null[-1]
        ratio.fill(np.inf)
        np.divide(weight, step, out=ratio, where=step > 1e-12)
        gone = int(ratio.argmin())
        weight = np.maximum(weight - ratio[gone] * step, 0.0)
        weight[gone] = 0.0
        # Sweep the dropped wavelength out of the other directions, so that it stays dropped.
        pivot = int(np.abs(null[:, gone]).argmax())
        swept = null[pivot].copy()
        null[pivot:-1] = null[pivot + 1 :]  # in place: this is gone through thousands of times
        null = null[:-1]
        null -= (null[:, gone] / swept[gone])[:, None] * swept
        null[:, gone] = 0.0
    alive = np.flatnonzero(weight)
    return alive, weight[alive]


def _checked(index: NDArray[np.intp], weight: F64, unseen: F64, xyz_weights: F64, white_xyz: F64) -> SpectralNodes:
    full = xyz_to_lab(unseen @ xyz_weights.T, white_xyz=white_xyz)
    few = xyz_to_lab((unseen[:, index] * weight) @ xyz_weights[:, index].T, white_xyz=white_xyz)
    error = delta_e_2000(full, few)
    return SpectralNodes(index, weight, float(np.percentile(error, 99)), float(error.max()))
