"""The public way in: a scheme to a linear picture in memory."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import LIGHT_NAMES, encode_srgb, on_screen
from layerpreview.errors import InputError, Problem
from layerpreview.finish.view import View, surroundings_of
from layerpreview.picture.scene import STRIP_PX, appearances_of, make_scene
from layerpreview.scheme import Scheme
from layerpreview.threads import thread_pool

F32 = NDArray[np.float32]

DEFAULT_WIDTH_PX = 1600


@dataclass(frozen=True, eq=False)
class Preview:
    """A rendered finish.

    `rgb_lin` (rows, cols, 3): linear sRGB adapted to the display's white, unclipped, on a neutral ground; `cover`
    (rows, cols): share of each pixel on the part; `pixel_mm` [mm]; `light`; `view`; `out_of_gamut`: share of the part's
    pixels that the display cannot show as they are.
    """

    rgb_lin: F32
    cover: F32
    pixel_mm: float
    light: str
    view: View
    out_of_gamut: float

    @property
    def srgb8(self) -> NDArray[np.uint8]:
        """The picture as 8-bit sRGB (rows, cols, 3), as the display shows it."""
        shown = on_screen(self.rgb_lin, rolled_from=self.view.rolled_from)
        return np.asarray(np.rint(255.0 * encode_srgb(shown)), dtype=np.uint8)


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
) -> Preview:
    """Render the finish of `scheme` as one picture in memory, faces side by side with no margin.

    `light`: one of `colour.LIGHT_NAMES`; `view_deg` [deg, -85..85] from straight on and `lamp_deg` [deg, 0..80] as in
    `View`; `around`: surroundings by name, the scheme's own or of `finish.view`; `width_px` [px]: width of the picture,
    1600 where not given. `threads` (see `threads.thread_count`) and `strip_px` change speed and memory, not a bit of
    the result. With no dye the picture is the base as photographed (under D65).

    Raises InputError for an unknown light or surroundings, an angle or a width out of range; PictureError for pictures
    that cannot be used.
    """
    if light not in LIGHT_NAMES:
        raise InputError(Problem(f"it must be one of {', '.join(LIGHT_NAMES)}", field="light", value=repr(light)))
    width = DEFAULT_WIDTH_PX if width_px is None else width_px
    if not 16 <= width <= 30_000:
        raise InputError(Problem("it must lie between 16 and 30000", field="width_px", value=str(width)))
    view = View(view_deg, lamp_deg, surroundings_of(scheme, around))
    scene = make_scene(scheme, width_px=width, view=view)
    appearances = appearances_of(scheme, scene, [light], view=view)
    rgb_lin = np.empty((scene.height_px, scene.width_px, 3), dtype=np.float32)
    cover = np.empty(rgb_lin.shape[:2], dtype=np.float32)

    def work(strip: tuple[int, int]) -> None:
        pictures, cover[slice(*strip)] = scene.render_strip(appearances, *strip)
        rgb_lin[slice(*strip)] = pictures[0]

    with thread_pool(threads) as pool:
        list(pool.map(work, scene.strips(strip_px)))
    return Preview(rgb_lin, cover, scene.pixel_mm, light, view, share_out_of_gamut(rgb_lin, cover))


def share_out_of_gamut(rgb_lin: F32, cover: F32) -> float:
    """Share of the part's area whose colour lies outside the display's gamut by more than half an 8-bit step."""
    red, green, blue = np.moveaxis(rgb_lin, 2, 0)
    most, least = np.maximum(np.maximum(red, green), blue), np.minimum(np.minimum(red, green), blue)
    outside = (least < -1e-3) | (most > 1.005)
    return float((outside * cover).sum() / max(float(cover.sum()), 1e-9))
