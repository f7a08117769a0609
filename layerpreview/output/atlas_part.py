"""A part of an atlas as the bytes of one Parquet file, made alone by any machine, the same wherever it is made."""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.atlas import Question, Recipes, colours
from layerpreview.answers.atlas_gaps import CELLS, cells_of, gaps_filled
from layerpreview.colour import DISPLAY_WHITE_XYZ, XYZ_TO_RGB_LIN, delta_e_2000, encode_srgb, lab_to_xyz, on_screen
from layerpreview.errors import InputError, Problem

F64 = NDArray[np.float64]

CHECKED = 50
EXTRA = 'pip install "layerpreview[atlas]"'
QUESTION_KEY = "layerpreview_question"


def parquet() -> Any:
    """The library's room for Parquet. Raises InputError where it is not installed."""
    if importlib.util.find_spec("pyarrow") is None:
        raise InputError(Problem("an atlas needs an extra", EXTRA))
    return import_module("pyarrow.parquet")


def part_name(number: int, *, between: bool = False) -> str:
    """The file of a part, or of what is added between its recipes."""
    return f"{'between' if between else 'part'}-{number:04}.parquet"


def numbers_in(question: Question, part: int) -> NDArray[np.int64]:
    """The numbers of the recipes of a part."""
    return np.arange(part * question.part_rows, min((part + 1) * question.part_rows, question.count))


@dataclass(frozen=True, eq=False)
class Part:
    """A part: its file, how many recipes it has, and by base the cells of colours that have one (first light)."""

    file: bytes
    rows: int
    cells: dict[int, NDArray[np.int32]]


def made_part(question: Question, part: int, asked: str) -> Part:
    """A part of what was asked for; `asked`: the print of the question, which its file carries."""
    recipes = question.recipes(numbers_in(question, part))
    return _part(question, recipes, colours(question, recipes), asked)


def made_between(question: Question, part: int, asked: str, packed: dict[int, bytes]) -> Part:
    """What is added between the recipes of a part; `packed`: by base which cells have a recipe, a bit each."""
    seen = {base: np.unpackbits(np.frombuffer(bits, np.uint8), count=CELLS) > 0 for base, bits in packed.items()}
    recipes, lab = gaps_filled(question, numbers_in(question, part), seen)
    return _part(question, recipes, lab, asked)


def read_part(file: bytes, question: Question) -> Part:
    """A part as `made_part` gave it. Raises what the library does for a file that is none."""
    table = columns_of_file(file, ["base", *_shades(question)[:3]])
    known = {name: i for i, name in enumerate(question.bases)}
    base = np.array([known[name] for name in table["base"]], dtype=np.int64)
    lab = np.stack([table[name] for name in _shades(question)[:3]], axis=-1)
    return Part(file, len(lab), _cells(base, lab))


def strays_of(file: bytes, question: Question) -> F64:
    """CIEDE2000 between the colours of a part's file and those worked out again one by one, of some recipes."""
    table = columns_of_file(file, ["recipe", *_shades(question)])
    at = np.linspace(0, len(table["recipe"]) - 1, CHECKED).astype(np.intp)
    lab = np.stack([table[name][at] for name in _shades(question)], axis=-1).reshape(CHECKED, -1, 3).astype(np.float64)
    again = [colours(question, question.recipes(table["recipe"][i : i + 1])) for i in at]
    return np.asarray(delta_e_2000(lab, np.concatenate(again)).max(axis=1))


def columns_of_file(file: bytes, names: list[str]) -> dict[str, NDArray[Any]]:
    """Some columns of a part. Raises what the library does for a file that is none (ValueError, OSError, KeyError)."""
    table = parquet().read_table(import_module("pyarrow").BufferReader(file), columns=names, use_threads=False)
    return {name: table[name].to_numpy() for name in names}


def _cells(base: NDArray[Any], lab: NDArray[np.float32]) -> dict[int, NDArray[np.int32]]:
    """Of the colours as they are stored, so that those of a file that is there are the same."""
    cell = cells_of(lab.astype(np.float64)).astype(np.int32)
    return {int(i): np.unique(cell[base == i]) for i in np.unique(base)}


def _shades(question: Question) -> list[str]:
    return [f"{axis}_{light}" for light in question.lights for axis in "Lab"]


def strength_names(question: Question) -> list[str]:
    """The columns of the strengths."""
    units = ["g_per_L" if powder else "mL_per_L" for powder in question.powders]
    return [f"{dye}_{unit}" for dye, unit in zip(question.dyes, units, strict=True)]


def _part(question: Question, recipes: Recipes, lab: F64, asked: str) -> Part:
    arrow, load = import_module("pyarrow"), recipes.load_mg_m2(question)
    short = lab.round(3).astype(np.float32)
    named = arrow.DictionaryArray.from_arrays(arrow.array(recipes.base.astype(np.int32)), arrow.array(question.bases))
    table = {"recipe": recipes.number, "base": named}
    table |= dict(zip(strength_names(question), recipes.strength.round(4).T, strict=True))
    table |= {"coats": recipes.coats.astype(np.int16), "film_um": recipes.film_um}
    table["total_film_um"] = (recipes.coats * recipes.film_um).round(3)
    table |= {f"{dye}_mg_m2": column for dye, column in zip(question.dyes, load.round(3).T, strict=True)}
    shades = _shades(question)
    table |= dict(zip(shades, short.reshape(len(short), len(shades)).T, strict=True))
    table["srgb"] = _swatches(arrow, lab[:, 0])
    sink, apart = arrow.BufferOutputStream(), {"recipe", *shades}
    parquet().write_table(
        arrow.table(table).replace_schema_metadata({QUESTION_KEY: asked}),
        sink,
        compression="zstd",
        version="2.6",
        row_group_size=question.part_rows,
        use_dictionary=[name for name in table if name not in apart],
        column_encoding={name: "DELTA_BINARY_PACKED" if name == "recipe" else "BYTE_STREAM_SPLIT" for name in apart},
    )
    return Part(bytes(sink.getvalue()), len(short), _cells(recipes.base, short[:, 0]))


def _swatches(arrow: Any, lab: F64) -> Any:
    """The screen's colour as #rrggbb."""
    rgb = lab_to_xyz(lab, white_xyz=DISPLAY_WHITE_XYZ) @ XYZ_TO_RGB_LIN.T
    codes = np.rint(255.0 * encode_srgb(on_screen(rgb.astype(np.float32)))).astype(np.int64) @ [1 << 16, 1 << 8, 1]
    known, at = np.unique(codes, return_inverse=True)
    return arrow.DictionaryArray.from_arrays(
        arrow.array(at.astype(np.int32)), arrow.array([f"#{code:06x}" for code in known])
    )
