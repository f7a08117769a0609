"""Every field of each kind of line in a job's log, and of a record's text, spoilt one at a time: what stands there is
told as a problem with its place or does no harm, and a job is left as it was."""

from __future__ import annotations

import copy
import hashlib
import json
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import pytest

from layerpreview.errors import InputError, Problem
from layerpreview.output.agreement import how_agreed_beside
from layerpreview.output.board_code import Choice
from layerpreview.output.joblog import LOG_NAME
from layerpreview.output.plain_json import plain_json
from layerpreview.output.record_model import RECORD_JSON, read_record
from layerpreview.output.record_zip import Packed
from layerpreview.workflows.agree import agree
from layerpreview.workflows.book_find import jobs_below, logged_of
from layerpreview.workflows.log import job_log, log_text
from tests.schemes import FULL
from tests.workflows.kept_job import make_job

RECORD = Path(__file__).parents[1] / "reference" / "record_v1.record.zip"
CODE = Choice("K7QD2", "A", (4, 2, 2), (110, 100)).code
OFFER = {
    "option": "A",
    "name": "Test part",
    "scheme": "/was/scheme.toml",
    "scheme_from_log": "scheme.toml",
    "sha256": hashlib.sha256(FULL.encode()).hexdigest(),
    "text": FULL,
    "coats": [
        {"what": "honey", "entry": 0, "from": 0, "to": 5, "proposed": 3},
        {"what": "sea", "entry": 1, "from": 0, "to": 4, "proposed": 2},
        {"what": "rim", "entry": 2, "from": 2, "to": 2, "proposed": 2},
    ],
    "mixes": [{"mix": "honey", "from": 70, "to": 130}, {"mix": "sea", "from": 70, "to": 130}],
}
BOARD = {"what": "board", "time": "2026-02-27T08:00:00+00:00", "board": "K7QD2", "options": [OFFER]}
AGREED = {
    "what": "agreed",
    "time": "2026-02-28T08:00:00+00:00",
    "board": "K7QD2",
    "option": "A",
    "name": "Test part",
    "code": CODE,
    "changes": ["honey: 3 -> 4 coats"],
    "note": "as deep as it goes",
    "scheme_sha256": "0" * 64,
    "scheme": "/was/scheme.agreed.toml",
    "scheme_from_log": "scheme.agreed.toml",
}
READING = {
    "what": "progress",
    "time": "2026-03-01T08:00:00+00:00",
    "scheme": "/was/scheme.toml",
    "mix": "honey",
    "coats_done": 2,
    "lab": [71.0, -13.0, 34.5],
    "light": "D65",
    "to_agreed": 4.5,
    "rung_to_agreed": 2.5,
    "off_ladder": 1.0,
    "coats_left": [0.5, 1.0, 1.5],
}
# JSON (RFC 8259) that no model of ours takes; the last three are no values of Python's json module, but texts.
SPOILT: tuple[Any, ...] = (None, True, -1, 1e308, "", "\x1b[2J", "../../x", "²", [], {"a": [1]})
RAW = {"@nan": "NaN", "@long": "9" * 5000, "@half": '"\\ud800"'}


