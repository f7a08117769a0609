"""The README and the pages: exist for a command that was renamed, an option that is gone, a picture that is not there,
and a link that leads nowhere on the index."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path

import pytest
import typer
from hatchling.metadata.core import ProjectMetadata
from hatchling.plugin.manager import PluginManager

from layerpreview.cli import app

from .pages import ROOT, TEXTS, prose

README = TEXTS["README.md"]
COMMANDS = sorted(
    {line for text in TEXTS.values() for line in re.findall(r"^(?:# or: )?layerpreview ([a-z].+)$", text, re.MULTILINE)}
)
USAGE = [line for line in COMMANDS if "[OPTIONS]" in line]


@pytest.mark.slow
@pytest.mark.parametrize("line", [line for line in COMMANDS if line not in USAGE])
def test_every_command_can_be_typed(line: str) -> None:
    """Parsed as the shell would, without being run; tests/workflows/test_make_it_your_own.py runs the longest story."""
    name, *arguments = shlex.split(line, comments=True)
    group = typer.main.get_command(app)
    command = group.get_command(typer.Context(group), name)  # type: ignore[attr-defined]
    assert command is not None, name
    command.make_context(name, arguments)


def test_there_are_commands_to_check() -> None:
    names = {line.split()[0] for line in COMMANDS if line not in USAGE}
    assert names >= {
        "start",
        "check",
        "render",
        "figures",
        "turn",
        "fit",
        "reach",
        "evenness",
        "sheet",
        "board",
        "agree",
    }


def anchors(text: str) -> set[str]:
    """What may stand after # in a link to a page: its headings, in small letters, blanks as hyphens, marks left out."""
    heads = re.findall(r"^#+ (.+)$", re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", head.lower()).strip().replace(" ", "-") for head in heads}


@pytest.mark.parametrize("name", [*TEXTS, "DEVELOPERS.md", "SECURITY.md", "CHANGELOG.md"])
def test_every_link_leads_somewhere(name: str) -> None:
    path = ROOT / name
    text = TEXTS.get(name) or path.read_text(encoding="utf-8")
    wrong = []
    for link in re.findall(r"(?:\]\(|src=\")([^)\"\s]+)", prose(text)):
        if link.startswith("https://"):
            continue
        target, _, anchor = link.partition("#")
        to = (path.parent / target).resolve() if target else path
        if (
            not to.exists()
            or not to.is_relative_to(ROOT)
            or (anchor and anchor not in anchors(to.read_text(encoding="utf-8")))
        ):
            wrong.append(link)
    assert not wrong


def test_nothing_is_left_to_fill_in() -> None:
    for text in TEXTS.values():
        assert "MEASURED" not in text
        assert "TODO" not in text


def test_the_readme_is_short() -> None:
    assert len(README.splitlines()) <= 270


def _readme_of_the_index(folder: Path, pyproject: str) -> str:
    """The README as the build backend puts it into the package's metadata."""
    for name in ("README.md", "docs/index_readme.py", "LICENSE", "layerpreview/__init__.py"):
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text((ROOT / name).read_text("utf-8"), encoding="utf-8")
    (folder / "pyproject.toml").write_text(pyproject, encoding="utf-8")
    return str(ProjectMetadata(str(folder), PluginManager()).core.readme)


def test_links_work_from_an_index(tmp_path: Path) -> None:
    """With the address of the project's pages, which no one but a host can know, no link is relative any more."""
    pyproject = (ROOT / "pyproject.toml").read_text("utf-8")
    (tmp_path / "without").mkdir()
    (tmp_path / "with").mkdir()
    settings = tomllib.loads(pyproject)["tool"]["hatch"]["metadata"]["hooks"]["custom"]
    assert (settings["pages"], settings["pictures"]) == ("", "")
    assert _readme_of_the_index(tmp_path / "without", pyproject) == README
    filled = pyproject.replace('pages = ""', 'pages = "https://example.org/it/blob/main"')
    filled = filled.replace('pictures = ""', 'pictures = "https://example.org/it/raw/main"')
    text = _readme_of_the_index(tmp_path / "with", filled)
    links = re.findall(r"(?:\]\(|src=\")([^)\"\s]+)", prose(text))
    assert links
    assert all(link.startswith("https://") for link in links)
    assert "](https://example.org/it/blob/main/docs/fields.md)" in text
    assert "](https://example.org/it/raw/main/samples/pictures/desk.jpg)" in text
    assert (
        text.replace("https://example.org/it/blob/main/", "").replace("https://example.org/it/raw/main/", "") == README
    )
