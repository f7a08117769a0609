"""Spectra, lights, observers, display spaces and colour difference."""

from layerpreview.colour.difference import JUST_SEEN_DE00, NOT_ACCEPTED_DE00, delta_e_2000, metric_de00, visibility
from layerpreview.colour.even import lab_to_din99b
from layerpreview.colour.metamerism import metamerism_de00
from layerpreview.colour.screen import LIFELIKE, NOT_ROLLED, on_screen
from layerpreview.colour.spaces import (
    DISPLAY_WHITE_XYZ,
    RGB_LIN_TO_XYZ,
    XYZ_TO_RGB_LIN,
    adapted_xyz_weights,
    bradford,
    decode_srgb,
    display_matrix,
    encode_srgb,
    instrument_lab_to_lab,
    lab_to_xyz,
    rgb_lin_to_hex,
    spectrum_to_lab,
    srgb_code,
    srgb_hex_to_rgb_lin,
    xyz_to_lab,
)
from layerpreview.colour.spectra import resample_to_grid, white_xyz, xyz_weights
from layerpreview.colour.tables import (
    LIGHT_NAMES,
    OBSERVERS_DEG,
    WAVELENGTHS_NM,
    light_called,
    light_spd,
    light_words,
    observer_cmf,
    rgb_basis,
)

__all__ = [
    "DISPLAY_WHITE_XYZ",
    "JUST_SEEN_DE00",
    "LIFELIKE",
    "LIGHT_NAMES",
    "NOT_ACCEPTED_DE00",
    "NOT_ROLLED",
    "OBSERVERS_DEG",
    "RGB_LIN_TO_XYZ",
    "WAVELENGTHS_NM",
    "XYZ_TO_RGB_LIN",
    "adapted_xyz_weights",
    "bradford",
    "decode_srgb",
    "delta_e_2000",
    "display_matrix",
    "encode_srgb",
    "instrument_lab_to_lab",
    "lab_to_din99b",
    "lab_to_xyz",
    "light_called",
    "light_spd",
    "light_words",
    "metamerism_de00",
    "metric_de00",
    "observer_cmf",
    "on_screen",
    "resample_to_grid",
    "rgb_basis",
    "rgb_lin_to_hex",
    "spectrum_to_lab",
    "srgb_code",
    "srgb_hex_to_rgb_lin",
    "visibility",
    "white_xyz",
    "xyz_to_lab",
    "xyz_weights",
]
