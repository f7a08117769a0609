"""A spray-out card: which film lies over which background and how far each reading of it is trusted; and what it tells
of its dye, how far each step is off, its doubts and what to do next.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    XYZ_TO_RGB_LIN,
    bradford,
    delta_e_2000,
    lab_to_xyz,
    white_xyz,
)
from layerpreview.film import Film, MetalBase, diffuse_film, lamp_at, metal_film
from layerpreview.learn.as_read import eye_of, numbers_of
from layerpreview.learn.changed import Drift
from layerpreview.learn.fit import DyeFit, fit_dye
from layerpreview.learn.frame_read import CardPhoto
from layerpreview.learn.mirror import find_mirror, stated_of, told
from layerpreview.learn.model import (
    Card,
    Eye,
    Ground,
    Window,
    as_lab,
    ground_of_rgb,
    ground_of_spectrum,
    lightness_root,
    lightness_root_back,
    photo_eye,
    reflectance_of,
)
from layerpreview.learn.next_step import NextStep, next_steps
from layerpreview.learn.readings import Readings
from layerpreview.learn.same_card import ReadAgain

F64 = NDArray[np.float64]

FLAKE_SPREADS = (0.1, 0.2, 0.3, 0.4, 0.5)
GEOMETRIES = ("even", "45/0", "d/8 excluded", "d/8 included")
_NOISE = {"lab": 0.35, "xyz": 0.35, "srgb": 0.6, "spectrum": 0.35}
"""Standard deviation of one number, in L* steps: assumed. Of a spectrum that of a white, see `noise_shape`."""
_PHOTO_NOISE = 0.35
_BASE_ROUGHER = 2.0  # a textured base is seen from a different side in each window
_TONE_SPREAD = 0.12  # of the logarithm of a camera's contrast over sRGB: assumed
ASSUMED_BARE = {"white": 0.85, "base": 0.65}


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
        windows.append(Window(row.background, step, row.coats * row.strength, read, trusted, row.line, at_most))
    grounds, notes = [], []
    for name in dict.fromkeys(row.background for row in readings.rows):
        bare = [window.read for window in windows if window.ground == name and window.load == 0]
        ground, note = _ground(name, bare, eye, setting, words="measured", spread=0.02)
        grounds.append(ground)
        notes += note
    *others, only = grounds
    if not others:
        notes.append(f"only the {only.name} was read: over the other kind of background the dye is less sure")
    return Card(eye, tuple(grounds), tuple(windows), noise, masked=setting.masked, notes=tuple(notes))


def card_of_photo(photo: CardPhoto, setting: CardSetting, coats: Sequence[float]) -> Card:
    """Put a photo of the frame together as a card; `coats` says what each column got, from the left.

    Columns are read up to the number of `coats`. Without a grey card the tone curve's exponent is one more unknown.
    """
    eye = photo_eye(setting.light)
    windows = []
    for patch in photo.windows:
        if patch.box.column < len(coats):
            load = float(coats[patch.box.column])
            read = 116.0 * lightness_root(patch.rgb_lin)
            step = patch.box.column if load else 0
            rough = _BASE_ROUGHER if patch.box.what == "base" else 1.0
            windows.append(
                Window(patch.box.what, step, load, read, ~patch.clipped, at_most=patch.buried, noise_factor=rough)
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
    return Card(eye, tuple(grounds), tuple(windows), noise, masked=setting.masked, tone_spread=tone, notes=tuple(notes))


def _ground(
    name: str, bare: list[F64], eye: Eye, setting: CardSetting, *, words: str, spread: float
) -> tuple[Ground, list[str]]:
    """A bare background from its readings; three numbers tell it to within the share `spread`."""
    film = setting.film(name)
    if not bare:
        assumed = ASSUMED_BARE[name]
        note = f"the bare {name} (0 coats) was not read: assumed a grey of {assumed:g}; the strength is less sure"
        return ground_of_rgb(name, film, np.full(3, assumed), spread=0.1, words="assumed"), [note]
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


def fit_with_flake_spread(card_of: Callable[[CardSetting], Card], setting: CardSetting) -> tuple[CardSetting, DyeFit]:
    """Fit with several flake spreads and keep the one that explains both backgrounds best: the white anchors it."""
    first = fit_dye(card_of(setting))
    costs = {setting: first.cost}
    for spread in FLAKE_SPREADS:
        tried = replace(setting, flake_spread=spread)
        if tried != setting:
            costs[tried] = fit_dye(card_of(tried), near=first).cost
    best = min(costs, key=lambda tried: costs[tried])
    return best, first if best == setting else fit_dye(card_of(best))


CardOf = Callable[[CardSetting], Card]


@dataclass(frozen=True)
class Asked:
    """What is said of a card, in numbers, with what was assumed: `load_mg_m2` [mg/m2] of pure dye in one coat."""

    setting: CardSetting
    spread_known: bool
    load_mg_m2: float
    concentrate_g_per_L: float | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class StepPair:
    """One window: what was read and what the model gives, L*a*b*, and how far apart they are."""

    background: str
    words: str
    measured_lab: tuple[float, float, float]
    fitted_lab: tuple[float, float, float]
    de00: float


@dataclass(frozen=True, eq=False)
class Found:
    """One area of the frame in the photo: its corners [px] (4, 2), words, and whether it was left out."""

    corners_px: F64
    words: str
    left_out: bool = False


@dataclass(frozen=True, eq=False)
class CardFound:
    """A photo of a card as it was read: its pixels (8 bit), the areas, and what was odd.

    `chart_left_out_de00`: mean CIEDE2000 of a chart's patches, each told from the others; None without a chart.
    """

    pixels: NDArray[np.uint8]
    areas: tuple[Found, ...]
    notes: tuple[str, ...]
    chart_left_out_de00: float | None = None


@dataclass(frozen=True, eq=False)
class Fitted:
    """What was learnt of the dye `name`.

    `builds` by step: coats as they came out (5 %, likely, 95 %); `load_per_coat_mg_m2`, `tested_to_mg_m2` [mg/m2] of
    pure dye. `absorptivity` [L/(g cm)] (81,), with its 90 % range; `rests_on` where it is from; `fit` all of the fit;
    `found` in a photo; `mirror_share` [0..1] of the light was taken off readings. `drift` from an earlier dye file and
    what was `read_again` after the clear, where either was asked for.
    """

    name: str
    steps: tuple[StepPair, ...]
    builds: dict[int, tuple[float, float, float]]
    misfit: float
    ambiguous: float
    flake_spread: float
    load_per_coat_mg_m2: float
    tested_to_mg_m2: float
    notes: tuple[str, ...]
    next_steps: tuple[NextStep, ...]
    heaviest_coats: float
    concentrate_g_per_L: float | None
    rests_on: str
    absorptivity: F64 = field(repr=False)
    low: F64 = field(repr=False)
    high: F64 = field(repr=False)
    fit: DyeFit = field(repr=False)
    found: CardFound | None = field(default=None, repr=False)
    mirror_share: float = 0.0
    drift: Drift | None = field(default=None, repr=False)
    read_again: ReadAgain | None = field(default=None, repr=False)


def fitted_of(
    card_of: CardOf, asked: Asked, *, name: str, source: str, notes: Sequence[str], found: CardFound | None = None
) -> Fitted:
    """Fit the dye on the card that `card_of` makes of a setting. Raises NoAnswerError where that fails.

    `source`: what the card was read from, in a few letters; `notes`: what was said while it was read.
    """
    setting, fit, mirror_words = _fit(card_of, asked)
    wanted = (1.0, 0.5 * fit.heaviest_load, fit.heaviest_load)
    per_load = 1.0 / (1e-4 * asked.load_mg_m2)
    best, low, high = (per_load * values for values in (fit.absorbance10, fit.low, fit.high))
    return Fitted(
        name=name,
        steps=tuple(_pairs(fit)),
        builds={step: (build.low, build.likely, build.high) for step, build in fit.builds.items()},
        misfit=fit.misfit,
        ambiguous=fit.ambiguous,
        flake_spread=setting.flake_spread,
        load_per_coat_mg_m2=asked.load_mg_m2,
        tested_to_mg_m2=fit.heaviest_load * asked.load_mg_m2,
        notes=tuple(
            dict.fromkeys([*notes, *fit.card.notes, *asked.notes, *mirror_words, *_doubts(fit, setting, asked)])
        ),
        next_steps=tuple(next_steps(fit, wanted_loads=wanted, lights=("D65", "A"))),
        heaviest_coats=fit.heaviest_load,
        concentrate_g_per_L=asked.concentrate_g_per_L,
        rests_on=_rests_on(fit, source),
        absorptivity=best,
        low=low,
        high=high,
        fit=fit,
        found=found,
        mirror_share=setting.mirror if found is None else 0.0,
    )


def _fit(card_of: CardOf, asked: Asked) -> tuple[CardSetting, DyeFit, list[str]]:
    """The setting that explains a card best, its fit, and what is to be said of the mirror image in its readings."""
    setting, first = _fit_spread(card_of, asked)
    stated = stated_of(setting.geometry)
    share, fit = find_mirror(lambda tried: card_of(replace(setting, mirror_share=tried)), first, stated)
    if share == stated.share:
        return setting, first, []
    # What a wrong mirror image did to the spread of the flakes is found anew.
    setting, fit = _fit_spread(card_of, replace(asked, setting=replace(setting, mirror_share=share)))
    return setting, fit, told(share, fit, first, stated)


def _fit_spread(card_of: CardOf, asked: Asked) -> tuple[CardSetting, DyeFit]:
    card = card_of(asked.setting)
    both = {"white", "base"} <= {ground.name for ground in card.grounds}
    if asked.spread_known or asked.setting.base_kind != "metal" or not both:
        return asked.setting, fit_dye(card)
    return fit_with_flake_spread(card_of, asked.setting)


def _pairs(fit: DyeFit) -> list[StepPair]:
    """Every window, measured and fitted; a channel that was left out is shown as fitted."""
    out = []
    for window, fitted in zip(fit.card.windows, fit.fitted, strict=True):
        limit = window.at_most if window.at_most is not None else np.zeros(fitted.shape, dtype=bool)
        read = np.where(window.trusted & ~limit, window.read, fitted)
        labs = [as_lab(fit.card.eye, values) for values in (read, fitted)]
        measured, model = ((float(lab[0]), float(lab[1]), float(lab[2])) for lab in labs)
        words = "bare" if window.load == 0 else f"{window.load:g} coat{'s' if window.load != 1 else ''}"
        out.append(StepPair(window.ground, words, measured, model, float(delta_e_2000(labs[0], labs[1]))))
    return sorted(out, key=lambda pair: pair.background, reverse=True)


def _doubts(fit: DyeFit, setting: CardSetting, asked: Asked) -> list[str]:
    said = [f"look again: {line}" for line in fit.strained]
    if fit.ambiguous > 0.1:
        said.append(
            f"two unlike spectra explain the card ({100 * (1 - fit.ambiguous):.0f} % this one): see the next step"
        )
    if not asked.spread_known and setting.base_kind == "metal":
        both = len(fit.card.grounds) > 1
        how = "found from the two backgrounds" if both else "assumed"
        said.append(f"flake spread {setting.flake_spread:g}: {how}")
    return said


def _rests_on(fit: DyeFit, source: str) -> str:
    steps = len(fit.builds)
    grounds = " and ".join(ground.name for ground in fit.card.grounds)
    return f"fitted to {source}: {steps} steps over {grounds}, {fit.card.eye.words}; misfit {fit.misfit:.1f}"
