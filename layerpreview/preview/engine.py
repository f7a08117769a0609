"""The pixel loop: builds and base in, linear display colour out, in blocks that stay in the cache.

Nothing is summed across pixels and the caller always cuts a picture into the same blocks (see scene.py), so the result
does not depend on strips or threads, to the last bit.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import DiffuseFilm, MetalFilm
from layerpreview.preview.look import Look, Seen

F32 = NDArray[np.float32]

HARDLY_SEEN = 1.0 / 4096.0


class Engine:
    """Composites blocks of pixels for one look; holds scratch space, so each thread needs its own."""

    def __init__(self, look: Look) -> None:
        self.look = look
        self._space = np.empty((4, 0), dtype=np.float32)

    def pixels(self, bare: F32, builds: F32) -> F32:
        """Linear display RGB (3, P) of `bare` under the look's layers.

        `bare` (1 or 3, P): linear sRGB of the base with no dye, or its gain where the look has a tint;
        `builds` (layers, P): local build of each layer, 1 = nominal. Fast where P is some ten thousand.
        """
        nodes, count = self.look.wavelength_nm.size, bare.shape[1]
        if self._space.shape[1] < nodes * count:
            self._space = np.empty((4, nodes * count), dtype=np.float32)
        self._t, self._curve, self._power, self._rho = (
            row[: nodes * count].reshape(nodes, count) for row in self._space
        )
        return self._block(np.ascontiguousarray(bare), np.ascontiguousarray(builds))

    def _block(self, bare: F32, builds: F32) -> F32:
        visible: F32 | None = None  # None: everything
        total: F32 | None = None
        for seen in self.look.seen:
            if seen.layer is None:
                share = visible
            else:
                left = np.exp2(np.float32(-seen.hiding2) * builds[seen.layer])
                share = (1.0 - left) if visible is None else visible * (1.0 - left)
                visible = left if visible is None else visible * left
            if share is not None and float(share.max()) < HARDLY_SEEN:
                continue
            rgb = self._surface(seen, bare, builds)
            if share is not None:
                rgb *= share
            total = rgb if total is None else total + rgb
        assert total is not None
        if self.look.veil:
            total *= np.float32(1.0 - self.look.veil)
            total += np.float32(self.look.veil)
        return total

    def _surface(self, seen: Seen, bare: F32, builds: F32) -> F32:
        look, t, curve = self.look, self._t, self._curve
        if seen.dyes:
            np.matmul(seen.density2, builds[list(seen.dyes)], out=t)
            np.exp2(t, out=t)
        else:
            t.fill(1.0)
        if isinstance(seen.film, MetalFilm):
            seen.film.tau.fill(t, curve, self._power)
            if look.tint is not None:
                # A one-channel base scales all wavelengths alike: one multiplication a pixel instead of one a node.
                return _f32(np.matmul(look.to_display * look.tint.T, curve) * bare)
            np.matmul(look.basis, bare, out=t)
            curve *= t
            return _f32(np.matmul(look.to_display, curve))
        self._diffuse(seen, seen.film, bare)
        return _f32(np.matmul(look.to_display, curve))

    def _diffuse(self, seen: Seen, film: DiffuseFilm, bare: F32) -> None:
        """R = C rho / (1 - rho K) into the curve's space; rho from the base picture or the opaque coat."""
        t, curve, power, rho = self._t, self._curve, self._power, self._rho
        if seen.rho is not None:
            rho[:] = seen.rho
        else:
            if self.look.tint is not None:
                np.multiply(self.look.tint, bare, out=rho)
            else:
                np.matmul(self.look.basis, bare, out=rho)
            np.multiply(rho, np.float32(film.k_bare), out=power)
            power += np.float32(film.c_bare)
            rho /= power
        film.k.fill(t, curve, power)
        curve *= rho
        np.subtract(np.float32(1.0), curve, out=curve)
        rho /= curve
        film.c.fill(t, curve, power)
        curve *= rho


def _f32(values: object) -> F32:
    return np.asarray(values, dtype=np.float32)
