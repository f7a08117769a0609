"""The dyes on a card or several: what is unknown, what is believed beforehand, the likeliest answer, its doubt."""

from layerpreview.learn.fit.one_card import DyeFit, fit_dye, fit_mix, predict

__all__ = ["DyeFit", "fit_dye", "fit_mix", "predict"]
