"""The record of a job: one sealed file with all that a remake needs. What it holds, and opening one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.errors import InputError, Problem
from layerpreview.held import text_of
from layerpreview.output.files import written_together
from layerpreview.output.record_model import (
    RECORD_JSON,
    VERSION_KEY,
    RecordedCoat,
    RecordedMix,
    RecordedPlace,
    RecordFile,
    read_record,
)
from layerpreview.output.record_zip import Packed
from layerpreview.scheme.report import as_path, as_toml
from layerpreview.scheme.rules import file_places
from layerpreview.scheme.source import LARGEST_FILE, toml_in

F64 = NDArray[np.float64]

SCHEME_FOLDER = "scheme/"
COVER, PICTURE, READ_ME, LOG = "cover.pdf", "picture.png", "READ_ME.txt", "job-log.jsonl"
SPECTRA, DYES, MIXES, FILMS = "spectra.csv", "dyes.csv", "mixes.csv", "films.csv"
LIGHTS, COLOURS, FACE = "lights.csv", "colours.csv", "film_face.csv"
BATCHES, PLACES, PHOTOS = "batches.csv", "places.csv", "photos/"
ENDING = ".record.zip"
_NEEDED = (RECORD_JSON, SPECTRA)
_WAVELENGTH = "wavelength_nm"
_AGAIN = "ask for the record again"
_MOST_TABLE_BYTES = 8_000_000  # a job with its five hundred places, bare, made and agreed, is under two


@dataclass(frozen=True)
class Record:
    """An opened record: its file, what record.json says, and the spectra of its places by their column.

    `made` in ISO 8601; `software`: versions of what made it; `tables`: SHA-256 of each shipped table by name; `scheme`:
    the name of its scheme in it; `plain_coats`: base coat (entry 0) and clear (-1); `base`: what the dye went over;
    `agreed`: which scheme the agreed colours are of, in words; `notes`: what it does without. `spectra` (81,) on the
    package's grid; `files`: SHA-256 of each file by name.
    """

    path: Path
    name: str
    made: str
    observer_deg: int
    lights: tuple[str, ...]
    software: Mapping[str, str] = field(repr=False)
    tables: Mapping[str, str] = field(repr=False)
    scheme: str
    mixes: tuple[RecordedMix, ...]
    coats: tuple[RecordedCoat, ...]
    plain_coats: tuple[RecordedCoat, ...]
    base: Mapping[str, Any] = field(repr=False)
    places: tuple[RecordedPlace, ...] = field(repr=False)
    agreed: str
    notes: tuple[str, ...]
    spectra: Mapping[str, F64] = field(repr=False, compare=False)
    files: Mapping[str, str] = field(repr=False)

    def reflectance(self, place: RecordedPlace) -> F64:
        """Reflectance of the finish at a place as it was made, (81,) on the package's grid."""
        return self.spectra[place.reflectance]

    def read(self, name: str) -> bytes:
        """A file of it. Raises InputError where it is not there, or no longer what the manifest says."""
        with Packed(self.path) as packed:
            return packed.read(name)

    def scheme_in(self, folder: Path) -> Path:
        """Unpack the scheme and the files it names into `folder`, which may be new; the path of the scheme there.

        Raises OutputError where something of another origin stands there already, and InputError; nothing is left then.
        """
        with Packed(self.path) as packed:
            held = {name.removeprefix(SCHEME_FOLDER): name for name in packed.hashes if name.startswith(SCHEME_FOLDER)}
            with written_together(folder, sorted(held), force=False, inputs=[self.path]) as paths:
                for name, whole in held.items():
                    paths[name].write_bytes(packed.read(whole))
        return folder / self.scheme.removeprefix(SCHEME_FOLDER)


def open_record(path: str | Path) -> Record:
    """Open a record, every file of it checked against its manifest. Raises InputError with all that is wrong."""
    path = Path(path)
    with Packed(path) as packed:
        missing = [name for name in _NEEDED if name not in packed.hashes]
        if missing:
            raise InputError([Problem("a record has this file", _AGAIN, str(path), field=name) for name in missing])
        content = read_record(packed.read(RECORD_JSON), str(path))
        spectra = _spectra(packed.read(SPECTRA), str(path))
        problems = _problems(content, spectra, packed.hashes, str(path))
        if not problems:
            problems = _ways_out(packed, content.scheme)
        if problems:
            raise InputError(problems)
        said = {name: getattr(content, name) for name in RecordFile.model_fields if name != VERSION_KEY}
        return Record(path=path, spectra=spectra, files=dict(packed.hashes), **said)


