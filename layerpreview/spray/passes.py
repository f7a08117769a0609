"""Strokes of a gun: what one leaves across its fan, how strokes add to a coat, and how far and long the gun travels.

The cross-section of a stroke is a beta profile, q = qmax (1 - u^2)^(beta - 1), u = 2 x / fan width (Balkan & Arikan,
J. Robotic Syst. 16 (1999), from memory): beta 1.5 an ellipse, 2 a parabola, 2.5 a cone's stroke, 3 and more a bell.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

F64 = NDArray[np.float64]
Profile = Callable[[F64], F64]

OVERRUN_MM = 60.0
"""How far a stroke runs past the part at each end before the trigger is let go (common practice, no source)."""
MOST_OVERLAP = 0.95
"""The share of the last stroke that the next may cover: beyond it the gun hardly moves (common practice, no source)."""
_FURTHEST = 2.5


@dataclass(frozen=True)
class Fan:
    """A gun's fan on the part: `width_mm` where the last paint lands, at `distance_mm`; `beta` of its cross-section
    [1..12]; `speed_mm_s` of the hand. The widths grow in proportion to the distance."""

    width_mm: float
    distance_mm: float
    beta: float = 3.0
    speed_mm_s: float = 400.0

    def __post_init__(self) -> None:
        if min(self.width_mm, self.distance_mm, self.speed_mm_s) <= 0.0:
            raise ValueError("a fan needs a width, a distance and a speed above 0")
        if not 1.0 <= self.beta <= 12.0:
            raise ValueError(f"beta is {self.beta:g}: it must lie between 1 and 12")

    def at(self, *, distance_mm: float) -> Fan:
        """The same gun held closer or further away."""
        return replace(self, width_mm=self.width_mm * distance_mm / self.distance_mm, distance_mm=distance_mm)


GUNS = {
    "full": Fan(width_mm=220.0, distance_mm=180.0, speed_mm_s=450.0),
    "small": Fan(width_mm=110.0, distance_mm=130.0, speed_mm_s=350.0),
    "detail": Fan(width_mm=28.0, distance_mm=70.0, speed_mm_s=200.0),
}
"""Typical guns: a full-size one, a small one, one for edges and bursts (common practice, no source)."""


@dataclass(frozen=True)
class Hand:
    """How far a hand strays, standard deviations: `spacing` of a stroke's line (share of the spacing), `speed` of the
    hand from stroke to stroke and along it, `distance` of the gun (shares)."""

    spacing: float = 0.0
    speed: float = 0.0
    distance: float = 0.0


HANDS = {
    "flat": Hand(),
    "good": Hand(spacing=0.06, speed=0.05, distance=0.04),
    "hurried": Hand(spacing=0.15, speed=0.14, distance=0.10),
}
"""A machine's hand, a practised one and one in a hurry (assumed: common practice, no source)."""


PATTERNS = ("same", "shifted", "spread", "random")
"""How the lines of one coat lie to those of the next."""


@dataclass(frozen=True)
class Ripple:
    """How even strokes at one spacing lie: mean build, standard deviation and highest less lowest as shares of it."""

    mean: float
    cv: float
    peak_to_peak: float


def fan_profile(u: ArrayLike, *, beta: float) -> F64:
    """Build across a fan relative to its middle, (1 - u^2)^(beta - 1) for |u| < 1 and nothing outside; any shape.

    >>> fan_profile([0.0, 0.5, 1.2], beta=2.0).tolist()
    [1.0, 0.75, 0.0]
    """
    inside = np.maximum(1.0 - np.square(np.asarray(u, dtype=np.float64)), 0.0)
    return np.asarray(np.where(inside > 0.0, np.power(inside, beta - 1.0), 0.0))


def fan_mean(beta: float) -> float:
    """Mean of the profile over the fan, sqrt(pi) Gamma(beta) / (2 Gamma(beta + 1/2)).

    >>> round(fan_mean(2.0), 4), round(fan_mean(1.5), 4)
    (0.6667, 0.7854)
    """
    return math.sqrt(math.pi) * math.gamma(beta) / (2.0 * math.gamma(beta + 0.5))


