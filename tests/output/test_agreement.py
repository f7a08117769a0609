"""Whether a scheme was agreed: exists for a sheet that said so of every scheme, agreed or not, changed since or not."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from layerpreview.job.agreed import HowAgreed
from layerpreview.output.agreement import how_agreed_beside, text_sha256
from layerpreview.output.joblog import LOG_NAME
from layerpreview.workflows.sheet import mix_sheet

from ..schemes import FULL

Save = Callable[..., Path]
AGREED: dict[str, Any] = {
    "what": "agreed",
    "time": "2026-05-04T23:30:00+00:00",
    "board": "K7QD2",
    "option": "B",
    "code": "LP-K7QD2-B-3.2.2-100.110-5TZ9M2A",
    "scheme_from_log": "scheme.agreed.toml",
}


def logged(folder: Path, *entries: dict[str, Any]) -> None:
    (folder / LOG_NAME).write_text("".join(json.dumps(entry) + "\n" for entry in entries), encoding="utf-8")


def beside(scheme: Path) -> HowAgreed:
    return how_agreed_beside(scheme, text=scheme.read_text(encoding="utf-8"))


def offered(board: str, *names: str) -> dict[str, Any]:
    return {"what": "board", "board": board, "options": [{"scheme": name, "scheme_from_log": name} for name in names]}


def test_a_scheme_without_a_log_is_not_agreed(save_scheme: Save) -> None:
    found = beside(save_scheme(FULL))
    assert (found.is_agreed, found.words) == (False, "Not agreed yet.")


def test_the_agreed_scheme_is_agreed_and_the_offered_one_is_not(save_scheme: Save, tmp_path: Path) -> None:
    offer, agreed = save_scheme(FULL, "scheme.toml"), save_scheme(FULL, "scheme.agreed.toml")
    logged(tmp_path, offered("K7QD2", "scheme.toml", "other.toml"), AGREED)
    said = "option B, 2026-05-04, code LP-K7QD2-B-3.2.2-100.110-5TZ9M2A"
    assert beside(agreed).words == f"Agreed: {said}."
    assert beside(offer).words == f"Not agreed: what was agreed is scheme.agreed.toml ({said})."
    other = beside(save_scheme(FULL, "other.toml"))
    assert (other.is_agreed, other.instead) == (False, "scheme.agreed.toml")
    assert beside(save_scheme(FULL, "next_job.toml")).words == "Not agreed yet."


def test_what_is_withdrawn_does_not_count(save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(FULL, "scheme.agreed.toml")
    logged(tmp_path, AGREED, {"what": "withdrawn", "line": 1})
    assert not beside(scheme).is_agreed


def test_the_last_agreement_counts(save_scheme: Save, tmp_path: Path) -> None:
    first, second = save_scheme(FULL, "scheme.agreed.toml"), save_scheme(FULL, "scheme.agreed-2.toml")
    again = {**AGREED, "board": "M2A7Q", "code": "LP-2", "scheme_from_log": "scheme.agreed-2.toml"}
    logged(tmp_path, AGREED, offered("M2A7Q", "scheme.agreed.toml"), again)
    assert beside(second).code == "LP-2"
    assert beside(first).instead == "scheme.agreed-2.toml"


@pytest.mark.parametrize(("text", "changed"), [(FULL, False), (FULL.replace("\n", "\r\n"), False), (FULL + "#", True)])
def test_a_scheme_changed_since_is_not_agreed(save_scheme: Save, tmp_path: Path, text: str, changed: bool) -> None:
    scheme = save_scheme(FULL, "scheme.agreed.toml")
    scheme.write_bytes(text.encode())
    logged(tmp_path, {**AGREED, "scheme_sha256": text_sha256(FULL)})
    found = beside(scheme)
    assert (found.is_agreed, found.changed) == (not changed, changed)
    assert ("Changed since it was agreed" in found.words) is changed


def test_a_log_cannot_put_lines_into_a_sheet(save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(FULL, "scheme.agreed.toml")
    logged(tmp_path, {**AGREED, "code": "LP-1\n\x1b[2Jgone", "option": 7, "time": "soon"})
    assert beside(scheme).words == "Agreed: code LP-1 [2Jgone."


def test_a_sheet_says_it_and_nothing_more(save_scheme: Save, tmp_path: Path) -> None:
    """No other word of the sheet says that something was agreed."""
    sheet = mix_sheet(save_scheme(FULL, "scheme.toml"))
    assert not sheet.found.how_agreed.is_agreed
    text = sheet.text()
    assert "Not agreed yet." in text
    assert text.replace("Not agreed yet.", "").count("agreed") == 0
    logged(tmp_path, AGREED)
    assert "Agreed: option B, 2026-05-04" in mix_sheet(save_scheme(FULL, "scheme.agreed.toml")).text()
