"""What the page is told of a job, as JSON values: plain numbers in mm and um, rounded, with words where people read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from layerpreview.desk.found import from_here
from layerpreview.desk.jobs import OpenJob, Read
from layerpreview.desk.nearby import openings_told, rings_told
from layerpreview.desk.page_words import caution_words, plain_paths
from layerpreview.errors import Problem, typed
from layerpreview.finish.view import SURROUNDINGS
from layerpreview.job.colours import dye_swatch
from layerpreview.job.products import CLEAR_ASSUMED, Product, details_of, solids_of
from layerpreview.output.board_words import board_words
from layerpreview.picture.faces import FaceShape, bursts_out_of_touch
from layerpreview.scheme import Burst, Coat, Dye, DyeCoat, Mix, OpaqueCoat, Scheme, warnings_of
from layerpreview.scheme.describe import base_words, shown_strength
from layerpreview.scheme.fields import film_word
from layerpreview.told import Told
from layerpreview.units import Range
from layerpreview.workflows.board_limits import FEWER_COATS, MORE_COATS

WEAKEST, STRONGEST = 0.25, 4.0
"""Between which times of its strength a mix can be pulled."""
MOST_COATS = 60
MOST_OUTLINE = 200


def state(job: OpenJob) -> dict[str, Any]:
    """Everything the page shows of a job but picture and figures; of one that never could be read what is wrong."""
    read = job.read
    head = {
        "version": job.version,
        "opening": job.opening,
        "job": job.folder.resolve().name,
        "file": job.path.name,
        "saved": True,
        "undo": job.undo_words,
        "redo": job.redo_words,
        "problems": lines_of(job.problems, job.folder),
        "notes": [plain_paths(note, job.folder) for note in job.notes],
        "outside": job.outside,
    }
    return head if read is None else {**head, **_told(read, job), "shown": read.version, "files": read.files}


def _told(read: Read, job: OpenJob) -> dict[str, Any]:
    scheme = read.scheme
    cautions = (*warnings_of(scheme), *bursts_out_of_touch(scheme, read.shapes))
    scheme_path = typed(from_here(job.path))
    return {
        "name": scheme.name,
        "units": scheme.shop.units,
        "lights": list(scheme.lights),
        "light_words": light_words(),
        "surroundings": [*SURROUNDINGS, *(name for name in scheme.rooms if name not in SURROUNDINGS)],
        "clear": _clear(scheme),
        "faces": [_face(scheme, shape) for shape in read.shapes],
        "coats": [_coat(scheme, index, read.shapes) for index in range(len(scheme.coats))],
        "mixes": [_mix(scheme, mix) for mix in scheme.mixes.values()],
        "dyes": [_dye(dye) for dye in scheme.dyes.values()],
        "cautions": [caution_words(line) for line in lines_of(cautions, job.folder)],
        "command": {
            "check": f"layerpreview check {scheme_path}",
            "render": f"layerpreview render {scheme_path}",
            "turn": f"layerpreview turn {scheme_path}",
            "figures": f"layerpreview figures {scheme_path}",
            "sheet": f"layerpreview sheet {scheme_path}",
            "board": f"layerpreview board {scheme_path}",
            "mend": f"layerpreview touch-up {scheme_path} --damage CORNERS",
            "reach": f"layerpreview reach {scheme_path} COLOUR",
        },
    }


@lru_cache(maxsize=1)
def light_words() -> dict[str, str]:
    """The names of the lights as the client's board has them, and as the scheme does."""
    words = {name.removeprefix("light_"): told for name, told in board_words().items() if name.startswith("light_")}
    return {name: f"{told} ({name})" for name, told in words.items()}


def lines_of(problems: Iterable[Problem], folder: Path) -> list[str]:
    """Problems as lines, files named as they are seen from the job's folder."""
    return [plain_paths(str(problem), folder) for problem in problems]


def rounded(value: float, digits: int = 4) -> float:
    """To so many digits that count."""
    return float(f"{value:.{digits}g}")


def range_told(value: Range) -> dict[str, Any]:
    """Low, likely and high, and what they rest on where that is known."""
    told: dict[str, Any] = {name: rounded(getattr(value, name)) for name in ("low", "likely", "high")}
    if isinstance(value, Told):
        told["rests_on"] = str(value.weakest)
    return told


def dry_um(film_um: Told, coats: int, product: Product, kind: str) -> Told:
    """Dry film of so many coats at full build [um]."""
    solids = solids_of(product, kind)
    wet = film_um.scaled(coats)
    return Told.from_inputs(wet.times(solids).range, "um", film=wet, solids=solids)


