"""Recipes for a wanted colour: what comes near, what it costs in coats, film and stripes, what to do if none does."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.atlas_near import Atlas
from layerpreview.answers.gun import GunSet
from layerpreview.answers.ladder import Beneath
from layerpreview.answers.reach import Limits, Nearest, Reach, units_of
from layerpreview.answers.readings import Readings
from layerpreview.answers.uneven import one_coat_cv
from layerpreview.colour import JUST_SEEN_DE00, NOT_ACCEPTED_DE00, delta_e_2000, rgb_lin_to_hex, visibility
from layerpreview.doing import doing
from layerpreview.film import diffuse_film, metal_film
from layerpreview.finish.layers import colour_spectrum, first_stack
from layerpreview.finish.patches import Patches, per_mg_m2
from layerpreview.scheme import Dye, Scheme, library_names, load_library_dye
from layerpreview.spray.passes import HANDS

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
    loads = nearest.load_mg_m2[:CHOICES]
    film, coats = np.array([(film, n) for film in limits.films_um for n in range(1, limits.coats_of(film) + 1)]).T
    steps_per_L = 1.0 / np.where(np.asarray(powders), MILLIGRAMS_PER_L, DROP_PER_L)
    wanted = loads[:, None, :] / (reach.unit * (film * coats)[:, None])
    strength = np.rint(wanted * steps_per_L) / steps_per_L
    # At the limit a strength is rounded down; where next to nothing is wanted the least that can be measured is told.
    over = strength.sum(axis=2, keepdims=True) > limits.strongest_per_L
    strength = np.where(over, np.floor(wanted * steps_per_L + 1e-9) / steps_per_L, strength)
    least = np.where(wanted == wanted.max(axis=2, keepdims=True), 1.0 / steps_per_L, 0.0)
    strength = np.where(strength.any(axis=2, keepdims=True), strength, least)
    which, plan = np.nonzero(wanted.sum(axis=2) <= limits.strongest_per_L + 1e-6)
    # Two choices that round to the same recipe are one.
    made = np.unique(np.column_stack([strength[which, plan], film[plan], coats[plan]]), axis=0)
    strength, (film_um, coats_n) = made[:, :-2], made[:, -2:].T
    made = strength * reach.unit * (film_um * coats_n)[:, None]
    lab = reach.patches.lab(made)
    de = delta_e_2000(lab, target)
    worst = de.max(axis=1)
    near = worst <= worst.min() + SLACK_DE00
    strength, film_um, coats_n, made, lab, de, worst = (
        values[near] for values in (strength, film_um, coats_n, made, lab, de, worst)
    )
    dyes = np.count_nonzero(strength, axis=1)
    stripes = ripple_de00(reach, made, 2.0 * ripple_cv / np.sqrt(coats_n), lab)
    goals = np.column_stack([worst.round(1), coats_n, (coats_n * film_um).round(-1), stripes.round(1)])
    front = np.flatnonzero(_unbeaten(goals, dyes))
    kept, words = _spread(goals[front], dyes[front], most)
    rgb = reach.patches.rgb_lin(made[front[kept]])
    found = []
    for at, swatch, best in zip(front[kept], rgb, words, strict=True):
        used = np.flatnonzero(strength[at]).tolist()
        found.append(
            Alternative(
                strengths={names[d]: float(strength[at, d]) for d in used},
                units={names[d]: "g/L" if powders[d] else "mL/L" for d in used},
                coats=int(coats_n[at]),
                film_um=float(film_um[at]),
                total_film_um=float(film_um[at] * coats_n[at]),
                lab={light: _triple(lab[at, i]) for i, light in enumerate(lights)},
                srgb=rgb_lin_to_hex(swatch),
                de00={light: float(de[at, i]) for i, light in enumerate(lights)},
                worst_de00=float(worst[at]),
                stripes_de00=float(stripes[at]),
                load_mg_m2=tuple(float(v) for v in made[at]),
                best_at=best,
            )
        )
    return sorted(found, key=lambda a: (round(a.worst_de00, 1), a.coats))


def ripple_de00(reach: Reach, loads: F64, ripple: F64, lab: F64) -> F64:
    """CIEDE2000, worst light, of builds a share `ripple` (N,) more and less than nominal; `lab` of the nominal."""
    more, less = (reach.patches.lab(loads * share[:, None]) for share in (1.0 + ripple, 1.0 - ripple))
    return np.asarray(np.maximum(delta_e_2000(more, lab), delta_e_2000(less, lab)).max(axis=1))


def _unbeaten(goals: F64, dyes: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Rows that no other row equals or betters in everything; of equals the one with fewer dyes, then the first."""
    order = np.lexsort((dyes, *goals.T))
    kept = np.zeros(len(goals), dtype=bool)
    for i in order:
        rivals = goals[kept]
        kept[i] = not (rivals <= goals[i]).all(axis=1).any()
    return kept


