"""The mix sheet as one HTML page that stands alone: no scripts, nothing loaded from elsewhere."""

from __future__ import annotations

from importlib import resources

from layerpreview.job.sheet import MixSheet
from layerpreview.output.blocks import BLANK, TICK
from layerpreview.output.sheet_blocks import blocks_of


def sheet_html(sheet: MixSheet) -> str:
    """The page; every text of the user's is escaped, the drawing is our own."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    source = (resources.files("layerpreview") / "data" / "sheet.html.j2").read_text(encoding="utf-8")
    return environment.from_string(source).render(
        name=sheet.name, blocks=blocks_of(sheet), tick=TICK, blank=BLANK, own_svg=Markup
    )