def _problems(content: RecordFile, spectra: Mapping[str, F64], names: Mapping[str, str], file: str) -> list[Problem]:
    """What record.json names and the record does not have."""
    place = f"{file}, {RECORD_JSON}"
    found = []
    folder, _, scheme = content.scheme.rpartition("/")
    flat = all("/" not in name.removeprefix(SCHEME_FOLDER) for name in names if name.startswith(SCHEME_FOLDER))
    if (
        f"{folder}/" != SCHEME_FOLDER
        or content.scheme not in names
        or PurePosixPath(scheme).suffix != ".toml"
        or not flat
    ):
        found.append(Problem("the scheme is one file of scheme/", _AGAIN, place, field="scheme", value=content.scheme))
    for number, one in enumerate(content.places, start=1):
        if one.reflectance not in spectra:
            rule = f"{SPECTRA} has no such column"
            found.append(Problem(rule, _AGAIN, place, field=f"places[{number}].reflectance", value=one.reflectance))
        if len(one.share) != len(content.coats):
            rule = f"a share for each of the {len(content.coats)} coats is wanted"
            found.append(Problem(rule, _AGAIN, place, field=f"places[{number}].share", value=str(len(one.share))))
        if set(one.lab) != set(content.lights):
            rule = f"L*a*b* under {', '.join(content.lights)} is wanted"
            found.append(Problem(rule, _AGAIN, place, field=f"places[{number}].lab", value=", ".join(one.lab)))
    return found


def _ways_out(packed: Packed, scheme: str) -> list[Problem]:
    """The files that the scheme names and that do not stand beside it: it may not reach into another folder."""
    place = f"{packed.path}, {scheme}"
    data = packed.read(scheme)
    if len(data) > LARGEST_FILE:
        return [Problem(f"it is longer than {LARGEST_FILE / 1e6:g} MB, which no scheme is", _AGAIN, place)]
    report = toml_in(text_of(data, place, remedy=_AGAIN), place)
    beside = {name.removeprefix(SCHEME_FOLDER) for name in packed.hashes if name.startswith(SCHEME_FOLDER)}
    rule = "the record does not hold this file beside its scheme"
    return [
        Problem(rule, _AGAIN, place, report.line(at), as_path(at), as_toml(value))
        for at, value in file_places(report.raw)
        if value not in beside
    ]


def _spectra(data: bytes, file: str) -> dict[str, F64]:
    """The columns of spectra.csv by their heading, every one on the package's grid."""
    import csv
    import io

    from layerpreview.output.csv_table import cell_text

    place = f"{file}, {SPECTRA}"
    if len(data) > _MOST_TABLE_BYTES:
        rule = f"it is longer than {_MOST_TABLE_BYTES / 1e6:g} MB, which no table of spectra is"
        raise InputError(Problem(rule, _AGAIN, place))
    wanted = f"rows of numbers at {WAVELENGTHS_NM[0]:.0f} to {WAVELENGTHS_NM[-1]:.0f} nm, every 5 nm, below their names"
    try:
        head, *rows = list(csv.reader(io.StringIO(data.decode("utf-8"))))
        values = np.array(rows, dtype=np.float64).T
        usable = values.shape == (len(head), WAVELENGTHS_NM.size) and bool(((values >= 0.0) & (values <= 1e3)).all())
        if len(set(head)) < len(head):
            raise ValueError("a name twice")
        if not usable or head[0] != _WAVELENGTH or not np.array_equal(values[0], WAVELENGTHS_NM):
            raise ValueError("not on the grid")
    except (ValueError, csv.Error):
        raise InputError(Problem(f"{wanted} are wanted", _AGAIN, place)) from None
    return dict(zip(map(cell_text, head[1:]), values[1:], strict=True))