def overlap_ripple(profile: Profile, *, overlap: float, reach: float = 1.0, points: int = 2001) -> Ripple:
    """Evenness of endless strokes whose fans overlap by `overlap` [0..0.95] of the fan width, spacing 2 (1 - overlap).

    `profile` of u, the fan being -1 to 1; `reach`: furthest |u| where it still leaves paint (more than 1 for a
    Gaussian). Raises ValueError for an overlap out of range.
    """
    if not 0.0 <= overlap <= MOST_OVERLAP:
        raise ValueError(f"overlap is {overlap:g}: it must lie between 0 and {MOST_OVERLAP:g}")
    spacing = 2.0 * (1.0 - overlap)
    u = np.linspace(0.0, spacing, points)
    aside = math.ceil(reach / spacing) + 1
    build = np.sum([profile(u - k * spacing) for k in range(-aside, aside + 2)], axis=0)
    mean = float(np.trapezoid(build, u)) / spacing
    cv = math.sqrt(float(np.trapezoid(np.square(build - mean), u)) / spacing) / mean
    return Ripple(mean, cv, float(build.max() - build.min()) / mean)


@lru_cache(maxsize=64)
def best_overlap(beta: float) -> float:
    """The least overlap at which strokes of this fan lie as evenly as anywhere near it (first minimum of the cv).

    >>> round(best_overlap(2.0), 3)
    0.301
    """

    def cv(overlap: float) -> float:
        return overlap_ripple(lambda u: fan_profile(u, beta=beta), overlap=overlap, points=801).cv

    coarse = np.arange(0.0, 0.80, 0.01)
    found = [cv(float(overlap)) for overlap in coarse]
    first = next(i for i in range(1, len(found)) if i == len(found) - 1 or found[i] < min(found[i - 1], found[i + 1]))
    low, high = float(coarse[first - 1]), float(coarse[min(first + 1, len(found) - 1)])
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    while high - low > 1e-4:
        left, right = high - golden * (high - low), low + golden * (high - low)
        low, high = (low, right) if cv(left) < cv(right) else (left, high)
    return 0.5 * (low + high)


@dataclass(frozen=True, eq=False)
class Strokes:
    """The strokes of one coat, arrays (P,) in the order they are sprayed.

    The line of a stroke lies at `first_mm` where it enters the span and at `last_mm` where it leaves it, across the
    strokes' direction; `width_mm` of its fan; its speed is nominal times e^(speed + wave sin(2 pi t / wave_mm +
    phase)); `spacing_mm` the nominal distance of two lines; `span_mm`: where strokes enter and leave the part; `closed`
    strokes run round and meet their own beginning.
    """

    fan: Fan
    angle_deg: float
    closed: bool
    spacing_mm: float
    span_mm: tuple[float, float]
    first_mm: F64
    last_mm: F64
    width_mm: F64
    speed: F64
    wave: F64
    wave_mm: F64
    phase_rad: F64

    def paint(self, t_mm: F64) -> F64:
        """Paint that each stroke leaves per length, relative to a flat hand, (P, ...) at `t_mm` along the strokes."""
        shape = (-1, *([1] * np.ndim(t_mm)))
        turn = 2.0 * np.pi * t_mm / self.wave_mm.reshape(shape) + self.phase_rad.reshape(shape)
        return np.exp(-self.speed.reshape(shape) - self.wave.reshape(shape) * np.sin(turn))

    def build(self, s_mm: F64, t_mm: F64) -> F64:
        """Build of the coat (1 = nominal) at `s_mm` across and `t_mm` along the strokes, two arrays of one shape.

        Strokes add; a wider fan is thinner by as much, a slower hand leaves more, so what leaves the gun is what lands.
        """
        start, end = self.span_mm
        share = (t_mm - start) / (end - start)
        total = np.zeros(np.shape(s_mm))
        for i in range(self.first_mm.size):
            u = (s_mm - (self.first_mm[i] + (self.last_mm[i] - self.first_mm[i]) * share)) * (2.0 / self.width_mm[i])
            here = np.abs(u) < 1.0
            if not here.any():
                continue
            along = np.exp(
                -self.speed[i] - self.wave[i] * np.sin(2.0 * np.pi * t_mm[here] / self.wave_mm[i] + self.phase_rad[i])
            )
            height = self.spacing_mm / (self.width_mm[i] * fan_mean(self.fan.beta))
            total[here] += height * along * fan_profile(u[here], beta=self.fan.beta)
        return total


