"""The shared reader of what is handed over: exists for texts and JSON that a library takes and nobody can use."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from layerpreview.errors import InputError
from layerpreview.held import DEEPEST, MOST_VALUES, bytes_of, check_xml, json_in, shown, text_of, usable_json

# RFC 8259: section 6 (no NaN, no Infinity), 4 (names unique), 8.2 (half a surrogate pair), 9 (limits are the reader's).
UNUSABLE = {
    "not a number": ('{"a": NaN}', "a number that is none"),
    "without end": ("[-Infinity]", "a number that is none"),
    "too large": ("[1e999]", "a number that is none, or too large"),
    "a long whole number": (f"[{10**30}]", "a number that is too large"),
    "thousands of digits": (f"[{'9' * 5000}]", "no JSON text"),
    "said twice": ('{"a": 1, "a": 2}', "a key is there twice"),
    "half a sign": ('["\\ud800"]', "half a sign"),
    "half a sign in a name": ('{"\\udc00": 1}', "half a sign"),
    "deep": ("[" * (DEEPEST + 2) + "]" * (DEEPEST + 2), "nested too deep"),
    "far too deep": ("[" * 100_000 + "]" * 100_000, "nested too deep"),
    "two values": ("{} {}", "no JSON text"),
    "cut": ('{"a": ', "no JSON text"),
    "nothing": ("", "no JSON text"),
    "many values": ("[" + "0," * (MOST_VALUES + 1) + "0]", "far too many values"),
}


@pytest.mark.parametrize("name", UNUSABLE)
def test_what_cannot_be_used_is_told_with_its_line(name: str) -> None:
    text, said = UNUSABLE[name]
    with pytest.raises(InputError) as caught:
        json_in(text.encode(), "job-log.jsonl", remedy="mend it", line=3)
    (problem,) = caught.value.problems
    assert str(problem).startswith("job-log.jsonl:3: ")
    assert said in problem.rule
    assert problem.remedy == "mend it"


def test_what_can_be_used_is_what_json_says() -> None:
    """Python's own reader, over values that differ in kind."""
    value = {"a": [1, -2.5, True, None, "weiß \U0001f3bb"], "b": {"c": {}, "d": []}, "e": 2**53, "": "\n"}
    for text in (json.dumps(value), json.dumps(value, ensure_ascii=False, indent=1)):
        assert usable_json(text) == usable_json(b"\xef\xbb\xbf" + text.encode()) == value
    assert usable_json("[" * DEEPEST + "]" * DEEPEST)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_usual_text_however_it_was_saved(encoding: str) -> None:
    assert text_of("Größe 3 µm\r\n".encode(encoding), "a.txt", remedy="", usual=True) == "Größe 3 µm\r\n"


@pytest.mark.parametrize("data", ["weiß".encode("cp1252"), "weiß".encode("utf-16"), b"a\0b", b"\x89PNG\r\n\0"])
def test_what_is_no_text_saved_as_utf_8(data: bytes) -> None:
    with pytest.raises(InputError, match=r"not a text file|not text saved as UTF-8"):
        text_of(data, "a.toml", remedy="save it as UTF-8")


def test_files_that_are_none_or_too_long(tmp_path: Path) -> None:
    path = tmp_path / "mail.txt"
    path.write_bytes(b"x" * 200)
    assert bytes_of(path, what="a mail", most_bytes=200) == b"x" * 200
    for place, most, said in (
        (path, 199, "longer than"),
        (tmp_path, 9, "a folder"),
        (tmp_path / "none", 9, "no such"),
        (tmp_path / "a\0b", 9, "no such file|cannot be"),
    ):
        with pytest.raises(InputError, match=said):
            bytes_of(place, what="a mail", most_bytes=most)


# XML 1.0 (W3C): 4.2, entity declarations; an odd encoding as any program may name it.
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/hosts">]><a>&x;</a>', "declares an entity"),
        ("<a>", "not a whole one"),
        ('<?xml version="1.0" encoding="nonsense"?><a/>', "no XML file|cannot be read"),
        ('<?xml version="1.0" encoding="shift_jis"?><a/>', "no XML file|cannot be read"),
        ("<a/>" * 400_001, "far too many elements"),
    ],
)
def test_xml_that_is_not_to_be_opened(text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        check_xml(text.encode(), "a.xml", remedy="export it as CSV")
    check_xml(b"<a>b</a>", "a.xml", remedy="")


def test_what_is_shown_steers_no_terminal() -> None:
    assert shown("a\x1b[2J\u202eb\nc") == "a [2J b c"
    assert shown("x" * 200) == "x" * 116 + " ..."
    assert shown(["a"]) == shown(None) == ""
    assert shown("two  blanks") == "two  blanks"
