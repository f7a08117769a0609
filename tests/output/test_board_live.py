"""A board's packed pictures: these tests exist for numbers that come back as others, for flakes and reliefs that
are made again as others, for options that hold the same twice, and for a board that is too large and says nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from scipy.fft import dctn

from layerpreview.finish.texture import flashes_of, strewn_of
from layerpreview.finish.view import SURROUNDINGS
from layerpreview.output import board_live
from layerpreview.output.board_live import Asked, PackedFiles, packed_board, parts_of, text_bytes, texts_of
from layerpreview.output.board_pack_kinds import texture_of_plan
from layerpreview.output.board_pack_picture import pack_picture
from layerpreview.output.board_pack_planes import bit_plan, curve_plan, plane_of, wave_plan
from layerpreview.output.board_pack_waves import as_waves, of_waves
from layerpreview.output.live import LivePicture, live_picture
from layerpreview.scheme import Base, Scheme, load_scheme
from layerpreview.surface.hashed_fields import Lattice, Mosaic

from ..browser.board_twin import drawn, live_by, unpacked_by
from ..browser.live_truth import Setting, apart
from ..schemes import HOLE, HONEY, PANEL, RELIEF, RIM, SEA_BURST, WHITE, bare_scheme

WINDOW = SURROUNDINGS["window"]
COATS = HONEY + SEA_BURST + RIM
FLAME = '[base]\nkind = "wood"\ngrain = "flame"\n'
OWN = (
    '[base]\nkind = "metal"\nflake_spread = 0.25\nheight_picture = "own.png"\n'
    '[base.height_options]\nwidth = "64 mm"\ndepth = "1 mm"\n'
)


def packed(scheme: Scheme, files: PackedFiles) -> dict[str, Any]:
    """The live picture of one option, its textures packed into `files`."""
    return pack_picture(scheme, WINDOW, live_picture(scheme, WINDOW, longest_px=300), files)


def field(rows: int, cols: int) -> np.ndarray[Any, np.dtype[np.float32]]:
    """Smooth numbers with an edge across them."""
    y, x = np.mgrid[:rows, :cols].astype(np.float32)
    return np.sin(x / 9.0) + np.cos(y / 13.0) + (x > 1.3 * y)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of schemes with a relief picture beside them."""
    found = tmp_path_factory.mktemp("board")
    heights = np.random.default_rng(2).random((24, 32))
    grey = Image.fromarray((255 * heights).astype(np.uint8)).resize((256, 192), Image.Resampling.BICUBIC)
    grey.save(found / "own.png")
    return found


def scheme_in(folder: Path, base: str, *, coats: str = COATS, face: str = PANEL + HOLE) -> Scheme:
    file = folder / "scheme.toml"
    file.write_text(bare_scheme(base, face=face, coats=coats), encoding="utf-8")
    return load_scheme(file)


@pytest.mark.parametrize("size", [(1, 1), (8, 8), (37, 61)])
def test_waves_bring_numbers_back(size: tuple[int, int]) -> None:
    """Within two steps everywhere, a third of one on average, whatever the size; and of three planes each its own."""
    values = np.stack([field(*size), 100.0 - field(*size), np.full(size, 2.5, np.float32)])
    made = as_waves(values, step=0.01)
    back = of_waves(made)
    assert back.shape == values.shape
    assert float(np.abs(back - values).max()) <= 0.03
    assert float(np.sqrt(np.mean((back - values) ** 2))) <= 0.006
    assert made == as_waves(values, step=0.01)


def test_waves_are_the_cosine_transform_of_the_textbook() -> None:
    """One wave of scipy.fft.dctn (type II, orthonormal), which stands outside this program, comes back."""
    made = as_waves(field(8, 8), step=1e-4)
    again = dctn(of_waves(made)[0].astype(np.float64), norm="ortho")
    np.testing.assert_allclose(again, dctn(field(8, 8).astype(np.float64), norm="ortho"), atol=2e-4)
    assert as_waves(np.full((80, 80), 3.0, np.float32), step=0.1).waves == 1


