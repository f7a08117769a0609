"""The scenes that tracing is judged by: fair ones, to be got right, and unfair ones, where the tool must say so."""

from __future__ import annotations

from typing import Any

from .part_shapes import SHAPES
from .part_truth import Scene

_PLAIN: tuple[dict[str, Any], ...] = (
    {"lamp_mm": (-330.0, -300.0, 620.0), "sky": 0.6},
    {"lamp_mm": (-420.0, -260.0, 430.0), "sky": 0.35, "lift_mm": 22.0, "spots": 0.3, "broad": 0.25},
    {"lamp_mm": (-300.0, -380.0, 520.0), "sky": 0.45, "lift_mm": 16.0, "broad": 0.12},
)
"""A soft light; a low near lamp with glare; between the two, with clutter."""
_CLUTTER = (("cup",), ("rule",), ("cloth", "card"), ("cup in shadow",), ("tape", "rule"), ("tape in shadow", "card"))
_GROUNDS = {
    "silver": ("white", "grey", "black", "green", "blue"),
    "dark": ("white", "concrete", "green", "blue", "mdf"),
    "wood": ("white", "grey", "black", "green", "blue"),
}


def fair_scenes() -> list[Scene]:
    """45 benches of three bodies and five grounds, two in shadow, a thick body, four with a sheet or marks."""
    scenes: list[Scene] = []
    for kind, grounds in _GROUNDS.items():
        for ground in grounds:
            for way, light in enumerate(_PLAIN):
                k = len(scenes) + 1
                more: dict[str, Any] = {"hole": k % 2 == 0} if way == 1 else {}
                if way == 2:
                    more = {"things": _CLUTTER[k // 3 % 6], "tilt_deg": (0.0, 8.0, 15.0, 25.0)[k // 3 % 4]}
                    more |= {"hole": k % 2 == 0, "disc": k % 2 == 1 and kind != "dark", "spots": 0.2 * (k % 2)}
                shape = SHAPES[(k + k // 6) % 6]
                name = f"{kind} on {ground}, {('soft', 'low lamp', 'clutter')[way]}"
                scenes.append(Scene(name, shape=shape, body=kind, ground=ground, seed=k, **light, **more))
    thick = Scene("wood, a thick body", "horned", "wood", "green", seed=60, lift_mm=45.0, side_mm=45.0, **_PLAIN[0])
    own: dict[str, Any] = {"own_shadow": 0.45, **_PLAIN[0]}
    shaded = [
        Scene("silver on green, in one's own shadow", "waisted", "silver", "green", seed=58, **own),
        Scene("dark on white, in one's own shadow", "plate", "dark", "white", seed=59, hole=True, **own),
    ]
    return [*scenes, *shaded, thick, *_to_scale()]


def _to_scale() -> list[Scene]:
    """The part above, a sheet or marks below, at four tilts."""
    wide: dict[str, Any] = {"view_mm": 800.0, "shift_mm": (20.0, -125.0), **_PLAIN[0]}
    return [
        Scene("silver with A4, 25 deg", body="silver", ground="green", sheet="A4", tilt_deg=25, seed=61, **wide),
        Scene("wood with Letter, 15 deg", "horned", "wood", "black", sheet="Letter", tilt_deg=15, seed=62, **wide),
        Scene("dark with A4, level", "waisted", "dark", "mdf", sheet="A4", seed=63, **wide),
        Scene("silver with marks, 10 deg", "plate", "silver", "blue", marks=True, tilt_deg=10, seed=64, **_PLAIN[0]),
    ]


def unfair_scenes() -> list[Scene]:
    """Benches on which no outline can be told, or where much speaks against it."""
    hard: list[tuple[str, str, str, str, dict[str, Any]]] = [
        ("white on white", "plate", "white", "white", {}),
        ("dark on black", "mandolin", "dark", "black", {}),
        ("wood on boards", "waisted", "wood", "boards", {}),
        ("wood on fibre board", "headstock", "wood", "mdf", {"spots": 0.2}),
        ("silver on concrete", "disc", "silver", "concrete", {"hole": True}),
        ("silver on checked cloth", "horned", "silver", "checked", {}),
        ("dark on newspaper", "headstock", "dark", "newspaper", {"hole": True}),
        ("dark on boards", "horned", "dark", "boards", {"broad": 0.3}),
        ("silver, cut off", "waisted", "silver", "green", {"shift_mm": (150.0, 30.0)}),
        ("wood, cut off by a little", "horned", "wood", "black", {"shift_mm": (124.0, 0.0)}),
        ("silver, out of focus", "plate", "silver", "black", {"blur_mm": 5.0}),
        ("wood, very dark", "mandolin", "wood", "blue", {"exposure_ev": -5.0, "noise": 0.03}),
        ("silver, burnt out on white", "mandolin", "silver", "white", {"exposure_ev": 1.5}),
        ("silver, its side seen", "mandolin", "silver", "blue", {"side_mm": 40.0, "lift_mm": 40.0, "tilt_deg": 18.0}),
        ("wood, side of its opening", "disc", "wood", "grey", {"side_mm": 45.0, "lift_mm": 45.0, "hole": True}),
        ("wood, cup over its edge", "plate", "wood", "green", {"things": ("cup over edge",)}),
        ("dark, window all over it", "waisted", "dark", "grey", {"broad": 0.9, "spots": 0.6}),
    ]
    return [
        Scene(name, shape=shape, body=kind, ground=ground, seed=80 + k, fair=False, **(_PLAIN[k % 2] | more))
        for k, (name, shape, kind, ground, more) in enumerate(hard)
    ]
