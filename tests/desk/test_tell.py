"""What the page is told: exists for a number that is not the one of the commands, a strip of film that does not add up,
and words that name folders of this machine."""

from __future__ import annotations

import io
import json
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from layerpreview.desk import asked, picture
from layerpreview.desk.desk import Desk
from layerpreview.desk.jobs import OpenJob, Read
from layerpreview.desk.picture import Textures
from layerpreview.desk.spot import spot
from layerpreview.desk.tell import plain_paths, rounded, state
from layerpreview.errors import InputError
from layerpreview.job.sheet import make_sheet
from layerpreview.output.live_textures import half
from layerpreview.threads import Made
from layerpreview.workflows.check import figures
from layerpreview.workflows.sheet import sheet

from ..schemes import DYES, FULL, HEAD, MIXES, PANEL, WHITE
from .conftest import coats

SAMPLE = Path(__file__).parents[2] / "samples" / "octave_mandolin.toml"


def read_of(job: OpenJob) -> Read:
    assert job.read is not None
    return job.read


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> OpenJob:
    folder = tmp_path_factory.mktemp("mandolin")
    (folder / "scheme.toml").write_bytes(SAMPLE.read_bytes())
    return OpenJob(folder / "scheme.toml")


def test_state_is_the_scheme(sample: OpenJob) -> None:
    told = state(sample)
    json.dumps(told, allow_nan=False)
    assert (told["name"], told["file"], told["units"]) == (
        "Octave mandolin: honey into plum over lifted silver",
        "scheme.toml",
        "metric",
    )
    assert [coat["name"] for coat in told["coats"]] == ["honey", "plum", "plum", "plum", "dark rim", "dark ring"]
    assert told["coats"][1] | {"film_um": 0, "dry_um": 0} == {
        "index": 1,
        "ring": None,
        "name": "plum",
        "kind": "dye",
        "mix": "plum",
        "colour": None,
        "hiding": None,
        "coats": 3,
        "fewest": 1,
        "most": 5,
        "film_word": "medium",
        "film_um": 0,
        "dry_um": 0,
        "where": "front, back",
        "faces": ["front", "back"],
        "bursts": [
            {
                "from": "outline",
                "width_mm": 75.0,
                "fall_off": "soft",
                "centre": 0.0,
                "at_mm": None,
                "angle_deg": None,
                "face": None,
            }
        ],
        "zones": ["front", "back"],
        "cut_back": 0.0,
        "rests_on": "assumed",
    }
    assert told["coats"][5]["faces"] == ["front"]  # the only face with a sound hole
    assert told["coats"][3]["cut_back"] == 0.35
    assert told["clear"]["film"] == {"low": 50.0, "likely": 55.0, "high": 60.0, "rests_on": "stated"}
    amber = told["mixes"][0]["dyes"][0]
    assert (amber["amount"], amber["likely"], amber["unit"], amber["source"]) == ("14 mL/L", 14.0, "mL/L", "library")
    assert [face["name"] for face in told["faces"]] == ["front", "back", "head"]
    hole = told["faces"][0]["openings"][0]
    assert (hole["name"], hole["at_mm"]) == ("sound hole", [160.0, 222.0])
    assert hole["ring"][0] == [160.0, 191.0]  # the top of an ellipse 62 mm high
    assert told["faces"][0]["zones"] == [{"name": "fretboard seat", "masked": True, "under": "maple", "edge_mm": 0.0}]
    assert all(len(face["outline"]) <= 200 for face in told["faces"])
    assert told["light_words"]["D65"]
    assert "window" in told["surroundings"]


def test_dry_films_are_those_of_the_mix_sheet(sample: OpenJob) -> None:
    told, layers = state(sample), make_sheet(read_of(sample).scheme).layers
    shown = [*(coat["dry_um"] for coat in told["coats"]), told["clear"]["dry_um"]]
    assert len(layers) == len(shown) + 1  # the base coat
    for layer, film in zip(layers[1:], shown, strict=True):
        for end in ("low", "likely", "high"):
            assert film[end] == pytest.approx(getattr(layer.dry_um, end), rel=1e-3)


