"""Pictures kept in the cache folder: exists for one that is shown though it is of another job, or not whole."""

from __future__ import annotations

import mmap
import os
from pathlib import Path

import numpy as np
import pytest

from layerpreview.output import live_kept
from layerpreview.output.live_kept import Data, keep_picture, kept_picture, kept_whole, read_once
from layerpreview.output.live_textures import half

TOLD = b'{"a":\n1}'


@pytest.fixture
def folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    monkeypatch.setattr("platformdirs.user_cache_path", lambda *_, **__: tmp_path)
    return tmp_path


def _textures(value: float = 0.25, places: int = 3) -> dict[str, Data]:
    made = half(np.full((2, places, 1), value, np.float32))
    return {made.name: made.data}


def test_a_picture_is_found_by_all_that_it_depends_on(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    textures = _textures()
    (data,) = textures.values()
    assert isinstance(data, mmap.mmap)
    assert read_once(data) == read_once(data) == np.full(6, 0.25, "<f2").tobytes()
    keep_picture("one", TOLD, textures)
    found = kept_picture("one")
    assert found is not None
    assert (found[0], {name: found[1][name][:] for name in found[1]}) == (TOLD, {n: d[:] for n, d in textures.items()})
    assert kept_picture("another") is None
    monkeypatch.setattr(live_kept, "program_state", lambda: "changed since")
    assert kept_picture("one") is None


def test_one_that_is_not_whole_is_none(folder: Path) -> None:
    keep_picture("one", TOLD, _textures())
    (texture,), (picture,) = folder.glob("live-texture-*"), folder.glob("live-picture-*")
    whole = picture.read_bytes()
    for broken in (b"", b"no head", b"[1]\n{}", b'{"x": "y"}\n{}', b'{"../x": 12}\n{}'):
        picture.write_bytes(broken)
        assert kept_picture("one") is None
    picture.write_bytes(whole)
    assert kept_picture("one") is not None
    texture.unlink()
    assert kept_picture("one") is None
    texture.write_bytes(b"short")
    assert kept_picture("one") is None
    (data,) = _textures().values()  # the next who makes it mends it
    assert len(data) == 12
    assert kept_picture("one") is not None


def test_what_is_kept_whole_is_made_once_and_again_where_it_is_damaged(folder: Path) -> None:
    made: list[int] = []

    def make() -> bytes:
        made.append(1)
        return b"a chip\n of silver"

    assert {kept_whole("chip", "silver", make) for _ in range(3)} == {b"a chip\n of silver"}
    assert len(made) == 1
    (file,) = folder.glob("live-chip-*")
    for broken in (b"", b"a chip", file.read_bytes()[:-1], b"\n" + file.read_bytes()):
        file.write_bytes(broken)
        assert kept_whole("chip", "silver", make) == b"a chip\n of silver"
    assert len(made) == 5


def test_where_nothing_can_be_written_textures_stay_in_memory(monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
    def refused(*_: object, **__: object) -> Path:
        raise PermissionError

    for patched in (("platformdirs.user_cache_path", refused), ("tempfile.mkstemp", refused)):
        with monkeypatch.context() as patch:
            patch.setattr(*patched)
            textures = _textures()
            assert [type(data) for data in textures.values()] == [bytes]
            keep_picture("one", TOLD, textures)
        assert kept_picture("one") is None
        assert list(folder.iterdir()) == []


def test_what_was_not_looked_at_for_long_goes(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live_kept, "MOST_BYTES", 920)
    for i, key in enumerate("abc"):
        keep_picture(key, TOLD, _textures(0.125 * i, places=100))
        if i == 1:
            for path in folder.iterdir():
                os.utime(path, (1.0, 1.0))
            assert kept_picture("a") is not None
    assert [key for key in "abc" if kept_picture(key)] == ["a", "c"]
    assert len(list(folder.iterdir())) == 4
