"""The desk sees at once that the shop's own values came, changed or went."""

from __future__ import annotations

from pathlib import Path

from layerpreview.desk.first import first_picture, keep_first
from layerpreview.desk.jobs import OpenJob
from layerpreview.desk.tell import state

from ..schemes import DYES, HEAD, MIXES, PANEL, SILVER

TEXT = HEAD + PANEL + SILVER + DYES + MIXES + '[[coat]]\nmix = "honey"\nfilm = "medium"\n'
OWN = "layerpreview_shop = 1\n[film.medium]\num = [30, 36, 43]\nn = 7\n"
JPEG = (
    "data:image/jpeg;base64,/9j/4AAQSkZJRgABAQAAAQABAAD/2wBDAP//////////////////////////////////////////////////////"
    "////////////////////////////////wAALCAABAAEBAREA/8QAFAABAAAAAAAAAAAAAAAAAAAACf/EABQQAQAAAAAAAAAAAAAAAAAAAAD/2gAI"
    "AQEAAD8AKp//2Q=="
)


def test_it_sees_them_come_change_and_go(tmp_path: Path) -> None:
    folder = tmp_path / "drum shell"
    folder.mkdir()
    (folder / "scheme.toml").write_text(TEXT, encoding="utf-8")
    job = OpenJob(folder / "scheme.toml")

    def told() -> tuple[float, str, str]:
        job.look()
        (coat,) = state(job)["coats"]
        return coat["film_um"]["likely"], coat["film_word"], coat["rests_on"]

    assert told() == (40.0, "medium", "assumed")
    before = job.read.files if job.read else ""
    (tmp_path / "shop.toml").write_text(OWN, encoding="utf-8")
    assert told() == (36.0, "medium", "measured")
    assert job.read is not None
    assert job.read.files != before
    (tmp_path / "shop.toml").write_text(OWN.replace("36", "37.5"), encoding="utf-8")
    assert told() == (37.5, "medium", "measured")
    (tmp_path / "shop.toml").write_text("layerpreview_shop = 7\n", encoding="utf-8")
    job.look()
    assert "newer layerpreview" in str(state(job)["problems"])
    (tmp_path / "shop.toml").unlink()
    assert told() == (40.0, "medium", "assumed")
    assert state(job)["problems"] == []


def test_the_first_picture_is_of_the_values_of_now(tmp_path: Path) -> None:
    folder = tmp_path / "drum shell"
    folder.mkdir()
    (folder / "scheme.toml").write_text(TEXT, encoding="utf-8")
    job = OpenJob(folder / "scheme.toml")
    assert job.read is not None
    assert keep_first(job, {"version": job.read.version, "files": job.read.files, "picture": JPEG})
    assert first_picture(job.path) is not None
    (tmp_path / "shop.toml").write_text(OWN, encoding="utf-8")
    assert first_picture(job.path) is None
