"""The pixel loop: builds and base in, linear display colour out, in blocks that stay in the cache.

Nothing is summed across pixels and the caller always cuts a picture into the same blocks (see scene.py), so the result
does not depend on strips or threads, to the last bit.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import DiffuseFilm
from layerpreview.finish.look import Look, Seen

F32 = NDArray[np.float32]

HARDLY_SEEN = 1.0 / 4096.0
MOSTLY_SEEN = 0.7
"""Share of a block's pixels from which picking them out costs more than computing all."""


class Engine:
    """Composites blocks of pixels for one look; holds scratch space, so each thread needs its own."""

    def __init__(self, look: Look) -> None:
        self.look = look
        self._memory = np.empty((4, 0), dtype=np.float32)

    def pixels(self, bare: F32, builds: F32, path: F32 | None = None, face: F32 | None = None) -> F32:
        """Linear display RGB (3, P) of `bare` under the look's layers.

        `bare` (1 or 3, P): linear sRGB of the base with no dye, or its gain where the look has a tint;
        `builds` (layers, P): local build of each layer, 1 = nominal; `path` (3, P): numerators of the path curve of
        each pixel's own facets, where the base is a textured metal; `face` (4, P): start and numerators of C of each
        pixel, where the film leans with a body. Fast where P is some ten thousand.
        """
        total = np.zeros((3, bare.shape[1]), dtype=np.float32)
        visible: F32 | None = None  # None: everything
        for seen in self.look.seen:
            share = visible
            if seen.layer is not None:
                if not builds[seen.layer].any():
                    continue
                left = np.exp2(np.float32(-seen.hiding2) * builds[seen.layer])
                share = 1.0 - left if visible is None else visible * (1.0 - left)
                visible = left if visible is None else visible * left
            if share is None:
                total += self._surface(seen, bare, builds, path, face)
                continue
            # A rim covers a tenth of a face: only the pixels where a surface shows are worth computing.
            here = np.flatnonzero(share > HARDLY_SEEN)
            if here.size > MOSTLY_SEEN * share.size:
                total += share * self._surface(seen, bare, builds, path, face)
            elif here.size:
                path_here, face_here = (None if v is None else np.take(v, here, axis=1) for v in (path, face))
                some = np.take(bare, here, axis=1), np.take(builds, here, axis=1)
                rgb = self._surface(seen, *some, path_here, face_here)
                total[:, here] += share[here] * rgb
        if self.look.veil:
            total *= np.float32(1.0 - self.look.veil)
            total += np.float32(self.look.veil)
        return total

    def _take_space(self, count: int) -> None:
        """Scratch arrays (nodes, count) from memory that is kept from block to block."""
        nodes = self.look.wavelength_nm.size
        if self._memory.shape[1] < nodes * count:
            self._memory = np.empty((len(self._memory), nodes * count), dtype=np.float32)
        self._dye, self._curve, self._space, self._rho = (
            row[: nodes * count].reshape(nodes, count) for row in self._memory
        )

    def _surface(self, seen: Seen, bare: F32, builds: F32, path: F32 | None, face: F32 | None) -> F32:
        if not seen.dyes:
            return self._undyed(seen, bare, face)
        self._take_space(bare.shape[1])
        look, dye, curve = self.look, self._dye, self._curve
        np.matmul(seen.density2, np.take(builds, seen.dyes, axis=0), out=dye)
        if isinstance(seen.film, DiffuseFilm):
            self._diffuse(seen, seen.film, bare, face)
            return _f32(np.matmul(look.to_display, curve))
        seen.film.tau.fill(dye, curve, self._space, path)
        if look.tint is not None:
            # A one-channel base scales all wavelengths alike: one multiplication a pixel instead of one a node.
            return _f32(np.matmul(look.to_display * look.tint.T, curve) * bare)
        np.matmul(look.basis, bare, out=dye)
        curve *= dye
        return _f32(np.matmul(look.to_display, curve))

    def _undyed(self, seen: Seen, bare: F32, face: F32 | None) -> F32:
        """A surface that nothing colours: the base as its picture has it (3, P), or one opaque colour (3, 1 or P)."""
        look = self.look
        if seen.rho is not None:
            assert isinstance(seen.film, DiffuseFilm)
            reflected = seen.film.c.start * seen.rho / (1.0 - seen.film.k.start * seen.rho)
            shown = _f32(look.to_display @ reflected)
        else:
            shown = _f32((look.to_display @ (look.basis if look.tint is None else look.tint)) @ bare)
        if face is None or not isinstance(seen.film, DiffuseFilm):
            return shown
        return _f32(shown * (face[0] / np.float32(seen.film.c.start)))

    def _diffuse(self, seen: Seen, film: DiffuseFilm, bare: F32, face: F32 | None) -> None:
        """R = C rho / (1 - rho K) into the curve's space; rho from the base picture or the opaque coat."""
        dye, curve, space, rho = self._dye, self._curve, self._space, self._rho
        if seen.rho is not None:
            rho[:] = seen.rho
        else:
            if self.look.tint is not None:
                np.multiply(self.look.tint, bare, out=rho)
            else:
                np.matmul(self.look.basis, bare, out=rho)
            np.multiply(rho, np.float32(film.k.start), out=space)
            space += np.float32(film.c.start)
            rho /= space
        film.k.fill(dye, curve, space)
        curve *= rho
        curve *= np.float32(-film.k.start)
        curve += np.float32(1.0)
        rho /= curve
        rho *= np.float32(film.c.start) if face is None else face[0]
        film.c.fill(dye, curve, space, None if face is None else face[1:])
        curve *= rho


def _f32(values: object) -> F32:
    return np.asarray(values, dtype=np.float32)
