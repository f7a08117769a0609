"""One card as a least-squares problem: every unknown, what the film model makes of it, and the slopes."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import LAW_WITHIN, law_shapes
from layerpreview.learn.card.model import (
    Card,
    build_covariance,
    film_and_slope,
    lightness_root,
    lightness_root_slope,
)
from layerpreview.learn.fit.colourant import Colourant, SeenDye, SharedDyes
from layerpreview.learn.fit.noise import noise_shape

F64 = NDArray[np.float64]

FAR = 3.0
"""Standard deviations at which an assumption counts as strained."""
UNLIKE = "the dye is unlike what the fit expects; trust it only near what was sprayed"
_TINY = 1e-9
_LAW_SHAPES = 5  # that hold 95 % of the variance of `law_shapes`


class CardProblem:
    """The unknowns of one card in a row, all scaled to mean 0 and variance 1.

    The colourant's own; the build of each step; a local factor of each window; the parts of each bare ground; what
    each step's spectrum departs from law and film; and, for a photo whose tone curve is not known, its exponent.
    """

    def __init__(self, card: Card, colourant: Colourant) -> None:
        self.card, self.colourant = card, colourant
        loads = {window.step: window.load for window in card.windows if window.load > 0}
        self.steps = sorted(loads, key=lambda step: loads[step])
        self.loads = np.array([loads[step] for step in self.steps])
        strength_of = {window.step: window.strength for window in card.windows}
        strengths = np.array([strength_of[step] for step in self.steps])
        self.coats = self.loads / strengths
        spread = build_covariance(self.loads, scatter=card.coat_scatter, masked=card.masked, strengths=strengths)
        self.build_root = np.linalg.cholesky(spread) / self.loads[:, None]
        names = [ground.name for ground in card.grounds]
        self.ground_of = np.array([names.index(window.ground) for window in card.windows])
        # 1 where a window has the coats of a step (N, S); a bare one has none.
        self.sprayed = np.array([[float(window.step == step) for step in self.steps] for window in card.windows])
        self.nominal = np.array([window.load for window in card.windows])
        self.first_build = colourant.size
        self.first_local = self.first_build + len(self.steps)
        self.first_gain = self.first_local + len(card.windows)
        ends = self.first_gain + np.cumsum([0, *(ground.weights.size for ground in card.grounds)])
        self.gains = [slice(int(start), int(end)) for start, end in pairwise(ends)]
        self.law_shapes = LAW_WITHIN * law_shapes()[:, -_LAW_SHAPES:]
        self.first_law = int(ends[-1])
        self.tone_at = self.first_law + len(self.steps) * _LAW_SHAPES
        self.size = self.tone_at + (1 if card.tone_spread else 0)
        self.read = np.stack([window.read for window in card.windows])
        self.trusted = np.stack([window.trusted for window in card.windows])
        self.noise = np.array([[window.noise_factor] for window in card.windows])
        # Where a window was read n times, each reading had its own place: their mean is off by less.
        times = np.array([window.times for window in card.windows])
        self.local_scatter = card.local_scatter / np.sqrt(times)
        self.repeated = np.flatnonzero(times > 1)
        self.apart = None if card.eye.at_nm is None else _apart(card)
        none = np.zeros(card.eye.count, dtype=bool)
        self.at_most = np.stack([none if window.at_most is None else window.at_most for window in card.windows])

    def builds(self, state: F64) -> F64:
        """Load of each step over its nominal load (S,)."""
        return np.asarray(np.exp(self.build_root @ state[self.first_build : self.first_local]))

    def gain(self, state: F64, ground: int) -> F64:
        """Factors (p,) on the parts of a bare ground."""
        return np.asarray(np.exp(self.card.grounds[ground].spread * state[self.gains[ground]]))

    def departures(self, state: F64) -> F64:
        """Factors (N, 81) on the dye of each window that law and film leave open."""
        parts = state[self.first_law : self.tone_at].reshape(len(self.steps), -1)
        return np.asarray(np.exp(self.sprayed @ parts @ self.law_shapes.T))

    def power(self, state: F64) -> float:
        """Exponent left in the photo's tone curve."""
        return float(np.exp(self.card.tone_spread * state[self.tone_at])) if self.card.tone_spread else 1.0

    def predict(self, state: F64, *, slopes: bool = False) -> tuple[F64, F64]:
        """What every window should read (N, m), and its slopes over the unknowns (N, m, P) where asked for."""
        dye, dye_slopes = self.colourant.absorbance10(state[: self.first_build])
        local = np.exp(self.local_scatter * state[self.first_local : self.first_gain])
        loads = self.nominal * (self.sprayed @ self.builds(state)) * local
        apart = self.departures(state)
        out = np.zeros(self.read.shape)
        jac = np.zeros((*self.read.shape, self.size if slopes else 0))
        for g in range(len(self.card.grounds)):
            rows = np.flatnonzero(self.ground_of == g)
            scale = loads[rows, None] * apart[rows]
            out[rows] = self._over(g, rows, state, scale, dye, dye_slopes, jac if slopes else None)
        return out, jac

    def _over(
        self, g: int, rows: NDArray[np.intp], state: F64, scale: F64, dye: F64, dye_slopes: F64, jac: F64 | None
    ) -> F64:
        """The windows `rows` (n,), all over ground `g`: what they should read (n, m); fills their rows of `jac`.

        `scale` (n, 81) is what each holds of the dye.
        """
        eye, ground, power = self.card.eye, self.card.grounds[g], self.power(state)
        gain = self.gain(state, g)
        laid, bare = scale * dye, ground.bare(gain)
        if jac is None:
            seen = ground.film.reflectance(laid, bare)
        else:
            seen, over_dye, over_bare = film_and_slope(ground.film, laid, bare)
        light = seen @ eye.take.T
        lit, bright = light > _TINY, np.maximum(light, _TINY)
        toned = np.where(lit, bright**power, light)
        if jac is not None:
            root_slope = lightness_root_slope(toned)
            steep = root_slope * np.where(lit, power * bright ** (power - 1.0), 1.0)
            to_read = (eye.mix * steep[:, None, :]) @ eye.take  # (n, m, 81): of the reading over the spectrum
            jac[rows, :, : self.first_build] = (to_read * (over_dye * scale)[:, None, :]) @ dye_slopes
            by_log = to_read * (over_dye * laid)[:, None, :]  # over the logarithm of the dye at each wavelength
            by_load = by_log.sum(axis=2)
            by_law = (by_log @ self.law_shapes)[:, :, None, :] * self.sprayed[rows][:, None, :, None]
            jac[rows, :, self.first_law : self.tone_at] = by_law.reshape(rows.size, self.card.eye.count, -1)
            roots = self.sprayed[rows] @ self.build_root
            jac[rows, :, self.first_build : self.first_local] = by_load[:, :, None] * roots[:, None, :]
            jac[rows, :, self.first_local + rows] = by_load * self.local_scatter[rows, None]
            parts = (ground.weights * gain * ground.spread)[:, None] * ground.spectra
            jac[rows, :, self.gains[g]] = (to_read * over_bare[:, None, :]) @ parts.T
            if self.card.tone_spread:
                logs = np.where(lit, toned * power * np.log(bright), 0.0)
                jac[rows, :, self.tone_at] = (root_slope * logs) @ eye.mix.T * self.card.tone_spread
        return np.asarray(lightness_root(toned) @ eye.mix.T)

    def residuals(self, state: F64, noise: float) -> F64:
        """Every trusted number over its noise, then every unknown over its spread."""
        away = self._weighed(self._away(self.predict(state)[0])[:, :, None])[:, 0] / noise
        return np.concatenate([away, state])

    def _weighed(self, away: F64) -> F64:
        """Columns (N, m, k) over each window's own noise, those that err together taken apart: (trusted, k)."""
        away = away / self.noise[:, :, None]
        return (away if self.apart is None else self.apart @ away)[self.trusted]

    def _away(self, predicted: F64) -> F64:
        """Predicted minus read; nothing where the reading is only a limit and is kept."""
        away = predicted - self.read
        return np.where(self.at_most & (away < 0.0), 0.0, away)

    def numbers(self, state: F64, noise: float) -> tuple[F64, F64]:
        """The residuals of the trusted numbers alone (n,), and their slopes (n, P)."""
        predicted, slopes = self.predict(state, slopes=True)
        free = self.at_most & (predicted < self.read)
        slopes[free] = 0.0
        return self._weighed(self._away(predicted)[:, :, None])[:, 0] / noise, self._weighed(slopes) / noise

    def scatter(self, state: F64, noise: float) -> tuple[float, float]:
        """What repeated readings say of their noise: squares of what lies between them, over it, and how many.

        Each reading's own place is taken off, as the fit takes that of a window, and does not count.
        """
        squares = count = 0.0
        slopes = self.predict(state, slopes=bool(self.repeated.size))[1]
        for row in self.repeated:
            window, local = self.card.windows[row], self.first_local + row
            between = window.read[None] if window.repeats is None else window.repeats
            one = noise * window.noise_factor * np.sqrt(window.times)
            of = np.eye(self.card.eye.count) if self.apart is None else self.apart[row]
            away = between @ of.T / one
            slope = of @ slopes[row, :, local] * np.sqrt(window.times) / one
            free = 1.0 + slope @ slope
            squares += float(np.square(away - np.outer(away @ slope / free, slope)).sum())
            count += (window.times - 1) * (slope.size - float(slope @ slope / free))
        return squares, count

    def jacobian(self, state: F64, noise: float) -> F64:
        """Slopes of the residuals."""
        return np.concatenate([self.numbers(state, noise)[1], np.eye(self.size)])

    def normal(self, state: F64, noise: float) -> tuple[F64, F64]:
        """The normal equations' two sides: J'J and J'r of the residuals."""
        away, slopes = self.numbers(state, noise)
        return slopes.T @ slopes + np.eye(self.size), slopes.T @ away + state

    def strained(self, state: F64, misfit: float) -> tuple[str, ...]:
        """Which assumptions lie beyond three standard deviations, in words."""
        said = []
        # A spectrum that was read is not doubted for its shape; dyes that cards share are doubted once for all.
        if not isinstance(self.colourant, SeenDye | SharedDyes) and np.abs(state[: self.first_build]).max() > FAR:
            said.append(UNLIKE)
        usual = self.card.coat_scatter / np.sqrt(self.coats)
        said += [
            f"step {step} holds {100 * (build - 1):+.0f} % of its coats' dye"
            for step, build, spread in zip(self.steps, self.builds(state), usual, strict=True)
            if abs(np.log(build)) > FAR * spread
        ]
        for i, ground in enumerate(self.card.grounds):
            if np.abs(state[self.gains[i]]).max() > FAR:
                said.append(f"the bare {ground.name} does not agree with its windows: another light, or another piece?")
        if self.card.tone_spread and abs(state[self.tone_at]) > FAR:
            said.append("the photo's tone curve is unlike a camera's; put a grey card in the picture")
        if misfit > 2.0:
            said.append(f"the steps scatter {misfit:.1f} times as much as readings of this kind should")
        return tuple(said)


def _apart(card: Card) -> F64:
    """For each window what makes the errors of its trusted numbers independent, of variance 1 (N, m, m)."""
    single = np.eye(card.eye.count)
    shapes = [
        np.where(np.outer(window.trusted, window.trusted), noise_shape(card.eye, window.read), single)
        for window in card.windows
    ]
    return np.asarray(np.linalg.inv(np.linalg.cholesky(np.stack(shapes))))
