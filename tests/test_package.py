"""The package as others see it: exists for public names without a word of explanation, lists that drift from what is
there, and a command line that waits for numpy before it can help."""

from __future__ import annotations

import ast
import importlib
import json
import re
import subprocess
import sys
import tomllib
from fnmatch import fnmatch
from importlib import metadata, resources
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

import pytest

import layerpreview
from tests.bench import performance_page

ROOMS = ("colour", "film", "scheme", "spray")
HOME = Path(__file__).parents[1]
DATA = HOME / "layerpreview" / "data"
# What a package is called where it is imported, where that is not its own name.
IMPORTED_AS = {"colour-science": "colour", "pillow": "PIL", "scikit-image": "skimage", "pi-heif": "pi_heif"}


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


def project() -> dict[str, Any]:
    told: dict[str, Any] = tomllib.loads((HOME / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return told


def asked_for(*, tests_too: bool) -> set[str]:
    """The packages of pyproject.toml: of every install, of the extras, and of those who work on it."""
    extras = {
        name: wanted for name, wanted in project()["optional-dependencies"].items() if tests_too or name != "test"
    }
    lines = [*project()["dependencies"], *(line for wanted in extras.values() for line in wanted)]
    names = {re.split(r"[ <>=!~;\[]", line, maxsplit=1)[0].lower() for line in lines}
    return names - {"layerpreview"}


def imported_in(folder: Path) -> set[str]:
    """The first names of all that is imported anywhere below `folder`, in functions, too."""
    found: set[str] = set()
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_bytes())):
            if isinstance(node, ast.Import):
                found |= {each.name.split(".")[0] for each in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module.split(".")[0])
    return found


def test_what_is_imported_is_asked_for() -> None:
    """What another package happens to bring along is gone when that package no longer needs it."""
    known = {IMPORTED_AS.get(name, name.replace("-", "_")) for name in asked_for(tests_too=False)}
    assert imported_in(HOME / "layerpreview") - set(sys.stdlib_module_names) - {"layerpreview"} <= known


def test_every_package_has_its_reason() -> None:
    told = (HOME / "docs" / "dependencies.md").read_text(encoding="utf-8")
    rows = {cell.strip() for line in told.splitlines() if line.startswith("|") for cell in line.split("|")[1:3]}
    assert asked_for(tests_too=True) <= rows
    assert set(project()["optional-dependencies"]) <= {cell.strip("`") for cell in rows} | {"test", "docs"}


def test_every_file_of_data_has_its_source() -> None:
    told = (DATA / "SOURCES.md").read_text(encoding="utf-8")
    firsts = [line.split("|")[1] for line in told.splitlines() if line.startswith("| `")]
    patterns = [pattern for first in firsts for pattern in re.findall(r"`([^`]+)`", first)]
    files = [path.relative_to(DATA).as_posix() for path in DATA.rglob("*") if path.is_file() and path.suffix != ".pyc"]
    assert [name for name in files if not any(fnmatch(name, pattern) for pattern in patterns)] == []
    assert [pattern for pattern in patterns if not any(fnmatch(name, pattern) for name in files)] == []


def test_licences_of_others_come_along() -> None:
    """The letters' licence asks to stand in every copy, the tables' to be passed on with them."""
    letters = (DATA / "licences" / "letters.txt").read_text(encoding="utf-8")
    assert "this permission notice shall\nbe included in all copies" in letters
    tables = (DATA / "licences" / "colour_tables.txt").read_text(encoding="utf-8")
    theirs = next(file for file in metadata.files("colour-science") or () if file.name == "LICENSE")
    assert tables.split() == theirs.read_text(encoding="utf-8").split()
    assert {"LICENSE", "layerpreview/data/licences/*.txt"} == set(project()["license-files"])


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
        "licences/letters.txt",
    ):
        assert (files / "data" / name).is_file()


def test_no_speed_is_typed_by_hand() -> None:
    kept = json.loads(performance_page.KEPT.read_text(encoding="utf-8"))
    assert performance_page.PAGE.read_text(encoding="utf-8") == performance_page.page_of(kept)
