"""What the packages that this one asks for take on the disk, for docs/dependencies.md: prints a table, judges nothing.

    python tests/bench/bench_sizes.py

`own` is the package itself without bytecode, `with` what it brings along that no package before it in the table did.
"""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from pathlib import Path

PYPROJECT = Path(__file__).parents[2] / "pyproject.toml"


def plain(requirement: str) -> str:
    """The name in a requirement, in the one way of writing it."""
    return re.sub(r"[-_.]+", "-", re.split(r"[ <>=!~;\[(]", requirement, maxsplit=1)[0]).lower()


def size_mb(name: str) -> float:
    """Megabytes of an installed package's files."""
    paths = [Path(str(path.locate())) for path in metadata.files(name) or () if path.suffix != ".pyc"]
    return sum(path.stat().st_size for path in paths if path.exists()) / 1e6


def brought(name: str) -> set[str]:
    """An installed package and all that it cannot do without."""
    found: set[str] = set()
    left = [name]
    while left:
        each = left.pop()
        if each in found:
            continue
        try:
            wanted = metadata.requires(each) or []
        except metadata.PackageNotFoundError:  # of another system or an older Python
            continue
        found.add(each)
        left += [plain(one) for one in wanted if "extra ==" not in one]
    return found


def main() -> None:
    project = tomllib.loads(PYPROJECT.read_text(encoding="utf-8"))["project"]
    groups = {"every install": project["dependencies"], **project["optional-dependencies"]}
    seen: set[str] = set()
    for group, wanted in groups.items():
        names = [name for name in map(plain, wanted) if name != "layerpreview"]
        new = set().union(*map(brought, names)) - seen
        print(f"\n{group}: {sum(map(size_mb, new)):.0f} MB")
        for name in names:
            along = brought(name) - seen - set(names)
            own = size_mb(name) if name in new else 0.0
            print(f"  {name:18}{own:7.1f} own{sum(map(size_mb, along)):7.1f} with  {', '.join(sorted(along))}")
            seen |= along
        seen |= set(names)


if __name__ == "__main__":
    main()
