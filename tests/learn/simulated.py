"""Simulated spray-outs for the tests and the bench: dyes made in another way than the fit's own prior, known builds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    WAVELENGTHS_NM,
    XYZ_TO_RGB_LIN,
    encode_srgb,
    lab_to_xyz,
    rgb_basis,
    xyz_to_lab,
    xyz_weights,
)
from layerpreview.film import MetalBase, diffuse_film, metal_film
from layerpreview.learn.card.model import Card, Window, ground_of_rgb, lab_eye, photo_eye
from layerpreview.learn.card.setting import CardSetting, card_of_photo
from layerpreview.learn.fit.colourant import KnownDye
from layerpreview.learn.fit.one_card import DyeFit
from layerpreview.learn.read.frame import find_card
from layerpreview.learn.read.frame_read import read_card_photo
from layerpreview.learn.read.readings import Kind, Reading, Readings

from .card_pictures import SLANTED_PX, frame_photo

F64 = NDArray[np.float64]

METAL = metal_film(MetalBase(flake_spread=0.3))
WHITE = diffuse_film()
STEPS = (1, 2, 3, 4, 5, 6)


def random_dye(rng: np.random.Generator) -> F64:
    """A dye (81,) of peak 1: bands that are symmetrical in energy and skewed, with a vibronic ladder, not the prior's.

    Wavenumber bands of a Pekarian shape (a progression with a Poisson envelope); most as broad as azo dyes and their
    metal complexes are (deviation 800 to 1700 /cm), one in five as narrow as triarylmethanes and cyanines; one or two
    transitions, and a share of blacks and browns made of many. Widths from memory of such dyes, no source.
    """
    energy = 1e4 / WAVELENGTHS_NM * 1e3  # 1/cm

    def transition(origin_nm: float, *, width: float, spacing: float, huang_rhys: float) -> F64:
        total = np.zeros_like(energy)
        share = np.exp(-huang_rhys)
        for level in range(6):
            place = 1e7 / origin_nm + level * spacing
            total += share * np.exp(-0.5 * ((energy - place) / width) ** 2)
            share *= huang_rhys / (level + 1)
        return total / total.max()

    def one() -> F64:
        return transition(
            float(rng.uniform(410, 690)),
            width=float(rng.uniform(450, 750) if narrow else rng.uniform(800, 1700)),
            spacing=float(rng.uniform(1000, 1500)),
            huang_rhys=float(rng.uniform(0.2, 1.4)),
        )

    narrow = rng.random() < 0.2
    kinds = rng.random()
    dye = one()
    if kinds > 0.35:
        dye = dye + rng.uniform(0.05, 0.6) * one()
    if kinds > 0.85:
        dye = dye + rng.uniform(0.3, 0.9) * one() + rng.uniform(0.3, 0.9) * one()
    dye = dye + rng.uniform(0.0, 0.5) * transition(
        float(rng.uniform(360, 400)), width=1800, spacing=1300, huang_rhys=0.5
    )
    dye = dye + rng.uniform(0.0, 0.015)
    return np.asarray(dye / dye.max())


@dataclass(frozen=True)
class Truth:
    """What a simulated card was made of: absorbance of one nominal coat (81,), bare spectra, real builds by step."""

    absorbance10: F64
    white: F64
    metal: F64
    builds: F64


def random_truth(rng: np.random.Generator, *, scatter: float = 0.05, dye: F64 | None = None) -> Truth:
    """A dye of peak 0.06 to 0.4 a coat, a slightly tinted white card and silver, builds that add up coat by coat.

    `dye`: its shape (81,) of peak 1, a made-up one if none is given.
    """
    peak = float(np.exp(rng.uniform(np.log(0.06), np.log(0.4))))
    white = (np.array([0.86, 0.86, 0.84]) * rng.uniform(0.95, 1.03, 3)) @ rgb_basis()
    metal = (np.array([0.62, 0.63, 0.65]) * rng.uniform(0.9, 1.1) * rng.uniform(0.97, 1.03, 3)) @ rgb_basis()
    coats = 1.0 + scatter * rng.standard_normal(max(STEPS))
    return Truth(peak * (random_dye(rng) if dye is None else dye), white, metal, np.cumsum(coats))


def lab_card(truth: Truth, rng: np.random.Generator, *, noise: float = 0.01, light: str = "D65") -> Card:
    """L*a*b* readings of every window: `noise` of all the light of a reading, and a third of it in X, Y, Z apart."""
    eye = lab_eye(light, 2)
    windows, bares = [], {}
    for name, coats, spectrum in each_window(truth):
        xyz = (eye.take @ spectrum) * (1.0 + noise * rng.standard_normal() + 0.3 * noise * rng.standard_normal(3))
        lab = xyz_to_lab(xyz, white_xyz=np.ones(3))
        windows.append(Window(name, coats, float(coats), lab, np.ones(3, dtype=bool)))
        if not coats:
            bares[name] = XYZ_TO_RGB_LIN @ lab_to_xyz(lab, white_xyz=DISPLAY_WHITE_XYZ)
    grounds = tuple(
        ground_of_rgb(name, film, bares[name], spread=0.02) for name, film in (("white", WHITE), ("base", METAL))
    )
    return Card(eye, grounds, tuple(windows), noise=0.35)


def readings_of(
    truth: Truth, rng: np.random.Generator, kind: Kind, *, noise: float = 0.01, step_nm: int = 10
) -> Readings:
    """A file's readings of every window, light and noise as in `lab_card`; spectra from 400 to 700 nm.

    A spectrum is off by `noise` as a whole, by a third of it over some 20 nm and by a tenth at each wavelength; a
    screen colour is rounded to 8 bits, and what a screen cannot show is held at its edge.
    """
    at_nm = np.arange(400.0, 701.0, step_nm)
    near = np.exp(-0.5 * np.square((at_nm[:, None] - at_nm) / 20.0)) + 1e-9 * np.eye(at_nm.size)
    smooth = np.linalg.cholesky(near)
    rows = []
    for line, (name, coats, spectrum) in enumerate(each_window(truth), start=2):
        if kind == "spectrum":
            light = np.interp(at_nm, WAVELENGTHS_NM, spectrum)
            off = rng.standard_normal() + 0.3 * smooth @ rng.standard_normal(at_nm.size)
            values = light * (1.0 + noise * (off + 0.1 * rng.standard_normal(at_nm.size)))
        else:
            xyz = xyz_weights("D65") @ spectrum
            xyz *= 1.0 + noise * rng.standard_normal() + 0.3 * noise * rng.standard_normal(3)
            if kind == "srgb":
                values = np.round(255.0 * encode_srgb(np.clip(XYZ_TO_RGB_LIN @ xyz, 0.0, 1.0))) / 255.0
            else:
                values = xyz if kind == "xyz" else xyz_to_lab(xyz, white_xyz=DISPLAY_WHITE_XYZ)
        rows.append(Reading(name, float(coats), tuple(values.tolist()), line))
    return Readings("card.csv", kind, tuple(at_nm.tolist()) if kind == "spectrum" else (), tuple(rows), {}, ())


def photo_card(truth: Truth, rng: np.random.Generator, *, grey: bool, light: str = "") -> Card:
    """A card from a simulated photo: another light, uneven, coloured, 1 % noise, contrast off sRGB, 8-bit JPEG."""
    light = light or str(rng.choice(["D50", "D75", "A", "LED-B3", "LED-B5"]))
    eye = photo_eye(light)
    colours = {(name, coats): eye.take @ spectrum for name, coats, spectrum in each_window(truth)}
    picture = frame_photo(
        colours,
        rng,
        grey=0.18 if grey else None,
        corners_px=np.array(SLANTED_PX) + rng.uniform(-40, 40, (4, 2)),
        exposure=float(rng.uniform(0.6, 0.95)),
        cast=(float(rng.uniform(0.9, 1.1)), 1.0, float(rng.uniform(0.8, 1.1))),
        power=float(rng.uniform(0.88, 1.15)),
        vignette=float(rng.uniform(0.0, 0.35)),
    )
    photo = read_card_photo(picture, find_card(picture), grey_reflectance=0.18 if grey else None)
    return card_of_photo(photo, CardSetting(light=light), (0, *STEPS))


def each_window(truth: Truth) -> Iterator[tuple[str, int, F64]]:
    """Background, coats and reflectance (81,) of every window."""
    for name, film, bare in (("white", WHITE, truth.white), ("base", METAL, truth.metal)):
        for coats in (0, *STEPS):
            build = float(truth.builds[coats - 1]) if coats else 0.0
            yield name, coats, film.reflectance(build * truth.absorbance10, bare)


def known_dye(name: str, fit: DyeFit, *, amount: float = 1.0) -> KnownDye:
    """A fitted dye as part of a mix that holds `amount` times what a coat of its own card held."""
    return KnownDye(name, amount * fit.absorbance10, _few_roots(fit.doubt))


def _few_roots(doubt: F64, most: int = 12) -> F64:
    """The leading directions of a doubt: as good, and fewer unknowns."""
    left, size, _ = np.linalg.svd(doubt, full_matrices=False)
    return np.asarray(left[:, :most] * size[:most])
