"""A spray-out card: which film lies over which background and how far each reading of it is trusted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    XYZ_TO_RGB_LIN,
    bradford,
    lab_to_xyz,
    white_xyz,
)
from layerpreview.film import Film, MetalBase, diffuse_film, lamp_at, metal_film
from layerpreview.learn.card.as_read import eye_of, numbers_of
from layerpreview.learn.card.model import (
    Card,
    Eye,
    Ground,
    Window,
    ground_of_rgb,
    ground_of_spectrum,
    lightness_root,
    lightness_root_back,
    photo_eye,
    reflectance_of,
)
from layerpreview.learn.card.repeats import averaged
from layerpreview.learn.read.columns import Column, as_columns, in_steps
from layerpreview.learn.read.frame_read import CardPhoto
from layerpreview.learn.read.readings import Readings

F64 = NDArray[np.float64]

GEOMETRIES = ("even", "45/0", "d/8 excluded", "d/8 included")
_NOISE = {"lab": 0.35, "xyz": 0.35, "srgb": 0.6, "spectrum": 0.35}
"""Standard deviation of one number, in L* steps: assumed. Of a spectrum that of a white, see `noise_shape`."""
_PHOTO_NOISE = 0.35
_BASE_ROUGHER = 2.0  # a textured base is seen from a different side in each window
_TONE_SPREAD = 0.12  # of the logarithm of a camera's contrast over sRGB: assumed
ASSUMED_BARE = {"white": 0.85, "base": 0.65}
INCLUDED = 0.04  # what the film's face sends back straight on, n = 1.5


@dataclass(frozen=True)
class Stated:
    """What a geometry says of the mirror image: its `share` of the light, to within `spread` (assumed)."""

    share: float
    spread: float


def stated_of(geometry: str) -> Stated:
    """With the mirror included 4 % +- 1 %; else none, to within the 2 % that leave a gloss trap or reach 45 degrees."""
    return Stated(INCLUDED, 0.01) if geometry == "d/8 included" else Stated(0.0, 0.02)


@dataclass(frozen=True)
class CardSetting:
    """What a card was sprayed and read on: base kind, flake spread, light, observer, geometry, and how masked.

    `mirror_share` [0..1] is the mirror image in its readings; None: what the geometry says.
    """

    base_kind: str = "metal"
    flake_spread: float = 0.3
    light: str = "D65"
    observer_deg: int = 2
    geometry: str = "even"
    masked: bool = True
    mirror_share: float | None = None

    @property
    def mirror(self) -> float:
        """The share of mirror image that is taken off readings."""
        return stated_of(self.geometry).share if self.mirror_share is None else self.mirror_share

    def film(self, background: str) -> Film:
        """The film over one of the card's backgrounds, seen as the instrument sees it."""
        lamp, view = {"even": (None, 0.0), "45/0": (45.0, 0.0)}.get(self.geometry, (None, 8.0))
        if background == "white" or self.base_kind != "metal":
            return diffuse_film(lamp_at(lamp), view_deg=view)
        return metal_film(MetalBase(flake_spread=self.flake_spread), lamp_at(lamp), view_deg=view)


def card_of_readings(readings: Readings, setting: CardSetting) -> Card:
    """Put a file of readings together as a card for the fit.

    Raises InputError where a reading makes no sense. Bare windows (0 coats) that are missing are assumed, and `notes`
    say so.
    """
    eye = eye_of(readings, light=setting.light, observer_deg=setting.observer_deg)
    noise = _NOISE[readings.kind]
    windows = []
    steps: dict[tuple[float, float], int] = {}
    for row in readings.rows:
        step = steps.setdefault((row.coats, row.strength), len(steps) + 1) if row.coats else 0
        read, trusted, at_most = numbers_of(
            row, readings, light=setting.light, observer_deg=setting.observer_deg, mirror=setting.mirror
        )
        load = row.coats * row.strength
        windows.append(
            Window(row.background, step, load, read, trusted, row.line, at_most, strength=row.strength if load else 1.0)
        )
    grounds, notes = [], []
    for name in dict.fromkeys(row.background for row in readings.rows):
        bare = [window.read for window in windows if window.ground == name and window.load == 0]
        ground, note = _ground(name, bare, eye, setting, words="measured", spread=0.02)
        grounds.append(ground)
        notes += note
    *others, only = grounds
    if not others:
        notes.append(f"only the {only.name} was read: over the other kind of background the dye is less sure")
    windows = averaged(windows, file=readings.file)
    return Card(eye, tuple(grounds), tuple(windows), noise, masked=setting.masked, notes=tuple(notes))


