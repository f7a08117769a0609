"""The pictures of a round of learning the eye: the textured base under any load, and the answer as a sheet."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from layerpreview.answers.practise import (
    BASES,
    CHOICES,
    FILM_UM,
    HIGH_MM,
    PICTURE_PX,
    ROUNDS,
    WIDE_MM,
    Round,
    base_scheme,
    off_de00,
    per_coat10,
    scheme_of,
)
from layerpreview.answers.practise_lessons import choice_words, mix_words, question_words, verdict
from layerpreview.finish.layers import stack_of
from layerpreview.finish.look import Look, make_look
from layerpreview.finish.stack import DyeLayer
from layerpreview.output.swatches import Cell, base_cell, swatch_grid, textured_cells

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]
ACROSS = 3
CHIP_PX, CHIP_ROWS = 140, 20
NOTE = (
    f"One coat is {FILM_UM:g} um wet. Differences are CIEDE2000 of the mean colour: up to 0.8 hardly anyone sees them, "
    "above 1.8 most do. Even light D65; approximate."
)


def pictures(asked: Round, loads: list[float], cell: Cell | None = None, cell_px: int = PICTURE_PX) -> U8:
    """The base of a round, or a `cell` of it, under `loads` [coats at the strength told], even light.

    8-bit (K, rows, cell_px, 3).
    """
    most = max(float(CHOICES - 1), asked.loads[-1])
    builds = np.array(loads, dtype=np.float64)[:, None] / most
    return textured_cells(_look(asked, most), cell or _cell(asked.base), builds, cell_px=cell_px)


def picture_png(asked: Round, load: float) -> bytes:
    """One of these as PNG: without loss, since a step that is hardly seen must not be one of the file's making."""
    out = io.BytesIO()
    Image.fromarray(pictures(asked, [load])[0]).save(out, "PNG", compress_level=1)
    return out.getvalue()


def chips_png(asked: Round) -> bytes:
    """A small piece of the base under every choice, below each other, as PNG."""
    chips = pictures(asked, list(asked.loads), _piece(asked.base), CHIP_PX)
    out = io.BytesIO()
    Image.fromarray(chips.reshape(-1, CHIP_PX, 3)).save(out, "PNG", compress_level=1)
    return out.getvalue()


def question_sheet(asked: Round) -> U8:
    """The base, one coat and the target beside each other, with the question."""
    shown = pictures(asked, [0.0, 1.0, asked.loads[asked.right]])
    heads = [[BASES[asked.base][0]], [f"one coat, {mix_words(asked)}"], ["the target"]]
    title = f"Round {asked.number} of {ROUNDS}: {question_words(asked)}"
    return swatch_grid([list(shown)], [heads], title=title, notes=[NOTE])


def answer_sheet(asked: Round) -> U8:
    """The target among all choices, each with how far it is from it."""
    shown = list(pictures(asked, list(asked.loads)))
    told = [
        [choice_words(asked, k), f"off by {off_de00(asked, k):.1f}" if k != asked.right else "the target"]
        for k in range(CHOICES)
    ]
    lesson = verdict(asked, asked.right).lesson
    return swatch_grid(
        [shown[k : k + ACROSS] for k in range(0, CHOICES, ACROSS)],
        [told[k : k + ACROSS] for k in range(0, CHOICES, ACROSS)],
        title=f"Round {asked.number} of {ROUNDS}: {choice_words(asked, asked.right)}",
        notes=[lesson, NOTE],
    )


@lru_cache(maxsize=8)
def _cell(base: str) -> Cell:
    whole = base_cell(base_scheme(base), cell_mm=WIDE_MM, cell_px=PICTURE_PX)
    pixels = round(HIGH_MM / WIDE_MM * PICTURE_PX) * PICTURE_PX
    path = None if whole.path is None else np.ascontiguousarray(whole.path[:, :pixels])
    return Cell(np.ascontiguousarray(whole.bare[:, :pixels]), path, whole.tint_rgb)


@lru_cache(maxsize=8)
def _piece(base: str) -> Cell:
    """The piece of a base that is as light as the whole: a chip of it stands for the rest."""
    whole = _cell(base)

    def cut(plane: F32) -> F32:
        """Into pieces: (channels, pieces, pixels)."""
        rows = plane.shape[1] // PICTURE_PX
        blocks = plane.reshape(len(plane), rows // CHIP_ROWS, CHIP_ROWS, PICTURE_PX // CHIP_PX, CHIP_PX)
        return blocks.swapaxes(2, 3).reshape(len(plane), -1, CHIP_ROWS * CHIP_PX)

    bare = cut(whole.bare)
    at = int(np.argmin(np.abs(bare.mean(axis=(0, 2)) - whole.bare.mean())))
    path = None if whole.path is None else np.ascontiguousarray(cut(whole.path)[:, at])
    return Cell(np.ascontiguousarray(bare[:, at]), path, whole.tint_rgb)


@lru_cache(maxsize=8)
def _look(asked: Round, most: float) -> Look:
    scheme = scheme_of(asked)
    stack = replace(stack_of(scheme, bare=True), layers=(DyeLayer(per_coat10(asked) * most),))
    return make_look(stack, light=scheme.lights[0], tint_rgb=_cell(asked.base).tint_rgb)
