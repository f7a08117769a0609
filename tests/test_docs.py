"""The pages below docs: exist for a command, option or field that no page tells of, an example that no longer works,
and a page that is not as it would be made."""

from __future__ import annotations

import doctest
import importlib.util
import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import jsonschema
import pytest
import typer
from pydantic import BaseModel, ValidationError

import layerpreview as lp
from layerpreview.cli import app
from layerpreview.cli.groups import ORDER
from layerpreview.scheme import scheme_from_text
from layerpreview.scheme.json_schema import COAT_KINDS, Field, fields_of, scheme_schema
from layerpreview.scheme.report import keys_of

from .pages import ROOT, TEXTS, blocks


@pytest.fixture(scope="module")
def make_pages() -> Iterator[ModuleType]:
    """The script that makes pages."""
    spec = importlib.util.spec_from_file_location("make_pages", ROOT / "docs" / "make_pages.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules[spec.name]


def test_what_is_made_is_as_it_is_made(make_pages: ModuleType) -> None:
    for path, text in make_pages.made().items():
        assert path.read_text(encoding="utf-8") == text, f"{path.name}: run python docs/make_pages.py"
    assert doctest.testmod(make_pages).failed == 0


def test_every_command_and_option_is_told() -> None:
    page = TEXTS["docs/commands.md"]
    group: Any = typer.main.get_command(app)
    sections = dict(re.findall(r"^### (\S+)\n(.*?)(?=^##|\Z)", page, re.MULTILINE | re.DOTALL))
    assert set(sections) == set(ORDER)
    for name in ORDER:
        command = group.get_command(typer.Context(group), name)
        for parameter in command.params:
            for option in (*parameter.opts, *parameter.secondary_opts):
                if parameter.param_type_name == "option":
                    assert re.search(rf"`{re.escape(option)}[ `]", sections[name]), (name, option)
        assert f"layerpreview {name}" in sections[name]


def test_every_field_is_told(make_pages: ModuleType) -> None:
    """Of every table that the format has, by its model; the page's own list of tables is held to the schema's."""
    sections = dict(re.findall(r"^## (.+?)\n(.*?)(?=^## |\Z)", TEXTS["docs/fields.md"], re.MULTILINE | re.DOTALL))
    told: set[str] = set()
    for written in make_pages.SCHEME:
        for model in written.models:
            told.add(model.__name__)
            elsewhere = set(keys_of(written.without)) if written.without else set()
            for key in set(keys_of(model)) - elsewhere - ({"name"} if model.__name__ == "Mix" else set()):
                assert f"| `{key}` |" in sections[written.heading], (written.heading, key)
    in_schema = set(scheme_schema()["$defs"]) - {"Coat", "BaseOfFace"} | {"Top"}
    assert in_schema <= told
    assert {model.__name__ for model in COAT_KINDS.values()} <= told


def _fields(make_pages: ModuleType) -> Iterator[tuple[type[BaseModel], Field]]:
    for written in (*make_pages.SCHEME, make_pages.DYE_FILE):
        for model in written.models:
            yield from ((model, field) for field in fields_of(model))


def _refused(model: type[BaseModel], table: dict[str, Any]) -> set[str | int]:
    """The keys of a table with which something is wrong."""
    try:
        model.model_validate(table)
    except ValidationError as error:
        return {one["loc"][0] for one in error.errors()}
    return set()


def test_every_field_says_what_it_does_and_its_example_works(make_pages: ModuleType) -> None:
    """No problem of the model is at the example's own key; the schema takes the example, too."""
    schema = scheme_schema()
    count = 0
    for model, field in _fields(make_pages):
        count += 1
        assert field.does.endswith("."), (model, field.key)
        assert field.example is not None, (model, field.key)
        assert field.key not in _refused(model, {field.key: field.example}), (model, field.key)
        own = jsonschema.Draft202012Validator({**field.schema, "$defs": schema["$defs"]})
        assert own.is_valid(field.example), (model, field.key)
        assert tomllib.loads(make_pages.example(field))
    assert count > 147


@pytest.mark.parametrize("name", [name for name, text in TEXTS.items() if blocks(text, "toml")])
def test_every_piece_of_a_scheme_is_one(name: str) -> None:
    """A whole scheme is read; of a piece every key is known and every value of its kind."""
    schema = scheme_schema()
    for text in blocks(TEXTS[name], "toml"):
        if "layerpreview = 1" in text:
            assert scheme_from_text(text, "page.toml", shop=False).coats
            continue
        piece = tomllib.loads(text.replace("[[face.zone]]", '[[face]]\nname = "front"\nshape = "panel"\n[[face.zone]]'))
        problems = jsonschema.Draft202012Validator({**schema, "required": []}).iter_errors(piece)
        assert not [problem.message for problem in problems if problem.validator not in ("required", "oneOf")]


@pytest.mark.parametrize("name", [name for name, text in TEXTS.items() if blocks(text, "pycon")])
def test_every_line_of_python_says_what_the_page_says(
    name: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    code = "\n\n".join(blocks(TEXTS[name], "pycon"))
    test = doctest.DocTestParser().get_doctest(code, {}, name, name, 0)
    said: list[str] = []
    assert doctest.DocTestRunner(verbose=False).run(test, out=said.append).failed == 0, "".join(said)


def test_what_is_shown_of_the_notebook_is_there() -> None:
    for text in TEXTS.values():
        for code in blocks(text, "python"):
            compile(code, "page", "exec")
        for name in re.findall(r"\blp\.([a-zA-Z_]+)", text):
            assert hasattr(lp, name), name


@pytest.mark.parametrize("name", TEXTS)
def test_every_block_is_one(name: str) -> None:
    """A fence within a line opens nothing, and what follows would be shown as text."""
    fences = re.findall(r"^.*```.*$", TEXTS[name], re.MULTILINE)
    assert all(re.fullmatch("```[a-z]*", fence) for fence in fences)
    assert all(fence == "```" for fence in fences[1::2])
    assert all(fence != "```" for fence in fences[::2])


def test_pictures_are_small() -> None:
    for text in TEXTS.values():
        for path in re.findall(r"samples/pictures/[\w.]+", text):
            assert (ROOT / path).stat().st_size < 300_000, path
