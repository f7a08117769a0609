"""What a folder holds once something was written into it, for tests that count files."""

from __future__ import annotations

from pathlib import Path

from layerpreview.output.written import WRITTEN_NAME
from layerpreview.workflows.starter import SCHEMA_NAME


def names_in(folder: Path) -> list[str]:
    """The names in `folder`, sorted, but for what is hidden: the list of what was written, what editors check by."""
    return sorted(path.name for path in folder.iterdir() if path.name not in (WRITTEN_NAME, SCHEMA_NAME))
