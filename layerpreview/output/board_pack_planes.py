"""One plane of a texture, or some alike, in few bytes: coarser where that shows nothing, as waves, or bit by bit.

A plan is plain JSON that names its file; `plane_of` reads it as the page's `data/board/unpack.js` does.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.output.board_pack_waves import Waves, as_waves, deflated, inflated, of_waves
from layerpreview.picture.bare import on_lattice
from layerpreview.surface.sample import PixelGrid
from layerpreview.surface.wood import make_grain

F32 = NDArray[np.float32]
U16 = NDArray[np.uint16]
Plan = dict[str, Any]

REDUCTIONS = (4, 2)
CLOSE = 0.5
"""A plane is made coarser where that moves 99.9 % of its places by less than this share of its step."""
_CURVE_KNOTS, _SOME = 65, 17


@dataclass
class PackedFiles:
    """The packed files of a board by name: what options share is there once. `plans`: of textures, by their hash;
    `coarser`: how much larger the steps of what is seen are, where the whole would be too large."""

    coarser: float = 1.0
    files: dict[str, bytes] = field(default_factory=dict)
    plans: dict[str, Plan] = field(default_factory=dict)

    @property
    def size_bytes(self) -> int:
        """All files together."""
        return sum(map(len, self.files.values()))

    def add(self, data: bytes) -> str:
        """Keep a file and return its name."""
        name = hashlib.sha256(data).hexdigest()[:12]
        self.files.setdefault(name, data)
        return name


def wave_plan(
    values: F32, files: PackedFiles, *, step: float, root: int = 1, fewer: bool = True, shape: bool = False
) -> Plan:
    """A plane (rows, cols) or some (n, rows, cols), each number back to about a third of `step`.

    `root` 3: the rounding is of their cube roots. `fewer`: whether fewer places may do where nothing is lost. `shape`:
    the step stays whatever the files are, since what lies where depends on it.
    """
    step = step if shape else step * files.coarser
    values = values if values.ndim == 3 else values[None]
    size = values.shape[1:]
    if float(np.ptp(values)) <= 1e-6 * max(1.0, float(np.abs(values).max())):
        return {"as": "number", "n": len(values), "size": list(size), "number": float(values.flat[0])}
    rooted = np.cbrt(values) if root == 3 else values
    reduced, times = rooted, 1
    for reduction in REDUCTIONS if fewer else ():
        few = _reduced(rooted, reduction)
        away = np.abs(_spread(few, reduction, size) - rooted)
        if _most(away) <= CLOSE * step:
            reduced, times = few, reduction
            break
    made = as_waves(reduced, step=step)
    return {
        "as": "waves",
        "file": files.add(made.data),
        **made.told(),
        "times": times,
        "size": list(size),
        "root": root,
    }


def bit_plan(halves: U16, files: PackedFiles) -> Plan:
    """A plane (rows, cols) of half-precision numbers, every bit kept; for few different numbers in large pieces."""
    change = halves.copy()
    change[:, 1:] -= halves[:, :-1]
    change[1:, 0] -= halves[:-1, 0]
    data = (change & 255).astype(np.uint8).tobytes() + (change >> 8).astype(np.uint8).tobytes()
    return {"as": "bits", "n": 1, "file": files.add(deflated(data)), "size": list(halves.shape)}


def curve_plan(values: F32, over: F32, plan: Plan, *, step: float) -> Plan | None:
    """A plane as a curve over another one of the same size, that has a `plan`; None where it is no such curve.

    What gathers in hollows follows their depth: the relief is there once.
    """
    low, high = float(over.min()), float(over.max())
    if high - low <= 1e-6 or over.shape != values.shape:
        return None
    knots, away = _curve(values.ravel()[::_SOME], over.ravel()[::_SOME], low, high)
    if away > 2.0 * step:
        return None
    knots, away = _curve(values.ravel(), over.ravel(), low, high)
    if away > step:
        return None
    told = [float(f"{v:.6g}") for v in knots]
    return {"as": "curve", "n": 1, "over": plan, "low": low, "high": high, "knots": told, "size": list(values.shape)}


def _curve(values: F32, over: F32, low: float, high: float) -> tuple[F32, float]:
    """The knots of a curve over other numbers, and what 99.9 % of the values are nearer to it than."""
    place = (over - np.float32(low)) * np.float32((_CURVE_KNOTS - 1) / (high - low))
    near = np.rint(place).astype(np.intp)
    count = np.bincount(near, minlength=_CURVE_KNOTS)
    mean = np.bincount(near, values, minlength=_CURVE_KNOTS) / np.maximum(count, 1)
    at = np.bincount(near, place, minlength=_CURVE_KNOTS) / np.maximum(count, 1)
    some = count > 0
    knots = np.interp(np.arange(_CURVE_KNOTS), at[some], mean[some]).astype(np.float32)
    away = np.abs(np.interp(place, np.arange(_CURVE_KNOTS), knots) - values)
    return knots, _most(away)


def _most(away: NDArray[Any]) -> float:
    """What 99.9 % are nearer than."""
    last = int(0.999 * away.size)
    return float(np.partition(away.ravel(), last)[last])


def plane_of(plan: Plan, files: PackedFiles) -> F32:
    """The numbers (n, rows, cols) of a plan."""
    rows, cols = plan["size"]
    if plan["as"] == "number":
        return np.full((plan["n"], rows, cols), plan["number"], dtype=np.float32)
    if plan["as"] == "grain":
        return grain_planes(plan)[plan["part"]][None]
    if plan["as"] == "soaked":
        taken = np.maximum(1.0 + np.float32(plan["soak"]) * (plane_of(plan["over"], files) - 1.0), 0.0)
        return np.asarray(taken * plane_of(plan["rest"], files), dtype=np.float32)
    if plan["as"] == "curve":
        over = plane_of(plan["over"], files)
        place = (over - np.float32(plan["low"])) * np.float32((_CURVE_KNOTS - 1) / (plan["high"] - plan["low"]))
        return np.asarray(np.interp(place, np.arange(_CURVE_KNOTS), plan["knots"]), dtype=np.float32)
    data = files.files[plan["file"]]
    if plan["as"] == "bits":
        low, high = np.frombuffer(inflated(data), dtype=np.uint8).reshape(2, rows, cols).astype(np.uint16)
        change = low | high << np.uint16(8)
        change[:, 0] = np.cumsum(change[:, 0], dtype=np.uint16)
        return np.cumsum(change, axis=1, dtype=np.uint16).view(np.float16).astype(np.float32)[None]
    made = Waves(data, plan["n"], plan["rows"], plan["cols"], plan["step"], plan["waves"])
    found = _spread(of_waves(made), plan["times"], (rows, cols))
    return found * found * found if plan["root"] == 3 else found


def grain_planes(plan: Plan) -> F32:
    """Wood (4, rows, cols), its light and how open it is, by what the page makes it again."""
    step, (rows, cols) = plan["step_mm"], plan["size"]
    high, wide = plan["lattice"]
    made = make_grain(
        width_mm=(wide - 0.5) * step,
        height_mm=(high - 0.5) * step,
        seed=plan["seed"],
        step_mm=step,
        figure=plan["figure"],
    )
    grid = PixelGrid(plan["pixel_mm"], rows, cols)
    light, openness = (on_lattice(v, step, grid).rows(0, rows) for v in (made.albedo_rgb_lin, made.openness))
    return np.concatenate([np.moveaxis(light, 2, 0), openness[None]])


def _reduced(values: F32, times: int) -> F32:
    """Means over squares of places; the last ones are filled up with the edge."""
    rows, cols = values.shape[1:]
    full = np.pad(values, ((0, 0), (0, -rows % times), (0, -cols % times)), mode="edge")
    squares = full.reshape(len(values), full.shape[1] // times, times, full.shape[2] // times, times)
    return np.asarray(squares.mean(axis=(2, 4)), dtype=np.float32)


def _spread(values: F32, times: int, size: tuple[int, ...]) -> F32:
    """Straight between the middles of the squares."""
    if times == 1:
        return values
    (r0, r1, fr), (c0, c1, fc) = (_taps(size[i], values.shape[1 + i], times) for i in (0, 1))
    lines = values[:, r0] * (1 - fr)[:, None] + values[:, r1] * fr[:, None]
    return np.asarray(lines[:, :, c0] * (1 - fc) + lines[:, :, c1] * fc, dtype=np.float32)


def _taps(places: int, stored: int, times: int) -> tuple[NDArray[np.intp], NDArray[np.intp], F32]:
    at = np.clip((np.arange(places) + 0.5) / times - 0.5, 0, stored - 1)
    low = np.floor(at).astype(np.intp)
    return low, np.minimum(low + 1, stored - 1), np.asarray(at - low, dtype=np.float32)
