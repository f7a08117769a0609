"""The written scheme: its model, reading it with all problems at once, and telling it in plain words."""

from layerpreview.scheme.base import Base, GrainOptions, HeightOptions, PictureOptions, ReliefOptions
from layerpreview.scheme.coat import Burst, Coat, DyeCoat, OpaqueCoat
from layerpreview.scheme.describe import describe
from layerpreview.scheme.dyefile import library_names, load_dye, load_library_dye
from layerpreview.scheme.model import Dye, Mix, Scheme
from layerpreview.scheme.part import Band, Face, Form, Opening, Room, RoomLamp, Side, Zone
from layerpreview.scheme.read import load_scheme, scheme_from_text
from layerpreview.scheme.shop_card import ShopCard, shop_card
from layerpreview.scheme.warn import warnings_of
from layerpreview.scheme.work import Clear, Gun, PlainEntry, ProductEntry, Sanding, Shop

__all__ = [
    "Band",
    "Base",
    "Burst",
    "Clear",
    "Coat",
    "Dye",
    "DyeCoat",
    "Face",
    "Form",
    "GrainOptions",
    "Gun",
    "HeightOptions",
    "Mix",
    "OpaqueCoat",
    "Opening",
    "PictureOptions",
    "PlainEntry",
    "ProductEntry",
    "ReliefOptions",
    "Room",
    "RoomLamp",
    "Sanding",
    "Scheme",
    "Shop",
    "ShopCard",
    "Side",
    "Zone",
    "describe",
    "library_names",
    "load_dye",
    "load_library_dye",
    "load_scheme",
    "scheme_from_text",
    "shop_card",
    "warnings_of",
]
