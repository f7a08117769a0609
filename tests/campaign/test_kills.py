"""A slice of the kills: each quick command once by each signal. The whole is `python -m tests.campaign.kills`."""

from __future__ import annotations

import itertools
import sys
import time
from pathlib import Path

import pytest

from . import corpus
from .kills import SIGNALS, heard, kill_one

SEED, SECONDS = 20262, 10.0
LASTS_S = {"diary": 1.4, "agree": 1.4, "sheet": 2.2, "render": 1.6}
"""About how long each takes; it only says when kills come."""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="it has no such signals")
def test_nothing_is_lost_or_left_when_commands_are_killed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Which moments is fixed; on a slow machine fewer of them come."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    heard()
    corpus.make(tmp_path / "shop")
    until = time.monotonic() + SECONDS
    found = []
    for number, (kind, command) in enumerate(itertools.product(SIGNALS, LASTS_S)):
        if time.monotonic() > until:
            break
        found.append(
            kill_one(SEED, number, shop=tmp_path / "shop", home=tmp_path, lasts=LASTS_S, which=(command, kind))
        )
    assert found
    assert [one for one in found if one.faults] == []