def test_planes_become_coarser_only_where_nothing_is_lost() -> None:
    """A slow slope needs few places, an edge all; cube roots keep what is dark; a plane of one number needs no file."""
    files = PackedFiles()
    slow = np.linspace(0.0, 4.0, 90, dtype=np.float32)[:, None] * np.ones((1, 70), np.float32)
    plan = wave_plan(slow, files, step=0.1)
    assert plan["times"] > 1
    assert float(np.abs(plane_of(plan, files)[0] - slow).max()) <= 0.1
    assert wave_plan(field(90, 70), files, step=0.01)["times"] == 1
    dark = np.float32(1e-4) * (2.0 + field(40, 40))
    back = plane_of(wave_plan(dark, files, step=0.005, root=3), files)[0]
    assert float(np.abs(np.cbrt(back) - np.cbrt(dark)).max()) <= 0.01
    before = len(files.files)
    assert plane_of(wave_plan(np.full((9, 4), 0.25, np.float32), files, step=1.0), files).tolist() == [[[0.25] * 4] * 9]
    assert len(files.files) == before
    assert wave_plan(slow, PackedFiles(3.0), step=0.1)["step"] == pytest.approx(0.3)
    assert wave_plan(slow, PackedFiles(3.0), step=0.1, shape=True)["step"] == pytest.approx(0.1)


def test_bits_and_curves() -> None:
    """Half-precision numbers come back bit for bit; a plane that follows another is a curve, another is not."""
    files = PackedFiles()
    halves = np.float16([[0, 1, 1e4], [-2.5, 6e-8, 65504]])
    np.testing.assert_array_equal(plane_of(bit_plan(halves.view("<u2"), files), files)[0], halves.astype(np.float32))
    over = field(50, 40)
    plan = wave_plan(over, files, step=0.001)
    follows = np.maximum(-0.6, 0.5 * over) - 0.1
    curve = curve_plan(follows, over, plan, step=0.02)
    assert curve is not None
    assert float(np.abs(plane_of(curve, files)[0] - follows).max()) <= 0.03
    assert curve_plan(over[::-1].copy(), over, plan, step=0.02) is None


@pytest.mark.parametrize(
    ("base", "even"),
    [
        (RELIEF, 0.3),
        (RELIEF.replace("lifted", "coarse flake") + 'sparkle = "fine"\n', 0.5),
        (RELIEF + 'additive = "flake, 0.4 mm, 3 %"\n', 0.2),
        (RELIEF, 1.0),
    ],
)
def test_flakes_are_told_by_what_they_come_from(folder: Path, base: str, even: float) -> None:
    """The squares that are told give the very numbers of `flashes_of`."""
    own: Base = scheme_in(folder, base, coats="").base
    flashes = flashes_of(own, 64.0, 48.0, even=even)
    told = strewn_of(own, 64.0, 48.0, even=even)
    lattice = Lattice.covering(64.0, 48.0, 0.25)
    for part, numbers in zip(told, (flashes.flake, flashes.glitter) if flashes else (None, None), strict=True):
        assert (part is None) == (numbers is None)
        if part is not None and numbers is not None:
            made = Mosaic(lattice, cell_mm=part.cell_mm, seed=part.seed, salt=part.salt)
            np.testing.assert_array_equal(made(slice(0, lattice.rows)), numbers)


def board_and_desk(
    scheme: Scheme, setting: Setting, made: LivePicture, data: dict[str, Any], files: PackedFiles
) -> np.ndarray[Any, np.dtype[np.float64]]:
    """dE00 of every pixel of what the board shows against what the desk shows."""
    desk = drawn(scheme, WINDOW, setting, made.data, live_by(made), width_px=120)
    return apart(drawn(scheme, WINDOW, setting, data, unpacked_by(data, files), width_px=120), desk).ravel()


