"""Render a scheme to files: a picture per light, the bare base, a sheet side by side, and the figures."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from layerpreview.colour import LIGHT_NAMES
from layerpreview.errors import InputError, Problem
from layerpreview.output.caption import labelled_sheet
from layerpreview.output.figures_json import figures_json
from layerpreview.output.files import write_text, written_together
from layerpreview.output.pictures import small_pictures, write_picture, write_pictures
from layerpreview.preview.figures import Figures, figures_of
from layerpreview.preview.look import Look
from layerpreview.preview.render import DEFAULT_WIDTH_PX
from layerpreview.preview.scene import looks_of, make_scene
from layerpreview.scheme import DyeCoat, Scheme, load_scheme

MARGIN = 0.05
SHEET_TILE_PX = 640


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


def render_files(
    scheme_path: Path,
    *,
    out: Path,
    force: bool = False,
    width_px: int = DEFAULT_WIDTH_PX,
    lights: Sequence[str] | None = None,
) -> Rendered:
    """Render the scheme at `scheme_path` into the folder `out`.

    Raises SchemeError, PictureError or OutputError; nothing is written then.
    """
    timing = Timing()
    scheme = load_scheme(scheme_path)
    if lights:
        _known(lights)
        scheme = scheme.model_copy(update={"lights": tuple(lights)})
    timing.lap("scheme")
    pictures = {"base.png": scheme.lights[0], **{f"finish_{light}.png": light for light in scheme.lights}}
    names = [*pictures, "side_by_side.png", "figures.json"]
    with written_together(out, names, force=force) as paths:
        scene = make_scene(scheme, width_px=width_px, margin=MARGIN)
        timing.lap("base and edges")
        looks = looks_of(scheme, scene, scheme.lights[:1], bare=True) + looks_of(scheme, scene, scheme.lights)
        timing.lap("film and wavelengths")
        captions = [caption_lines(scheme, light, bare=name == "base.png") for name, light in pictures.items()]
        shares = write_pictures(scene, looks, captions, [paths[name] for name in pictures])
        timing.lap("pixels and PNG")
        figures = figures_of(scheme, scene)
        write_text(paths["figures.json"], figures_json(figures, looks[1:], dict(zip(pictures, shares, strict=True))))
        timing.lap("figures")
        write_sheet(scheme, looks, list(pictures), paths["side_by_side.png"])
        timing.lap("sheet")
    return Rendered(out, tuple(names), dict(zip(pictures, shares, strict=True)), figures, timing.parts)


def _known(lights: Sequence[str]) -> None:
    unknown = [light for light in lights if light not in LIGHT_NAMES]
    if unknown:
        raise InputError(
            [
                Problem(
                    field="--light", value=light, rule="no such light", remedy=f"use one of {', '.join(LIGHT_NAMES)}"
                )
                for light in unknown
            ]
        )


def caption_lines(scheme: Scheme, light: str, *, bare: bool) -> list[str]:
    """Three lines: the scheme, the coats, and how the picture is to be read."""
    coats = "no dye: the base alone" if bare else coats_in_short(scheme)
    return [scheme.name, coats, f"light {light}, seen straight on; adapted to the screen; approximate"]


def coats_in_short(scheme: Scheme) -> str:
    """The coats in one line, in the order they are sprayed."""
    parts = []
    for coat in scheme.coats:
        what = coat.mix if isinstance(coat, DyeCoat) else f"opaque {coat.colour}"
        parts.append(f"{coat.coats} x {what}" + (" (burst)" if coat.bursts else ""))
    return "; ".join(parts) + f"; {scheme.clear.finish} clear"


def write_sheet(scheme: Scheme, looks: Sequence[Look], names: Sequence[str], path: Path) -> None:
    """Base and finishes side by side, small."""
    scene = make_scene(scheme, width_px=SHEET_TILE_PX, margin=MARGIN)
    labels = [
        "base, no dye" if name == "base.png" else f"finish, {look.light}"
        for name, look in zip(names, looks, strict=True)
    ]
    tiles = list(zip(labels, small_pictures(scene, looks), strict=True))
    note = f"{coats_in_short(scheme)}. Adapted to the screen; approximate."
    sheet = labelled_sheet(tiles, title=scheme.name, note=note, columns=min(3, len(tiles)))
    write_picture(sheet, path)
