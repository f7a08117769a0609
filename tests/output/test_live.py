"""The live picture's data: these tests exist for channels that do not make the builds that Python has, for textures
that are sent again without need, and for one that is kept when it should not be."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from layerpreview.errors import PictureError
from layerpreview.finish.texture import is_textured
from layerpreview.finish.view import EVEN_LIGHT, STRAIGHT_ON, SURROUNDINGS
from layerpreview.output import live_maps
from layerpreview.output.live import LIVE_SCRIPTS, LivePicture, live_picture
from layerpreview.output.live_textures import half, shares
from layerpreview.picture.bare import bare_of
from layerpreview.picture.faces import shapes_of
from layerpreview.picture.lifelike import lifelike_of
from layerpreview.picture.maps import BuildMaps
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.spray import burst_build
from layerpreview.surface.sample import PixelGrid
from tests.schemes import DYES, HEAD, HOLE, HONEY, MIXES, PANEL, RELIEF, RIM, SEA_BURST, WHITE

Save = Callable[..., Path]
F32 = NDArray[np.float32]

SEAT = (
    '[[face.zone]]\nname = "seat"\nshape = "panel"\nwidth = "11 mm"\nheight = "20 mm"\ncentre = ["45 mm", "16 mm"]\n'
    'masked = true\nunder = "maple"\n'
)
PARTS = PANEL + HOLE + SEAT + RELIEF + 'relief_height = "60 um"\n' + DYES + MIXES
CUT = '[[coat]]\nmix = "honey"\ncoats = 2\nfilm = "28 um"\ncut_back = "30 %"\n'


def _channels(picture: LivePicture, skin: dict[str, Any]) -> F32:
    """The channels of a skin (channels, rows, cols)."""
    size = skin["grid"]["height"], skin["grid"]["width"], 4
    groups = [
        np.frombuffer(picture.textures[g["hash"]], "<f2").astype(np.float32).reshape(size) for g in skin["groups"]
    ]
    return np.concatenate([np.moveaxis(group, 2, 0) for group in groups])


def _build(channels: F32, layer: dict[str, Any], coats: list[int], i: int) -> F32:
    """As the shader makes it."""
    where = layer["where"]
    build = np.full(channels.shape[1:], where["number"], np.float32)
    if where["channel"] is not None:
        build = channels[where["channel"]].copy()
    if layer["bursts"]:
        falls = [
            burst_build(channels[one["channel"]], width_mm=one["width_mm"], fall_off=one["fall_off"])
            for one in layer["bursts"]
        ]
        build *= layer["centre"] + (1.0 - layer["centre"]) * np.sum(falls, axis=0)
    if (pool := layer["pool"]) is not None:
        share = 1.0
        if pool["share"] is not None:
            met = pool["share"]["first"] * np.prod([kept ** coats[j] for j, kept in pool["share"]["kept"]])
            share = met * np.mean(pool["share"]["own"] ** np.arange(coats[i]))
        build *= 1.0 + share * channels[pool["channel"]]
    return build


def _as_python_has_it(scheme: Scheme) -> F32:
    """The channels of the one skin make the builds (layers, pixels) that Python has, within half precision."""
    picture = live_picture(scheme, EVEN_LIGHT, longest_px=200)
    (skin,) = picture.data["skins"]
    told = skin["grid"]
    grid = PixelGrid(told["pixel_mm"], told["height"], told["width"])
    (shape,) = shapes_of(scheme)
    base = scheme.base_for(shape.face.name)
    openness = None if is_textured(base) else bare_of(base, shape, grid, STRAIGHT_ON).openness
    wanted = BuildMaps(scheme, shape, grid, openness=openness).rows(0, grid.n_rows)[0]
    channels = _channels(picture, skin)
    for i, layer in enumerate(skin["layers"]):
        found = _build(channels, layer, picture.data["coats"], i)
        np.testing.assert_allclose(found.ravel(), wanted[i], atol=4e-3, rtol=2e-3)
    return wanted


@pytest.mark.parametrize("coats", [HONEY + SEA_BURST + RIM, CUT + SEA_BURST + HONEY])
def test_the_channels_make_the_builds_that_python_has(save_scheme: Save, coats: str) -> None:
    """Bursts, a masked seat, hollows, thin peaks, coats rubbed through."""
    wanted = _as_python_has_it(load_scheme(save_scheme(HEAD + PARTS + coats)))
    assert np.ptp(wanted, axis=1).min() > 0.2


@pytest.mark.parametrize(
    ("base", "change", "looks"),
    [
        (RELIEF + 'relief_height = "60 um"\n', ('"lifted"', '"hammered"'), 0),
        (RELIEF + 'relief_height = "60 um"\n', ('"60 um"', '"30 um"'), 0),
        ('[base]\nkind = "wood"\ngrain = "flame"\n', ('"flame"', '"plain"'), 1),
    ],
    ids=["another relief", "a flatter one", "another grain"],
)
def test_what_lies_below_is_looked_at_anew_only_where_coats_follow_it(
    save_scheme: Save, monkeypatch: pytest.MonkeyPatch, base: str, change: tuple[str, str], looks: int
) -> None:
    """A relief moves no coat but by its hollows; wood takes each as it is open there. One look does for all threads."""
    text = HEAD + PANEL + HOLE + SEAT + base + DYES + MIXES + HONEY + SEA_BURST
    looked: list[Scheme] = []

    class Watched(BuildMaps):
        def __init__(self, scheme: Scheme, *args: Any, **how: Any) -> None:
            looked.append(scheme)
            super().__init__(scheme, *args, **how)

    monkeypatch.setattr(live_maps, "BuildMaps", Watched)
    before = _as_python_has_it(load_scheme(save_scheme(text)))
    assert len(looked) <= 1  # none where another test has looked already
    looked.clear()
    after = _as_python_has_it(load_scheme(save_scheme(text.replace(*change))))
    assert len(looked) == looks
    assert np.abs(after - before).max() > 0.05


def test_the_picture_is_laid_out_as_the_lifelike_one(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(HEAD + PANEL + PANEL.replace('"front"', '"top"').replace("64", "30") + WHITE))
    scene = lifelike_of(scheme, EVEN_LIGHT, width_px=210)
    data = live_picture(scheme, EVEN_LIGHT, longest_px=max(scene.width_px, scene.height_px)).data
    assert (data["width_px"], data["height_px"]) == (scene.width_px, scene.height_px)
    assert data["pixel_mm"] == pytest.approx(scene.pixel_mm)
    for told, placed in zip(data["solids"], scene.solids, strict=True):
        assert told["middle_mm"] == [pytest.approx(placed.x_mm), pytest.approx(placed.y_mm)]
        assert told["pose"] == {"yaw_deg": placed.pose.yaw_deg, "pitch_deg": placed.pose.pitch_deg}


def _scheme(save_scheme: Save, *changes: tuple[str, str]) -> Scheme:
    text = HEAD + PARTS + HONEY + SEA_BURST + RIM
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return load_scheme(save_scheme(text))


@pytest.mark.parametrize(
    ("change", "most"),
    [
        (("coats = 3", "coats = 4"), 0),
        (('yellow = "12', 'yellow = "9'), 0),
        (("15 mm", "21 mm"), 0),
        (('"16 mm"', '"9 mm"'), 9),
    ],
    ids=["coats", "strength", "width", "shape"],
)
def test_only_what_changed_has_another_name(save_scheme: Save, change: tuple[str, str], most: int) -> None:
    before = live_picture(_scheme(save_scheme), EVEN_LIGHT, longest_px=200)
    after = live_picture(_scheme(save_scheme, change), EVEN_LIGHT, longest_px=200)
    other = set(after.textures) - set(before.textures)
    assert len(other) <= most
    assert bool(other) == bool(most)
    assert json.dumps(before.data) != json.dumps(after.data)


def test_the_data_are_plain_and_name_every_texture(save_scheme: Save) -> None:
    """Each with the bytes that its size asks for."""
    picture = live_picture(_scheme(save_scheme), SURROUNDINGS["window"], longest_px=200)
    bytes_of = {"R16F": 2, "RG16F": 4, "RGBA16F": 8, "RG16UI": 4}
    found = {}

    def look(value: Any) -> None:
        if isinstance(value, dict):
            if "hash" in value:
                found[value["hash"]] = value
            for part in value.values():
                look(part)
        elif isinstance(value, list):
            for part in value:
                look(part)

    look(json.loads(json.dumps(picture.data, allow_nan=False)))
    assert set(found) == set(picture.textures)
    for name, told in found.items():
        size = told["width"] * told["height"] * told["depth"] * bytes_of[told["format"]]
        assert len(picture.textures[name]) == size


def test_a_photo_that_changed_is_read_again(save_scheme: Save, tmp_path: Path) -> None:
    path = tmp_path / "photo.png"
    scheme = HEAD + PANEL + '[base]\nkind = "metal"\npicture = "photo.png"\n'
    seen = []
    for grey in (90, 170):
        Image.new("RGB", (64 + grey // 90, 48), (grey, grey, grey + 1)).save(path)
        picture = live_picture(load_scheme(save_scheme(scheme)), EVEN_LIGHT, longest_px=120)
        seen.append(picture.data["skins"][0]["bare"])
    assert seen[0] != seen[1]
    path.write_text("no picture", encoding="utf-8")
    with pytest.raises(PictureError):
        live_picture(load_scheme(save_scheme(scheme)), EVEN_LIGHT, longest_px=120)


def test_wavelengths_hold_as_far_as_layers_may_be_pulled(save_scheme: Save) -> None:
    """Told by the caller, else eight times."""
    scheme = _scheme(save_scheme)
    assert live_picture(scheme, EVEN_LIGHT, longest_px=100).data["most"] == [8.0, 8.0, 8.0]
    picture = live_picture(scheme, EVEN_LIGHT, longest_px=100, lights=["A", "D65"], most=[2.0, 3.0, 1.0])
    assert list(picture.data["lights"]) == ["A", "D65"]
    assert picture.data["most"] == [2.0, 3.0, 1.0]


def test_textures_hold_what_they_are_given() -> None:
    numbers = np.array([[[0.5, 7e4], [-0.25, -1e9]]], dtype=np.float32)
    texture = half(numbers)
    assert (texture.format, texture.width, texture.height, texture.depth) == ("RG16F", 2, 1, 1)
    np.testing.assert_array_equal(np.frombuffer(texture.data, "<f2"), np.float16([0.5, 65504, -0.25, -65504]))
    np.testing.assert_array_equal(np.frombuffer(shares(numbers[:, :1, :1]).data, "<u2"), [32768])
    assert texture.name == half(numbers).name != half(-numbers).name


def test_all_scripts_are_there() -> None:
    import layerpreview

    folder = Path(layerpreview.__file__).parent / "data" / "live"
    assert sorted(path.name for path in folder.iterdir()) == sorted(LIVE_SCRIPTS)
