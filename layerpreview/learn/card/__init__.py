"""A spray-out card as the fit sees it: windows over grounds, in one eye's numbers, and what cannot be fitted."""

from layerpreview.learn.card.model import Card, Eye, lab_eye
from layerpreview.learn.card.setting import CardSetting, card_of_photo, card_of_readings

__all__ = ["Card", "CardSetting", "Eye", "card_of_photo", "card_of_readings", "lab_eye"]
