"""Each kind of texture of the live picture in few bytes, as finely as it shows.

The steps are of what a number does in the picture: a fiftieth of a coat, a third of a L*, a thousandth of a turn.
They were tried: `tests/bench/bench_board.py` measures what they cost and what they show.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, uniform_filter

from layerpreview.output.board_pack_planes import PackedFiles, Plan, bit_plan, curve_plan, plane_of, wave_plan
from layerpreview.output.board_pack_waves import deflated, inflated
from layerpreview.output.live_kept import Data

F32 = NDArray[np.float32]
B = NDArray[np.bool_]

CHANNELS = {"R16F": 1, "RG16F": 2, "RGBA16F": 4}
BUILD_STEP = 0.03
"""Of a build, of what gathers in hollows, of a masked zone's share."""
AWAY_STEP, LEAST_AWAY_MM = 0.01, 0.02
"""Of a distance to an edge: this share of the burst's width, and no finer [mm]."""
MOST_AWAY_MM = 0.2
REACH, OUTSIDE_MM = 3.0, 3.0
"""Distances are told up to so many times the width of their widest burst, and so far outside [mm]."""
LIGHT_STEP, CAST_STEP = 0.01, 0.02
"""Of the cube root of a photo's or wood's light: of how bright it is, and of its cast."""
GAIN_STEP, PATH_STEP = 0.015, 0.06
"""Of a metal's law: of the cube root of its light, and of its paths as a share of their middle."""
MIRROR_STEP = 0.008
EDGE_MM, TURN_STEP, LEAN_STEP, DOME_STEP_MM, DOME_LEAN_STEP = 0.04, 0.01, 0.01, 0.02, 0.003
"""Of a body: distances, the way round its rim, how its rim leans, heights of its belly, how that leans."""
SLOPE_STEP = 0.04
"""Of a user's own relief; made ones are made again."""
_DARK = 1e-4
_LEAST_TAKEN = 0.05
_SMOOTHED = 9


def numbers_of(told: Mapping[str, Any], data: Data) -> F32:
    """The numbers (channels, depth, rows, cols) of a texture in half precision."""
    shape = told["depth"], told["height"], told["width"], CHANNELS[told["format"]]
    return np.moveaxis(np.frombuffer(data[:], dtype="<f2").reshape(shape), -1, 0).astype(np.float32)


def plain_plan(data: Data, files: PackedFiles) -> Plan:
    """Any texture of two-byte numbers as it is."""
    halves = np.frombuffer(data[:], dtype=np.uint8).reshape(-1, 2)
    return {"as": "plain", "file": files.add(deflated(halves.T.tobytes()))}


def mirror_plan(numbers: F32, files: PackedFiles) -> Plan:
    """What the clear mirrors, by how softly."""
    return {"as": "planes", "channels": [[wave_plan(v, files, step=MIRROR_STEP, root=3) for v in numbers[0]]]}


def law_plan(numbers: F32, files: PackedFiles) -> Plan:
    """A metal's law: the light of each facet under each film, and its path. Facets that are dark have their neighbours'
    light here, which is smooth, and are told by bits."""
    gain = numbers[0]
    seen, lit = gain > 0.0, gain > _DARK
    paths = []
    for path in numbers[1:]:
        share = _carried_on(np.where(lit, path / np.maximum(gain, np.float32(_DARK)), np.float32(0.0)), lit)
        middle = max(float(np.median(share[lit])), 1e-3) if lit.any() else 1.0
        paths.append(wave_plan(share, files, step=PATH_STEP * middle, fewer=False))
    return {
        "as": "law",
        "seen": files.add(deflated(np.packbits(seen, bitorder="little").tobytes())),
        "gain": wave_plan(_carried_on(gain, seen), files, step=GAIN_STEP, root=3, fewer=False),
        "paths": paths,
    }


