"""From the scheme's words to layers: what each mix holds, what each coat absorbs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import resample_to_grid, rgb_basis, srgb_hex_to_rgb_lin
from layerpreview.film import (
    LAW_WITHIN,
    FacetLaw,
    Film,
    MetalFilm,
    absorbance10_of_load,
    diffuse_film,
    law_spread,
    metal_film,
)
from layerpreview.finish.kept import kept_facet_law
from layerpreview.finish.stack import VEIL, DyeLayer, Layer, OpaqueLayer, Stack
from layerpreview.finish.texture import is_textured, texture_sample
from layerpreview.finish.view import MAIN_LAMP_FROM_DEG, STRAIGHT_ON, View
from layerpreview.scheme import Base, Dye, DyeCoat, Mix, OpaqueCoat, Scheme
from layerpreview.spray import DROPS_PER_ML_SOLVENT, as_sold, load_mg_m2, pure_dye_g_per_L
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import NINETY, Strength

F64 = NDArray[np.float64]
End = Literal["low", "likely", "high"]
"""Of a range: everything thin and weak, as is likely, or full and strong."""


@dataclass(frozen=True)
class DyeInMix:
    """One dye in a litre of finished mix: as sold (mL of a liquid, g of a powder) and as pure dye [g/L]."""

    name: str
    strength: Strength
    as_sold_per_L: Told
    powder: bool
    pure_g_per_L: Told
    drops_per_mL: Told


def dyes_in(scheme: Scheme, mix: Mix) -> tuple[DyeInMix, ...]:
    """Every dye of `mix` in the order written, as amounts per litre of finished mix."""
    found = []
    for name, strength in mix.strengths.items():
        dye = scheme.dyes[name]
        powder = dye.concentrate_g_per_L is None
        drops = _drops_per_mL(dye)
        amount = drops.called("drops") if strength.unit == "drops/L" else Rest(Basis.STATED, about="strength")
        sold = as_sold(
            strength,
            drops_per_mL=drops,
            dye_density_g_per_mL=dye.density_g_per_mL,
            mix_density_g_per_mL=mix.density_g_per_mL,
            powder=powder,
        )
        pure = pure_dye_g_per_L(
            strength,
            concentrate_g_per_L=dye.concentrate_g_per_L,
            drops_per_mL=drops,
            dye_density_g_per_mL=dye.density_g_per_mL,
            mix_density_g_per_mL=mix.density_g_per_mL,
        )
        found.append(
            DyeInMix(
                name=name,
                strength=strength,
                as_sold_per_L=Told.from_inputs(sold, "g/L" if powder else "mL/L", strength=amount),
                powder=powder,
                pure_g_per_L=Told.from_inputs(pure, "g/L", strength=amount, concentrate=dye_rests_on(dye)),
                drops_per_mL=drops,
            )
        )
    return tuple(found)


def _drops_per_mL(dye: Dye) -> Told:
    """Drops in a millilitre: as stated, as this shop counted them, else as of lacquer solvents."""
    if isinstance(dye.drops_per_mL, Told):
        return dye.drops_per_mL
    said = Rest(Basis.STATED) if dye.drops_per_mL else Rest(Basis.TABLE, "lacquer solvents")
    return Told.of(dye.drops_per_mL or DROPS_PER_ML_SOLVENT, "drops/mL", said)


def dye_rests_on(dye: Dye) -> Rest:
    """What the strength and the colour of the dye as sold rest on."""
    known = {
        "generic": Rest(Basis.ASSUMED, "generic dye"),
        "fitted": Rest(Basis.MEASURED, "fitted, with its range" if dye.learnt_with_doubt else "fitted"),
        "table": Rest(Basis.TABLE),
    }
    return known.get(dye.kind, Rest(Basis.STATED))


def absorptivity_on_grid(dye: Dye, end: End = "likely", *, load_mg_m2: float | None = None) -> F64:
    """Decadic absorptivity of the pure dye [L/(g cm)] on the 5 nm grid, (81,); at an `end` of what was learnt of it.

    The range is wider where `load_mg_m2` [mg/m2] of it are asked for, and the card held only more, or only less.
    """
    ends = {"low": dye.low_L_per_g_cm, "high": dye.high_L_per_g_cm}
    best, values = np.asarray(dye.absorptivity_L_per_g_cm), ends.get(end)
    if values is None:
        return resample_to_grid(np.asarray(dye.wavelength_nm), best)
    away = np.log(np.maximum(values, 1e-9) / np.maximum(best, 1e-9))
    wider = np.sign(away) * np.hypot(away, NINETY * _untested(dye, load_mg_m2))
    return resample_to_grid(np.asarray(dye.wavelength_nm), best * np.exp(wider))


def _untested(dye: Dye, load_mg_m2: float | None) -> float:
    """Standard deviation of ln absorbance that comes on top where a load was never on the dye's card."""
    if not load_mg_m2 or not dye.tested_to_mg_m2:
        return 0.0
    lightest = dye.tested_from_mg_m2 or min(load_mg_m2, dye.tested_to_mg_m2)
    spread = law_spread(load_mg_m2, lightest=lightest, heaviest=dye.tested_to_mg_m2)
    return float(np.sqrt(spread**2 - LAW_WITHIN**2))


