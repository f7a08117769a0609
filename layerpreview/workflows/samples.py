"""The samples that come with this tool: read from wherever they lie, and known again."""

from __future__ import annotations

import os
from importlib import resources
from pathlib import Path

from layerpreview.scheme.source import plain_line_ends

SAMPLES = ("octave_mandolin.toml", "drum_shell.toml")
_PACKAGE = Path(__file__).parents[1]
_PLACES = (_PACKAGE / "samples", _PACKAGE.parent / "samples", _PACKAGE / "data" / "gallery")
"""Where they are packed, where they lie in a checkout, and where the finishes of the gallery lie."""


def sample_text(name: str) -> str:
    """A sample scheme by file name: from the installed package, or from the checkout it runs in."""
    packed = resources.files("layerpreview") / "samples" / name
    if packed.is_file():
        return packed.read_text(encoding="utf-8")
    return (_PLACES[1] / name).read_text(encoding="utf-8")


def is_sample(scheme: Path) -> bool:
    """Whether a scheme lies among the samples, or is one of them as it came, copied under its own name."""
    if os.path.realpath(scheme.parent) in map(os.path.realpath, _PLACES):
        return True
    if scheme.name not in SAMPLES:
        return False
    try:
        return plain_line_ends(scheme.read_bytes().decode("utf-8")) == sample_text(scheme.name)
    except (OSError, ValueError):  # that it cannot be read is told by what reads it next
        return False
