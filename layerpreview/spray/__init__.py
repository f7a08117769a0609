"""Where paint lands and how much of it."""

from layerpreview.spray.burst import FALL_OFFS, HALF_BUILD_AT, FallOff, burst_build, coverage
from layerpreview.spray.loads import (
    DROPS_PER_ML_SOLVENT,
    DROPS_PER_ML_WATER,
    as_sold,
    coverage_m2_per_L,
    dry_film_um,
    landed_mL,
    load_mg_m2,
    pure_dye_g_per_L,
    to_spray_mL,
)

__all__ = [
    "DROPS_PER_ML_SOLVENT",
    "DROPS_PER_ML_WATER",
    "FALL_OFFS",
    "HALF_BUILD_AT",
    "FallOff",
    "as_sold",
    "burst_build",
    "coverage",
    "coverage_m2_per_L",
    "dry_film_um",
    "landed_mL",
    "load_mg_m2",
    "pure_dye_g_per_L",
    "to_spray_mL",
]
