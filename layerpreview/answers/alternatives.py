"""From the closest loads to recipes a painter can mix: whole coats, measurable strengths, and the trade between
closeness, coats, film and the risk of stripes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.reach import Nearest, Reach
from layerpreview.colour import delta_e_2000, rgb_lin_to_hex

F64 = NDArray[np.float64]

DROP_PER_L = 0.02
"""The least step of a strength [mL/L]: a drop of solvent in a litre (about 50 drops a millilitre)."""
MILLIGRAMS_PER_L = 0.01
"""The same for a powder [g/L]."""
CHOICES = 24
SLACK_DE00 = 1.5
MOST_LISTED = 8


@dataclass(frozen=True)
class Alternative:
    """One recipe: strengths as sold by dye [mL/L or g/L], whole coats of a wet film [um each, and all].

    `lab` and `de00` by light; `worst_de00` of the lights; `stripes_de00`: how far two standard deviations of the build
    shift the colour after all coats; `best_at`: what it is best at among those listed.
    """

    strengths: dict[str, float]
    units: dict[str, str]
    coats: int
    film_um: float
    total_film_um: float
    lab: dict[str, tuple[float, float, float]]
    srgb: str
    de00: dict[str, float]
    worst_de00: float
    stripes_de00: float
    load_mg_m2: tuple[float, ...]
    best_at: tuple[str, ...] = ()


def alternatives(
    reach: Reach,
    nearest: Nearest,
    target_lab: F64,
    *,
    names: Sequence[str],
    powders: Sequence[bool],
    ripple_cv: float,
    most: int = MOST_LISTED,
) -> list[Alternative]:
    """The recipes worth offering, the closest first.

    `names`, `powders` (dyes,); `ripple_cv` [share]: standard deviation of one coat's build; coats add up unrelated, so
    n coats have 1/sqrt(n) of it. Kept is what no other beats in closeness, coats, film and stripes at once; of those
    the best at each and a spread of the rest, `most` at most.
    """
    limits, lights = reach.limits, reach.patches.lights
    target = np.broadcast_to(target_lab, (len(lights), 3))
    close = nearest.de00 <= nearest.de00[0] + SLACK_DE00
    loads = nearest.load_mg_m2[close][:CHOICES]
    plans = [(film, n) for film in limits.films_um for n in range(1, limits.coats_of(film) + 1)]
    film, coats = (np.array(values)[None, :, None] for values in zip(*plans, strict=True))
    step = np.where(np.asarray(powders), MILLIGRAMS_PER_L, DROP_PER_L)
    wanted = loads[:, None, :] / (reach.unit * film * coats)
    strength = np.rint(wanted / step) * step
    # At the limit a strength is rounded down; where next to nothing is wanted the least that can be measured is told.
    over = strength.sum(axis=2, keepdims=True) > limits.strongest_per_L
    strength = np.where(over, np.floor(wanted / step + 1e-9) * step, strength)
    least = np.where(wanted >= wanted.max(axis=2, keepdims=True), step, 0.0)
    strength = np.where((strength > 0.0).any(axis=2, keepdims=True), strength, least)
    fits = wanted.sum(axis=2) <= limits.strongest_per_L * (1.0 + 1e-6)
    which, plan = np.nonzero(fits)
    strength, film_um, coats_n = strength[which, plan], film[0, plan, 0], coats[0, plan, 0].astype(int)
    made = strength * reach.unit * (film_um * coats_n)[:, None]
    # Two choices that round to the same recipe are one.
    _, first = np.unique(np.column_stack([strength, film_um, coats_n]), axis=0, return_index=True)
    strength, film_um, coats_n, made = (values[first] for values in (strength, film_um, coats_n, made))
    lab = reach.patches.lab(made)
    de = delta_e_2000(lab, target)
    near = de.max(axis=1) <= de.max(axis=1).min() + SLACK_DE00
    strength, film_um, coats_n, made, lab, de = (v[near] for v in (strength, film_um, coats_n, made, lab, de))
    stripes = ripple_de00(reach, made, 2.0 * ripple_cv / np.sqrt(coats_n), lab)
    goals = np.column_stack([de.max(axis=1).round(1), coats_n, (coats_n * film_um).round(-1), stripes.round(1)])
    front = np.flatnonzero(_unbeaten(goals, (strength > 0.0).sum(axis=1)))
    kept, words = _spread(goals[front], (strength[front] > 0.0).sum(axis=1), de[front].max(axis=1), most)
    rgb = reach.patches.rgb_lin(made[front[kept]])
    found = []
    for at, swatch, best in zip(front[kept], rgb, words, strict=True):
        used = [d for d in range(len(names)) if strength[at, d] > 0.0]
        found.append(
            Alternative(
                strengths={names[d]: float(round(strength[at, d], 2)) for d in used},
                units={names[d]: "g/L" if powders[d] else "mL/L" for d in used},
                coats=int(coats_n[at]),
                film_um=float(film_um[at]),
                total_film_um=float(film_um[at] * coats_n[at]),
                lab={light: _triple(lab[at, i]) for i, light in enumerate(lights)},
                srgb=rgb_lin_to_hex(np.clip(swatch, 0.0, 1.0)),
                de00={light: float(de[at, i]) for i, light in enumerate(lights)},
                worst_de00=float(de[at].max()),
                stripes_de00=float(stripes[at]),
                load_mg_m2=tuple(float(v) for v in made[at]),
                best_at=best,
            )
        )
    return sorted(found, key=lambda a: (round(a.worst_de00, 1), a.coats))


def ripple_de00(reach: Reach, loads: F64, ripple: F64, lab: F64) -> F64:
    """CIEDE2000, worst light, of builds a share `ripple` (N,) more and less than nominal; `lab` of the nominal."""
    away = [
        delta_e_2000(reach.patches.lab(loads * (1.0 + sign * ripple)[:, None]), lab).max(axis=1) for sign in (1.0, -1.0)
    ]
    return np.asarray(np.maximum(*away))


def _unbeaten(goals: F64, dyes: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Rows that no other row equals or betters in everything; of equals the one with fewer dyes, then the first."""
    order = np.lexsort((np.arange(len(goals)), dyes, *goals.T[::-1]))
    kept = np.zeros(len(goals), dtype=bool)
    for i in order:
        rivals = goals[kept]
        kept[i] = not (rivals <= goals[i]).all(axis=1).any()
    return kept


