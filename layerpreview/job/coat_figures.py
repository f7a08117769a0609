"""What each coat puts down and what it takes to spray it, every figure with its range and basis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.finish.layers import DyeInMix, End, absorbance10_per_um, dyes_in
from layerpreview.scheme import Coat, DyeCoat, OpaqueCoat, Scheme
from layerpreview.spray import dry_film_um
from layerpreview.units import Range

_OUTER: tuple[End, End] = ("low", "high")


@dataclass(frozen=True)
class Figure:
    """One number with its range, unit and basis: "stated", "table (...)", "assumed (...)", "measured (...)"."""

    low: float
    likely: float
    high: float
    unit: str
    basis: str

    @classmethod
    def of(cls, value: Range, unit: str, basis: str) -> Figure:
        return cls(value.low, value.likely, value.high, unit, basis)


@dataclass(frozen=True)
class DyeFigures:
    """One dye of a mix: how strong, what one coat leaves per area, and what the batch needs."""

    name: str
    kind: str
    strength: str
    pure_g_per_L: Figure
    load_per_coat_mg_m2: Figure
    as_sold_per_coat: Figure
    needed: Figure
    needed_drops: Figure | None


@dataclass(frozen=True)
class CoatFigures:
    """One entry of the scheme's coats. `mix_needed_mL` includes what misses the part and what stays in the cup."""

    order: int
    what: str
    coats: int
    where: str
    mean_build: float
    area_m2: float
    wet_um_per_coat: Figure
    dry_um_all_coats: Figure | None
    peak_absorbance10: Figure | None
    peak_nm: float | None
    hidden_at_edge: float | None
    mix_landed_mL: Figure
    mix_needed_mL: Figure
    dyes: tuple[DyeFigures, ...]


def coat_figures(
    scheme: Scheme, index: int, *, area_m2: float, on_part_mL: Range, needed_mL: Range, basis: str
) -> CoatFigures:
    """Figures of the coat at `index` over `area_m2` [m2], of which `on_part_mL` lands and `needed_mL` is mixed [mL]."""
    coat = scheme.coats[index]
    full_mL = area_m2 * coat.coats * coat.film_um.likely
    build = on_part_mL.likely / full_mL if full_mL > 0.0 else 0.0
    needed = Figure.of(needed_mL, "mL", basis)
    peak, peak_nm, dry = None, None, None
    dyes: tuple[DyeFigures, ...] = ()
    if isinstance(coat, DyeCoat):
        mix = scheme.mix_of(coat)
        per_um = absorbance10_per_um(scheme, mix)
        at = int(np.argmax(per_um))
        weak, strong = (absorbance10_per_um(scheme, mix, end) for end in _OUTER)
        per_um_at_peak = Range(float(weak[at]), float(per_um[at]), float(strong[at]))
        peak = Figure.of(
            per_um_at_peak.times(coat.film_um).scaled(coat.coats),
            "absorbance (decadic, one straight pass)",
            f"film {coat.film_basis}, dyes {_kinds(scheme, coat)}",
        )
        peak_nm = float(WAVELENGTHS_NM[at])
        dyes = tuple(_dye(scheme, coat, part, needed) for part in dyes_in(scheme, mix))
        if mix.solids is not None:
            films = zip(_ends(coat.film_um), _ends(mix.solids), strict=True)
            thin = Range(*(dry_film_um(wet_film_um=wet, solids=solids) for wet, solids in films))
            dry = Figure.of(thin.scaled(coat.coats), "um", f"film {coat.film_basis}, solids stated")
    return CoatFigures(
        order=index + 1,
        what=coat.label,
        coats=coat.coats,
        where=_where(coat),
        mean_build=build,
        area_m2=area_m2,
        wet_um_per_coat=Figure.of(coat.film_um, "um", coat.film_basis),
        dry_um_all_coats=dry,
        peak_absorbance10=peak,
        peak_nm=peak_nm,
        hidden_at_edge=1.0 - 10.0 ** (-coat.hiding * coat.coats) if isinstance(coat, OpaqueCoat) else None,
        mix_landed_mL=Figure.of(on_part_mL, "mL", f"film {coat.film_basis}"),
        mix_needed_mL=needed,
        dyes=dyes,
    )


def _ends(value: Range) -> tuple[float, float, float]:
    return value.low, value.likely, value.high


def _kinds(scheme: Scheme, coat: DyeCoat) -> str:
    dyes = [scheme.dyes[name] for name in scheme.mix_of(coat).strengths]
    return ", ".join(sorted({dye.kind + (" with its range" if dye.learnt_with_doubt else "") for dye in dyes}))


def _where(coat: Coat) -> str:
    place = "whole part" if coat.everywhere else coat.zone
    if not coat.bursts:
        return place
    rings = " and ".join(f"burst {burst.width_mm:g} mm from {burst.source}" for burst in coat.bursts)
    return rings if coat.everywhere else f"{rings}, on {place}"


def _dye(scheme: Scheme, coat: DyeCoat, part: DyeInMix, mix_needed: Figure) -> DyeFigures:
    """Figures of one dye. 1 g/L over 1 um is 1 mg/m2; 1 mL/L over 1 um is 0.001 mL/m2."""
    needed_mL = Range(mix_needed.low, mix_needed.likely, mix_needed.high)
    kind = scheme.dyes[part.name].kind
    strength_basis = "stated" if part.strength.unit != "drops/L" else f"drops {part.drops_basis}"
    film_basis = f"film {coat.film_basis}"
    sold = part.as_sold_per_L.times(needed_mL).scaled(0.001)
    drops = None
    if not part.powder:
        if part.strength.unit == "drops/L":
            # Counted, not measured: how large a drop is does not matter.
            count, drops_basis = needed_mL.scaled(part.strength.amount / 1000.0), "stated"
        else:
            per_mL = part.drops_per_mL
            count = Range(sold.low * per_mL.low, sold.likely * per_mL.likely, sold.high * per_mL.high)
            drops_basis = part.drops_basis
        drops = Figure.of(count, "drops", drops_basis)
    return DyeFigures(
        name=part.name,
        kind=kind,
        strength=part.strength.written or f"{part.strength.amount:g} {part.strength.unit}",
        pure_g_per_L=Figure.of(part.pure_g_per_L, "g/L", f"{strength_basis}; concentrate {_concentrate(kind)}"),
        load_per_coat_mg_m2=Figure.of(part.pure_g_per_L.times(coat.film_um), "mg/m2", film_basis),
        as_sold_per_coat=Figure.of(
            part.as_sold_per_L.times(coat.film_um).scaled(0.001), "g/m2" if part.powder else "mL/m2", film_basis
        ),
        needed=Figure.of(sold, "g" if part.powder else "mL", mix_needed.basis),
        needed_drops=drops,
    )


def _concentrate(kind: str) -> str:
    return {"generic": "assumed (generic dye)", "fitted": "measured (fitted)", "table": "table"}.get(kind, "stated")