def lay_strokes(
    *,
    across_mm: tuple[float, float],
    along_mm: tuple[float, float],
    fan: Fan,
    overlap: float,
    hand: Hand,
    rng: np.random.Generator,
    angle_deg: float = 0.0,
    shift: float = 0.0,
    turns: bool = False,
) -> Strokes:
    """Strokes that cover the span `across_mm` [mm] at (1 - overlap) of the fan width apart, running over `along_mm`.

    `shift` [share of the spacing] moves all lines; `hand` strays from `rng`, at most 2.5 standard deviations. With
    `turns` the strokes close on themselves (round an edge): end meets beginning.
    """
    spacing = (1.0 - overlap) * fan.width_mm
    reach = 0.5 * fan.width_mm * (1.0 + _FURTHEST * hand.distance) + spacing * (1.0 + _FURTHEST * hand.spacing)
    first = math.floor((across_mm[0] - reach) / spacing - shift)
    last = math.ceil((across_mm[1] + reach) / spacing - shift)
    lines = (np.arange(first, last + 1) + shift) * spacing
    count, length = lines.size, along_mm[1] - along_mm[0]

    def strays(spread: float) -> F64:
        return np.asarray(spread * np.clip(rng.standard_normal(count), -_FURTHEST, _FURTHEST))

    entering, leaving = strays(hand.spacing) * spacing, strays(hand.spacing) * spacing
    widths = fan.width_mm * np.exp(strays(hand.distance))
    # Half of the speed's wandering is from stroke to stroke, half within one, in waves of half to all of its length.
    speeds, waves_of = strays(hand.speed * math.sqrt(0.5)), np.abs(strays(hand.speed))
    waves = rng.integers(1, 3, count) if turns else rng.uniform(0.9, 2.2, count)
    phases = rng.uniform(0.0, 2.0 * np.pi, count)
    first_line, last_line = lines + entering, lines + (entering if turns else leaving)
    nearest = np.clip(first_line, *across_mm), np.clip(last_line, *across_mm)
    touches = np.minimum(abs(first_line - nearest[0]), abs(last_line - nearest[1])) < 0.5 * widths
    return Strokes(
        fan=fan,
        angle_deg=angle_deg,
        closed=turns,
        spacing_mm=spacing,
        span_mm=along_mm,
        first_mm=first_line[touches],
        last_mm=last_line[touches],
        width_mm=widths[touches],
        speed=speeds[touches],
        wave=waves_of[touches],
        wave_mm=length / waves[touches],
        phase_rad=phases[touches],
    )


def coat_shifts(coats: int, pattern: str, rng: np.random.Generator) -> list[float]:
    """Where each coat's lines lie, as shares of the spacing: "same" lines, "shifted" by half every other coat, evenly
    "spread", or at "random". Raises ValueError for another word."""
    if pattern == "same":
        return [0.0] * coats
    if pattern == "shifted":
        return [0.5 * (k % 2) for k in range(coats)]
    if pattern == "spread":
        return [k / coats for k in range(coats)]
    if pattern == "random":
        return [float(v) for v in rng.random(coats)]
    raise ValueError(f"the pattern is {pattern!r}: it must be same, shifted, spread or random")


def turned(x_mm: F64, y_mm: F64, *, angle_deg: float) -> tuple[F64, F64]:
    """Across and along strokes that run at `angle_deg`: 0 left to right, 90 top to bottom."""
    cosine, sine = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return y_mm * cosine - x_mm * sine, x_mm * cosine + y_mm * sine


def spans(width_mm: float, height_mm: float, *, angle_deg: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """How far a face of this box reaches across and along strokes at `angle_deg`."""
    x, y = np.array([0.0, width_mm, 0.0, width_mm]), np.array([0.0, 0.0, height_mm, height_mm])
    s, t = turned(x, y, angle_deg=angle_deg)
    return (float(s.min()), float(s.max())), (float(t.min()), float(t.max()))


@dataclass(frozen=True)
class Travel:
    """What the hand does: strokes, how far the gun goes [m] and how long that takes [s], drying time apart."""

    strokes: int
    metres: float
    seconds: float


def travel(coats: Sequence[Strokes], *, overrun_mm: float = OVERRUN_MM) -> Travel:
    """Travel of `coats`: every stroke over the part, `overrun_mm` past each end of an open one, across to the next."""
    strokes, metres, seconds = 0, 0.0, 0.0
    for coat in coats:
        count = coat.first_mm.size
        stroke = coat.span_mm[1] - coat.span_mm[0] + (0.0 if coat.closed else 2.0 * overrun_mm)
        length = (count * stroke + max(count - 1, 0) * coat.spacing_mm) / 1000.0
        strokes += count
        metres += length
        seconds += 1000.0 * length / coat.fan.speed_mm_s
    return Travel(strokes, metres, seconds)
