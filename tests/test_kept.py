"""Arrays kept from run to run: exists for a kept array that is another one, a broken file that is believed, a folder
that grows without end, and a cache folder that cannot be used.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview import kept
from layerpreview.surface.distance import _field_of, distance_field
from layerpreview.surface.outline import Outline
from layerpreview.surface.plate import Plate
from layerpreview.surface.relief import make_relief
from layerpreview.surface.sample import PixelGrid

MADE = (np.arange(6, dtype=np.float32).reshape(2, 3) / 7, np.array([3, 1], dtype=np.int32))


@pytest.fixture
def cache(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A cache folder of the test's own, where everything counts as slow to make."""
    monkeypatch.setattr("platformdirs.user_cache_path", lambda *_, **__: tmp_path)
    monkeypatch.setattr(kept, "LEAST_S", 0.0)
    return tmp_path


def counted(made: list[int]) -> Callable[[], tuple[kept.Array, ...]]:
    def make() -> tuple[kept.Array, ...]:
        made.append(1)
        return MADE

    return make


def same(found: tuple[kept.Array, ...]) -> bool:
    pairs = list(zip(found, MADE, strict=True))
    return all(np.array_equal(a, b) and a.dtype == b.dtype for a, b in pairs)


def test_it_is_made_once_for_each_key(cache: Path) -> None:
    made: list[int] = []
    for key in (["a"], ["a"], ["ab"], ["a", "b"], [b"a"]):
        assert same(kept.kept_arrays("test", key, counted(made)))
    assert len(made) == 3  # "a" as text or bytes is one key; "ab" and "a", "b" are two


def test_another_program_makes_it_anew(cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[int] = []
    kept.kept_arrays("test", ["a"], counted(made))
    monkeypatch.setattr(kept, "program_state", lambda: "changed since")
    kept.kept_arrays("test", ["a"], counted(made))
    assert len(made) == 2


def test_what_is_damaged_is_made_anew(cache: Path) -> None:
    made: list[int] = []
    kept.kept_arrays("test", ["a"], counted(made))
    (file,) = cache.iterdir()
    whole = file.read_bytes()
    at = whole.index(MADE[0].tobytes())
    for broken in (b"", whole[:200], b"no archive", whole[: at + 5] + bytes([whole[at + 5] ^ 1]) + whole[at + 6 :]):
        file.write_bytes(broken)
        assert same(kept.kept_arrays("test", ["a"], counted(made)))
    assert len(made) == 5


def test_a_folder_that_cannot_be_used(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def none(*_: object, **__: object) -> Path:
        raise PermissionError

    made: list[int] = []
    monkeypatch.setattr(kept, "LEAST_S", 0.0)
    for folder in (none, lambda *_, **__: tmp_path / "gone"):
        monkeypatch.setattr("platformdirs.user_cache_path", folder)
        assert same(kept.kept_arrays("test", ["a"], counted(made)))
    assert len(made) == 2


def test_the_longest_unread_go_and_so_does_what_a_kill_left(cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (cache / ".kept-old").write_bytes(b"half")
    (cache / ".kept-new").write_bytes(b"half")
    os.utime(cache / ".kept-old", (1, 1))
    kept.kept_arrays("test", ["first"], counted([]))
    (first,) = cache.glob("made-*")
    os.utime(first, (time.time() - 60, time.time() - 60))
    monkeypatch.setattr(kept, "MOST_BYTES", first.stat().st_size + 10)
    kept.kept_arrays("test", ["second"], counted([]))
    assert not first.exists()
    assert len(list(cache.glob("made-*"))) == 1
    assert [path.name for path in cache.glob(".kept-*")] == [".kept-new"]


def test_fields_reliefs_and_plates_are_the_same_made_or_kept(cache: Path) -> None:
    """To the last bit: else the second picture of a job were another one than the first."""
    square = np.array([[0.0, 0.0], [81.0, 3.0], [77.0, 52.0], [6.0, 49.0]])
    part = Outline(square, {"hole": 10.0 + 0.2 * square})

    def all_of_them() -> list[kept.Array]:
        _field_of.cache_clear()
        field = distance_field(part, PixelGrid(0.4, 130, 210, -1.0, -1.0)).rows(0, 130)
        relief = make_relief("lifted", width_mm=40.0, height_mm=30.0, seed=3, step_mm=0.5)
        plate = Plate(
            part, depth_mm=20.0, edge_mm=4.0, front_belly_mm=2.0, back_belly_mm=1.0, pockets_mm={"hole": 5.0}
        ).lattices
        return [
            field,
            relief.slope_x,
            relief.slope_y,
            relief.flake,
            plate.near.values,
            plate.slopes.values,
            plate.turns.values,
        ]

    first = all_of_them()
    assert {path.name.split("-")[1] for path in cache.iterdir()} == {"distance", "relief", "plate", "turns"}
    for a, b in zip(first, all_of_them(), strict=True):
        assert np.array_equal(a, b)
