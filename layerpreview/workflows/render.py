"""Render a scheme to files: the part as one would see it, a picture per light to judge colour by, the bare base, all
side by side, and the figures.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.doing import doing
from layerpreview.finish.view import STRAIGHT_ON, View, surroundings_of
from layerpreview.job.figures import Figures, figures_of
from layerpreview.output.caption import labelled_sheet
from layerpreview.output.figures_result import figures_json
from layerpreview.output.files import write_text, written_together
from layerpreview.output.pictures import preview_result, write_picture, write_pictures
from layerpreview.output.result import Result
from layerpreview.picture.faces import shapes_of
from layerpreview.picture.render import DEFAULT_WIDTH_PX, Preview
from layerpreview.picture.render import render as picture_of
from layerpreview.picture.scene import STRIP_PX, appearances_of, make_scene, turned
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.workflows.choices import MARGIN, coats_in_short, with_lights
from layerpreview.workflows.lifelike import USUAL_ROOM, lifelike_name, write_lifelike

SHEET_TILE_PX = 600
SHEET_WIDTH_PX = 3200


@dataclass
class Timing:
    """Seconds by part, in the order they ran."""

    parts: dict[str, float] = field(default_factory=dict)
    _since: float = field(default_factory=time.perf_counter)

    def lap(self, name: str) -> None:
        now = time.perf_counter()
        self.parts[name] = self.parts.get(name, 0.0) + now - self._since
        self._since = now


@dataclass(frozen=True)
class Rendered:
    """What `render_files` wrote, the share of the part outside the screen's gamut by picture, and where time went."""

    folder: Path
    files: tuple[str, ...]
    out_of_gamut: dict[str, float]
    figures: Figures
    timing: dict[str, float]

    @property
    def cautions(self) -> tuple[str, ...]:
        """What looks wrong though it was rendered."""
        return self.figures.cautions


@dataclass(frozen=True)
class Shot:
    """One picture to make: the bare base or the finish, under a light, from a view."""

    light: str
    view: View
    bare: bool

    @property
    def file_name(self) -> str:
        return ("bare" if self.bare else f"finish_{self.light}") + self.view.file_words + ".png"

    @property
    def words(self) -> str:
        return "base, no dye" if self.bare else f"finish, {self.light}"


def shots_of(scheme: Scheme, views: Sequence[View]) -> list[list[Shot]]:
    """Per view the bare base, then the finish under each light."""
    return [
        [Shot(scheme.lights[0], view, True), *(Shot(light, view, False) for light in scheme.lights)] for view in views
    ]


def render(
    scheme: Scheme,
    *,
    light: str = "D65",
    view_deg: float = 0.0,
    lamp_deg: float | None = None,
    around: str = "even",
    width_px: int | None = None,
    threads: int | None = None,
    strip_px: int = STRIP_PX,
) -> Result[Preview]:
    """Render the finish of `scheme` under one light as one picture in memory; see `picture.render.render`.

    Raises InputError for an unknown light or surroundings, an angle or a width out of range, or PictureError.
    """
    preview = picture_of(
        scheme,
        light=light,
        view_deg=view_deg,
        lamp_deg=lamp_deg,
        around=around,
        width_px=width_px,
        threads=threads,
        strip_px=strip_px,
    )
    return preview_result(scheme, preview)


