"""The first picture: exists for one that is shown though the job is another by now, or that is no picture at all."""

from __future__ import annotations

import base64
import io
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from layerpreview.desk.asked import post_first
from layerpreview.desk.desk import Desk
from layerpreview.desk.first import first_picture

from ..schemes import DYES, HEAD, HONEY, MIXES, PANEL


def _jpeg() -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.full((8, 12, 3), 90, np.uint8)).save(out, "JPEG")
    return out.getvalue()


def _kept(desk: Desk, jpeg: bytes, **other: Any) -> bool:
    read = desk.job().read
    assert read is not None
    told = "data:image/jpeg;base64," + base64.b64encode(jpeg).decode()
    body = {"version": read.version, "files": read.files, "picture": told, **other}
    status, answer = post_first(desk, {}, body)
    assert status == 200
    return bool(answer["kept"])


@pytest.fixture
def photo_desk(tmp_path: Path) -> Desk:
    """A desk of a job that names a photo."""
    Image.fromarray(np.full((48, 64, 3), 180, np.uint8)).save(tmp_path / "photo.png")
    base = '[base]\nkind = "metal"\npicture = "photo.png"\n'
    (tmp_path / "scheme.toml").write_text(HEAD + PANEL + base + DYES + MIXES + HONEY)
    found = Desk(tmp_path / "scheme.toml")
    found.prepare()
    return found


def test_it_is_there_while_the_job_is_the_same(photo_desk: Desk, tmp_path: Path) -> None:
    path = photo_desk.path
    assert path is not None
    assert first_picture(path) is None
    assert _kept(photo_desk, _jpeg())
    assert first_picture(path) == _jpeg()
    whole = path.read_bytes()
    path.write_bytes(whole + b"# longer\n")
    assert first_picture(path) is None
    path.write_bytes(whole)
    assert first_picture(path) == _jpeg()
    os.utime(tmp_path / "photo.png", (5.0, 5.0))
    assert first_picture(path) is None
    (tmp_path / "photo.png").unlink()
    assert first_picture(path) is None
    assert first_picture(tmp_path / "none.toml") is None
    assert first_picture(None) is None


def test_only_a_picture_of_the_job_as_it_stands_is_kept(photo_desk: Desk) -> None:
    assert not _kept(photo_desk, _jpeg(), version="0a0a0a0a")
    assert not _kept(photo_desk, _jpeg(), files="0a0a0a0a")
    for picture in (b"", b"<script>", _jpeg()[:20]):
        assert not _kept(photo_desk, picture)
    for told in (None, 7, "data:,", "data:image/jpeg;base64,\u00e4", "data:image/jpeg;base64,A"):
        assert not _kept(photo_desk, _jpeg(), picture=told)
    assert first_picture(photo_desk.path) is None
