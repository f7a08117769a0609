"""What Python renders where the live picture shows something: the truth that the browser is held to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import DISPLAY_WHITE_XYZ, LIFELIKE, RGB_LIN_TO_XYZ, decode_srgb, delta_e_2000, xyz_to_lab
from layerpreview.finish.view import Surroundings
from layerpreview.output.png import screen_srgb8
from layerpreview.picture.bare import FLAKE_TURN_DEG
from layerpreview.picture.lifelike import Lifelike, Pose, lifelike_of, looks_of, with_backdrop
from layerpreview.picture.solids import sparkling
from layerpreview.scheme import DyeCoat, Scheme

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]


@dataclass(frozen=True)
class Setting:
    """What is pulled: a turn from how the part stands [deg], coats of each entry, the strength of each mix [times]."""

    light: str
    yaw: float = 0.0
    pitch: float = 0.0
    coats: tuple[int, ...] = ()
    strengths: tuple[float, ...] = ()

    def state(self, scheme: Scheme) -> dict[str, object]:
        """As the page is told."""
        coats = self.coats or tuple(coat.coats for coat in scheme.coats)
        times = dict(zip(scheme.mixes, self.strengths or (1.0,) * len(scheme.mixes), strict=True))
        factors = [
            n / coat.coats * (times[coat.mix] if isinstance(coat, DyeCoat) else 1.0)
            for n, coat in zip(coats, scheme.coats, strict=True)
        ]
        return {"yaw": self.yaw, "pitch": self.pitch, "light": self.light, "coats": list(coats), "factors": factors}

    def scheme(self, scheme: Scheme) -> Scheme:
        """As a person would write it."""
        if not self.coats:
            return scheme
        mixes = {
            name: mix.model_copy(
                update={"strengths": {d: replace(s, amount=s.amount * times) for d, s in mix.strengths.items()}}
            )
            for (name, mix), times in zip(scheme.mixes.items(), self.strengths, strict=True)
        }
        layers = tuple(c.model_copy(update={"coats": n}) for c, n in zip(scheme.coats, self.coats, strict=True))
        return scheme.model_copy(update={"coats": layers, "mixes": mixes})


def drawn_by_lot(scheme: Scheme, seed: int) -> Setting:
    """A setting within what a slider may reach: one to nearly twice the coats, half to twice the strength."""
    rng = np.random.default_rng(seed)
    coats = tuple(int(rng.integers(1, 2 * coat.coats, endpoint=True)) for coat in scheme.coats)
    strengths = tuple(round(float(2.0 ** rng.uniform(-1.0, 1.0)), 3) for _ in scheme.mixes)
    yaw, pitch = round(float(rng.uniform(-180.0, 180.0)), 1), round(float(rng.uniform(-20.0, 20.0)), 1)
    return Setting(str(rng.choice(scheme.lights)), yaw, pitch, coats, strengths)


def turned(scene: Lifelike, yaw_deg: float, pitch_deg: float) -> Lifelike:
    """Each solid turned from how it stands; other flakes are lit then."""
    if not yaw_deg and not pitch_deg:
        return scene
    even, phase = scene.around.light().even, yaw_deg / FLAKE_TURN_DEG
    solids = tuple(
        replace(
            placed,
            solid=sparkling(placed.solid, even=even, phase=phase),
            pose=Pose(placed.pose.yaw_deg + yaw_deg, placed.pose.pitch_deg + pitch_deg),
        )
        for placed in scene.solids
    )
    return with_backdrop(replace(scene, solids=solids))


def rendered(scheme: Scheme, around: Surroundings, setting: Setting, *, width_px: int) -> tuple[U8, F32]:
    """The picture in 8 bits, and its cover."""
    other = setting.scheme(scheme)
    scene = turned(lifelike_of(other, around, width_px=width_px), setting.yaw, setting.pitch)
    looks = looks_of(other, scene, setting.light)
    parts = [scene.render_strip([looks], *strip) for strip in scene.strips()]
    picture = np.concatenate([part[0][0] for part in parts])
    return screen_srgb8(picture, rolled_from=LIFELIKE), np.concatenate([part[1] for part in parts])


def apart(one: U8, other: U8) -> NDArray[np.float64]:
    """CIEDE2000 of every pixel."""
    return delta_e_2000(*(_lab(codes) for codes in (one, other)))


def _lab(codes: U8) -> NDArray[np.float64]:
    rgb_lin = decode_srgb(codes.astype(np.float64) / 255.0)
    return xyz_to_lab(rgb_lin @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ)


def worst(found: Sequence[NDArray[np.float64]]) -> tuple[float, float]:
    """The largest mean and the largest 99th of 100."""
    return max(float(v.mean()) for v in found), max(float(np.percentile(v, 99)) for v in found)
