"""How much dye and paint: strength to grams per litre, load per area, volumes to spray."""

from __future__ import annotations

from layerpreview.units import Range, Strength

DROPS_PER_ML_SOLVENT = Range(44.0, 49.0, 53.0)
"""Lacquer solvents from a tip that makes 20 drops of a mL of water (USP <1101>), by Tate's law from their surface
tensions (toluene 44 ... isopropanol 53)."""


def load_mg_m2(*, dye_g_per_L: float, wet_film_um: float) -> float:
    """Dye per area of one coat [mg/m2] = strength [g/L] * wet film [um]; thinner that leaves does not matter.

    >>> load_mg_m2(dye_g_per_L=0.5, wet_film_um=40.0)
    20.0
    """
    return dye_g_per_L * wet_film_um


def landed_mL(*, area_m2: float, wet_film_um: Range, coats: int) -> Range:
    """What stays on the part of `coats` coats over `area_m2` [m2] at full build, low-likely-high [mL]: 1 m2 um is 1 mL.

    The area of a burst is its area times its mean build.
    """
    return wet_film_um.scaled(area_m2 * coats)


def to_spray_mL(*, landed_mL: Range, past_edges_mL: Range, transfer: Range, residue_mL: float) -> Range:
    """What must be in the cup [mL], low-likely-high: (landed + past the edges) / transfer + what stays in the gun.

    The film's low goes with the best `transfer` [0..1] and its high with the worst, so the range is the widest the
    inputs allow; `residue_mL` is left in cup and lines.
    """
    return Range(
        (landed_mL.low + past_edges_mL.low) / transfer.high + residue_mL,
        (landed_mL.likely + past_edges_mL.likely) / transfer.likely + residue_mL,
        (landed_mL.high + past_edges_mL.high) / transfer.low + residue_mL,
    )


def dry_film_um(*, wet_film_um: float, solids: float, thinner: float = 0.0) -> float:
    """Dry film [um] = wet film * volume solids [0..1] / (1 + thinner), thinner by volume per volume of coating.

    >>> round(dry_film_um(wet_film_um=8.0, solids=0.35, thinner=0.10), 3)
    2.545
    """
    return wet_film_um * solids / (1.0 + thinner)


def pure_dye_g_per_L(
    strength: Strength,
    *,
    concentrate_g_per_L: float | None,
    drops_per_mL: Range | None = None,
    dye_density_g_per_mL: float | None = None,
    mix_density_g_per_mL: float | None = None,
) -> Range:
    """Grams of pure dye in a litre of finished mix, low-likely-high.

    `concentrate_g_per_L` [g/L]: pure dye in a litre of the dye as sold; None for a powder sold pure, whose strength is
    then a weight. The rest is needed only where a strength is counted in drops or weighed. Raises ValueError naming
    what is missing.

    >>> pure_dye_g_per_L(Strength(12.0, "mL/L"), concentrate_g_per_L=40.0).likely
    0.48
    """
    amount = as_sold(
        strength,
        drops_per_mL=drops_per_mL,
        dye_density_g_per_mL=dye_density_g_per_mL,
        mix_density_g_per_mL=mix_density_g_per_mL,
        powder=concentrate_g_per_L is None,
    )
    if concentrate_g_per_L is None:
        return amount
    return amount.scaled(concentrate_g_per_L / 1000.0)


def as_sold(
    strength: Strength,
    *,
    drops_per_mL: Range | None,
    dye_density_g_per_mL: float | None,
    mix_density_g_per_mL: float | None,
    powder: bool,
) -> Range:
    """The dye as sold in a litre of finished mix: millilitres of a liquid [mL/L], or grams of a powder [g/L]."""
    grams_per_L: float | None = None
    if strength.unit == "g/L":
        grams_per_L = strength.amount
    elif strength.unit == "% by weight":
        grams_per_L = strength.amount * 10.0 * _given(mix_density_g_per_mL, "the mix's density")
    if powder:
        if grams_per_L is None:
            raise ValueError("a powder is weighed: give its strength in g/L, or say what its concentrate holds")
        return Range.point(grams_per_L)
    if grams_per_L is not None:
        return Range.point(grams_per_L / _given(dye_density_g_per_mL, "the dye's density"))
    if strength.unit == "drops/L":
        if drops_per_mL is None:
            raise ValueError("drops_per_mL is needed for a strength in drops")
        # More drops per mL means each drop holds less.
        return Range(
            strength.amount / drops_per_mL.high,
            strength.amount / drops_per_mL.likely,
            strength.amount / drops_per_mL.low,
        )
    return Range.point(strength.amount)


def _given(value: float | None, name: str) -> float:
    if value is None:
        raise ValueError(f"{name} is needed for a strength by weight")
    return value