def light_plan(numbers: F32, files: PackedFiles) -> Plan:
    """A photo, wood or a colour: what it shows, in cube roots, its cast more coarsely."""
    first = numbers[:, 0]
    if not first[1:3].any() and not first[3].any():
        return {
            "as": "planes",
            "channels": [[wave_plan(v, files, step=LIGHT_STEP, root=3 if i == 0 else 1)] for i, v in enumerate(first)],
        }
    red, green, blue = np.cbrt(np.maximum(first[:3], 0.0))
    bright = (red + green + blue) / np.float32(3.0)
    planes = [(bright, LIGHT_STEP), (red - bright, CAST_STEP), (blue - bright, CAST_STEP)]
    return {
        "as": "colour",
        "planes": [wave_plan(v, files, step=step) for v, step in planes],
        "fourth": wave_plan(first[3], files, step=BUILD_STEP),
    }


def body_plans(body: Mapping[str, Any], lattices: Mapping[str, F32], files: PackedFiles) -> dict[str, Plan]:
    """A plate's three lattices by name. How its rim leans and the way round it count near the rim alone."""
    near, rest, slopes = (lattices[name][:, 0] for name in ("near", "rest", "slopes"))
    reach_mm = body["edge_mm"] + 3.0
    belly_mm = max(*body["bellies_mm"], 0.1)
    rim, outer = np.abs(near[0]) < reach_mm, np.abs(rest[0]) < reach_mm
    lean = DOME_LEAN_STEP / belly_mm
    same = np.array_equal(near[0], rest[0])
    away = wave_plan(near[0], files, step=EDGE_MM, shape=True)
    parts = {
        "near": [
            away,
            wave_plan(near[1], files, step=DOME_STEP_MM / belly_mm, shape=True),
            *(_bits(v, files) for v in near[2:]),
        ],
        "rest": [
            away if same else wave_plan(rest[0], files, step=EDGE_MM, shape=True),
            *(wave_plan(_near_it(v, outer), files, step=TURN_STEP, shape=True) for v in rest[1:3]),
            _bits(rest[3], files),
        ],
        "slopes": [
            *(wave_plan(_near_it(v, rim), files, step=LEAN_STEP, shape=True) for v in slopes[:2]),
            *(wave_plan(v, files, step=lean, shape=True) for v in slopes[2:]),
        ],
    }
    return {name: {"as": "planes", "channels": [[plan] for plan in plans]} for name, plans in parts.items()}


@dataclass(frozen=True, eq=False)
class Soaks:
    """How wood takes dye on a skin: `openness` (rows, cols), the `plan` that makes it again, the base's `soak`."""

    openness: F32
    plan: Plan
    soak: float

    @property
    def taken(self) -> F32:
        """What a build over even ground is multiplied by."""
        return np.asarray(np.maximum(1.0 + np.float32(self.soak) * (self.openness - 1.0), 0.0), dtype=np.float32)


def group_plans(
    skin: Mapping[str, Any],
    groups: Sequence[F32],
    known: list[tuple[F32, Plan]],
    files: PackedFiles,
    soaks: Soaks | None = None,
) -> list[Plan]:
    """The textures of a skin's channels.

    `known`: planes of the option that others may follow as a curve; added to. `soaks`: of wood that takes dye.
    """
    channels = _within_reach(skin, [v for group in groups for v in group[:, 0]])
    plans: list[Plan] = []
    for values, step in zip(channels, _channel_steps(skin, len(channels)), strict=True):
        plan = next((p for over, other in known if (p := curve_plan(values, over, other, step=step))), None)
        if plan is None:
            plan = _soaked(values, step, soaks, files) or wave_plan(values, files, step=step)
            if plan["as"] == "waves":
                known.append((plane_of(plan, files)[0], plan))
        plans.append(plan)
    return [{"as": "planes", "channels": [[p] for p in plans[i : i + 4]]} for i in range(0, len(plans), 4)]


