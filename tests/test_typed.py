"""What is typed: exists for numbers that are none, words of a library in an error line, and next steps that are not
there."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import get_args

import pytest
import typer
from hypothesis import given
from hypothesis import strategies as st
from pydantic_core import core_schema

import layerpreview
from layerpreview import cli
from layerpreview.colour import LIGHT_NAMES, light_called, srgb_code
from layerpreview.errors import InputError, SchemeError
from layerpreview.finish.view import MOST_LAMP_DEG
from layerpreview.output.held_words import wanted
from layerpreview.scheme import scheme_from_text
from layerpreview.scheme.source import toml_in
from layerpreview.units import UnitError, parse_number, parse_numbers

from .pages import TEXTS
from .schemes import FULL

Run = Callable[..., tuple[int, str, str]]
Save = Callable[..., Path]
ROOT = Path(layerpreview.__file__).parents[1]
COMMANDS = typer.main.get_command(cli.app).commands  # type: ignore[attr-defined]
PYTHON = re.compile(
    r"Input should|could not convert|out of range|invalid literal|Traceback|Errno|NoneType|codec|not foreseen"
)
HOSTILE = ["", "  ", "nan", "inf", "1e308", "1e-320", "\u00b2", "1_000", "0x10", "1,,2", ",", "1,234", "9" * 5000]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("4,5", 4.5),
        ("\u221230", -30.0),  # the minus sign
        ("-0", 0.0),
        ("\uff14\uff15", 45.0),  # full-width digits
        ("½", 0.5),
        ("1 9/16", 1.5625),
        ("1-9/16", 1.5625),
        ("1e2", 100.0),
    ],
)
def test_a_number_is_read_as_people_write_it(text: str, value: float) -> None:
    assert parse_number(text) == value


@pytest.mark.parametrize("text", HOSTILE)
def test_what_is_no_number_is_told_in_one_line(text: str) -> None:
    for parse in (parse_number, lambda text: parse_numbers(text.replace("1,234", "x"), most=3)):
        with pytest.raises(UnitError) as caught:
            parse(text)
        assert caught.value.remedy
        assert not PYTHON.search(str(caught.value))


@given(st.text(max_size=40))
def test_any_text_is_a_finite_number_or_one_line(text: str) -> None:
    said = ""
    try:
        assert abs(parse_number(text)) < 1e200
    except UnitError as error:
        said = str(error)
    assert len(said.splitlines()) <= 1


@pytest.mark.parametrize("text", ["nan", " ", "9" * 5000 + "\x1b[31m"])
@pytest.mark.parametrize(
    "command",
    [
        "render job.toml --view",
        "render job.toml --lamp",
        "render job.toml --width",
        "ladder job.toml --strengths",
        "ladder job.toml --agreed",
        "reach job.toml red --films",
        "reach job.toml red --within",
        "tolerance job.toml --seed",
        "fade job.toml --step",
        "fade job.toml --exposure",
        "progress job.toml --coats-done 1 --lab",
        "progress job.toml --coats-done 1 --photo x.jpg --white 1,1,9,9 --patch",
        "fit card.csv --corners",
        "atlas job.toml --strengths",
        "atlas job.toml --films",
        "render-all . --on",
        "start new --lamp-heights",
    ],
)
def test_hostile_values_are_refused_in_our_words(
    run: Run, save_scheme: Save, tmp_path: Path, command: str, text: str
) -> None:
    save_scheme(FULL)
    code, out, err = run(*command.split(), text)
    assert (code, out) == (2, ""), err
    assert not PYTHON.search(err), err
    assert "; " in err
    assert max(len(line) for line in err.splitlines()) <= 400
    assert "\x1b" not in err
    assert [path.name for path in tmp_path.iterdir()] == ["job.toml"]


@pytest.mark.parametrize("name", ["a" * 300, "a\nb", "x\x1b[2J", "\u202etxt.lmot", "\udcff"])
@pytest.mark.parametrize("command", ["check", "render job.toml -o", "log"])
def test_names_that_no_file_should_have(run: Run, save_scheme: Save, tmp_path: Path, command: str, name: str) -> None:
    save_scheme(FULL)
    code, _, err = run(*command.split(), name)
    assert code == 2
    assert not PYTHON.search(err)
    assert len(err.splitlines()) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["job.toml"]


def test_the_lamp_of_an_option_is_the_lamp_of_the_picture() -> None:
    lamp = next(option for option in COMMANDS["render"].params if "--lamp" in option.opts)
    parser = lamp.type_descriptor.parameter_info.parser if hasattr(lamp, "type_descriptor") else lamp.type.func
    assert parser(f"{MOST_LAMP_DEG:g}") == MOST_LAMP_DEG
    with pytest.raises(typer.BadParameter):
        parser(f"{MOST_LAMP_DEG + 1:g}")


def test_two_views_that_are_shown_alike_are_one(run: Run, save_scheme: Save) -> None:
    from layerpreview.workflows.choices import views_from

    assert [view.view_deg for view in views_from("45, 45.0000001, \u221230", None)] == [45.0, -30.0]


def test_lights_in_the_words_of_a_shop(run: Run, save_scheme: Save) -> None:
    """CIE 15:2018: A is tungsten, D65 average daylight, FL2 a cool white tube, LED-B3 a white LED of 4103 K."""
    words = {"daylight": "D65", "Warm  Lamp": "A", "office tube": "FL2", "shop LED": "LED-B3", "d50": "D50"}
    assert {word: light_called(word) for word in words} == words
    assert all(light_called(name.lower()) == name for name in LIGHT_NAMES)
    scheme = scheme_from_text(FULL.replace('["D65"]', '["daylight", "warm lamp"]'), "job.toml")
    assert scheme.lights == ("D65", "A")
    save_scheme(FULL)
    _, _, err = run("fade", "job.toml", "--light", "warm lamp", "--step", "none=4", "--exposure", "1")
    assert err.splitlines()[0] == "light: warm lamp is taken as lamp light (A)"
    with pytest.raises(InputError, match="daylight, warm lamp, office tube, shop LED"):
        light_called("moon")


def test_colours_by_name() -> None:
    """CSS Color Module Level 4, section 6.1 (from memory): 148 names, grey in both spellings."""
    codes = {"black": "#000000", "Silver": "#c0c0c0", "rebeccapurple": "#663399", "darkslategrey": "#2f4f4f"}
    assert {name: srgb_code(name) for name in codes} == codes
    assert srgb_code("darkslategray") == srgb_code("darkslategrey")
    text = FULL.replace('opaque = "#221814"', 'opaque = "black"')
    assert scheme_from_text(text, "job.toml").coats[-1].colour == "#000000"  # type: ignore[union-attr]


def test_a_number_in_quotes_is_the_number() -> None:
    quoted = FULL.replace("coats = 3", 'coats = "3"').replace("flake_spread = 0.3", 'flake_spread = "0,3"')
    one, other = (scheme_from_text(text, "job.toml") for text in (FULL, quoted))
    assert one.coats == other.coats
    assert one.base == other.base
    with pytest.raises(SchemeError, match="a whole number from 1 to"):
        scheme_from_text(FULL.replace("coats = 3", 'coats = "2,5"'), "job.toml")


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("flake_spread = 0,3", "write flake_spread = 0.3"),
        ("flake_spread = 0,3 # mine", "write flake_spread = 0.3"),
        ("[dye.deep red]", 'write [dye."deep red"]'),
        ("[dye.grün]", 'write [dye."grün"]'),
        ('dyes = { amber = "1", deep red = "1 mL/L" }', 'write "deep red" ='),
        ('grün = "1 mL/L"', 'write "grün" ='),
        ("width = 1 9/16 in", 'write "1 9/16 in"'),
        ("x = @", "this line is not TOML"),
    ],
)
def test_slips_of_writing_get_the_line_to_write(line: str, told: str) -> None:
    with pytest.raises(SchemeError) as caught:
        toml_in(line, "job.toml")
    assert told in str(caught.value)


def test_no_word_of_the_library_in_what_is_wrong_with_a_file() -> None:
    """Every kind of error that pydantic knows, as its own core lists them."""
    numbers = dict.fromkeys(("gt", "ge", "lt", "le", "min_length", "max_length"), 1)
    context = {**numbers, "expected": "a or b", "error": ValueError("told")}
    for kind in get_args(core_schema.ErrorType):
        told = wanted({"type": kind, "msg": "Input should be a valid number", "ctx": context})
        assert told
        assert not PYTHON.search(told)


def _texts() -> list[tuple[str, str]]:
    """All that may be shown: the texts in the code and the pages, where an option or a command stands in them."""
    found = [(path.name, path.read_text("utf-8")) for path in (ROOT / "layerpreview").rglob("*.py")]
    return [*found, *TEXTS.items()]


OTHERS = {  # options of tools that the pages tell how to run, of git, of pip, and of CSS
    *("--dist", "--upgrade", "--headless", "--version", "--debug", "--help", "--quiet"),
}


def test_every_option_that_a_text_names_is_there() -> None:
    known = {name for command in COMMANDS.values() for option in command.params for name in option.opts}
    known |= {name for command in COMMANDS.values() for option in command.params for name in option.secondary_opts}
    wrong = []
    for name, text in _texts():
        for option in re.findall(r"(?<![\w-])--[a-z][a-z-]*[a-z](?![\w-])", text):
            if option not in known | OTHERS:
                wrong.append(f"{name}: {option}")
    assert not wrong


def test_every_command_that_a_text_names_has_the_options_named_with_it() -> None:
    wrong = []
    for name, text in _texts():
        for command, rest in re.findall(r"layerpreview ([a-z]+(?:-[a-z]+)?)((?: [^\n\"'`;]*)?)", text):
            if command not in COMMANDS:
                continue
            options = {one for option in COMMANDS[command].params for one in (*option.opts, *option.secondary_opts)}
            for option in re.findall(r"(?<![\w-])--[a-z-]*[a-z]", rest.split("layerpreview")[0]):
                if option not in options | OTHERS:
                    wrong.append(f"{name}: {command} {option}")
    assert not wrong


def test_a_missing_extra_is_told_one_way() -> None:
    """The exact line to type, the name in quotes, since brackets mean something to some shells."""
    extras = re.findall(r"pip install ([^\n]*?)[,\"' ]*(?:or|$)", "\n".join(text for _, text in _texts()), re.MULTILINE)
    assert extras
    for name, text in _texts():
        for line in re.findall(r"pip install [^\n]*layerpreview\[[^\n]*", text):
            assert re.search(r'pip install "layerpreview\[[a-z,]+\]"', line), (name, line)


def test_what_is_printed_as_json_holds_no_word_for_no_number(run: Run, save_scheme: Save) -> None:
    save_scheme(FULL)
    code, out, _ = run("figures", "job.toml", "--json")
    assert code == 0
    json.loads(out, parse_constant=lambda word: pytest.fail(word))
