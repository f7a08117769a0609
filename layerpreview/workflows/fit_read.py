"""A card as it was read: a file of readings, or a photo with its frame, grey card and chart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.learn.card.model import Card
from layerpreview.learn.card.setting import CardSetting, card_of_photo, card_of_readings
from layerpreview.learn.fit.best_setting import Asked, CardOf
from layerpreview.learn.read.chart import COLUMNS as CHART_COLUMNS
from layerpreview.learn.read.chart import ROWS as CHART_ROWS
from layerpreview.learn.read.chart import chart_boxes, chart_fit, upright
from layerpreview.learn.read.chart_find import BOXES, find_chart
from layerpreview.learn.read.chart_values import only_daylight
from layerpreview.learn.read.columns import as_columns
from layerpreview.learn.read.frame import Box, find_card, grey_box
from layerpreview.learn.read.frame_read import CardPhoto, Patch, patch_means, read_card_photo
from layerpreview.learn.read.readings import Readings, load_readings
from layerpreview.learn.tell.fitted import CardFound, Found
from layerpreview.surface.marks import placement_of
from layerpreview.surface.picture_file import PictureData, read_camera_photo
from layerpreview.surface.plane import Placement
from layerpreview.workflows.fit_compare import concentrate_of
from layerpreview.workflows.fit_options import FitOptions, asked_of

READINGS_ENDINGS = (".csv", ".tsv", ".txt", ".dat", ".cgats", ".it8")
_LONGEST_NAME = 60


@dataclass(frozen=True, eq=False)
class CardRead:
    """A card as it was read: how it is put together in a setting, what was said of it, notes, and a photo's areas.

    `name` of what it was read from; `strength` of its mix as written.
    """

    name: str
    card_of: CardOf
    asked: Asked
    strength: str | None
    notes: Sequence[str]
    found: CardFound | None = None


def is_text(source: Path) -> bool:
    """Whether a card is a file of readings; else it is a photo."""
    return source.suffix.lower() in READINGS_ENDINGS


def card_read(card: str | Path | Readings, options: FitOptions) -> CardRead:
    """Read a file of readings, a photo, or take readings in memory. Raises InputError or PictureError."""
    if not isinstance(card, Readings) and not is_text(Path(card)):
        return _photo_read(Path(card), options)
    readings = card if isinstance(card, Readings) else load_readings(Path(card))
    strength = options.strength or readings.remarks.get("strength")
    asked = asked_of(options, {**concentrate_of(options.earlier, strength), **readings.remarks}, readings.file)
    name = Path(readings.file).name[:_LONGEST_NAME]
    return CardRead(name, lambda setting: card_of_readings(readings, setting), asked, strength, readings.notes)


def _photo_read(source: Path, options: FitOptions) -> CardRead:
    asked = asked_of(options, concentrate_of(options.earlier, options.strength), str(source))
    picture = read_camera_photo(source)
    if options.corners:
        placement = placement_of(np.array(options.corners, dtype=np.float64).reshape(4, 2).tolist())
    else:
        placement = find_card(picture)
    chart, chart_areas = None, []
    if options.chart:
        patches, where = _chart_patches(picture, placement, options.chart)
        chart = chart_fit(patches, light=asked.setting.light, values=options.chart_values)
        chart_areas = [where]
    photo = read_card_photo(picture, placement, grey_reflectance=options.grey, chart=chart)

    def card_of(setting: CardSetting) -> Card:
        return card_of_photo(photo, setting, options.coats)

    notes = [*picture.notes]
    if options.light is None:
        notes.append("the light of the photo was not named: daylight (D65) is taken; name it with --light")
    if chart and only_daylight(options.chart_values) and not asked.setting.light.startswith("D"):
        notes.append("the chart's table holds colours in daylight, no spectra: photograph in daylight")
    if asked.setting.light.startswith("FL"):
        notes.append("a fluorescent lamp shows only a few wavelengths: a dye may hide between them; use daylight")
    areas = [*_areas(photo, placement, options), *chart_areas]
    found = CardFound(_codes(picture), tuple(areas), tuple(photo.notes), photo.chart_left_out_de00)
    return CardRead(source.name[:_LONGEST_NAME], card_of, asked, options.strength, notes, found)


def _chart_patches(picture: PictureData, card: Placement, chart: Sequence[float] | str) -> tuple[list[Patch], Found]:
    """A chart's patches from the brown one on, and where the whole of it lies, from the corner at the top left."""
    if isinstance(chart, str):
        placed = find_chart(picture, card=card)
        whole = Box("chart", 0, 0.0, 0.0, CHART_COLUMNS, CHART_ROWS)
        corners = placed.to_px(whole.corners_mm())
        first = int(np.argmin(corners.sum(axis=1)))
        return patch_means(picture, BOXES, placement=placed), Found(np.roll(corners, -first, axis=0), "chart")
    patches = upright(patch_means(picture, chart_boxes(*chart)))
    return patches, Found(Box("chart", 0, *chart).corners_mm(), "chart")


def _codes(picture: PictureData) -> NDArray[np.uint8]:
    pixels = picture.pixels
    return pixels if pixels.dtype == np.uint8 else (pixels // 257).astype(np.uint8)


def _areas(photo: CardPhoto, placement: Placement, options: FitOptions) -> list[Found]:
    areas, columns = [], as_columns(options.coats)
    for patch in photo.windows:
        if patch.box.column < len(columns) and columns[patch.box.column].over(patch.box.what):
            corners = placement.to_px(patch.box.corners_mm())
            out = bool(patch.clipped.any())
            areas.append(Found(corners, columns[patch.box.column].typed, out))
    if options.grey is not None:
        areas.append(Found(placement.to_px(grey_box().inside(0.2).corners_mm()), "grey card"))
    return areas