@pytest.mark.slow
def test_a_command_names_the_job_as_it_is_named_where_the_desk_was_started(
    sample: OpenJob, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(sample.folder.parent)
    assert state(sample)["command"]["check"] == f"layerpreview check {sample.folder.name}/scheme.toml"
    monkeypatch.chdir(tmp_path)
    assert state(sample)["command"]["check"] == f"layerpreview check {sample.path}"


def test_figures_are_those_of_the_commands(sample: OpenJob) -> None:
    read = read_of(sample)
    _, told = asked.get_figures(_desk(sample), {})
    assert told["figures"] == json.loads(figures(read.scheme).json())
    whole = json.loads(sheet(read.scheme, forms=["json"]).json())
    assert told["sheet"] == {name: whole[name] for name in told["sheet"]}
    assert {"layers", "times", "costs", "burial"} <= set(told["sheet"])


def test_a_spot_is_what_the_figures_say_of_it(sample: OpenJob) -> None:
    read = read_of(sample)
    colours = figures(read.scheme).found.colours
    for colour in (colours[1], colours[-1]):
        x_mm, y_mm = colour.at_mm
        told = spot(read, face=colour.face, x_mm=x_mm, y_mm=y_mm, light=colour.light)
        assert told["builds"] == pytest.approx(colour.build, abs=2e-3)
        assert told["after_lab"][-1] == pytest.approx(colour.lab, abs=0.1)
        assert told["after"][-1] == colour.srgb
        assert len(told["after"]) == len(read.scheme.coats) + 1
        bare = next(c for c in colours if (c.kind, c.face, c.light) == ("base", colour.face, colour.light))
        assert told["after"][0] == bare.srgb


def test_the_film_at_a_spot_is_its_build(sample: OpenJob) -> None:
    told, whole = spot(read_of(sample), face="front", x_mm=40.0, y_mm=240.0), state(sample)
    json.dumps(told, allow_nan=False)
    assert told["layers"][-1] == {"coat": "clear", "dry_um": whole["clear"]["dry_um"]}
    for coat, build, layer in zip(whole["coats"], told["builds"], told["layers"], strict=False):
        assert layer["coat"] == coat["index"]
        assert layer["dry_um"]["likely"] == pytest.approx(coat["dry_um"]["likely"] * build, rel=1e-3, abs=1e-6)
    assert 0.0 < told["builds"][1] < 1.0
    assert told["relief_um"] == {"low": 40.0, "likely": 65.0, "high": 90.0, "rests_on": "stated"}


@pytest.mark.parametrize(
    ("x_mm", "y_mm", "place"),
    [(160.0, 300.0, "front, "), (160.0, 62.0, "front, "), (1.0, 1.0, "beside front"), (160.0, 222.0, "beside front")],
)
def test_where_a_spot_lies(sample: OpenJob, x_mm: float, y_mm: float, place: str) -> None:
    told = spot(read_of(sample), face="front", x_mm=x_mm, y_mm=y_mm)
    assert told["place"].startswith(place)
    masked = {"name": "fretboard seat", "masked": True}
    assert (masked in told["zones"]) == (y_mm == 62.0)
    if y_mm == 62.0 or place.startswith("beside"):
        assert told["builds"] == [0.0] * 6


@pytest.mark.parametrize(
    "words",
    [
        {},
        {"face": "front"},
        {"face": "front", "x": "1e999", "y": "1"},
        {"face": "front", "x": "nan", "y": "1"},
        {"face": "lid", "x": "1", "y": "1"},
        {"face": "front", "x": "1", "y": "1", "light": "candle"},
    ],
)
def test_a_spot_that_cannot_be_is_one_line(sample: OpenJob, words: dict[str, str]) -> None:
    with pytest.raises(InputError) as refused:
        asked.get_spot(_desk(sample), words)
    assert len(refused.value.problems) == 1


@pytest.mark.slow
def test_spots_and_state_are_told_at_once(sample: OpenJob) -> None:
    """15 and 5 ms on a quiet machine; the limits are those of a page that feels at hand."""
    spot(read_of(sample), face="front", x_mm=60.0, y_mm=160.0)

    def best(work: Callable[[], object]) -> float:
        times = []
        for _ in range(5):
            begun = time.perf_counter()
            work()
            times.append(time.perf_counter() - begun)
        return min(times)

    assert best(lambda: state(sample)) < 0.15
    assert best(lambda: spot(read_of(sample), face="front", x_mm=60.0, y_mm=160.0)) < 0.1


@pytest.mark.slow
def test_a_frame_where_the_page_cannot_draw(job: OpenJob) -> None:
    desk = _desk(job)
    data = asked.frame_asked(desk, {"width": "96"})
    with Image.open(io.BytesIO(data)) as shown:
        assert (shown.format, shown.width) == ("JPEG", 96)
    assert asked.frame_asked(desk, {"width": "96"}) == data
    assert asked.frame_asked(desk, {"width": "96", "yaw": "40"}) != data
    assert asked.frame_asked(desk, {"width": "96", "light": "A"}) != data
    kept = job.history.versions()[0].id
    asked.post_edit(desk, {}, {"base": job.version, "words": "", "changes": [coats(1)]})
    assert asked.frame_asked(desk, {"width": "96"}) != data
    assert asked.frame_asked(desk, {"width": "96", "of": kept}) == data
    for words in ({"width": "x"}, {"around": "cellar"}, {"light": "candle"}, {"of": "../x"}, {"yaw": "inf"}):
        with pytest.raises(InputError):
            asked.frame_asked(desk, words)


def test_swatches_and_sources_of_dyes(job: OpenJob) -> None:
    job.path.write_text(HEAD + PANEL + WHITE + DYES + MIXES + '[dye.amber]\nlibrary = "amber"\n')
    job.look()
    dyes = {dye["name"]: dye for dye in state(job)["dyes"]}
    assert (dyes["yellow"]["source"], dyes["amber"]["source"]) == ("own", "library")
    red, green, blue = (int(dyes["yellow"]["swatch"][i : i + 2], 16) for i in (1, 3, 5))
    assert red > 190
    assert green > 190
    assert blue < 160  # a yellow: it takes blue


def test_what_is_wrong_is_told_beside_the_last_good_one(job: OpenJob) -> None:
    job.path.write_text(FULL.replace("coats = 3", "coats = 300"))
    job.look()
    told = state(job)
    assert told["coats"][0]["coats"] == 3
    assert told["shown"] != told["version"]
    (line,) = told["problems"]
    assert line.startswith("scheme.toml:")
    assert str(job.folder) not in json.dumps(told["problems"])


def test_rings_are_told_one_by_one(job: OpenJob) -> None:
    rings = '[[coat]]\nrings = "honey x2 | #140d0e x2 16 mm fan"\nfilm = "30 um"\n'
    job.path.write_text(HEAD + PANEL + WHITE + DYES + MIXES + rings)
    job.look()
    told = state(job)["coats"]
    assert [(coat["kind"], coat["coats"], coat["ring"]) for coat in told] == [("dye", 2, 0), ("opaque", 2, 1)]
    asked.post_edit(_desk(job), {}, {"base": job.version, "words": "", "changes": [coats(3, 1)]})
    again = state(job)["coats"]
    assert [(coat["coats"], coat["ring"]) for coat in again] == [(2, None), (3, None)]
    assert again[0] | {"ring": 0} == told[0]


def test_plain_paths() -> None:
    folder = Path("/home/ann/my jobs/lute")
    assert plain_paths("/home/ann/my jobs/lute/a/b.png: wrong", folder) == "a/b.png: wrong"
    assert plain_paths("12 mL/L, 40 g/L and 1 oz wt/gal, 3/4 in", folder) == "12 mL/L, 40 g/L and 1 oz wt/gal, 3/4 in"
    assert plain_paths('"/opt/dyes/amber.toml" is gone', folder) == '"amber.toml" is gone'
    assert plain_paths("C:\\Users\\ann\\a.png: wrong", folder) == "a.png: wrong"
    assert rounded(1234.5678) == 1235.0


def test_textures_are_kept_within_bounds() -> None:
    kept = Textures(most_bytes=100)
    kept.add({"a": b"x" * 60, "b": b"y" * 30})
    kept.add({"c": b"z" * 60})
    assert kept.get("a") is None
    assert kept.get("c") is not None
    kept.add({"d": b"z" * 300, "e": b"z" * 10})
    assert [name for name in "abcde" if kept.get(name)] == ["d", "e"]


def test_the_live_picture_goes_out_with_its_textures(job: OpenJob, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever makes it: it is made once a version, and its big parts are found by their hash."""

    calls = []

    def live_picture(scheme: Any, around: Any, *, lights: Any) -> Any:
        calls.append(scheme)
        return type("P", (), {"data": {"lights": lights, "a": around.name}, "textures": {"beef": b"123"}})

    monkeypatch.setattr(picture, "live_picture", live_picture)
    desk = _desk(job)
    for _ in range(2):
        status, data = asked.get_picture(desk, {"around": "sun", "light": "A"})
        told = json.loads(data)
        assert (status, told["a"], told["lights"]) == (200, "sun", ["D65", "A"])
    assert len(calls) == 1
    assert picture.textures.get("beef") == b"123"
    assert picture.textures.get("dead") is None
    with pytest.raises(InputError):
        asked.get_picture(desk, {"around": "cellar"})


def test_a_picture_of_an_earlier_run_is_not_made_again(job: OpenJob, monkeypatch: pytest.MonkeyPatch) -> None:
    """But one of another text, room or light is, and one whose files have changed."""
    calls = []

    def live_picture(scheme: Any, around: Any, *, lights: Any) -> Any:
        calls.append(around.name)
        made = half(np.full((2, 2, 1), 0.5 * len(calls), np.float32))
        return type("P", (), {"data": {"n": len(calls)}, "textures": {made.name: made.data}})

    def opened(read: Read, around: str = "sun", light: str = "A") -> int:
        monkeypatch.setattr(picture, "_data", Made(4))
        monkeypatch.setattr(picture, "textures", Textures())
        told = json.loads(picture.live(read, around=around, light=light))
        return int(told["n"])

    monkeypatch.setattr(picture, "live_picture", live_picture)
    read = read_of(job)
    assert [opened(read), opened(read)] == [1, 1]
    assert [opened(read, "stage"), opened(read, light="FL11"), opened(read)] == [2, 3, 1]
    other = (*read.stamps, (Path("photo.png"), None))
    assert [opened(replace(read, version="0")), opened(replace(read, stamps=other)), opened(read)] == [4, 5, 1]


def test_a_picture_whose_textures_are_gone_is_made_anew(job: OpenJob, monkeypatch: pytest.MonkeyPatch) -> None:
    """Other surroundings have pushed them out: who asks again must not be sent to what is no longer there."""

    def live_picture(scheme: Any, around: Any, *, lights: Any) -> Any:
        return type("P", (), {"data": {}, "textures": {around.name: b"12345"}})

    monkeypatch.setattr(picture, "live_picture", live_picture)
    monkeypatch.setattr(picture, "textures", Textures(most_bytes=6))
    desk = _desk(job)
    asked.get_picture(desk, {"around": "sun", "light": "A"})
    asked.get_picture(desk, {"around": "stage", "light": "A"})
    assert picture.textures.get("sun") is None
    asked.get_picture(desk, {"around": "sun", "light": "A"})
    assert picture.textures.get("sun") == b"12345"


def _desk(job: OpenJob) -> Desk:
    desk = Desk(job.path)
    assert desk._job is not None
    desk._job.set_result(job)
    return desk


def test_a_zone_that_a_burst_starts_at_is_told_with_its_border(save_scheme: Callable[..., Path]) -> None:
    """As it was taped, the frame's hole the other way round; a zone that no burst starts at has none to tell."""
    zone = (
        '[[face.zone]]\nname = "NAME"\nshape = "panel"\nwidth = "20 mm"\nheight = "10 mm"\ncentre = ["30 mm", "0 mm"]\n'
    )
    band = '[[face.zone]]\nname = "rim"\nband = { from = "outline", width = "4 mm" }\n'
    coat = '[[coat]]\nmix = "sea"\nburst = [{ from = "patch", width = "3 mm" }, { from = "rim", width = "2 mm" }]\n'
    text = HEAD + PANEL + zone.replace("NAME", "patch") + zone.replace("NAME", "other") + band + WHITE + DYES + MIXES
    (face,) = state(OpenJob(save_scheme(text + coat)))["faces"]
    patch, other, rim = (one.get("rings") for one in face["zones"])
    assert other is None
    assert sorted(patch[0]) == [[20.0, -5.0], [20.0, 5.0], [40.0, -5.0], [40.0, 5.0]]
    assert [round(area_of(ring)) for ring in patch] == [200]
    assert [area_of(ring) > 0.0 for ring in rim] == [True, False]
    assert area_of(rim[1]) == pytest.approx(-(64.0 - 8.0) * (48.0 - 8.0), rel=0.01)
    assert face["wraps"] is False


def area_of(ring: list[list[float]]) -> float:
    """Signed area of a closed line, above 0 from across to down."""
    turned = zip(ring, ring[1:] + ring[:1], strict=True)
    return 0.5 * sum(x * v - u * y for (x, y), (u, v) in turned)
