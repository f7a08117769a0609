"""What is said of a photographed part: how sure its outline is, how large it is, what its base is made of."""

from __future__ import annotations

import math
from collections.abc import Mapping

from layerpreview.surface.verdict import Sureness
from layerpreview.units import shop_length
from layerpreview.workflows.photographed import OwnBase, Photographed

HOW_TO_HELP = (
    'where the edge is wrong, name a point of the part, --at "50%,50%", or of its ground, --background "5%,5%"; or '
    "draw round it in bright green on a copy, --drawn COPY; or lay it on a plain sheet of another tone"
)
LIMITS = (
    "a photo of silver holds the lamps of that day: tilting the part only moves the dye over it. For a base that turns "
    "and glints, take three photos with the lamp at three sides: --photo three times and --lamp-sides left,top,right"
)
_GLARE_TOLD = 0.002
_BURNT = 0.25  # of the part


def seen_said(seen: Mapping[str, Photographed]) -> tuple[str, ...]:
    """How sure each outline is, its size and its scale."""
    lines: list[str] = []
    for name, one in seen.items():
        lines += [sure_line(name, one.sureness), size_line(name, one), one.scale]
    return tuple(lines)


def sure_line(name: str, sureness: Sureness) -> str:
    """How sure an outline is, in one line."""
    holes = f"{sureness.openings} opening{'' if sureness.openings == 1 else 's'}"
    if sureness.closed:
        holes += f", {sureness.closed} place{'' if sureness.closed == 1 else 's'} like the ground closed"
    figures = (
        f"the edge is clear along {100 * sureness.edge_clear:.0f} % (light changes "
        f"{math.exp(sureness.contrast / math.sqrt(3)):.1f} times), ragged by {sureness.raggedness_mm:.2f} mm; "
        f"{100 * sureness.border_clear:.0f} % of the picture's border is plain ground; {holes}"
    )
    against = "".join(f"\n    - {reason}" for reason in sureness.against)
    return f"outline of the {name}: {sureness.verdict}{against}\n    {figures}"


def size_line(name: str, one: Photographed) -> str:
    """How large the part is: what a rule on the bench can check."""
    outline = one.part.outline
    sizes = [_size(outline.width_mm, outline.height_mm)]
    for ring in outline.openings.values():
        across, down = ring.max(axis=0) - ring.min(axis=0)
        sizes.append(f"an opening of {_size(float(across), float(down))}")
    return f"the {name} is {', '.join(sizes)}; {1e4 * outline.area_m2:.0f} cm2: check it with a rule"


def _size(width_mm: float, height_mm: float) -> str:
    inches = " x ".join(shop_length(mm, us=True).removesuffix(" in") for mm in (width_mm, height_mm))
    return f"{width_mm:.0f} x {height_mm:.0f} mm ({inches} in)"


def burnt_out(base: OwnBase) -> bool:
    """Whether so much of the part is white that its texture and colour are lost."""
    return base.burnt > _BURNT


def base_said(name: str, base: OwnBase) -> str:
    """What was done to the photo that is the base."""
    if burnt_out(base):
        return (
            f"base of the {name}: look at it: {100 * base.burnt:.0f} % of the part is burnt out, its texture and "
            "colour are lost there: take the photo darker"
        )
    glare = float(base.whole.glare.mean())
    filled = f", glare on {100 * glare:.1g} % filled from the texture round it" if glare > _GLARE_TOLD else ""
    return (
        f"base of the {name}: its photo, uneven light ({base.whole.light_range:.1f} times) taken out and the texture "
        f"kept{filled}"
    )
