"""A traced outline as a drawing in true millimetres, to be mended in any vector program and read again."""

from __future__ import annotations

from pathlib import Path

from layerpreview.output.files import write_text
from layerpreview.surface.outline import Outline, Points

OUTLINE_ID = "outline"
_LINE_MM = 0.5


def write_outline_svg(outline: Outline, path: Path) -> None:
    """Write the outer edge (id "outline") and each opening (its name as id, blanks as -) as closed lines, SVG 1.1."""
    lines = {OUTLINE_ID: outline.outer, **{drawn_id(name): ring for name, ring in outline.openings.items()}}
    width, height = f"{outline.width_mm:.3f}", f"{outline.height_mm:.3f}"
    paths = "".join(f'  <path id="{name}" d="{_path(ring)}"/>\n' for name, ring in lines.items())
    write_text(
        path,
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}" fill="none" stroke="black" stroke-width="{_LINE_MM}">\n{paths}</svg>\n',
    )


def drawn_id(name: str) -> str:
    """The id that the opening of this name has in the drawing, which is its name when that is read."""
    return name.replace(" ", "-")


def _path(ring: Points) -> str:
    return "M" + " L".join(f"{x:.3f},{y:.3f}" for x, y in ring) + " Z"
