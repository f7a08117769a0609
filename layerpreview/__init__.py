"""See a transparent dye finish over a metallic, white or wood base before you spray it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from layerpreview.picture.render import Preview, render
    from layerpreview.scheme import Scheme, load_scheme

__all__ = ["Preview", "Scheme", "__version__", "load_scheme", "render"]
__version__ = "0.1.0"

_HOMES = {
    "Preview": "layerpreview.picture.render",
    "Scheme": "layerpreview.scheme",
    "load_scheme": "layerpreview.scheme",
    "render": "layerpreview.picture.render",
}


def __getattr__(name: str) -> Any:
    # Loaded on first use: the command line's help must not wait for numpy.
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return __all__
