"""Photos of very many pixels: exist for one that takes minutes, and for a mean of codes, darker than that of light."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest

from layerpreview.surface import part_photo
from layerpreview.surface.part_photo import with_fewer_pixels
from layerpreview.surface.picture_file import PictureData


def test_up_to_thirty_megapixels_it_is_the_photo_itself() -> None:
    picture = PictureData(np.zeros((5000, 6000), np.uint8))
    assert with_fewer_pixels(picture) is picture
    one_more = with_fewer_pixels(PictureData(np.zeros((5001, 6000), np.uint8), file="a.png", notes=("16-bit grey",)))
    assert (one_more.height_px, one_more.width_px, one_more.file) == (2500, 3000, "a.png")
    assert one_more.notes[0] == "16-bit grey"
    assert "6000 x 5001 pixels" in one_more.notes[1]


@pytest.mark.parametrize(("dtype", "most"), [(np.uint8, 255), (np.uint16, 65535)])
@pytest.mark.parametrize("channels", [(), (3,)])
def test_means_are_of_light(
    monkeypatch: pytest.MonkeyPatch, rng: np.random.Generator, colour_science: ModuleType, dtype: type, most: int,
    channels: tuple[int, ...],
) -> None:  # fmt: skip
    """Against colour-science's sRGB (IEC 61966-2-1)."""
    monkeypatch.setattr(part_photo, "MOST_PX", 2_000)
    codes = rng.integers(0, most + 1, (130, 97, *channels)).astype(dtype)
    alpha = rng.integers(0, most + 1, (130, 97)).astype(dtype)
    found = with_fewer_pixels(PictureData(codes, alpha))  # 12,610 pixels: 3 x 3 of them, a row and a column over
    light = colour_science.models.eotf_sRGB(codes[:129, :96] / most)
    means = light.reshape(43, 3, 32, 3, *channels).mean(axis=(1, 3))
    wanted = colour_science.models.eotf_inverse_sRGB(means) * most
    assert found.pixels.dtype == dtype
    assert np.abs(found.pixels - wanted).max() < 0.5 + 2e-5 * most
    assert found.alpha is not None
    shares = alpha[:129, :96].reshape(43, 3, 32, 3).mean(axis=(1, 3))
    assert np.abs(found.alpha - shares).max() <= 0.51
