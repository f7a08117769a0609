"""A slice of the campaign: exists for input that ends in a fault of ours. The whole is `python -m tests.campaign`."""

from __future__ import annotations

import itertools
import time
from pathlib import Path

import pytest

from . import corpus
from .judge import known
from .lines import LINES
from .workers import run_all

SEED, CASES, SECONDS, LIMIT_S = 20261, 400, 70.0, 60.0


def test_every_command_has_its_lines() -> None:
    commands, _ = known()
    assert set(LINES) == commands - {"demo", "desk"}  # a sample that takes long, and a server


@pytest.mark.slow
def test_no_hostile_input_of_a_slice_ends_in_a_fault(tmp_path: Path) -> None:
    """Which cases is fixed; on a slow machine fewer of them are run."""
    corpus.make(tmp_path / "shop")
    until = time.monotonic() + SECONDS
    numbers = itertools.takewhile(lambda _: time.monotonic() < until, range(CASES))
    found = run_all(SEED, numbers, shop=tmp_path / "shop", home=tmp_path, workers=1, limit_s=LIMIT_S)
    bad = [f"--case {v.case}: {v.words}: {fault}" for v in found for fault in v.faults]
    assert bad == []
