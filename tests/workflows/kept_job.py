"""A small job with a diary in which everything was done a little otherwise than planned; invented."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

from PIL import Image

from layerpreview.job.done import CLEAR_COAT, BatchMade, CoatDone, Deed, DropsCounted, FilmRead, PhotoRead, Poured
from layerpreview.output.diary_entries import entry_of
from layerpreview.output.job_entries import scheme_keys
from tests.schemes import FULL

NOW = datetime(2026, 3, 2, 18, 30, tzinfo=UTC)
START = datetime(2026, 3, 1, 8, tzinfo=UTC)
SCHEME = FULL + '[clear]\nfinish = "satin"\n'
CAMERA = "Cameraworks 12, number 4711"


def deeds() -> list[Deed]:
    """One batch of each mix, coats, films, drops and a photo, ten minutes apart."""
    honey = (Poured("yellow", 55, "drops", "Y-7"), Poured("blue", 0.25, "mL"), Poured("carrier", 98.6, "mL"))
    sea = (Poured("blue", 2.4, "mL", "=B-2"), Poured("carrier", 77.6, "mL"))
    films = {1: (36.0, 38.0, 43.0), 2: (24.0, 26.0), CLEAR_COAT: (61.0, 64.0)}
    made: list[Deed] = []

    def at() -> dict[str, object]:
        return {"id": f"deed-{len(made)}", "time": START + timedelta(minutes=10 * len(made))}

    made.append(DropsCounted(**at(), dye="yellow", drops=44, volume_mL=1.0))  # type: ignore[arg-type]
    made.append(BatchMade(**at(), batch="honey", poured=honey, total_mL=100.0))  # type: ignore[arg-type]
    made.append(BatchMade(**at(), batch="sea", poured=sea, total_mL=80.0, note="a little pale"))  # type: ignore[arg-type]
    for entry, coats in ((1, 3), (2, 1), (3, 2), (CLEAR_COAT, 1)):
        for number in range(1, coats + 1):
            made.append(CoatDone(**at(), entry=entry, number=number))  # type: ignore[arg-type]
            if number == 1 and entry in films:
                made.append(FilmRead(**at(), entry=entry, number=1, readings_um=films[entry]))  # type: ignore[arg-type]
    for file in ("shots/first.jpg", "shots/lost.jpg"):
        made.append(PhotoRead(**at(), file=file, of="part", entry=3, number=2))  # type: ignore[arg-type]
    return made


def photo(path: Path) -> None:
    """A photo as a camera leaves it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    notes = Image.Exif()
    notes[0x010F] = CAMERA
    notes[0x013B] = "somebody"
    Image.new("RGB", (60, 40), (180, 140, 90)).save(path, exif=notes, comment=b"somebody's own")


def make_job(folder: Path) -> Path:
    """The job in `folder`: its scheme, its log, its photo; the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    scheme, log = folder / "scheme.toml", folder / "job-log.jsonl"
    scheme.write_bytes(SCHEME.encode())
    photo(folder / "shots" / "first.jpg")
    entries = [{**entry_of(deed), **scheme_keys(scheme, log)} for deed in deeds()]
    log.write_bytes("".join(f"{json.dumps(entry)}\n" for entry in entries).encode())
    return folder
