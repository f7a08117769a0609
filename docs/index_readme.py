"""The README for a package index, where no file lies beside it: its links become addresses while the package is built.

The addresses stand in pyproject.toml below [tool.hatch.metadata.hooks.custom]; a host of the project fills them in.
Without them the README goes as it is.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from hatchling.metadata.plugin.interface import MetadataHookInterface

PICTURES = (".jpg", ".png", ".svg")


def with_addresses(text: str, *, pages: str, pictures: str) -> str:
    """Return `text` with each link to a file of the project as an address below `pages`, or `pictures`."""

    def address(link: re.Match[str]) -> str:
        base = pictures if link[2].lower().endswith(PICTURES) else pages
        return f"{link[1]}{base.rstrip('/')}/{link[2]}" if base else link[0]

    return re.sub(r"(\]\(|src=\")(?!https?:|#|mailto:)([^)\"\s]+)", address, text)


class IndexReadme(MetadataHookInterface):
    """What the build asks for the project's readme."""

    def update(self, metadata: dict[str, Any]) -> None:
        """Fill in the readme."""
        text = Path(self.root, "README.md").read_text(encoding="utf-8")
        told = with_addresses(text, pages=self.config.get("pages", ""), pictures=self.config.get("pictures", ""))
        metadata["readme"] = {"content-type": "text/markdown", "text": told}
