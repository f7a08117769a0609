"""See a transparent dye finish over a metallic, white or wood base before you spray it.

From a notebook: every function takes a `Scheme`, as `load` reads it or as it is built in code (`book` takes a folder of
jobs), and gives a `Result`, which shows itself and can be saved, told as JSON and taken as a table.

>>> import layerpreview as lp
>>> panel = lp.Face(name="front", shape="panel", width="64 mm", height="48 mm")
>>> scheme = lp.Scheme(name="Test panel", faces=(panel,), base=lp.Base(kind="solid", colour="#f2f0ec"))
>>> lp.render(scheme, width_px=64)
<Preview Test panel, D65, seen straight on, 64 x 48 px>
"""

from __future__ import annotations

TYPE_CHECKING = False  # as type checkers know it; `typing` takes ten milliseconds, in which no stop is heard yet
if TYPE_CHECKING:
    from typing import Any

    from layerpreview.answers.gun import GunOptions
    from layerpreview.answers.reach import Limits
    from layerpreview.errors import LayerPreviewError
    from layerpreview.finish.view import View
    from layerpreview.output.result import Result
    from layerpreview.picture.render import Preview
    from layerpreview.scheme import (
        Base,
        Burst,
        Clear,
        Dye,
        DyeCoat,
        Face,
        Mix,
        OpaqueCoat,
        Opening,
        Scheme,
        Zone,
        load_dye,
        load_library_dye,
        load_scheme,
    )
    from layerpreview.scheme import load_scheme as load
    from layerpreview.workflows.board import board
    from layerpreview.workflows.book import book
    from layerpreview.workflows.check import figures
    from layerpreview.workflows.diary import diary
    from layerpreview.workflows.evenness import evenness
    from layerpreview.workflows.fade import fade
    from layerpreview.workflows.fit_several import fit
    from layerpreview.workflows.ladder import ladder
    from layerpreview.workflows.progress import Reading, progress
    from layerpreview.workflows.reach import reach
    from layerpreview.workflows.render import render
    from layerpreview.workflows.sheet import sheet
    from layerpreview.workflows.tolerance import tolerance
    from layerpreview.workflows.touch_up import touch_up

__all__ = [
    "Base",
    "Burst",
    "Clear",
    "Dye",
    "DyeCoat",
    "Face",
    "GunOptions",
    "LayerPreviewError",
    "Limits",
    "Mix",
    "OpaqueCoat",
    "Opening",
    "Preview",
    "Reading",
    "Result",
    "Scheme",
    "View",
    "Zone",
    "__version__",
    "board",
    "book",
    "diary",
    "evenness",
    "fade",
    "figures",
    "fit",
    "ladder",
    "load",
    "load_dye",
    "load_library_dye",
    "load_scheme",
    "progress",
    "reach",
    "render",
    "sheet",
    "tolerance",
    "touch_up",
]
__version__ = "1.0.0"

_OF_SCHEME = ("Base", "Burst", "Clear", "Dye", "DyeCoat", "Face", "Mix", "OpaqueCoat", "Opening", "Scheme", "Zone")
_HOMES = {
    **dict.fromkeys((*_OF_SCHEME, "load_dye", "load_library_dye", "load_scheme"), "scheme"),
    "GunOptions": "answers.gun",
    "LayerPreviewError": "errors",
    "Limits": "answers.reach",
    "Preview": "picture.render",
    "Reading": "workflows.progress",
    "Result": "output.result",
    "View": "finish.view",
    "figures": "workflows.check",
    "fit": "workflows.fit_several",
    **{
        name: f"workflows.{name}"
        for name in (
            "board",
            "book",
            "diary",
            "evenness",
            "fade",
            "ladder",
            "progress",
            "reach",
            "render",
            "sheet",
            "tolerance",
            "touch_up",
        )
    },
}


def __getattr__(name: str) -> Any:
    # Loaded on first use: the command line's help must not wait for numpy.
    from importlib import import_module

    if name == "load":
        return import_module("layerpreview.scheme").load_scheme
    if name in _HOMES:
        return getattr(import_module(f"layerpreview.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return __all__