def _spread(goals: F64, dyes: NDArray[np.intp], most: int) -> tuple[list[int], list[tuple[str, ...]]]:
    """The best at each goal (of equals the most balanced), the best balanced, and those furthest from what is kept."""
    away, coats, film, stripes = goals.T
    far = away > away.min() + 1.0
    scaled = (goals - goals.min(axis=0)) / np.maximum(np.ptp(goals, axis=0), 1e-9)
    balance = scaled @ np.array([2.0, 1.0, 1.0, 1.5])
    heads = {
        "closest": away,
        "fewest coats": np.where(far, np.inf, coats),
        "thinnest film": np.where(far, np.inf, film),
        "least stripes": np.where(far, np.inf, stripes),
        "fewest dyes": np.where(far, np.inf, dyes),
        "good all round": balance,
    }
    words: dict[int, tuple[str, ...]] = {}
    for name, score in heads.items():
        best = int(np.lexsort((balance, score))[0])
        words[best] = (*words.get(best, ()), name)
    while len(words) < min(most, len(goals)):
        kept = list(words)
        unlike = np.abs(scaled[:, None] - scaled[kept]).sum(axis=2).min(axis=1) - 0.2 * balance
        unlike[kept] = -np.inf
        words[int(np.argmax(unlike))] = ()
    return list(words), list(words.values())


def _triple(values: F64) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


MANY = 5
STEADY = "good"
OTHER_BASES = {"a white base": ("solid", "#f4f4f1"), "a bright, smooth silver base": ("metal", "#dcdde0")}


@dataclass(frozen=True, eq=False)
class Reached:
    """The answer: `alternatives` closest first; `reached` when the closest is within `within_de00` under every light;
    `advice` says what would bring it nearer where it is not. Stripes are those of `gun` in a practised hand, `reach` is
    all that was within the limits, `readings` both ways to read what was wanted."""

    wanted: str
    wanted_lab: dict[str, tuple[float, float, float]]
    lights: tuple[str, ...]
    dyes: tuple[str, ...]
    within_de00: float
    reached: bool
    nearest_de00: float
    alternatives: tuple[Alternative, ...]
    advice: tuple[str, ...]
    ground: Beneath = field(repr=False)
    gun: GunSet = field(repr=False)
    reach: Reach = field(repr=False)
    readings: Readings | None = field(default=None, repr=False)

    @property
    def verdict(self) -> str:
        """The answer in one line."""
        wanted = self.wanted[0].upper() + self.wanted[1:]
        if self.reached:
            return f"{wanted}: can be reached, {self.nearest_de00:.1f} away ({visibility(self.nearest_de00)})"
        return (
            f"{wanted}: cannot be reached over this base with {listed(self.dyes)} within these limits; the "
            f"nearest is {self.nearest_de00:.1f} away ({visibility(self.nearest_de00)})"
        )


def recipes_for(
    scheme: Scheme,
    ground: Beneath,
    wanted_lab: F64,
    *,
    wanted: str,
    dyes: Mapping[str, Dye],
    limits: Limits,
    gun: GunSet,
    within_de00: float,
) -> Reached:
    """Find recipes over what the scheme has under them, for `wanted_lab` (lights, 3), `wanted` in words."""
    *_, last = recipes_nearing(
        scheme, ground, wanted_lab, wanted=wanted, dyes=dyes, limits=limits, gun=gun, within_de00=within_de00
    )
    return last


def recipes_nearing(
    scheme: Scheme,
    ground: Beneath,
    wanted_lab: F64,
    *,
    wanted: str,
    dyes: Mapping[str, Dye],
    limits: Limits,
    gun: GunSet,
    within_de00: float,
    atlas: Atlas | None = None,
) -> Iterator[Reached]:
    """The best recipes so far, again and again while the search goes on; the last is the answer of `recipes_for`.

    Between two of them lies a part of the work, so that whoever asks can stop. With an `atlas` of these dyes over this
    ground the search begins at its nearest recipes.
    """
    reach = reach_of(scheme, ground, dyes, limits)
    ripple_cv = one_coat_cv(gun.how, HANDS[STEADY])
    for near in reach.nearing(wanted_lab) if atlas is None else _nearing_from(atlas, reach, wanted_lab):
        found = alternatives(
            reach,
            near,
            wanted_lab,
            names=list(dyes),
            powders=[dye.concentrate_g_per_L is None for dye in dyes.values()],
            ripple_cv=ripple_cv,
        )
        nearest = min(recipe.worst_de00 for recipe in found)
        doing(f"searching mixes: {nearest:.1f} away so far (CIEDE2000)")
        answer = Reached(
            wanted=wanted,
            wanted_lab={light: _triple(wanted_lab[i]) for i, light in enumerate(scheme.lights)},
            lights=scheme.lights,
            dyes=tuple(dyes),
            within_de00=within_de00,
            reached=nearest <= within_de00,
            nearest_de00=nearest,
            alternatives=tuple(found),
            advice=(),
            ground=ground,
            gun=gun,
            reach=reach,
        )
        yield answer
    if not answer.reached:
        tried: list[tuple[float, str]] = []
        for one in _what_helps(scheme, ground, wanted_lab, dyes, limits):
            yield answer
            doing("trying what would bring it nearer")
            tried.append(one)
        yield replace(answer, advice=_advice(tried, nearest))


