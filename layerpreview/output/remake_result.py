"""The same colour again, with its ways out: the scheme to spray, figures, and old beside new under every light."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.remake_answer import Remade
from layerpreview.answers.remake_booth import Recipe
from layerpreview.finish.layers import stack_of
from layerpreview.finish.look import make_look
from layerpreview.output.caption import PAPER
from layerpreview.output.files import write_text
from layerpreview.output.pictures import write_picture
from layerpreview.output.remake_words import card_lines, mix_rows, remake_lines, told_rows
from layerpreview.output.result import Paths, Result
from layerpreview.output.swatches import base_cell, swatch_grid, textured_cells
from layerpreview.scheme import Scheme

U8 = NDArray[np.uint8]

SHEET, FIGURES = "remake.png", "remake.json"
SCHEME_NAME, SHOP_NAME = "scheme.toml", "shop.toml"
CELL_MM, CELL_PX, TICK_PX = 30.0, 240, 10
MOST_PLACES = 4


@dataclass(frozen=True)
class RemakeFiles:
    """The scheme's text, and the files to go beside it: by their names there, where they are."""

    text: str
    beside: Mapping[str, Path]

    @property
    def names(self) -> tuple[str, ...]:
        """All of them, which a person goes on with."""
        return (SCHEME_NAME, *self.beside)


def remake_names(files: RemakeFiles) -> tuple[str, ...]:
    """The files of a remake."""
    return (*files.names, SHEET, FIGURES)


def remake_result(found: Remade, was: Scheme, now: Scheme, files: RemakeFiles) -> Result[Remade]:
    """The answer with its ways out; `was`: the record's scheme as it was made, `now`: the one for today.

    The picture is drawn here: the files that the schemes name may be gone later.
    """
    lines = remake_lines(found)
    picture = _sheet(found, was)

    def write(paths: Paths) -> None:
        write_text(paths[SCHEME_NAME], files.text)
        for name, source in files.beside.items():
            shutil.copyfile(source, paths[name])
        write_picture(picture, paths[SHEET], pixel_mm=CELL_MM / CELL_PX)

    return Result(
        found=found,
        line=f"Remake {found.verdict}",
        document=lambda _: _document(found, now, lines),
        rows=lambda: told_rows(found),
        text=lambda: "\n".join([*lines, ""]),
        names=remake_names(files),
        write=write,
        json_name=FIGURES,
        picture=lambda: picture,
        lasting=files.names,
    )


def _document(found: Remade, now: Scheme, lines: list[str]) -> dict[str, object]:
    offer = found.offer
    return {
        "record": found.name,
        "record_made": found.made,
        "approximate": True,
        "verdict": found.verdict,
        "same_within_doubt": found.same,
        "lights": found.lights,
        "observer_deg": found.booth.scheme.observer_deg,
        "mixes": mix_rows(found),
        "coats": [
            {"entry": i + 1, "what": coat.label, "was": was, "now": n, "film_um": coat.film_um}
            for i, (coat, was, n) in enumerate(
                zip(found.booth.scheme.coats, found.booth.coats, found.recipe.coats, strict=True)
            )
        ],
        "left_de00": found.de00,
        "may_come_out_de00": found.sure.joint_de00,
        "as_before_de00": found.as_before.joint_de00,
        "places": told_rows(found),
        "dyes": found.dyes,
        "base": found.base,
        "films": found.films,
        "card": found.card,
        "offer": None
        if offer is None
        else {
            "left_de00": offer[1].joint_de00,
            "parts": [
                {"mix": p.mix, "dye": p.dye, "strength": float(s), "unit": offer[0].unit_of(k)}
                for k, (p, s) in enumerate(zip(offer[0].parts, offer[1].strengths, strict=True))
            ],
        },
        "as_tried": None
        if found.as_tried is None
        else {
            "left_de00": found.as_tried.joint_de00,
            "coats": found.as_tried.coats,
            "strengths": [
                {"mix": p.mix, "dye": p.dye, "strength": float(s), "unit": found.booth.unit_of(k)}
                for k, (p, s) in enumerate(zip(found.booth.parts, found.as_tried.strengths, strict=True))
            ],
        },
        "scheme": now.name,
        "lines": lines,
    }


def _sheet(found: Remade, was: Scheme) -> U8:
    """A row for each place: under each light what was beside what comes out, and beside what comes mixed as before."""
    booth = found.booth
    counted = [p for p, place in enumerate(booth.wanted) if place.weight > 0.0]
    shown = sorted(counted, key=lambda p: (-booth.wanted[p].weight, p))[:MOST_PLACES]
    kinds = {"again": found.recipe} if found.same else {"remade": found.recipe, "as before": found.as_before}
    drawn = {kind: _patches(booth.as_scheme(recipe), found, shown) for kind, recipe in kinds.items()}
    old = _patches(was, found, shown)
    rows, labels = [], []
    for p in shown:
        each = [(n, kind) for n in range(len(found.lights)) for kind in kinds]
        rows.append([_side_by_side(old[p, n], drawn[kind][p, n]) for n, kind in each])
        labels.append([[f"{kinds[k].de00[p, n]:.1f} away", _moved(found, kinds[k], p, n)] for n, k in each])
    return swatch_grid(
        rows,
        labels,
        title=found.verdict,
        row_heads=[booth.wanted[p].spot.name for p in shown],
        column_heads=[f"{light}, {kind}" for light in found.lights for kind in kinds],
        notes=[
            "In each square: left as it was, right as it comes out. Away: CIEDE2000 to the record; below 0.8 hardly "
            "anyone sees it, above 1.8 most do (flat samples). L*, a*, b*: how far it moved.",
            *card_lines(found),
            f"Each light is adapted to the screen. A square is {CELL_MM:g} mm of the part. Approximate.",
        ],
    )


def _patches(scheme: Scheme, found: Remade, shown: list[int]) -> dict[tuple[int, int], U8]:
    """A square of a scheme's finish at every place shown, under every light: by their numbers."""
    made: dict[tuple[int, int], U8] = {}
    for face in dict.fromkeys(found.booth.wanted[p].spot.face for p in shown):
        here = [p for p in shown if found.booth.wanted[p].spot.face == face]
        builds = np.stack([found.booth.wanted[p].spot.build for p in here])
        cell = base_cell(scheme, cell_mm=CELL_MM, cell_px=CELL_PX, face=face)
        stack = stack_of(scheme, base=scheme.base_for(face))
        for n, light in enumerate(found.lights):
            look = make_look(stack, light=light, observer_deg=found.booth.scheme.observer_deg, tint_rgb=cell.tint_rgb)
            pictures = textured_cells(look, cell, builds, cell_px=CELL_PX)
            made |= {(p, n): np.asarray(picture) for p, picture in zip(here, pictures, strict=True)}
    return made


def _side_by_side(left: U8, right: U8) -> U8:
    half = CELL_PX // 2
    both = np.concatenate([left[:, :half], right[:, half:]], axis=1)
    for end in (slice(None, TICK_PX), slice(-TICK_PX, None)):  # where they meet, else a good match shows no seam
        both[end, half - 1 : half + 1] = PAPER
    return both


def _moved(found: Remade, recipe: Recipe, place: int, light: int) -> str:
    step = recipe.lab[place, light] - found.booth.target_lab[place, light]
    return " ".join(
        f"{name} {round(value, 1) + 0.0:+.1f}" for name, value in zip(("L*", "a*", "b*"), step.tolist(), strict=True)
    )
