"""A scheme held in memory for quick changes: the step a live page takes when a strength moves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.preview.engine import Engine
from layerpreview.preview.face import FaceRows
from layerpreview.preview.look import Look, make_look
from layerpreview.preview.paint import stack_of
from layerpreview.preview.scene import BAND_PX, PlacedFace, make_scene
from layerpreview.preview.stack import DyeLayer, Stack
from layerpreview.preview.view import STRAIGHT_ON, View
from layerpreview.scheme import DyeCoat, Scheme

F32 = NDArray[np.float32]

MOST_FACTOR = 3.0
"""Strengths may grow to this multiple of the scheme's: the wavelengths are chosen for it once."""


class LivePreview:
    """The maps of a scheme at one size, ready to be shown at other strengths.

    Raises what `make_scene` raises.
    """

    def __init__(
        self,
        scheme: Scheme,
        *,
        width_px: int,
        light: str = "D65",
        view: View = STRAIGHT_ON,
        threads: int = 2,
    ) -> None:
        scene = make_scene(scheme, width_px=width_px, view=view)
        self._coats = scheme.coats
        self._threads = threads
        self._pool = ThreadPoolExecutor(threads)
        self._held = [_held(face.picture.rows(0, face.picture.grid.n_rows)) for face in scene.faces]
        self._looks = [self._strongest(scheme, face, light, view) for face in scene.faces]

    @staticmethod
    def _strongest(scheme: Scheme, face: PlacedFace, light: str, view: View) -> Look:
        """The look of a face as the scheme has it, on wavelengths that hold up to the strongest factor."""
        stack = _scaled(stack_of(scheme, view, base=scheme.base_for(face.name)), MOST_FACTOR)
        tint = face.picture.bare.tint_rgb
        look = make_look(stack, light=light, observer_deg=scheme.observer_deg, tint_rgb=tint)
        return _weakened(look, np.full(len(scheme.coats), 1.0 / MOST_FACTOR))

    @property
    def megapixels(self) -> float:
        """Pixels held, in millions."""
        return sum(held.size for held in self._held) / 1e6

    def pixels(self, factors: Mapping[str, float]) -> list[F32]:
        """Linear display RGB (3, P) of every face, 0 outside it, at the strength of each named mix times its factor.

        Factors lie in 0..3; mixes that are not named keep their strength. Raises ValueError for a factor out of range.
        """
        for name, factor in factors.items():
            if not 0.0 <= factor <= MOST_FACTOR:
                raise ValueError(f"the factor of {name!r} is {factor:g}: it must lie between 0 and {MOST_FACTOR:g}")
        per_layer = [factors.get(coat.mix, 1.0) if isinstance(coat, DyeCoat) else 1.0 for coat in self._coats]
        looks = [_weakened(look, np.asarray(per_layer)) for look in self._looks]
        return [self._composite(look, held) for look, held in zip(looks, self._held, strict=True)]

    def _composite(self, look: Look, held: _Held) -> F32:
        out = np.zeros((3, held.size), dtype=np.float32)

        def work(blocks: Sequence[_Block]) -> None:
            engine = Engine(look)
            for block in blocks:
                out[:, block.where] = engine.pixels(block.bare, block.builds)

        list(self._pool.map(work, [held.blocks[i :: self._threads] for i in range(self._threads)]))
        return out


@dataclass(frozen=True, eq=False)
class _Block:
    """Some pixels inside a face, gathered once: their places, base and builds."""

    where: NDArray[np.intp]
    bare: F32
    builds: F32


@dataclass(frozen=True, eq=False)
class _Held:
    """A face of `size` pixels as blocks that stay in the cache."""

    size: int
    blocks: tuple[_Block, ...]


def _held(rows: FaceRows) -> _Held:
    inside = np.flatnonzero(rows.cover)
    places = [inside[start : start + BAND_PX] for start in range(0, inside.size, BAND_PX)]
    blocks = (_Block(p, np.take(rows.bare, p, axis=1), np.take(rows.builds, p, axis=1)) for p in places)
    return _Held(rows.cover.size, tuple(blocks))


def _scaled(stack: Stack, factor: float) -> Stack:
    layers = tuple(
        DyeLayer(layer.absorbance10 * factor) if isinstance(layer, DyeLayer) else layer for layer in stack.layers
    )
    return replace(stack, layers=layers)


def _weakened(look: Look, factors: NDArray[np.float64]) -> Look:
    """The look with each layer's density multiplied, on the same wavelengths."""
    seen = tuple(
        replace(s, density2=np.ascontiguousarray(s.density2 * factors[list(s.dyes)], dtype=np.float32))
        for s in look.seen
    )
    return replace(look, seen=seen)
