"""How the pages become a site: `sphinx-build -W docs out/site`. It needs no network, and neither does the site."""

from __future__ import annotations

import re
from typing import Any

import latex2mathml.converter
from docutils import nodes

project = html_title = "layerpreview"
extensions = ["myst_parser"]
myst_enable_extensions = ["dollarmath"]
myst_heading_anchors = 3
html_theme = "furo"
html_copy_source = False
html_show_copyright = False
html_math_renderer = "mathml"
exclude_patterns = ["*.py"]


def as_mathml(translator: Any, node: nodes.Node) -> None:
    """Write a formula as MathML, which browsers draw without a script."""
    display = "block" if isinstance(node, nodes.math_block) else "inline"
    translator.body.append(latex2mathml.converter.convert(node.astext(), display=display))
    raise nodes.SkipNode


def for_site(_: Any, name: str, source: list[str]) -> None:
    """Give the first page a list of all pages in its own order, and keep what lies outside of the pages beside them."""
    source[0] = re.sub(r"\]\((\.\./[A-Z]+\.md)\)", r"](path:\1)", source[0])
    if name == "index":
        pages = dict.fromkeys(re.findall(r"\]\(([\w/-]+)\.md\)", source[0]))
        source[0] += "\n```{toctree}\n:hidden:\n\n" + "\n".join(pages) + "\n```\n"


def setup(app: Any) -> None:
    """Take these in."""
    app.add_html_math_renderer("mathml", inline_renderers=(as_mathml, None), block_renderers=(as_mathml, None))
    app.connect("source-read", for_site)
