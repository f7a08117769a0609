"""The pages that a user reads: the README and all below docs."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
TEXTS = {path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8") for path in PAGES}


def blocks(text: str, *kinds: str) -> list[str]:
    """The fenced blocks of these kinds."""
    return re.findall(rf"^```(?:{'|'.join(kinds)})\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


def prose(text: str) -> str:
    """A page without its fenced blocks and inline code."""
    return re.sub(r"`[^`\n]*`", "", re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL))
