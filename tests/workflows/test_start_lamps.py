"""A job from three photos: exists for a base that lies beside its outline, mirrored or of another size."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from layerpreview.errors import InputError
from layerpreview.finish.texture import texture_of
from layerpreview.scheme import load_scheme
from layerpreview.workflows.start import start_job
from layerpreview.workflows.start_lamps import read_heights
from tests.surface.lamp_photos import Truth, lamp_photos

SIDES = ("left", "top", "right")
WIDE_MM = 70.0


def _panel(**changes: Any) -> Truth:
    return lamp_photos("hammered", size_mm=(WIDE_MM, 54.0), step_mm=0.125, exposed=0.97, jpeg=-1, **changes)


def on_bench(truth: Truth, folder: Path) -> list[Path]:
    rows, cols = truth.slope_x.shape
    photos = [folder / f"{name}.png" for name in "abc"]
    for path, light in zip(photos, truth.photos, strict=True):
        picture = np.full((rows + 120, cols + 160, 3), (40, 60, 170), np.uint8)
        code = np.rint(255 * np.maximum(light, 0.004) ** (1 / 2.2)).astype(np.uint8)
        picture[60:-60, 80:-80] = code[:, :, None]
        Image.fromarray(picture).save(path)
    return photos


@pytest.mark.slow
def test_a_shadow_that_leaves_one_way_open_is_filled_with_texture(tmp_path: Path) -> None:
    """In the photo from above: left and right cannot tell slopes downwards, and a base level that way looks dead."""
    photos = on_bench(_panel(third=1), tmp_path)
    told = {"lamp_sides": SIDES, "lamp_heights": "45", "part_width": f"{WIDE_MM} mm"}
    started = start_job(tmp_path / "job", photo=photos, **told)
    assert any("filled with its texture" in line for line in started.said)
    relief = texture_of(load_scheme(started.scheme).base, WIDE_MM, 54.0)
    cols = relief.slope_y.shape[1]
    shadowed, clear = relief.slope_y[10:-10, 10 : cols // 4], relief.slope_y[10:-10, cols // 2 : -10]
    assert 0.75 < shadowed.std() / clear.std() < 1.3


@pytest.mark.slow
def test_the_base_of_three_photos_lies_on_its_part(tmp_path: Path) -> None:
    """A panel of hammered silver on a blue bench: its slopes come back at their place on the face, within 25 %.

    The edge is traced on a photo, to about half a pixel, and a scheme keeps 0.25 mm: the bound is wider than that of
    the slopes alone.
    """
    truth = _panel()
    rows, cols = truth.slope_x.shape
    photos = on_bench(truth, tmp_path)
    started = start_job(tmp_path / "job", photo=photos, lamp_sides=SIDES, part_width=f"{WIDE_MM} mm")
    assert {"base_slopes.png", "base_brightness.png"} <= set(started.files)
    scheme = load_scheme(started.scheme)
    relief = texture_of(scheme.base, WIDE_MM, 54.0)
    wanted = [v.reshape(rows // 2, 2, cols // 2, 2).mean(axis=(1, 3)) for v in (truth.slope_x, truth.slope_y)]
    inner = slice(10, -10), slice(10, -10)
    off = sum(((a - b)[inner] ** 2).mean() for a, b in zip((relief.slope_x, relief.slope_y), wanted, strict=True))
    assert np.sqrt(off / sum((v[inner] ** 2).mean() for v in wanted)) < 0.25


@pytest.mark.parametrize(
    ("photos", "sides", "says"),
    [(2, ("left", "top"), "three photos"), (3, None, "three photos"), (0, SIDES, "--lamp-sides"), (1, SIDES, "three")],
)
def test_photos_and_sides_that_do_not_go_together(
    tmp_path: Path, photos: int, sides: tuple[str, ...] | None, says: str
) -> None:
    paths = [tmp_path / f"{k}.png" for k in range(photos)]
    with pytest.raises(InputError, match=says):
        start_job(tmp_path / "job", photo=paths or None, lamp_sides=sides, part_width="70 mm")


@pytest.mark.parametrize("heights", ["4", "86", "45,50", "45,x,50", ""])
def test_heights_that_no_lamp_has_are_refused(tmp_path: Path, heights: str) -> None:
    paths = [tmp_path / f"{k}.png" for k in range(3)]
    with pytest.raises(InputError, match="5 to 85") as caught:
        start_job(tmp_path / "job", photo=paths, lamp_sides=SIDES, lamp_heights=heights, part_width="70 mm")
    assert "--lamp-heights" in str(caught.value)


def test_one_height_stands_for_all_lamps() -> None:
    assert read_heights("47.5") == (47.5, 47.5, 47.5)
    assert read_heights(" 40, 45,50") == (40.0, 45.0, 50.0)
