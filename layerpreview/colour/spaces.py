"""Between XYZ, L*a*b*, the display's linear RGB and its code values; and from one light's white to another.

The display is sRGB (IEC 61966-2-1): its matrix is derived here in full precision from the primaries and the
white (.3127, .3290). The D65 table, summed at 5 nm, has a white that is 2.6e-4 off that one in Z. So no
light, D65 included, is taken to be the display's white: every light is adapted to it, and a perfect white is
(1, 1, 1) under each of them.

One transform does that everywhere, in pictures, swatches, tables, searches and the client's board: linear Bradford. It
is the one that colour-managed screens and profiles use (ICC.1:2022, annex E), so a file shows elsewhere what it shows
here, and it predicts corresponding colours about as well as the later CAT16 (CIE 248:2022), which the trade's profiles
do not use. L*a*b* is taken after it, against the display's white (CIE 015:2018 asks to adapt first where illuminants
differ): the division by each light's own white that plain L*a*b* does instead is a poor adaptation, and a colour
would differ from its own swatch.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour.screen import on_screen
from layerpreview.colour.spectra import white_xyz as white_of_light
from layerpreview.colour.spectra import xyz_weights
from layerpreview.colour.tables import Array, read_only
from layerpreview.errors import InputError, Problem

F = TypeVar("F", np.float32, np.float64)


def _xyz_of_xy(x: float, y: float) -> Array:
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


def _srgb_matrix() -> Array:
    """RGB to XYZ: the primaries as columns, each scaled so that together they make the white."""
    primaries = np.stack([_xyz_of_xy(0.64, 0.33), _xyz_of_xy(0.30, 0.60), _xyz_of_xy(0.15, 0.06)], axis=1)
    matrix: Array = primaries * np.linalg.solve(primaries, DISPLAY_WHITE_XYZ)
    return matrix


DISPLAY_WHITE_XYZ: Final[Array] = read_only(_xyz_of_xy(0.3127, 0.3290))
"""White of the display, Y = 1: the white to give `xyz_to_lab` for XYZ that came from display RGB."""

RGB_LIN_TO_XYZ: Final[Array] = read_only(_srgb_matrix())
"""(3, 3): `xyz = rgb_lin @ RGB_LIN_TO_XYZ.T`, Y = 1 for white."""

XYZ_TO_RGB_LIN: Final[Array] = read_only(np.asarray(np.linalg.inv(RGB_LIN_TO_XYZ), dtype=np.float64))
"""(3, 3): the way back."""

_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
_KNEE = 6.0 / 29.0  # of the CIE cube root: below its cube L*a*b* is a straight line


def xyz_to_lab(xyz: Array, *, white_xyz: Array) -> Array:
    """Return CIE L*a*b* of XYZ.

    xyz: (..., 3), any scale; white_xyz: (3,) or (..., 3), same scale, above 0. Returns (..., 3); nan stays.
    Formula: CIE 015:2018 (8.3 to 8.11), `f(t) = t^(1/3)` above (6/29)^3, else `t / (3 (6/29)^2) + 4/29`.

    >>> xyz_to_lab(0.18 * DISPLAY_WHITE_XYZ, white_xyz=DISPLAY_WHITE_XYZ).round(3).tolist()
    [49.496, 0.0, 0.0]
    """
    ratio = np.asarray(xyz, dtype=np.float64) / white_xyz
    f = np.where(ratio > _KNEE**3, np.cbrt(ratio), ratio / (3 * _KNEE**2) + 4 / 29)
    fx, fy, fz = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)], axis=-1)


def lab_to_xyz(lab: Array, *, white_xyz: Array) -> Array:
    """Return XYZ of CIE L*a*b*: the inverse of `xyz_to_lab`.

    lab: (..., 3); white_xyz: (3,) or (..., 3), above 0. Returns (..., 3), scaled as the white; nan stays.
    """
    lab = np.asarray(lab, dtype=np.float64)
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], axis=-1)
    ratio = np.where(f > _KNEE, f**3, 3 * _KNEE**2 * (f - 4 / 29))
    xyz: Array = ratio * white_xyz
    return xyz


def encode_srgb(rgb_lin: NDArray[F]) -> NDArray[F]:
    """Return the display's code values (0..1) of linear RGB.

    rgb_lin: any shape, float32 or float64 (kept). Values outside 0..1 are carried on, negative ones as a
    mirror image: cutting and counting them is the business of whoever writes the picture. nan stays nan.
    Formula: IEC 61966-2-1, 12.92 c up to .0031308, else `1.055 c^(1/2.4) - 0.055`.

    >>> encode_srgb(np.array([0.0, 0.18, 1.0])).round(6).tolist()
    [0.0, 0.461356, 1.0]
    """
    size = np.abs(rgb_lin)
    code: NDArray[F] = np.where(size <= 0.0031308, 12.92 * size, 1.055 * size ** (1 / 2.4) - 0.055)
    return np.copysign(code, rgb_lin)


def decode_srgb(rgb_code: NDArray[F]) -> NDArray[F]:
    """Return linear RGB of the display's code values (0..1): the inverse of `encode_srgb`.

    rgb_code: any shape, float32 or float64 (kept). Values outside 0..1 are carried on, negative ones as a
    mirror image. nan stays nan.

    >>> float(decode_srgb(np.array(128 / 255)).round(7))
    0.2158605
    """
    size = np.abs(rgb_code)
    lin: NDArray[F] = np.where(size <= 0.04045, size / 12.92, ((size + 0.055) / 1.055) ** 2.4)
    return np.copysign(lin, rgb_code)


def bradford(from_white_xyz: Array, to_white_xyz: Array) -> Array:
    """Return the matrix that adapts XYZ seen under one white to the look it has under another.

    from_white_xyz, to_white_xyz: (3,), above 0. Returns (3, 3): `adapted = xyz @ matrix.T`.
    Formula: linear Bradford, `B^-1 diag(B to / B from) B` (as in ICC.1:2022 annex E).
    """
    gain = (_BRADFORD @ to_white_xyz) / (_BRADFORD @ from_white_xyz)
    matrix: Array = np.linalg.solve(_BRADFORD, gain[:, None] * _BRADFORD)
    return matrix


@cache
def adapted_xyz_weights(light: str, *, observer_deg: int = 2) -> Array:
    """Return the weights that sum a reflectance spectrum to XYZ under a light, adapted to the display's white.

    light: one of `LIGHT_NAMES`; observer_deg: 2 or 10 [degrees].
    Returns (3, 81), read-only: `reflectance @ weights.T`, `DISPLAY_WHITE_XYZ` for the perfect diffuser.
    Raises InputError for an unknown light or observer. Adaptation: linear Bradford, see `bradford`.
    """
    adapt = bradford(white_of_light(light, observer_deg=observer_deg), DISPLAY_WHITE_XYZ)
    return read_only(adapt @ xyz_weights(light, observer_deg=observer_deg))


def spectrum_to_lab(reflectance: Array, *, light: str, observer_deg: int = 2) -> Array:
    """Return L*a*b* of how reflectance spectra look under a light: adapted to D65 first, then L*a*b* under D65.

    reflectance: (..., 81) on `WAVELENGTHS_NM`; light: one of `LIGHT_NAMES`; observer_deg: 2 or 10 [degrees].
    Returns (..., 3); a perfect white is (100, 0, 0) under every light; nan stays.
    Raises InputError for an unknown light or observer.

    >>> spectrum_to_lab(np.full(81, 0.18), light="A").round(3)[0].item()
    49.496
    """
    xyz = np.asarray(reflectance, dtype=np.float64) @ adapted_xyz_weights(light, observer_deg=observer_deg).T
    return xyz_to_lab(xyz, white_xyz=DISPLAY_WHITE_XYZ)


def instrument_lab_to_lab(lab: Array, *, light: str, observer_deg: int = 2) -> Array:
    """Return an instrument's L*a*b*, which is against the white of its own light, as this package's, adapted to D65.

    lab: (..., 3) under `light`, one of `LIGHT_NAMES`; observer_deg: 2 or 10 [degrees]. Returns (..., 3).
    Raises InputError for an unknown light or observer.
    """
    white = white_of_light(light, observer_deg=observer_deg)
    xyz = lab_to_xyz(lab, white_xyz=white) @ bradford(white, DISPLAY_WHITE_XYZ).T
    return xyz_to_lab(xyz, white_xyz=DISPLAY_WHITE_XYZ)


@cache
def display_matrix(light: str, *, observer_deg: int = 2) -> Array:
    """Return the weights that turn a reflectance spectrum into the display's linear RGB.

    light: one of `LIGHT_NAMES`; observer_deg: 2 or 10 [degrees].
    Returns (3, 81), read-only: `rgb_lin = reflectance @ matrix.T`, adapted (Bradford) from the light's white
    to the display's, so the perfect diffuser is (1, 1, 1) under every light. Results outside 0..1 are outside
    the display's gamut.
    Raises InputError for an unknown light or observer.

    >>> display_matrix("A").sum(axis=1).round(9).tolist()
    [1.0, 1.0, 1.0]
    """
    return read_only(XYZ_TO_RGB_LIN @ adapted_xyz_weights(light, observer_deg=observer_deg))


def srgb_hex_to_rgb_lin(text: str) -> Array:
    """Return linear RGB (3,) of a colour written as `srgb_code` reads it.

    Raises InputError (a ValueError, one line) for anything else.

    >>> srgb_hex_to_rgb_lin("#ff0080").round(7).tolist()
    [1.0, 0.0, 0.2158605]
    """
    digits = srgb_code(text)[1:]
    return decode_srgb(np.frombuffer(bytes.fromhex(digits), dtype=np.uint8).astype(np.float64) / 255)


def srgb_code(text: str) -> str:
    """Return the `#rrggbb` of a colour written `#rrggbb`, `#rgb` or by its name in the CSS Color standard, in any case.

    Raises InputError for anything else. Names: CSS Color Module Level 4, section 6.1, as Pillow lists them.

    >>> srgb_code("#F08"), srgb_code("Black"), srgb_code("rebeccapurple")
    ('#ff0088', '#000000', '#663399')
    """
    word = text.strip().lower()
    if re.fullmatch(r"#[0-9a-f]{6}", word):
        return word
    if re.fullmatch(r"#[0-9a-f]{3}", word):
        return "#" + "".join(2 * digit for digit in word[1:])
    from PIL import ImageColor  # here, since most colours are written in digits

    if word in ImageColor.colormap:
        return "#" + "".join(f"{code:02x}" for code in ImageColor.getrgb(word)[:3])
    rule = "a colour is # and six digits 0-9 a-f, or its name in the CSS standard"
    raise InputError(Problem(rule, 'write for example "#b9bcc0" or "black"', field="colour", value=text))


def rgb_lin_to_hex(rgb_lin: Array) -> str:
    """Return linear RGB (3,) as `#rrggbb`, rounded to whole codes, as the display shows it (`on_screen`).

    Raises InputError when a value is nan.

    >>> rgb_lin_to_hex(np.array([1.0, 0.0, 0.2158605]))
    '#ff0080'
    """
    if np.isnan(rgb_lin).any():
        raise InputError(Problem("a colour needs three numbers", field="colour", value="not a number"))
    codes = np.rint(255 * encode_srgb(on_screen(np.asarray(rgb_lin, dtype=np.float32))))
    return "#" + "".join(f"{int(code):02x}" for code in codes)