def _spread(goals: F64, dyes: NDArray[np.intp], de: F64, most: int) -> tuple[list[int], list[tuple[str, ...]]]:
    """The best at each goal, the best balanced, and those furthest from what is kept already."""
    near = goals[:, 0] <= goals[:, 0].min() + 1.0
    scaled = (goals - goals.min(axis=0)) / np.maximum(np.ptp(goals, axis=0), 1e-9)
    balance = scaled @ np.array([2.0, 1.0, 1.0, 1.5])
    heads = {
        "closest": de.round(1) + 0.01 * balance,
        "fewest coats": np.where(near, goals[:, 1] + 0.01 * balance, np.inf),
        "thinnest film": np.where(near, goals[:, 2] + 0.01 * balance, np.inf),
        "least stripes": np.where(near, goals[:, 3] + 0.01 * balance, np.inf),
        "fewest dyes": np.where(near, dyes + 0.01 * balance, np.inf),
        "good all round": balance,
    }
    words: dict[int, tuple[str, ...]] = {}
    for name, score in heads.items():
        best = int(np.argmin(score))
        words[best] = (*words.get(best, ()), name)
    while len(words) < min(most, len(goals)):
        kept = list(words)
        away = np.abs(scaled[:, None, :] - scaled[None, kept, :]).sum(axis=2).min(axis=1) - 0.2 * balance
        away[kept] = -np.inf
        words[int(np.argmax(away))] = ()
    return list(words), list(words.values())


def _triple(values: F64) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
