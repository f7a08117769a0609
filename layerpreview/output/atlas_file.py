"""The folder of an atlas: atlas.json, which says what was asked and what is there, and a Parquet file for each part."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from layerpreview.answers.atlas import Question
from layerpreview.answers.atlas_near import Atlas
from layerpreview.errors import InputError, Problem
from layerpreview.held import bytes_of, json_in
from layerpreview.output.atlas_part import QUESTION_KEY, columns_of_file, parquet, strength_names
from layerpreview.output.charts import atlas_chart
from layerpreview.output.files import is_inside
from layerpreview.output.pictures import write_picture
from layerpreview.output.plain_json import json_line, plain_json
from layerpreview.output.record_model import Name, Sha256
from layerpreview.output.written import is_as_written, written_into

ATLAS_JSON, ATLAS_PNG, KEY = "atlas.json", "atlas.png", "layerpreview_atlas"
DRAWN_PARTS = 64
"""Of a very large atlas so many parts, spread over it, are drawn."""
MOST_BYTES = 16_000_000
AGAIN = "run atlas once more with what was asked for then: what is there stays, the rest is made"
PartName = Annotated[str, Field(pattern=r"^(part|between)-[0-9]{4,6}\.parquet$")]


class ListedPart(BaseModel):
    """A file of an atlas."""

    model_config = ConfigDict(frozen=True)

    name: PartName
    recipes: Annotated[int, Field(ge=0, le=10_000_000)]
    sha256: Sha256


class AtlasFile(BaseModel):
    """What atlas.json says, as far as it is read again."""

    model_config = ConfigDict(frozen=True)

    layerpreview_atlas: Literal[1]
    finished: bool
    question: Sha256
    bases: Annotated[tuple[Name, ...], Field(min_length=1, max_length=1000)]
    dyes: Annotated[tuple[Name, ...], Field(min_length=1, max_length=200)]
    lights: Annotated[tuple[Name, ...], Field(min_length=1, max_length=60)]
    parts: Annotated[tuple[ListedPart, ...], Field(max_length=40_000)] = ()


def question_print(question: Question, *, fill: bool, version: str) -> str:
    """What an atlas is known again by: SHA-256 of all that its colours depend on."""
    asked = {"question": question, "fill": fill, "version": version}
    return hashlib.sha256(json_line(asked, packed=True).encode("utf-8")).hexdigest()


def atlas_json(question: Question, asked: str, told: Mapping[str, object]) -> bytes:
    """The text of atlas.json: what was asked, then what is `told` of what there is."""
    levels = zip(strength_names(question), question.strengths, strict=True)
    return plain_json(
        {
            KEY: 1,
            "approximate": True,
            "question": asked,
            "bases": question.bases,
            "dyes": question.dyes,
            "strengths": dict(levels),
            "coats": question.coats,
            "films_um": question.films_um,
            "most_dyes": question.most_dyes,
            "lights": question.lights,
            "observer_deg": question.patches[0].observer_deg,
            "colours": "mean colour of the part, flat, in even light; L*a*b* adapted to D65",
            **told,
        }
    ).encode("utf-8")


def atlas_png(folder: Path, question: Question, names: Sequence[str]) -> bytes:
    """A picture of the colours over the first base, under the first light, of the parts of these names."""
    shades = [f"{axis}_{question.lights[0]}" for axis in "Lab"]
    found = []
    for name in names[:: -(-len(names) // DRAWN_PARTS)]:
        table = columns_of_file((folder / name).read_bytes(), ["base", *shades])
        here = table["base"] == question.bases[0]
        found.append(np.stack([table[shade][here] for shade in shades], axis=-1))
    over = f"over {question.bases[0]}, under {question.lights[0]}, with {len(question.dyes)} dyes"
    notes = ["Where a colour is painted there is a recipe for it. Flat, in even light; approximate."]
    picture = atlas_chart(np.concatenate(found).astype(np.float64), title=f"Colours within reach {over}", notes=notes)
    with tempfile.TemporaryDirectory() as aside:
        write_picture(picture, Path(aside, ATLAS_PNG))
        return Path(aside, ATLAS_PNG).read_bytes()


def read_atlas(folder: Path) -> AtlasFile:
    """What atlas.json in `folder` says. Raises InputError where there is none, or it cannot be used."""
    path = folder / ATLAS_JSON
    remedy = "name the folder that atlas wrote"
    said = json_in(bytes_of(path, what="an atlas", most_bytes=MOST_BYTES, remedy=remedy), str(path), remedy=remedy)
    try:
        return AtlasFile.model_validate(said)
    except ValidationError as error:
        field = ".".join(map(str, error.errors()[0]["loc"]))
        raise InputError(Problem("this is no atlas that can be used", remedy, str(path), field=field)) from None


def parts_there(folder: Path, asked: str) -> dict[str, ListedPart | None]:
    """The parts in `folder` by name, None for one that is not just as it was written for this question."""
    written = written_into(folder)
    found: dict[str, ListedPart | None] = {}
    for path in sorted((*folder.glob("part-*.parquet"), *folder.glob("between-*.parquet"))):
        known = written.get(path.name)
        rows = _rows_of(path, asked) if known is not None and is_as_written(path, known) else None
        found[path.name] = (
            None if known is None or rows is None else ListedPart(name=path.name, recipes=rows, sha256=known.sha256)
        )
    return found


def _rows_of(path: Path, asked: str) -> int | None:
    """How many recipes a part of this question has, None where it is of another."""
    try:
        told = parquet().read_metadata(path)
        mine = (told.metadata or {}).get(QUESTION_KEY.encode()) == asked.encode()
        return int(told.num_rows) if mine else None
    except (OSError, ValueError):
        return None


@dataclass(frozen=True, eq=False)
class LoadedAtlas:
    """An atlas in memory: what its file says, and the recipes over each of its bases."""

    folder: Path
    said: AtlasFile
    bases: tuple[Atlas, ...]


def load_atlas(folder: Path) -> LoadedAtlas:
    """Read a whole atlas. Raises InputError for one that is not finished, or damaged."""
    said = read_atlas(folder)
    path = folder / ATLAS_JSON
    if not said.finished:
        raise InputError(Problem("this atlas is not finished", AGAIN, str(path)))
    shades = [f"{axis}_{light}" for light in said.lights for axis in "Lab"]
    loads = [f"{dye}_mg_m2" for dye in said.dyes]
    base, load, lab = [], [], []
    for part in said.parts:
        table = _checked(folder, part, ["base", *loads, *shades])
        base.append(table["base"])
        load.append(np.stack([table[name] for name in loads], axis=-1).astype(np.float32))
        lab.append(np.stack([table[name] for name in shades], axis=-1).reshape(len(load[-1]), -1, 3))
    names, loads_all, labs = np.concatenate(base), np.concatenate(load), np.concatenate(lab)
    found = [
        Atlas(said.dyes, said.lights, loads_all[here], labs[here])
        for name in said.bases
        if (here := names == name).any()
    ]
    return LoadedAtlas(folder, said, tuple(found))


def _checked(folder: Path, part: ListedPart, columns: list[str]) -> dict[str, Any]:
    """Columns of a part whose bytes are those that atlas.json tells of."""
    path = folder / part.name
    try:
        data = path.read_bytes() if is_inside(path, folder) else b""
        if hashlib.sha256(data).hexdigest() == part.sha256:
            return columns_of_file(data, columns)
    except (OSError, ValueError, KeyError):
        pass
    raise InputError(Problem("this part of the atlas is damaged or gone", AGAIN, str(path)))