def card_of_photo(photo: CardPhoto, setting: CardSetting, coats: Sequence[float | Column]) -> Card:
    """Put a photo of the frame together as a card; `coats` says what each column got, from the left.

    Windows that it names are read; those of unlike strengths share no coats. Without a grey card the tone curve's
    exponent is one more unknown.
    """
    eye, columns = photo_eye(setting.light), as_columns(coats)
    windows = []
    for patch in photo.windows:
        if patch.box.column < len(columns) and columns[patch.box.column].over(patch.box.what):
            load, strength = columns[patch.box.column].load, columns[patch.box.column].strength
            read = 116.0 * lightness_root(patch.rgb_lin)
            step = patch.box.column if load else 0
            rough = _BASE_ROUGHER if patch.box.what == "base" else 1.0
            windows.append(
                Window(
                    patch.box.what,
                    step,
                    load,
                    read,
                    ~patch.clipped,
                    at_most=patch.buried,
                    noise_factor=rough,
                    strength=strength,
                )
            )
    grounds, notes = [], list(photo.notes)
    for name in ("white", "base"):
        bare = [w.read for w in windows if w.ground == name and w.load == 0 and w.sure]
        ground, note = _ground(name, bare, eye, setting, words="measured in the photo", spread=0.05)
        grounds.append(ground)
        notes += note
    noise, tone = (_PHOTO_NOISE, 0.0) if photo.tone_known else (1.5 * _PHOTO_NOISE, _TONE_SPREAD)
    if photo.chart_left_out_de00 is not None:
        noise = max(noise, photo.chart_left_out_de00)  # what the camera does to a colour that it was not taught
    masked = setting.masked and in_steps(columns)  # else the frame asks for every column by itself
    return Card(eye, tuple(grounds), tuple(windows), noise, masked=masked, tone_spread=tone, notes=tuple(notes))


def assumed_ground(name: str, setting: CardSetting) -> Ground:
    """A background that was not read: a grey of the usual lightness."""
    grey = np.full(3, ASSUMED_BARE[name])
    return ground_of_rgb(name, setting.film(name), grey, spread=0.1, words="assumed")


def _ground(
    name: str, bare: list[F64], eye: Eye, setting: CardSetting, *, words: str, spread: float
) -> tuple[Ground, list[str]]:
    """A bare background from its readings; three numbers tell it to within the share `spread`."""
    film = setting.film(name)
    if not bare:
        assumed = ASSUMED_BARE[name]
        note = f"the bare {name} (0 coats) was not read: assumed a grey of {assumed:g}; the strength is less sure"
        return assumed_ground(name, setting), [note]
    read = np.mean(bare, axis=0)
    if eye.tone:
        rgb = np.asarray(lightness_root_back(read / 116.0))
        return ground_of_rgb(name, film, rgb, spread=spread, words=words), []
    if eye.at_nm is None:
        white = white_xyz(setting.light, observer_deg=setting.observer_deg)
        adapt = bradford(white, DISPLAY_WHITE_XYZ)
        rgb = XYZ_TO_RGB_LIN @ adapt @ lab_to_xyz(read, white_xyz=white)
        return ground_of_rgb(name, film, rgb, spread=spread, words=words), []
    bare_spectrum = reflectance_of(eye.at_nm, read)
    return ground_of_spectrum(name, film, bare_spectrum, spread=0.03, words=words), []
