"""Which dyes, how strong and how many coats come closest to a wanted colour over a base.

Every choice of one, two or three dyes is searched at once: scattered loads find the neighbourhood, damped Gauss-Newton
steps in L*a*b* (weighted by the local CIEDE2000 ellipsoid) the bottom, and a shrinking pattern search on CIEDE2000
itself the last hundredths and the limits. Whole coats come last: they divide a load, they do not change it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import NOT_ACCEPTED_DE00, delta_e_2000
from layerpreview.errors import InputError, Problem
from layerpreview.finish.patches import Patches

F64 = NDArray[np.float64]
Indices = NDArray[np.intp]

SCATTER = 96
STARTS = 2
STEPS = 12
POLISHED, POLISHING = 24, 36
FEWER, FEWER_STEPS, FEWER_TIMES = 3, 6, 12
"""As many are polished, in fewer steps, where the search begins near."""
_LEAST_SHARE = 2e-4
_NUDGE, _SMALL_NUDGE = 0.4, 0.06
_SEED = 0


@dataclass(frozen=True)
class Limits:
    """What the painter allows: `strongest_per_L` of all dyes together in a mix [mL/L of dye as sold, g/L of powder],
    `most_coats`, `films_um` to choose the wet film of a coat from [um], `most_film_um` of wet film in all [um],
    `most_dyes` in one mix [1..3]."""

    strongest_per_L: float = 40.0
    most_coats: int = 8
    films_um: tuple[float, ...] = (20.0, 40.0, 65.0)
    most_film_um: float = 400.0
    most_dyes: int = 3

    def __post_init__(self) -> None:
        if min(self.strongest_per_L, self.most_coats, *self.films_um, self.most_dyes) <= 0:
            raise InputError(Problem("limits must be above 0"))
        if min(self.films_um) > self.most_film_um:
            raise InputError(Problem("not one coat of the thinnest film keeps within the most film"))

    def coats_of(self, film_um: float) -> int:
        """Most coats of this film that keep within both limits."""
        return min(self.most_coats, int(self.most_film_um / film_um + 1e-9))

    @property
    def most_um(self) -> float:
        """The most wet film that can be sprayed."""
        return max(film * self.coats_of(film) for film in self.films_um)


@dataclass(frozen=True, eq=False)
class Nearest:
    """The best loads of each choice of dyes, closest first: `load_mg_m2` (n, dyes), `de00` (n,) of the worst light."""

    load_mg_m2: F64
    de00: F64


class Reach:
    """All that can be reached over one base with some dyes within limits; made once, asked for many targets.

    `load_of_unit` (dyes,): mg/m2 of pure dye that 1 mL/L (or g/L of a powder) puts down per um of wet film, that is its
    pure dye in g per mL as sold. Loads are bounded by the strongest mix in the most film.
    """

    def __init__(self, patches: Patches, load_of_unit: F64, limits: Limits) -> None:
        self.patches, self.limits = patches, limits
        self.unit = np.asarray(load_of_unit, dtype=np.float64)
        # In units of the strongest mix in the most film the limit is: shares >= 0, their sum <= 1.
        self.full = self.unit * limits.strongest_per_L * limits.most_um
        count = self.unit.size
        self._choices = [c for k in range(1, min(limits.most_dyes, count) + 1) for c in combinations(range(count), k)]
        self._used, self._is_dye = self._padded()

    @cached_property
    def _scatter(self) -> F64:
        return self._drawn(SCATTER, lambda share: np.power(_LEAST_SHARE, share))

    @cached_property
    def _scatter_lab(self) -> F64:
        return self._lab(self._scatter, self._used)

    def nearest(self, target_lab: F64) -> Nearest:
        """The best loads of every choice of dyes for `target_lab` (lights, 3) or (3,) for all lights alike."""
        *_, last = self.nearing(target_lab)
        return last

    def nearing(self, target_lab: F64) -> Iterator[Nearest]:
        """The best so far, again and again while it comes nearer; the last is what `nearest` gives."""
        target = np.broadcast_to(target_lab, (len(self.patches.lights), 3))
        away = _worst(self._scatter_lab, target)
        start = np.argsort(away, kind="stable")[:, :STARTS]
        rows = np.arange(len(self._choices))
        yield self._told(self._scatter[rows, start[:, 0]], self._used, away[rows, start[:, 0]])
        chosen = np.repeat(rows, STARTS)
        share = self._scatter[chosen, start.ravel()]
        used, real = self._used[chosen], self._is_dye[chosen]
        share = self._descend(share, used, real, target)
        de = _worst(self._lab(share[:, None], used), target).ravel()
        # The better of the starts of each choice, then the closest choices to the last hundredth.
        order = np.lexsort((de, chosen))[::STARTS]
        order = order[np.argsort(de[order], kind="stable")]
        share, used, real, de = share[order], used[order], real[order], de[order]
        yield self._told(share, used, de)
        best = slice(POLISHED)
        share[best], de[best] = self._polished(share[best], used[best], real[best], target, de[best])
        if de.min() > NOT_ACCEPTED_DE00:
            yield self._told(share, used, de)
            # Far from a target CIEDE2000 has several valleys (hues opposite each other): start in many that were seen.
            flat = np.argsort(away, axis=None, kind="stable")[: 2 * POLISHED]
            choice, place = np.unravel_index(flat, away.shape)
            more = self._polished(
                self._scatter[choice, place], self._used[choice], self._is_dye[choice], target, away[choice, place]
            )
            share, de = np.concatenate([share, more[0]]), np.concatenate([de, more[1]])
            used = np.concatenate([used, self._used[choice]])
        yield self._told(share, used, de)

    def nearest_from(self, load_mg_m2: F64, target_lab: F64) -> Nearest:
        """As `nearest`, from loads (n, dyes) that are near already, each of no more dyes than the limits allow."""
        target = np.broadcast_to(target_lab, (len(self.patches.lights), 3))
        used = np.argsort(load_mg_m2 == 0.0, axis=1, kind="stable")[:, : self._used.shape[1]]
        share = np.take_along_axis(load_mg_m2 / self.full, used, axis=1)
        real = np.where(share > 0.0, 1.0, 0.0)
        share = self._descend(_within(share), used, real, target, steps=FEWER_STEPS)
        de = _worst(self._lab(share[:, None], used), target).ravel()
        order = np.argsort(de, kind="stable")
        share, used, real, de = share[order], used[order], real[order], de[order]
        best = slice(FEWER)
        share[best], de[best] = self._polished(
            share[best], used[best], real[best], target, de[best], nudge=_SMALL_NUDGE, times=FEWER_TIMES
        )
        return self._told(share, used, de)

    def _told(self, share: F64, used: Indices, de: F64) -> Nearest:
        order = np.argsort(de, kind="stable")
        return Nearest(self._spread(share[order], used[order]) * self.full, de[order])

    def cloud(self, count: int) -> F64:
        """L*a*b* (about count, 3) under the first light of recipes all over what can be reached."""
        each = max(1, count // len(self._choices))
        lab = self._lab(self._drawn(each, lambda share: share**3), self._used)
        return np.concatenate([self._scatter_lab, lab], axis=1)[:, :, 0].reshape(-1, 3)

    def _drawn(self, each: int, shape: Callable[[F64], F64]) -> F64:
        """So many random shares of each choice (choices, each, wide): even ones brought into `shape`."""
        even = np.random.default_rng(_SEED).random((len(self._choices), each, self._used.shape[1]))
        return _within(shape(even) * self._is_dye[:, None])

    def _lab(self, share: F64, used: Indices) -> F64:
        """Colours (n, m, lights, 3) of m shares (n, m, wide) for each of n choices of the dyes `used` (n, wide)."""
        rows, each, wide = share.shape
        flat = self._spread(share.reshape(-1, wide), np.repeat(used, each, axis=0))
        return self.patches.lab(flat * self.full).reshape(rows, each, -1, 3)

    def _padded(self) -> tuple[Indices, F64]:
        """Dye numbers of every choice, filled up to one width with dyes it does not use, and 1 where it is used."""
        wide = max(len(c) for c in self._choices)
        rows = [list(c) + [d for d in range(self.unit.size) if d not in c][: wide - len(c)] for c in self._choices]
        real = [[1.0] * len(c) + [0.0] * (wide - len(c)) for c in self._choices]
        return np.array(rows, dtype=np.intp), np.array(real)

    def _spread(self, share: F64, used: Indices) -> F64:
        out = np.zeros((len(share), self.unit.size))
        np.put_along_axis(out, used, share, axis=1)
        return out

    def _descend(self, share: F64, used: Indices, real: F64, target: F64, *, steps: int = STEPS) -> F64:
        """Damped Gauss-Newton on the logarithm of the shares, all rows at once; a step that does not help is damped."""
        damp = np.full(len(share), 1e-2)
        inward, curve, error = self._slopes(share, used, target)
        for _ in range(steps):
            damped = curve.copy()
            steepness = np.einsum("nkk->nk", damped)  # a view of the diagonal
            steepness += damp[:, None] * steepness + 1e-6  # what is not used has no slope
            step = np.linalg.solve(damped, inward[:, :, None]).reshape(share.shape)
            trial = _within(np.maximum(share * np.exp(-np.tanh(step)), _LEAST_SHARE) * real)
            new_inward, new_curve, new_error = self._slopes(trial, used, target)
            better = new_error < error
            share, inward = (np.where(better[:, None], *pair) for pair in ((trial, share), (new_inward, inward)))
            curve = np.where(better[:, None, None], new_curve, curve)
            error = np.where(better, new_error, error)
            damp *= np.where(better, 0.3, 8.0)
        return share

    def _slopes(self, share: F64, used: Indices, target: F64) -> tuple[F64, F64, F64]:
        """How the squared CIEDE2000, summed over the lights, changes with the logarithm of the shares: half its slope
        (n, k) and half its curvature (n, k, k); and itself (n,)."""
        lab, slope = self.patches.lab_and_slope(self._spread(share, used) * self.full, used)
        slope = slope * (share * self.full[used])[:, None, None]
        away, metric = lab - target, _ellipsoid(lab, target)
        inward = np.einsum("nlck,nlcd,nld->nk", slope, metric, away)
        curve = np.einsum("nlck,nlcd,nldj->nkj", slope, metric, slope)
        return inward, curve, np.einsum("nlc,nlcd,nld->n", away, metric, away)

    def _polished(
        self,
        share: F64,
        used: Indices,
        real: F64,
        target: F64,
        de: F64,
        *,
        nudge: float = _NUDGE,
        times: int = POLISHING,
    ) -> tuple[F64, F64]:
        """Pattern search in the shares: every dye up, down or as it is; then shrink."""
        pattern = np.array(list(product(range(-1, 2), repeat=share.shape[1])))
        size = np.full(len(share), nudge)
        for _ in range(times):
            # A dye that is hardly there moves by a share of the limit, the others by a share of themselves.
            reach = np.maximum(share, 0.02) * size[:, None]
            trial = _within(np.maximum(share[:, None] + pattern * reach[:, None], 0.0) * real[:, None])
            away = _worst(self._lab(trial, used), target)
            best = away.argmin(axis=1)
            row = np.arange(len(share))
            better = away[row, best] < de - 1e-9
            share = np.where(better[:, None], trial[row, best], share)
            de = np.where(better, away[row, best], de)
            size = np.where(better, size, size * _NUDGE)
        return share, de


def _within(share: F64) -> F64:
    """Shares scaled back to the strongest mix in the most film where they exceed it."""
    return np.asarray(share / np.maximum(share.sum(axis=-1, keepdims=True), 1.0))


def _worst(lab: F64, target: F64) -> F64:
    """CIEDE2000 of (..., lights, 3) against (lights, 3), the worst of the lights."""
    return np.asarray(delta_e_2000(lab, target).max(axis=-1))


def _ellipsoid(lab: F64, target: F64) -> F64:
    """The quadratic form (..., 3, 3) that CIEDE2000 squared is close to halfway between `lab` and `target`."""
    middle, step = 0.5 * (lab + target), 0.05
    axes = np.eye(3) * step

    def squared(move: F64) -> F64:
        return np.square(delta_e_2000(middle - 0.5 * move, middle + 0.5 * move))

    form = np.empty((*lab.shape, 3))
    for i in range(3):
        form[..., i, i] = squared(axes[i])
    for i, j in combinations(range(3), 2):
        form[..., i, j] = form[..., j, i] = 0.5 * (squared(axes[i] + axes[j]) - form[..., i, i] - form[..., j, j])
    return form / step**2


def units_of(concentrates_g_per_L: Sequence[float | None]) -> F64:
    """mg/m2 per um of wet film at 1 mL/L of each dye as sold (concentrate / 1000), or at 1 g/L of a powder (None)."""
    return np.array([1.0 if c is None else c / 1000.0 for c in concentrates_g_per_L])
