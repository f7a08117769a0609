"""Simulated jobs to remake: made-up dyes, strengths, coats and bases, and what became of them since."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.remake_booth import Booth, Wanted
from layerpreview.colour import WAVELENGTHS_NM, rgb_basis
from layerpreview.finish.layers import stack_of
from layerpreview.learn.fit.one_card import fit_dye
from layerpreview.picture.spots import Spot, SpotKind
from layerpreview.scheme import Base, Dye, Scheme, scheme_from_text

from ..learn.simulated import lab_card, random_dye, random_truth
from ..schemes import HEAD, PANEL

F64 = NDArray[np.float64]
PEAK = 60.0  # L/(g cm) at the highest band, of an invented dye
NAMES = ("amber", "plum")
LIGHTS = ("D65", "A", "LED-B3")
COATS = """\
[[coat]]
mix = "first"
coats = {first}
film = "40 um"
[[coat]]
mix = "second"
coats = {second}
film = "30 um"
"""


@dataclass(frozen=True, eq=False)
class Job:
    """A job as it was, with the dyes and the base it would have today, and the places that were recorded.

    `old_dyes`, `new_dyes` (2, 81) absorptivities [L/(g cm)].
    """

    old: Scheme
    wanted: tuple[Wanted, ...]
    old_dyes: F64
    new_dyes: F64
    new_spread: float

    def booth(self, dyes: F64 | None = None) -> Booth:
        """Today's things as whoever asks knows them: `dyes` (2, 81) as learnt, else as they are."""
        told = self.new_dyes if dyes is None else dyes
        base = self.old.base.model_copy(update={"flake_spread": self.new_spread})
        known = {name: dye_of(name, spectrum) for name, spectrum in zip(NAMES, told, strict=True)}
        return Booth(self.old.model_copy(update={"dyes": known, "base": base}), on_base(self.wanted, base))


def as_told(booth: Booth, told: Booth) -> Booth:
    """The booth, with what another makes as it is written in place of what is wanted: as a record is worked out."""
    seen = told.reflectance(told.as_written, told.coats)
    return replace(
        booth, wanted=tuple(replace(place, reflectance=row) for place, row in zip(booth.wanted, seen, strict=True))
    )


def on_base(wanted: Sequence[Wanted], base: Base) -> tuple[Wanted, ...]:
    """The same places over another base that shows the same bare."""
    return tuple(replace(place, spot=replace(place.spot, base=base)) for place in wanted)


def dye_of(name: str, absorptivity: F64, **more: object) -> Dye:
    """A dye of 40 g/L as sold."""
    return Dye(
        name=name,
        kind="stated",
        provenance="made up",
        wavelength_nm=tuple(WAVELENGTHS_NM.tolist()),
        absorptivity_L_per_g_cm=tuple(absorptivity.tolist()),
        concentrate_g_per_L=40.0,
        **more,  # type: ignore[arg-type]
    )


def drifted(dye: F64, other: F64, rng: np.random.Generator) -> F64:
    """Another bottle: 0.85 to 1.15 as strong, its bands moved by 3 to 8 nm or with 5 % of another dye in it."""
    if rng.random() < 0.5:
        move = rng.choice([-1.0, 1.0]) * rng.uniform(3.0, 8.0)
        dye = np.interp(WAVELENGTHS_NM - move, WAVELENGTHS_NM, dye)
    else:
        dye = 0.95 * dye + 0.05 * other
    return np.asarray(rng.uniform(0.85, 1.15) * dye)


def learnt(dyes: F64, rng: np.random.Generator) -> tuple[F64, list[F64]]:
    """Absorptivities as fits find them from a simulated card each, read as L*a*b* with the usual noise and scatter; and
    roots of their doubt."""
    found, doubts = [], []
    for dye in dyes:
        truth = random_truth(rng, dye=dye / dye.max())
        fit = fit_dye(lab_card(truth, rng))
        found.append(fit.absorbance10 * (dye.max() / truth.absorbance10.max()))
        doubts.append(fit.doubt)
    return np.stack(found), doubts


def random_job(rng: np.random.Generator, *, other_base: bool = True, both: bool = True) -> Job:
    """Two dyes in two mixes over a level metal, seen at the base, the field, an edge and half way to it.

    Since then the base became another, and both dyes did, or the first alone.
    """
    old = PEAK * np.stack([random_dye(rng), random_dye(rng)])
    new = np.stack([drifted(dye, PEAK * random_dye(rng), rng) for dye in old])
    new[1] = new[1] if both else old[1]
    spread = float(rng.uniform(0.15, 0.35))
    moved = spread + float(rng.choice([-1.0, 1.0]) * rng.uniform(0.05, 0.10)) * other_base
    scheme = _scheme(rng, old, spread)
    bare = (np.array([0.62, 0.63, 0.65]) * rng.uniform(0.85, 1.1)) @ rgb_basis()
    shares = {"base": (0.0, 0.0), "field": (1.0, 0.1), "half way": (1.0, 0.5), "edge": (1.0, 1.0)}
    spots = [_spot(name, np.array(share), scheme.base, bare) for name, share in shares.items()]
    whole = stack_of(scheme)
    wanted = tuple(
        Wanted(spot, whole.reflectance(bare[None, :], spot.build[None, :])[0], 1.0 if spot.build.any() else 0.0)
        for spot in spots
    )
    return Job(scheme, wanted, old, new, min(max(moved, 0.06), 0.5))


def _scheme(rng: np.random.Generator, dyes: F64, spread: float) -> Scheme:
    base = f'[base]\nkind = "metal"\ncolour = "#b9bcc0"\nflake_spread = {spread:.3f}\n'
    lines = [HEAD.replace('["D65"]', str(list(LIGHTS)).replace("'", '"')), PANEL, base]
    for name, dye in zip(NAMES, dyes, strict=True):
        pairs = ", ".join(f"[{nm:g}, {value:.5f}]" for nm, value in zip(WAVELENGTHS_NM, dye, strict=True))
        lines.append(f'[dye.{name}]\nconcentrate = "40 g/L"\nabsorptivity = [{pairs}]\n')
    strong, little = np.exp(rng.uniform(np.log(4.0), np.log(16.0), 2)), rng.uniform(0.5, 3.0, 2)
    for mix, main, other, k in (("first", *NAMES, 0), ("second", *NAMES[::-1], 1)):
        lines.append(f'[mix.{mix}]\ndyes = {{ {main} = "{strong[k]:.2f} mL/L", {other} = "{little[k]:.2f} mL/L" }}\n')
    lines.append(COATS.format(first=int(rng.integers(2, 5)), second=int(rng.integers(1, 4))))
    return scheme_from_text("".join(lines), "job.toml")


def _spot(name: str, share: F64, base: Base, bare: F64) -> Spot:
    kind = SpotKind.BASE if name == "base" else SpotKind.FIELD
    return Spot(name, name, kind, "front", (10.0, 10.0), base, bare, share, share)