def _nearing_from(atlas: Atlas, reach: Reach, wanted_lab: F64) -> Iterator[Nearest]:
    """From the nearest of the atlas; where that stays far off, the whole search comes after it, since CIEDE2000 has
    several valleys there."""
    near = reach.nearest_from(atlas.near(wanted_lab), wanted_lab)
    yield near
    if near.de00[0] > NOT_ACCEPTED_DE00:
        yield from reach.nearing(wanted_lab)


def reach_of(scheme: Scheme, ground: Beneath, dyes: Mapping[str, Dye], limits: Limits) -> Reach:
    """All that can be reached over what the scheme has under it (see `ground_for` and `others_around`)."""
    return _over(ground.patches(scheme, per_mg_m2([])), dyes, limits, share=ground.share)


def _what_helps(
    scheme: Scheme, ground: Beneath, wanted_lab: F64, dyes: Mapping[str, Dye], limits: Limits
) -> Iterator[tuple[float, str]]:
    """Other dyes, wider limits and other bases, one after the other: the distance each would leave, and its words."""
    more = {**dyes} | {name: load_library_dye(name) for name in library_names() if name not in dyes}
    wide = replace(
        limits,
        strongest_per_L=limits.strongest_per_L * 2.0,
        most_coats=limits.most_coats * 2,
        most_film_um=limits.most_film_um * 2.0,
    )
    de, used = _best(reach_of(scheme, ground, more, limits), wanted_lab, list(more))
    yield de, f"over this base with {used}"
    de, _ = _best(reach_of(scheme, ground, dyes, wide), wanted_lab, list(dyes))
    yield de, "with twice the strength and twice the film"
    veil = first_stack(scheme).veil
    for words, (kind, colour) in OTHER_BASES.items():
        film = diffuse_film() if kind == "solid" else metal_film(scheme.base.metal)
        other = Patches(film, colour_spectrum(colour), per_mg_m2([]), scheme.lights, scheme.observer_deg, veil)
        same, _ = _best(_over(other, dyes, limits), wanted_lab, list(dyes))
        de, used = _best(_over(other, more, limits), wanted_lab, list(more))
        yield (same, f"over {words} with the same dyes") if same < de + 0.3 else (de, f"over {words} with {used}")


def _advice(tried: Sequence[tuple[float, str]], now_de00: float) -> tuple[str, ...]:
    """What brings it nearer, the nearest first."""
    # What is not seen is equally good: then another dye comes before another base, as it is less work.
    better = sorted((item for item in tried if item[0] < now_de00 - 0.3), key=lambda f: max(f[0], JUST_SEEN_DE00))
    if not better:
        return ("Neither another dye of the library, another base nor wider limits would bring it nearer.",)
    return tuple(f"{words}: {de:.1f} away ({visibility(de)})" for de, words in better)


def _over(base: Patches, dyes: Mapping[str, Dye], limits: Limits, *, share: float = 1.0) -> Reach:
    """`share`: of a whole coat that lands where it is asked about."""
    patches = replace(base, absorbance10_per_mg_m2=per_mg_m2(list(dyes.values())))
    return Reach(patches, share * units_of([dye.concentrate_g_per_L for dye in dyes.values()]), limits)


def _best(reach: Reach, wanted_lab: F64, names: Sequence[str]) -> tuple[float, str]:
    """The nearest distance, and the fewest dyes that come within 0.1 of it."""
    near = reach.nearest(wanted_lab)
    close = near.load_mg_m2[near.de00 <= near.de00[0] + 0.1]
    fewest = close[np.argmin(np.count_nonzero(close, axis=1))]
    return float(near.de00[0]), listed([names[d] for d in np.flatnonzero(fewest).tolist()])


def listed(names: Sequence[str]) -> str:
    """Names in a row, as in a sentence."""
    if not names:
        return "no dye at all"
    if len(names) > MANY:
        return f"these {len(names)} dyes"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