def render_files(
    scheme_path: Path,
    *,
    out: Path,
    force: bool = False,
    width_px: int = DEFAULT_WIDTH_PX,
    lights: Sequence[str] | None = None,
    views: Sequence[View] = (STRAIGHT_ON,),
    around: str = USUAL_ROOM,
    lifelike: bool = True,
) -> Rendered:
    """Render the scheme at `scheme_path` into the folder `out`: each light from each view in one common exposure, to
    judge colour by; and, with `lifelike`, the part as a solid in the surroundings of the name `around`.

    Raises SchemeError, InputError, PictureError or OutputError; nothing is written then.
    """
    timing = Timing()
    scheme = with_lights(load_scheme(scheme_path), lights)
    timing.lap("scheme")
    room = surroundings_of(scheme, around, field="--around")
    shots = shots_of(scheme, views)
    shown = [lifelike_name(room)] if lifelike else []
    names = [*shown, *(shot.file_name for row in shots for shot in row), "side_by_side.png", "figures.json"]
    tile_px = SHEET_TILE_PX if len(views) == 1 else min(SHEET_TILE_PX, SHEET_WIDTH_PX // len(views))
    shares: dict[str, float] = {}
    small: dict[str, NDArray[np.uint8]] = {}
    used = []
    with written_together(out, names, force=force, inputs=scheme.inputs) as paths:
        doing("measuring the part")
        shapes = shapes_of(scheme)
        scene = make_scene(scheme, width_px=width_px, margin=MARGIN, view=views[0], shapes=shapes)
        timing.lap("base and edges")
        for row in shots:
            view = row[0].view
            seen = scene if view == views[0] else turned(scheme, scene, view)
            looks = appearances_of(scheme, seen, scheme.lights[:1], view=view, bare=True)
            looks += appearances_of(scheme, seen, scheme.lights, view=view)
            used += looks[1:]
            timing.lap("film and wavelengths")
            captions = [caption_lines(scheme, shot) for shot in row]
            files = [paths[shot.file_name] for shot in row]
            written = write_pictures(seen, looks, captions, files, small_width_px=tile_px, rolled_from=view.rolled_from)
            shares.update({shot.file_name: share for shot, share in zip(row, written.out_of_gamut, strict=True)})
            small.update({shot.file_name: pixels for shot, pixels in zip(row, written.small, strict=True)})
            timing.lap("pixels and PNG")
        for name in shown:
            shares[name] = write_lifelike(scheme, room, paths[name], width_px=width_px, shapes=shapes)
            timing.lap("lifelike")
        doing("working out the figures")
        # Figures are of even light and straight on, whatever the pictures show.
        figures = figures_of(scheme, scene if views[0] == STRAIGHT_ON else turned(scheme, scene, STRAIGHT_ON))
        write_text(paths["figures.json"], figures_json(figures, used, shares))
        timing.lap("figures")
        write_picture(side_by_side(scheme, shots, small), paths["side_by_side.png"])
        timing.lap("sheet")
    return Rendered(out, tuple(names), shares, figures, timing.parts)


def caption_lines(scheme: Scheme, shot: Shot) -> list[str]:
    """Three lines: the scheme, the coats, and how the picture is to be read."""
    coats = "no dye: the base alone" if shot.bare else coats_in_short(scheme)
    said = [f"light {shot.light}, {shot.view.words}", *photo_words(scheme, [shot.view])]
    return [scheme.name, coats, "; ".join([*said, "adapted to the screen", "approximate"])]


def photo_words(scheme: Scheme, views: Sequence[View]) -> list[str]:
    """The caution that a photo of a base does not turn with the view, where one is seen from elsewhere or lit anew."""
    bases = [scheme.base_for(face.name) for face in scheme.faces]
    photo = any(base.picture is not None for base in bases)
    return ["the base is a photo and stays as lit in it"] if photo and any(v != STRAIGHT_ON for v in views) else []


def side_by_side(
    scheme: Scheme, shots: Sequence[Sequence[Shot]], small: Mapping[str, NDArray[np.uint8]]
) -> NDArray[np.uint8]:
    """Every shot small: one view in a row of base and lights; several views in rows from face to flop."""
    across = len(shots) if len(shots) > 1 else min(3, len(shots[0]))
    # Views go across and lights down, so that the eye runs from face to flop along a row.
    order = [row[i] for i in range(len(shots[0])) for row in shots]
    tiles = [
        (shot.words + (f", {shot.view.view_deg:g} deg" if len(shots) > 1 else ""), small[shot.file_name])
        for shot in order
    ]
    views = [row[0].view for row in shots]
    how = [_lit_words(views), *photo_words(scheme, views), "adapted to the screen", "one exposure"]
    note = f"{coats_in_short(scheme)}; {'; '.join(filter(None, how))}; approximate"
    return labelled_sheet(tiles, title=scheme.name, note=note, columns=across)


def _lit_words(views: Sequence[View]) -> str:
    lamp_deg = views[0].lamp_deg
    if lamp_deg is None:
        return ""
    mirror = ", negative views are on its mirror side" if any(view.view_deg < 0.0 for view in views) else ""
    return f"lamp at {lamp_deg:g} deg{mirror}"
