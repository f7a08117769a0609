"""What a board holds: its options with their limits, figures and pictures."""

from __future__ import annotations

import base64
import io
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from layerpreview.colour import LIFELIKE
from layerpreview.finish.look import Look, scaled_look
from layerpreview.finish.view import Surroundings
from layerpreview.job.figures import Figures, figures_of
from layerpreview.output.board_code import LETTERS
from layerpreview.output.board_words import Words, label_words, light_word, where_words
from layerpreview.output.pictures import lifelike_small
from layerpreview.picture.lifelike import lifelike_of, looks_of
from layerpreview.picture.render import share_out_of_gamut
from layerpreview.picture.scene import Scene, appearances_of, make_scene
from layerpreview.picture.seats import seats_of
from layerpreview.picture.spots import FIGURES_WIDTH_PX
from layerpreview.scheme import DyeCoat, Scheme

U8 = NDArray[np.uint8]

PICTURE_WIDTH_PX, PICTURE_QUALITY = 640, 82


@dataclass(frozen=True)
class CoatLimits:
    """One entry of the scheme's coats on the board: what it is called, and between which numbers it may move.

    `mix` is None for an opaque coat. `film` is the low and high film against the likely one.
    """

    label: str
    where: str
    mix: str | None
    coats: int
    fewest: int
    most: int
    film: tuple[float, float]


@dataclass(frozen=True)
class MixLimits:
    """One mix on the board: its strength may move between these percentages of the scheme's."""

    name: str
    weakest: int
    strongest: int


@dataclass(frozen=True)
class OptionLimits:
    """What the client may move in one option."""

    coats: tuple[CoatLimits, ...]
    mixes: tuple[MixLimits, ...]

    def proposed(self) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """Coats and strengths [%] as proposed, which `board_limits` keeps within what may be chosen."""
        return tuple(coat.coats for coat in self.coats), (100,) * len(self.mixes)

    def most_build(self) -> list[float]:
        """The largest build of each layer against the scheme's own."""
        strongest = {mix.name: mix.strongest / 100.0 for mix in self.mixes}
        return [
            max(coat.most / coat.coats, 1e-3) * (strongest[coat.mix] * coat.film[1] if coat.mix else 1.0)
            for coat in self.coats
        ]


@dataclass(frozen=True, eq=False)
class Picture:
    """A rendered picture for people without live colour, as a JPEG."""

    words: str
    data: bytes
    width_px: int
    height_px: int

    @property
    def uri(self) -> str:
        """The picture as the page's template has it."""
        return data_uri(self.data)


@dataclass(frozen=True, eq=False)
class Stills:
    """The rendered pictures of one option: by light, and of its base before anything is sprayed."""

    pictures: dict[str, Picture]
    bare: Picture


@dataclass(frozen=True, eq=False)
class Told:
    """What is told of one option: its figures, and by light the share of it outside the gamut of a screen."""

    figures: Figures
    out_of_gamut: dict[str, float]


@dataclass(frozen=True, eq=False)
class Option:
    """One scheme on the board; `pictures` by light."""

    letter: str
    scheme: Scheme
    limits: OptionLimits
    around: Surroundings
    figures: Figures
    pictures: dict[str, Picture]
    bare_picture: Picture
    out_of_gamut: dict[str, float]


def make_option(
    scheme: Scheme, limits: OptionLimits, *, number: int, around: Surroundings, stills: Stills, told: Told
) -> Option:
    """Put together what was made of one option, the `number`th of its board [from 0]."""
    return Option(
        letter=LETTERS[number],
        scheme=scheme,
        limits=limits,
        around=around,
        figures=told.figures,
        pictures=stills.pictures,
        bare_picture=stills.bare,
        out_of_gamut=told.out_of_gamut,
    )


def stills_of(
    scheme: Scheme, coats: int, *, lights: Sequence[str], around: Surroundings, words: Mapping[str, str]
) -> Stills:
    """Render the pictures of one option of so many entries of `coats`. `words`: of the page, for what is seen there."""
    scene = lifelike_of(scheme, around, width_px=PICTURE_WIDTH_PX)
    looks = {light: looks_of(scheme, scene, light) for light in lights}
    nothing = _with(looks[lights[0]], [0.0] * coats)
    bare, *shown = lifelike_small(scene, [nothing, *looks.values()], rolled_from=LIFELIKE)
    pictures = {
        light: _picture(words["finished_under"].format(light=light_word(light, words)), pixels)
        for light, pixels in zip(lights, shown, strict=True)
    }
    return Stills(pictures, _picture(words["bare"], bare))


def told_of(scheme: Scheme, *, lights: Sequence[str]) -> Told:
    """Work out what is told of one option."""
    flat = make_scene(scheme, width_px=FIGURES_WIDTH_PX)
    return Told(figures_of(scheme, flat), _out_of_gamut(scheme, flat, lights))


def _with(looks: Mapping[str, Look], factors: Sequence[float]) -> dict[str, Look]:
    """The looks with the build of every layer multiplied."""
    return {name: scaled_look(look, factors) for name, look in looks.items()}


def _out_of_gamut(scheme: Scheme, scene: Scene, lights: Sequence[str]) -> dict[str, float]:
    appearances = appearances_of(scheme, scene, lights)
    pictures, cover = scene.render_strip(appearances, 0, scene.height_px)
    return {light: share_out_of_gamut(rgb, cover) for light, rgb in zip(lights, pictures, strict=True)}


def _picture(words: str, pixels: U8) -> Picture:
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=PICTURE_QUALITY, optimize=True, progressive=True)
    return Picture(words, out.getvalue(), pixels.shape[1], pixels.shape[0])


def data_uri(data: bytes) -> str:
    """A picture file as the text of an address."""
    return f"data:image/jpeg;base64,{base64.b64encode(data).decode('ascii')}"


def option_json(option: Option, words: Mapping[str, Words]) -> dict[str, Any]:
    """One option as the page's script reads it, all but its live picture; its coats' words by language."""
    coats = list(zip(option.limits.coats, option.scheme.coats, strict=True))
    return {
        "letter": option.letter,
        "name": option.scheme.name,
        "coats": [
            {
                **asdict(limit),
                "label": {lang: label_words(coat, own) for lang, own in words.items()},
                "where": {lang: where_words(option.scheme, i, own) for lang, own in words.items()},
            }
            for i, (limit, coat) in enumerate(coats)
        ],
        "mixes": [asdict(mix) for mix in option.limits.mixes],
        "seats": [asdict(seat) for seat in seats_of(option.scheme)],
    }


def film_ends(scheme: Scheme, index: int) -> tuple[float, float]:
    """Low and high film of a dye coat against the likely one; an opaque coat hides by its nominal build."""
    coat = scheme.coats[index]
    if not isinstance(coat, DyeCoat):
        return (1.0, 1.0)
    film = coat.film_um
    return (film.low / film.likely, film.high / film.likely)