def places(value: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        yield (*at, key)
        yield from places(item, (*at, key))


def spoilt(value: dict[str, Any]) -> Iterator[tuple[tuple[Any, ...], str]]:
    """A place, and the text of the value with something else or nothing there."""
    for at in places(value):
        for instead in (*SPOILT, *RAW, "@gone"):
            changed = copy.deepcopy(value)
            owner = changed
            for step in at[:-1]:
                owner = owner[step]
            if instead == "@gone":
                del owner[at[-1]]
            else:
                owner[at[-1]] = instead
            text = json.dumps(changed)
            for name, raw in RAW.items():
                text = text.replace(f'"{name}"', raw)
            yield at, text


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with a line of every kind in its log."""
    folder = make_job(tmp_path_factory.mktemp("jobs") / "one")
    (folder / "scheme.toml").write_text(FULL, encoding="utf-8")
    diary = (folder / LOG_NAME).read_text(encoding="utf-8")
    more = [BOARD, AGREED, READING, {"what": "day-begun", "scheme": "scheme.toml", "units": "US"}]
    last = {"what": "withdrawn", "time": "2026-03-02T08:00:00+00:00", "line": 4}
    text = "".join(f"{json.dumps(entry)}\n" for entry in more) + diary + f"{json.dumps(last)}\n"
    (folder / LOG_NAME).write_text(text, encoding="utf-8")
    return folder


def uses(folder: Path) -> Iterator[str]:
    """What a person is told of the log by whoever reads it."""
    told = job_log(folder)
    plain_json(told)
    yield log_text(told)
    yield how_agreed_beside(folder / "scheme.toml", text=FULL).words
    found, faulty, notes = jobs_below(folder.parent)
    yield "\n".join([*notes, *map(repr, faulty)])
    for one in found:
        yield repr(logged_of(one))


def refusal(use: Callable[[], object]) -> tuple[Problem, ...]:
    """What is told as wrong; nothing where the use went well. Whatever else comes out is a fault."""
    try:
        use()
    except InputError as error:
        return error.problems
    return ()


def test_every_field_of_every_kind_of_line(job: Path) -> None:
    log = job / LOG_NAME
    whole = log.read_text(encoding="utf-8")
    lines = whole.splitlines()
    kinds = {json.loads(line)["what"]: number for number, line in reversed(list(enumerate(lines)))}
    assert len(kinds) == 10
    count = 0

    def use() -> None:
        for said in uses(job):
            assert said.replace("\n", "").isprintable(), (at, text[:80])

    for number in kinds.values():
        for at, text in islice(spoilt(json.loads(lines[number])), 0, None, 10):
            log.write_text("\n".join([*lines[:number], text, *lines[number + 1 :], ""]), encoding="utf-8")
            for problem in refusal(use):
                assert problem.file.endswith(LOG_NAME), (at, problem)
                assert str(problem).isprintable(), (at, problem)
            count += 1
    log.write_text(whole, encoding="utf-8")
    assert count > 150


def test_an_agreement_on_a_spoilt_offer_writes_nothing_or_the_whole(job: Path) -> None:
    log, whole = job / LOG_NAME, (job / LOG_NAME).read_text(encoding="utf-8")
    _, *rest = whole.splitlines()
    there = {path.name for path in job.iterdir()}
    count = agreed = 0
    for at, text in islice(spoilt(BOARD), 0, None, 3):
        before = "\n".join([text, *rest, ""])
        log.write_text(before, encoding="utf-8")
        count += 1
        if problems := refusal(lambda: agree(CODE, job=job, force=True)):
            assert all(str(problem).isprintable() for problem in problems), at
            assert log.read_text(encoding="utf-8") == before, at
        else:
            agreed += 1
            text = next(job.glob("*.agreed.toml")).read_text(encoding="utf-8")
            assert text.startswith(f"# Agreed: option A of board K7QD2, code {CODE}")
            next(job.glob("*.agreed.toml")).unlink()
        assert {path.name for path in job.iterdir()} == there, (at, text[:80])
    log.write_text(whole, encoding="utf-8")
    assert count > 120
    assert 10 < agreed < count / 2  # what only tells, as a name, does no harm


def test_every_field_of_a_records_text() -> None:
    with Packed(RECORD) as packed:
        content = json.loads(packed.read(RECORD_JSON))
    content["places"] = content["places"][:1]
    content["coats"], content["mixes"] = content["coats"][:1], content["mixes"][:1]
    refused = count = 0
    for at, text in spoilt(content):
        problems = refusal(lambda: read_record(text.encode(), "a.record.zip"))  # noqa: B023
        assert all(problem.file == f"a.record.zip, {RECORD_JSON}" for problem in problems), at
        assert all(str(problem).isprintable() for problem in problems), at
        refused += bool(problems)
        count += 1
    assert count > 800
    assert refused > count / 2
