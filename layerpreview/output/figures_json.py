"""The figures as JSON, keys in a fixed order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields

from layerpreview.finish.look import Appearance
from layerpreview.job.figures import Figures
from layerpreview.output.plain_json import plain_json


def figures_json(
    figures: Figures, appearances: Sequence[Appearance] = (), out_of_gamut: Mapping[str, float] | None = None
) -> str:
    """The figures, and for a rendering also the wavelengths used under each light and the share outside the gamut."""
    document = {field.name: getattr(figures, field.name) for field in fields(figures)}
    if appearances:
        document["wavelengths"] = [
            {
                "light": look.light,
                "wavelength_nm": [float(nm) for nm in look.wavelength_nm],
                "p99_delta_e_2000": round(look.nodes.p99_delta_e, 4),
                "max_delta_e_2000": round(look.nodes.max_delta_e, 4),
                "within_limits": look.nodes.within_limits,
            }
            for look in (appearance.worst for appearance in appearances)
        ]
    if out_of_gamut is not None:
        document["share_outside_screen_gamut"] = dict(out_of_gamut)
    return plain_json(document)