def total_load_mg_m2(scheme: Scheme, dye: str) -> float:
    """Load of one pure dye that all coats of a scheme lay over each other, at their likely films [mg/m2]."""
    return sum(
        load_mg_m2(dye_g_per_L=part.pure_g_per_L.likely, wet_film_um=coat.film_um.likely) * coat.coats
        for coat in scheme.coats
        if isinstance(coat, DyeCoat)
        for part in dyes_in(scheme, scheme.mix_of(coat))
        if part.name == dye
    )


def absorbance10_per_um(scheme: Scheme, mix: Mix, end: End = "likely") -> F64:
    """Decadic absorbance of one straight pass per micrometre of wet film of `mix`, (81,) [1/um].

    At an `end` both what a counted drop holds and what was learnt of the dye are at that end.
    """
    total = np.zeros(rgb_basis().shape[1])
    for part in dyes_in(scheme, mix):
        load = load_mg_m2(dye_g_per_L=getattr(part.pure_g_per_L, end), wet_film_um=1.0)
        laid = total_load_mg_m2(scheme, part.name) if end != "likely" else None
        absorptivity = absorptivity_on_grid(scheme.dyes[part.name], end, load_mg_m2=laid)
        total += absorbance10_of_load(absorptivity_L_per_g_cm=absorptivity, load_mg_m2=load)
    return total


def layer_of(scheme: Scheme, coat: DyeCoat | OpaqueCoat, end: End = "likely") -> Layer:
    """All coats of one entry as one layer, at the likely film and dye or at the thin or the full `end` of both."""
    film_um = float(getattr(coat.film_um, end))
    if isinstance(coat, OpaqueCoat):
        return OpaqueLayer(colour_spectrum(coat.colour), coat.hiding * coat.coats * film_um / coat.film_um.likely)
    return DyeLayer(absorbance10_per_um(scheme, scheme.mix_of(coat), end) * film_um * coat.coats)


def colour_spectrum(colour: str) -> F64:
    """Reflectance (81,) that shows the sRGB colour `colour` ("#rrggbb") under D65."""
    return np.asarray(srgb_hex_to_rgb_lin(colour) @ rgb_basis())


def turned_deg(base: Base) -> float:
    """How far a base's own options turn the surroundings about it, clockwise [deg]."""
    options = base.relief_options if base.relief is not None else base.height_options
    return options.lamp_from_deg - MAIN_LAMP_FROM_DEG


def facet_law_of(base: Base, view: View = STRAIGHT_ON) -> FacetLaw:
    """What every facet of a textured base sends to the eye."""
    turned = turned_deg(base)
    return kept_facet_law(
        base.metal,
        view.light(turned_deg=turned),
        view_deg=abs(view.view_deg),
        view_azimuth_deg=view.from_azimuth_deg(turned_deg=turned),
    )


def base_film(base: Base, view: View = STRAIGHT_ON) -> Film:
    """The optics of the film over a base; of a textured one those of all its facets together."""
    light, side = view.light(), view.from_azimuth_deg()
    if base.kind != "metal":
        return diffuse_film(light, view_deg=abs(view.view_deg))
    if not is_textured(base):
        return metal_film(base.metal, light, view_deg=abs(view.view_deg), view_azimuth_deg=side)
    return _textured_film(base, view)


@lru_cache(maxsize=32)
def _textured_film(base: Base, view: View) -> MetalFilm:
    relief = texture_sample(base)
    mean = facet_law_of(base, view).mean(relief.slope_x, relief.slope_y)
    return MetalFilm(replace(mean, start=1.0), mean.start)


def stack_of(
    scheme: Scheme, view: View = STRAIGHT_ON, *, base: Base | None = None, bare: bool = False, end: End = "likely"
) -> Stack:
    """The scheme's layers over `base` (the scheme's own where not given); with `bare` none of them, only the clear."""
    layers = () if bare else tuple(layer_of(scheme, coat, end) for coat in scheme.coats)
    film = base_film(base or scheme.base, view)
    opaque = diffuse_film(view.light(), view_deg=abs(view.view_deg))
    return Stack(layers, film, opaque, VEIL[scheme.clear.finish])


def first_stack(scheme: Scheme, view: View = STRAIGHT_ON, *, bare: bool = False) -> Stack:
    """The scheme's layers over the base of its first face; with `bare` none of them."""
    return stack_of(scheme, view, base=scheme.base_for(scheme.faces[0].name), bare=bare)
