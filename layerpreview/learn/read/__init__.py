"""Files and photos in: tables, spectra, and windows of the frame as linear light."""

from layerpreview.learn.read.readings import Readings, load_readings

__all__ = ["Readings", "load_readings"]