def _soaked(values: F32, step: float, soaks: Soaks | None, files: PackedFiles) -> Plan | None:
    """A channel as what wood takes of something smooth; None where that is not smaller."""
    if soaks is None or not values.any():
        return None
    smooth, plain = PackedFiles(files.coarser), PackedFiles(files.coarser)
    even: F32 = np.asarray(values / np.maximum(soaks.taken, _LEAST_TAKEN), dtype=np.float32)
    plan = wave_plan(even, smooth, step=step)
    wave_plan(values, plain, step=step)
    if smooth.size_bytes >= plain.size_bytes:
        return None
    files.files.update(smooth.files)
    return {"as": "soaked", "n": 1, "over": soaks.plan, "soak": soaks.soak, "rest": plan, "size": list(values.shape)}


def slope_plan(numbers: F32, files: PackedFiles) -> Plan:
    """The slopes, or the brightness, of a user's own relief."""
    return {
        "as": "planes",
        "channels": [[wave_plan(v[0], files, step=SLOPE_STEP, fewer=False)] for v in numbers],
    }


def texture_of_plan(plan: Plan, files: PackedFiles) -> F32:
    """The numbers (channels, depth, rows, cols) of a packed texture, as the page unpacks them; not of a relief."""
    if plan["as"] == "planes":
        return np.stack([np.concatenate([plane_of(p, files) for p in plans]) for plans in plan["channels"]])
    if plan["as"] == "colour":
        bright, red, blue = (plane_of(p, files) for p in plan["planes"])
        rgb = np.stack([bright + red, bright - red - blue, bright + blue])
        return np.concatenate([rgb**3, plane_of(plan["fourth"], files)[None]])
    assert plan["as"] == "law", plan["as"]
    gain = plane_of(plan["gain"], files)
    bits = np.unpackbits(np.frombuffer(inflated(files.files[plan["seen"]]), dtype=np.uint8), bitorder="little")
    gain = np.where(bits[: gain.size].reshape(gain.shape), np.maximum(gain, 0.0), np.float32(0.0))
    return np.stack([gain, *(gain * plane_of(p, files) for p in plan["paths"])])


def _channel_steps(skin: Mapping[str, Any], count: int) -> list[float]:
    """How finely each channel of a skin is told, by what it does."""
    found: list[list[float]] = [[] for _ in range(count)]
    for layer in skin["layers"]:
        for burst in layer["bursts"]:
            found[burst["channel"]].append(min(max(AWAY_STEP * burst["width_mm"], LEAST_AWAY_MM), MOST_AWAY_MM))
        pool = layer["pool"]
        if pool and pool["share"]:
            found[pool["channel"]].append(BUILD_STEP / max(pool["share"]["first"], 1e-3))
    return [min(steps, default=BUILD_STEP) for steps in found]


def _within_reach(skin: Mapping[str, Any], channels: Sequence[F32]) -> list[F32]:
    """The channels; of distances only what a burst reaches, and a little of what is outside."""
    reach_mm: dict[int, float] = {}
    for burst in (burst for layer in skin["layers"] for burst in layer["bursts"]):
        reach_mm[burst["channel"]] = max(reach_mm.get(burst["channel"], 0.0), REACH * burst["width_mm"])
    return [
        np.clip(v, -OUTSIDE_MM, reach_mm[i]).astype(np.float32) if i in reach_mm else v for i, v in enumerate(channels)
    ]


def _bits(values: F32, files: PackedFiles) -> Plan:
    if float(np.ptp(values)) == 0.0:
        return wave_plan(values, files, step=1.0, shape=True)
    return bit_plan(values.astype("<f2").view("<u2"), files)


def _near_it(values: F32, here: B) -> F32:
    return np.asarray(_carried_on(values[None], here[None])[0])


def _carried_on(values: F32, here: B) -> F32:
    """Planes (n, rows, cols) with what the nearest has where they are not `here`: smooth, so that it is small."""
    out = values.copy()
    for plane, some in zip(out, here, strict=True):
        if some.any() and not some.all():
            nearest = distance_transform_edt(~some, return_distances=False, return_indices=True)
            carried = plane[tuple(nearest)]
            plane[:] = np.where(some, plane, uniform_filter(uniform_filter(carried, _SMOOTHED), _SMOOTHED))
    return out