def clear_dry_um(scheme: Scheme) -> Told:
    """Dry film of the clear [um]."""
    clear = details_of(scheme).clear
    return dry_um(clear.film_um, clear.coats, clear.product, "clear")


def coat_dry_um(scheme: Scheme, index: int) -> Told:
    """Dry film of all coats of an entry at full build [um]."""
    coat, details = scheme.coats[index], details_of(scheme)
    dye = isinstance(coat, DyeCoat)
    product = (details.mixes if dye else details.paints).get(coat.label, Product())
    return dry_um(coat.film_um, coat.coats, product, "dye" if dye else "opaque")


def _clear(scheme: Scheme) -> dict[str, Any]:
    clear = scheme.clear
    film_um = clear.stated_film_um or CLEAR_ASSUMED[1]
    return {
        "finish": clear.finish,
        "name": clear.name,
        "coats": clear.stated_coats or CLEAR_ASSUMED[0],
        "film_word": film_word(film_um),
        "film": range_told(film_um),
        "dry_um": range_told(clear_dry_um(scheme)),
    }


def _face(scheme: Scheme, shape: FaceShape) -> dict[str, Any]:
    face, outline = shape.face, shape.outline
    step = max(1, -(-len(outline.outer) // MOST_OUTLINE))
    begun = {burst.source for coat in scheme.coats for burst in coat.bursts}
    return {
        "name": face.name,
        "width_mm": rounded(outline.width_mm),
        "height_mm": rounded(outline.height_mm),
        "wraps": outline.wraps,
        "base": base_words(scheme.base_for(face.name)),
        "base_kind": scheme.base_for(face.name).kind,
        "openings": openings_told(shape),
        "zones": [
            {
                "name": zone.name,
                "masked": zone.masked,
                "under": zone.under,
                "edge_mm": zone.edge_mm,
                **({"rings": rings_told(shape, zone.name)} if zone.name in begun else {}),
            }
            for zone in face.zones
        ],
        "outline": np.round(outline.outer[::step], 1).tolist(),
    }


def _coat(scheme: Scheme, index: int, shapes: Sequence[FaceShape]) -> dict[str, Any]:
    coat = scheme.coats[index]
    place = scheme.place_of(index)
    return {
        "index": index,
        "ring": place.ring,
        "name": coat.label,
        "kind": "dye" if isinstance(coat, DyeCoat) else "opaque",
        "mix": coat.mix if isinstance(coat, DyeCoat) else None,
        "colour": coat.colour if isinstance(coat, OpaqueCoat) else None,
        "hiding": coat.hiding if isinstance(coat, OpaqueCoat) else None,
        "coats": coat.coats,
        "fewest": max(1, coat.coats - FEWER_COATS),
        "most": min(MOST_COATS, coat.coats + MORE_COATS),
        "film_word": film_word(coat.film_um),
        "film_um": range_told(coat.film_um),
        "dry_um": range_told(coat_dry_um(scheme, index)),
        "where": _where(coat),
        "faces": [shape.face.name for shape in shapes if shape.zones_of(scheme, coat) != ()],
        "bursts": [_burst(burst) for burst in coat.bursts],
        "zones": [] if coat.everywhere else list(coat.zones),
        "cut_back": coat.cut_back,
        "rests_on": str(coat.film_um.weakest),
    }


def _where(coat: Coat) -> str:
    return "everywhere" if coat.everywhere else ", ".join(coat.zones)


def _burst(burst: Burst) -> dict[str, Any]:
    return {
        "from": burst.source,
        "width_mm": burst.width_mm,
        "fall_off": burst.fall_off,
        "centre": burst.centre,
        "at_mm": burst.at_mm,
        "angle_deg": burst.angle_deg,
        "face": burst.face,
    }


def _mix(scheme: Scheme, mix: Mix) -> dict[str, Any]:
    dyes = []
    for name, strength in mix.strengths.items():
        told = {"name": name, "amount": shown_strength(strength), "likely": rounded(strength.amount)}
        dyes.append({**told, "unit": strength.unit, **source_told(scheme.dyes[name])})
    solids = None if mix.solids is None else range_told(mix.solids)
    return {
        "name": mix.name,
        "carrier": mix.carrier,
        "solids": solids,
        "dyes": dyes,
        "weakest": WEAKEST,
        "strongest": STRONGEST,
    }


def _dye(dye: Dye) -> dict[str, Any]:
    return {"name": dye.name, **source_told(dye), "swatch": swatch(dye)}


swatch = lru_cache(maxsize=64)(dye_swatch)


def source_told(dye: Dye) -> dict[str, str]:
    words = dye.provenance if len(dye.provenance) < 200 else dye.provenance[:197] + "..."
    return {"source": "library" if dye.kind == "generic" else "own", "source_words": words}
