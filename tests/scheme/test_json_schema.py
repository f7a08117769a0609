"""The scheme's JSON Schema against the package jsonschema: exists for an editor that marks what is right, or lets pass
what the reader refuses for its kind."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from random import Random
from typing import Any

import jsonschema
import pytest

from layerpreview.errors import SchemeError
from layerpreview.output.record_scheme import scheme_files
from layerpreview.scheme import load_scheme, scheme_from_text
from layerpreview.workflows import start
from layerpreview.workflows.starter import SCHEMA_NAME

from ..campaign.valid import still_valid
from ..schemes import FULL

SAMPLES = Path(__file__).parents[2] / "samples"
OF_OTHERS = [*SAMPLES.glob("*.toml"), *(Path(__file__).parents[1] / "reference").glob("*.toml")]


@pytest.fixture(scope="module")
def schema() -> Any:
    """The schema as the package has it."""
    return json.loads((resources.files("layerpreview") / "data" / "scheme.schema.json").read_text("utf-8"))


def _wrong(schema: Any, text: str) -> list[str]:
    return [error.message for error in jsonschema.Draft202012Validator(schema).iter_errors(tomllib.loads(text))]


def test_it_is_a_schema_of_the_stated_draft(schema: Any) -> None:
    assert schema["$schema"] == jsonschema.Draft202012Validator.META_SCHEMA["$id"]
    jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("path", OF_OTHERS, ids=lambda path: path.name)
def test_it_takes_every_scheme_there_is(schema: Any, path: Path) -> None:
    load_scheme(path, shop=False)
    assert not _wrong(schema, path.read_text("utf-8"))


@pytest.mark.parametrize("shape", start.SHAPES)
def test_what_start_writes_names_it_and_fits(
    schema: Any, shape: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(start, "first_picture", lambda paths: paths[start.FIRST_NAME].write_bytes(b""))
    started = start.start_job(tmp_path / "job", shape=shape)
    text = started.scheme.read_text("utf-8")
    first = text.splitlines()[0]
    assert first == f"#:schema ./{SCHEMA_NAME}"
    # Found from where the scheme is, wherever that goes.
    moved = (tmp_path / "job").rename(tmp_path / "elsewhere")
    assert json.loads((moved / first.partition(" ")[2]).read_text("utf-8")) == schema
    assert not _wrong(schema, text)


RIGHT: list[Callable[[str], str]] = [
    lambda text: text,
    lambda text: text.replace('kind = "metal"', 'kind = " Metal"'),
    lambda text: text.replace("coats = 3", 'coats = "3"'),
    lambda text: text.replace("flake_spread = 0.3", 'flake_spread = "0,3"'),
    lambda text: text.replace('drops_per_mL = "40 to 60"', "drops_per_mL = 50"),
    lambda text: (
        text.replace("burst = {", "burst = [{")
        .replace("centre = 0.1 }", "centre = 0.1 }]")
        .replace('6 mm", fall_off = "fan" }', '6 mm", fall_off = "fan" }]')
    ),
    lambda text: text.replace('lights = ["D65"]', 'lights = ["daylight", "A"]\nobserver = 10'),
    lambda text: text + '[base_of.front]\nlevelling = "20 %"\n',
    lambda text: text + '[[coat]]\nrings = "honey x3 | #140d0e x2 9 mm fan"\n',
]
WRONG: list[Callable[[str], str]] = [
    lambda text: text.replace("coats = 3", "coats = true"),
    lambda text: text.replace("coats = 3", "coats = 61"),
    lambda text: text.replace('width = "64 mm"', "width = 64"),
    lambda text: text.replace('kind = "metal"', 'kind = "silver"'),
    lambda text: text.replace("flake_spread", "flake_spred"),
    lambda text: text.replace("hiding = 0.9", "hiding = 0"),
    lambda text: text.replace("hiding = 0.9\n", ""),
    lambda text: text.replace('mix = "honey"', 'mix = "honey"\nopaque = "#000000"'),
    lambda text: text.replace('mix = "honey"', 'mix = "honey"\nhiding = 1.0'),
    lambda text: text.replace('mix = "honey"\n', ""),
    lambda text: text.replace('fall_off = "fan"', 'fall_off = "steep"'),
    lambda text: text.replace('centre = ["20 mm", "24 mm"]', 'centre = ["20 mm"]'),
    lambda text: text.replace("[[face]]", "[face]").replace("[[face.opening]]", "[face.opening]"),
    lambda text: text.replace("layerpreview = 1\n", ""),
    lambda text: text.replace('name = "front"\n', ""),
    lambda text: text.replace("[dye.yellow]\n", '[dye.yellow]\nlibrary = "amber"\n'),
    lambda text: text + "[polish]\n",
    lambda text: text[: text.index("[base]")] + text[text.index("[dye.yellow]") :],
]


@pytest.mark.parametrize("change", RIGHT)
def test_it_takes_what_the_reader_takes(schema: Any, change: Callable[[str], str]) -> None:
    text = change(FULL)
    scheme_from_text(text, "job.toml", shop=False)
    assert not _wrong(schema, text)


def test_a_record_names_no_file_that_it_does_not_have(tmp_path: Path) -> None:
    path = tmp_path / "scheme.toml"
    path.write_text(f"#:schema ./{SCHEMA_NAME}\n{FULL}", encoding="utf-8")
    assert b"#:schema" not in scheme_files(load_scheme(path))["scheme.toml"]


def test_it_takes_changed_schemes_that_the_reader_takes(schema: Any) -> None:
    """Other numbers, units, words and orders, drawn at random."""
    mandolin = SAMPLES / "octave_mandolin.toml"
    texts = ((FULL, Path("job.toml")), (mandolin.read_text("utf-8"), mandolin))
    taken = 0
    for seed in range(60):
        text, place = texts[seed % 2]
        text = still_valid(Random(seed), text).decode("utf-8-sig")
        try:
            scheme_from_text(text, place, shop=False)
        except SchemeError:
            continue
        taken += 1
        assert not _wrong(schema, text), seed
    assert taken > 10


@pytest.mark.parametrize("change", WRONG)
def test_it_refuses_what_is_wrong_in_kind(schema: Any, change: Callable[[str], str]) -> None:
    text = change(FULL)
    assert text != FULL
    with pytest.raises(SchemeError):
        scheme_from_text(text, "job.toml", shop=False)
    assert _wrong(schema, text)
