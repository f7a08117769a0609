"""Where paint lands and how much of it."""

from layerpreview.spray.burst import FALL_OFFS, HALF_BUILD_AT, FallOff, burst_build
from layerpreview.spray.loads import (
    DROPS_PER_ML_SOLVENT,
    as_sold,
    dry_film_um,
    landed_mL,
    load_mg_m2,
    pure_dye_g_per_L,
    to_spray_mL,
)

__all__ = [
    "DROPS_PER_ML_SOLVENT",
    "FALL_OFFS",
    "HALF_BUILD_AT",
    "FallOff",
    "as_sold",
    "burst_build",
    "dry_film_um",
    "landed_mL",
    "load_mg_m2",
    "pure_dye_g_per_L",
    "to_spray_mL",
]