@pytest.mark.parametrize("base", [RELIEF, FLAME, WHITE], ids=["relief", "wood", "white"])
def test_what_is_unpacked_shows_what_the_desk_shows(folder: Path, base: str) -> None:
    """dE00 against the desk's own picture: mean at most 0.25, 99 % at most 1.3 (8 bits alone bring 1); and small."""
    scheme, files = scheme_in(folder, base), PackedFiles()
    made = live_picture(scheme, WINDOW, longest_px=300)
    data = pack_picture(scheme, WINDOW, made, files)
    assert {key: value for key, value in data.items() if key != "packed"} == made.data
    assert sorted(data["packed"]) == sorted(made.textures)
    for setting in (Setting("D65"), Setting("D65", 20.0, -9.0, (5, 1, 1), (0.6, 1.5))):
        found = board_and_desk(scheme, setting, made, data, files)
        assert found.mean() <= 0.25
        assert np.percentile(found, 99) <= 1.3
    assert files.size_bytes < 400_000
    assert text_bytes(files.size_bytes) - sum(map(len, texts_of(files).values())) in range(-4 * len(files.files), 1)


def test_options_hold_the_same_once(folder: Path) -> None:
    """The same option again takes nothing; other coats over the same base little; the same bytes each time."""
    files = PackedFiles()
    first = packed(scheme_in(folder, RELIEF), files)
    whole = files.size_bytes
    assert packed(scheme_in(folder, RELIEF), files) == first
    assert files.size_bytes == whole
    packed(scheme_in(folder, RELIEF, coats=HONEY), files)
    assert files.size_bytes < 1.1 * whole
    again = PackedFiles()
    packed(scheme_in(folder, RELIEF), again)
    assert again.files == {name: files.files[name] for name in again.files}


def test_a_board_is_as_fine_as_it_may_be(folder: Path) -> None:
    """Below its limit nothing is coarser; above it comes the next step of the ladder; the last shows dE00 99 % at most
    2, and tells what takes most."""
    asked = [Asked(scheme_in(folder, OWN), WINDOW)]
    fine = packed_board(asked, limit_bytes=3_000_000, longest_px=300)
    assert fine.files.coarser == 1.0
    assert fine.too_large == ()
    next_one = packed_board(asked, limit_bytes=fine.size_bytes - 1, longest_px=300)
    assert next_one.files.coarser == board_live.LADDER[1]
    assert next_one.size_bytes < fine.size_bytes
    least = packed_board(asked, limit_bytes=1000, longest_px=300)
    assert least.files.coarser == board_live.LADDER[-1]
    assert {part.what for part in least.too_large} >= {"light of front", "texture of front"}
    assert all(part.size_bytes and part.why for part in least.too_large)
    together = sum(part.size_bytes for part in parts_of(least.pictures[0], least.files))
    assert together == pytest.approx(least.size_bytes, rel=0.02)
    made = live_picture(asked[0].scheme, WINDOW, longest_px=300)
    assert (
        np.percentile(
            board_and_desk(asked[0].scheme, Setting("D65", 12.0, 5.0), made, least.pictures[0], least.files), 99
        )
        <= 2.0
    )


def test_wood_and_reliefs_from_a_seed_take_nothing(folder: Path) -> None:
    """Their plans name no file: the page makes them again."""
    files = PackedFiles()
    data = packed(scheme_in(folder, FLAME, coats=HONEY), files)
    skin = data["skins"][0]
    plans = [data["packed"][told["hash"]] for told in (skin["bare"]["texture"], *skin["groups"])]
    assert "file" not in str(plans[0])
    made = live_picture(scheme_in(folder, FLAME, coats=HONEY), WINDOW, longest_px=300)
    for told in (skin["bare"]["texture"], *skin["groups"]):
        truth = np.frombuffer(made.textures[told["hash"]][:], "<f2").reshape(told["height"], told["width"], 4)
        found = texture_of_plan(data["packed"][told["hash"]], files)[:, 0]
        np.testing.assert_allclose(found, np.moveaxis(truth, -1, 0).astype(np.float32), atol=0.05)
    relief = packed(scheme_in(folder, RELIEF), files)
    surface = relief["skins"][0]["surface"]
    assert relief["packed"][surface["slopes"]["hash"]]["as"] == "relief"
    assert relief["packed"][surface["numbers"]["hash"]]["as"] == "strewn"
