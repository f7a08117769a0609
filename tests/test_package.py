"""The package as others see it: exists for public names without a word of explanation, lists that drift from what is
there, and a command line that waits for numpy before it can help."""

from __future__ import annotations

import importlib
import subprocess
import sys
from importlib import metadata, resources
from types import FunctionType, ModuleType

import pytest

import layerpreview

ROOMS = ("colour", "film", "scheme", "spray")


@pytest.fixture(params=["layerpreview", *(f"layerpreview.{room}" for room in ROOMS)])
def module(request: pytest.FixtureRequest) -> ModuleType:
    """Every module with a list of public names."""
    return importlib.import_module(request.param)


def test_public_names_are_there_and_sorted(module: ModuleType) -> None:
    """Capitals first, then classes, then functions, as ruff sorts them."""
    kinds = [(0 if n.isupper() else 1 if n[0].isupper() else 2, n) for n in module.__all__ if not n.startswith("__")]
    assert kinds == sorted(kinds)
    assert len(set(module.__all__)) == len(module.__all__)
    for name in module.__all__:
        assert getattr(module, name) is not None


def test_public_things_are_explained(module: ModuleType) -> None:
    assert (module.__doc__ or "").strip()
    for name in module.__all__:
        thing = getattr(module, name)
        if isinstance(thing, type | FunctionType):
            doc = (getattr(thing, "__doc__", None) or "").strip()
            assert doc, name
            # A dataclass without a docstring gets its signature as one.
            assert not doc.startswith(f"{name}("), name


def test_unknown_name() -> None:
    with pytest.raises(AttributeError, match="no attribute 'paint'"):
        layerpreview.paint  # noqa: B018
    assert set(layerpreview.__all__) == set(dir(layerpreview))


def test_version_is_the_distribution_s() -> None:
    assert layerpreview.__version__ == metadata.version("layerpreview")


@pytest.mark.parametrize("module", ["layerpreview", "layerpreview.cli"])
def test_light_to_import(module: str) -> None:
    code = f"import sys, {module}; print(*sorted({{m.split('.')[0] for m in sys.modules}}))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    heavy = {"numpy", "scipy", "PIL", "skimage", "colour", "shapely", "pydantic", "tomlkit"}
    assert heavy.isdisjoint(loaded)


@pytest.mark.slow
def test_rendering_needs_no_scipy() -> None:
    """Its import alone would cost a third of a second."""
    code = "import sys, layerpreview.picture.render, layerpreview.workflows.render; print('scipy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_typed_and_with_its_data() -> None:
    files = resources.files("layerpreview")
    assert (files / "py.typed").is_file()
    for name in (
        "lights.csv",
        "observers.csv",
        "rgb_basis.csv",
        "srgb.icc",
        "starter.toml",
        "scheme.schema.json",
        "SOURCES.md",
    ):
        assert (files / "data" / name).is_file()
