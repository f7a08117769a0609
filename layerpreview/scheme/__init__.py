"""The written scheme: its model, reading it with all problems at once, and telling it in plain words."""

from layerpreview.scheme.describe import describe, warnings_of
from layerpreview.scheme.dyefile import library_names, load_dye, load_library_dye
from layerpreview.scheme.model import (
    Base,
    Burst,
    Clear,
    Dye,
    DyeCoat,
    Face,
    Gun,
    Mix,
    OpaqueCoat,
    Opening,
    PictureOptions,
    ReliefOptions,
    Scheme,
)
from layerpreview.scheme.read import load_scheme

__all__ = [
    "Base",
    "Burst",
    "Clear",
    "Dye",
    "DyeCoat",
    "Face",
    "Gun",
    "Mix",
    "OpaqueCoat",
    "Opening",
    "PictureOptions",
    "ReliefOptions",
    "Scheme",
    "describe",
    "library_names",
    "load_dye",
    "load_library_dye",
    "load_scheme",
    "warnings_of",
]
