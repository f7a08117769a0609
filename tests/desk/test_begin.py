"""Beginning a job at the desk: exists for a job that is written over another or outside the folder, for a photo that
takes its place and camera along, for a page that makes another job than the command does, and for uploads that are no
pictures."""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from layerpreview.desk import uploads as uploads_module
from layerpreview.desk.app import make_app
from layerpreview.desk.begin_make import earlier_job, earlier_jobs, free_folder
from layerpreview.desk.begin_told import options_asked, pulls_asked
from layerpreview.desk.chips import WORDS, base_text, chip
from layerpreview.desk.desk import Desk
from layerpreview.desk.guard import UPLOADS, Guard
from layerpreview.errors import InputError
from layerpreview.picture.faces import shapes_of
from layerpreview.scheme import load_scheme
from layerpreview.surface.drawing import read_drawing
from layerpreview.workflows.gallery import GALLERY, finish_text
from layerpreview.workflows.start import start_job
from tests.surface.part_photos import PartPhoto, take
from tests.surface.part_truth import Scene

from .conftest import Start
from .test_guard import HOST, ORIGIN, TOKEN, Asker

_SOFT: dict[str, Any] = {"lamp_mm": (-330.0, -300.0, 620.0), "sky": 0.6}
_WITH_SHEET = Scene(
    "silver with A4", "waisted", "silver", "green", seed=61, sheet="A4", tilt_deg=0, hole=True, mp=1.5,
    view_mm=800.0, shift_mm=(20.0, -125.0), **_SOFT,
)  # fmt: skip
_WITHOUT = Scene("wood on grey", "plate", "wood", "grey", seed=5, hole=True, mp=0.6, **_SOFT)
DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="210mm" height="130mm" viewBox="0 0 210 130">
<script>alert(1)</script><path id="outline" d="M0 0L210 0L210 130L0 130Z"/>
<circle id="f" cx="70" cy="60" r="20"/></svg>"""


class Begin(Asker):
    """A browser at a desk without a job, in a folder of its own."""

    def __init__(self, home: Path) -> None:
        self.desk = Desk(None, home)
        super().__init__(Guard(make_app(self.desk), hosts=[HOST], token=TOKEN))
        self.open()

    def said(self, what: str, /, **body: Any) -> tuple[int, Any]:
        status, _, told = self.post(f"/api/begin/{what}", body)
        return status, json.loads(told)

    def hand(self, what: str, data: bytes, name: str = "x.jpg") -> tuple[int, Any]:
        status, _, told = self.ask(f"/upload/{what}?name={name}", method="POST", body=data, origin=ORIGIN)
        return status, json.loads(told)


@pytest.fixture
def begin(tmp_path: Path) -> Iterator[Begin]:
    home = tmp_path / "jobs"
    home.mkdir()
    asker = Begin(home)
    yield asker
    asker.desk.close()


def made_in(home: Path) -> set[str]:
    return {path.relative_to(home).as_posix() for path in home.rglob("*") if path.is_file()}


# --- folders ---


@pytest.mark.parametrize(
    "name",
    [
        "../../etc", "/etc/passwd", "C:\\jobs", "<img src=x onerror=alert(1)>", "con", ".", "..", " ", "\u202egnp.exe",
        "a" * 300,
    ],
)  # fmt: skip
def test_a_new_job_lies_right_below_the_folder_whatever_it_is_called(begin: Begin, name: str) -> None:
    asked = {"from": "shape", "shape": "disc", "sizes": {"diameter": "90 mm"}, "base": "white", "name": name}
    status, told = begin.said("make", **asked)
    assert status == 200, told
    (folder,) = begin.desk.home.iterdir()
    assert folder.name == told["job"]
    assert set(folder.name) <= set("abcdefghijklmnopqrstuvwxyz0123456789_-")
    assert begin.desk.path == folder / "scheme.toml"


def test_nothing_that_is_there_is_written_over(tmp_path: Path) -> None:
    (tmp_path / "lute").mkdir()
    (tmp_path / "lute_2").write_text("a file of this name")
    (tmp_path / "lute_3").symlink_to(tmp_path / "nowhere")
    assert free_folder(tmp_path, "Lute").name == "lute_4"


def test_only_jobs_of_this_folder_are_listed_and_opened(begin: Begin, tmp_path: Path) -> None:
    home = begin.desk.home
    for place in ("lute", "out/demo", ".hidden/job", "deep/er/still", "empty"):
        (home / place).mkdir(parents=True)
        if place != "empty":
            (home / place / "scheme.toml").write_text("name = 1")
    beside = tmp_path / "beside"
    beside.mkdir()
    (beside / "scheme.toml").write_text("name = 1")
    (home / "link").symlink_to(beside)
    (home / "linked").mkdir()
    (home / "linked" / "scheme.toml").symlink_to(beside / "scheme.toml")
    assert {job["folder"] for job in earlier_jobs(home)} == {"lute", "out/demo"}
    assert earlier_job(home, "out/demo") == home / "out/demo/scheme.toml"
    for folder in ("../beside", str(beside), "link", "linked", ".hidden/job", "deep/er/still", "", None, 3, ["lute"]):
        with pytest.raises(InputError, match="no such job"):
            earlier_job(home, folder)
    assert begin.said("open", folder="../beside")[0] == 422
    assert begin.desk.path is None
    assert begin.said("open", folder="lute") == (200, {"job": "lute"})
    assert begin.desk.path == home / "lute/scheme.toml"


# --- the gallery ---


def test_a_job_begins_with_a_finish_of_the_gallery(begin: Begin) -> None:
    _, _, told = begin.ask("/api/begin/doors")
    finishes = json.loads(told)["gallery"]
    assert [one["name"] for one in finishes] == list(GALLERY)
    assert finishes[0] == {"name": "oat", "title": "Oat", "words": "a box lid in warm white"}
    status, headers, data = begin.ask("/begin/finish.jpg?name=oat")
    assert (status, headers["content-type"]) == (200, "image/jpeg")
    assert Image.open(io.BytesIO(data)).width == 240
    assert begin.said("make", **{"from": "gallery", "like": "oat", "name": "Oat"}) == (
        200,
        {"job": "oat", "said": [], "doubtful": False},
    )
    assert (begin.desk.home / "oat/scheme.toml").read_text(encoding="utf-8") == finish_text("oat")


@pytest.mark.parametrize("name", ["gold", "../starter", None, 3, ["oat"]])
def test_a_finish_there_is_not(begin: Begin, name: object) -> None:
    assert begin.said("make", **{"from": "gallery", "like": name, "name": "x"})[0] == 422
    assert begin.ask(f"/begin/finish.jpg?name={name}")[0] == 422
    assert made_in(begin.desk.home) == set()


# --- shapes, drawings, bases ---


@pytest.mark.parametrize(
    ("shape", "sizes", "size_mm"),
    [
        ("teardrop", {"width": "12 1/2 in", "height": "41 cm"}, (317.5, 410.0)),
        ("drum shell", {"diameter": "13 in", "depth": "140 mm"}, (np.pi * 330.2, 140.0)),
    ],
)
def test_a_shape_has_the_size_that_was_typed(
    begin: Begin, shape: str, sizes: dict[str, str], size_mm: tuple[float, float]
) -> None:
    status, told = begin.said("shape", shape=shape, sizes=sizes)
    assert status == 200
    assert (told["width_mm"], told["height_mm"]) == pytest.approx(size_mm, abs=0.06)
    asked = {"from": "shape", "shape": shape, "sizes": sizes, "base": "grain flame", "name": "One"}
    assert begin.said("make", **asked)[0] == 200
    scheme = load_scheme(begin.desk.home / "one/scheme.toml")
    outline = shapes_of(scheme)[0].outline
    assert (outline.width_mm, outline.height_mm) == pytest.approx(size_mm, abs=0.01)
    assert (scheme.name, scheme.base.kind, scheme.base.grain) == ("One", "wood", "flame")


@pytest.mark.parametrize(
    "wrong",
    [{"width": "12 x"}, {"width": "0 mm"}, {"width": "90000 mm"}, {"width": '10 mm"\n[base'}, {}],
)
def test_a_size_that_is_none_is_one_line_and_nothing_is_made(begin: Begin, wrong: dict[str, str]) -> None:
    asked = {"shape": "teardrop", "sizes": {"height": "300 mm", **wrong}, "base": "white"}
    for status, told in (begin.said("shape", **asked), begin.said("make", **{"from": "shape"}, **asked)):
        assert status == 422
        assert [line.partition(":")[0].partition(" =")[0] for line in told["problems"]] == ["width"]
    assert made_in(begin.desk.home) == set()


def test_a_drawing_is_taken_in_true_size_and_kept_as_it_is(begin: Begin) -> None:
    status, upload = begin.hand("drawing", DRAWING.encode(), "%3Cb%3Elute.svg")
    assert (status, upload["name"]) == (200, "<b>lute.svg")
    status, told = begin.said("drawing", drawing=upload["id"])
    assert (told["width_mm"], told["height_mm"], len(told["rings"])) == (210.0, 130.0, 2)
    assert begin.said("drawing", drawing=upload["id"], width="105 mm")[1]["height_mm"] == 65.0
    asked = {"from": "drawing", "drawing": upload["id"], "base": "relief brushed", "name": "Drawn"}
    assert begin.said("make", **asked)[0] == 200
    assert (begin.desk.home / "drawn/front.svg").read_text() == DRAWING
    assert load_scheme(begin.desk.home / "drawn/scheme.toml").base.relief == "brushed"
    _, headers, _ = begin.ask("/files/front.svg")
    assert headers["content-disposition"].startswith("attachment")


def test_a_drawing_without_a_size_asks_for_one(begin: Begin) -> None:
    _, upload = begin.hand("drawing", b'<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0L9 0L9 9Z"/></svg>')
    status, told = begin.said("drawing", drawing=upload["id"])
    assert (status, len(told["problems"])) == (422, 1)
    assert str(begin.desk.uploads.get(upload["id"]).path.parent) not in told["problems"][0]


@pytest.mark.parametrize("name", WORDS)
def test_a_chip_shows_the_base_that_the_job_gets(begin: Begin, name: str) -> None:
    picture = Image.open(io.BytesIO(chip(name)))
    assert picture.format == "JPEG"
    assert min(picture.size) >= 120
    spread = float(np.asarray(picture.convert("L"), dtype=float)[30:-30, 30:-30].std())
    assert (spread > 3) == (name != "white")
    assert base_text(name).startswith("kind = ")


def test_a_base_there_is_not(begin: Begin) -> None:
    assert begin.ask("/begin/chip.jpg?base=gold")[0] == 422
    asked = {"from": "shape", "shape": "disc", "sizes": {"diameter": "90 mm"}, "base": "gold"}
    assert begin.said("make", **asked)[0] == 422


# --- what is handed over ---


def jpeg(size: tuple[int, int] = (80, 60), **more: Any) -> bytes:
    out = io.BytesIO()
    Image.effect_noise(size, 40).save(out, "JPEG", **more)
    return out.getvalue()


def test_a_photo_is_kept_under_a_name_of_ours(begin: Begin) -> None:
    status, told = begin.hand("photo", jpeg(), "..%2F..%2Fetc%2F%3Cb%3E.JPG")
    assert (status, told["name"], told["width_px"]) == (200, "<b>.JPG", 80)
    path = begin.desk.uploads.get(told["id"]).path
    assert path.name == f"{told['id']}.jpg"
    assert path.parent.stat().st_mode & 0o077 == 0
    begin.desk.close()
    assert not path.parent.exists()


@pytest.mark.parametrize(
    "data", [b"", b"not a picture", jpeg()[:300], b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"\0" * 5000]
)
def test_what_is_no_photo_is_one_line_and_is_not_kept(begin: Begin, data: bytes) -> None:
    status, told = begin.hand("photo", data, "p.jpg")
    assert (status, len(told["problems"])) == (422, 1)
    assert "/" not in told["problems"][0]
    assert begin.desk.uploads._kept == {}
    assert list((begin.desk.uploads._folder or Path("/nowhere")).glob("*")) == []


@pytest.mark.parametrize("what", ["photo", "drawing"])
def test_a_file_that_is_too_large_is_answered_before_it_is_read(begin: Begin, what: str) -> None:
    length = str(UPLOADS[what] + 1)
    status, _, body = begin.ask(f"/upload/{what}", method="POST", origin=ORIGIN, content_length=length)
    assert (status, begin.read) == (413, 0)
    assert len(json.loads(body)["problems"]) == 1


def test_a_file_that_does_not_say_its_size_is_stopped_at_the_cap(begin: Begin, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(UPLOADS, "photo", 100_000)
    pieces = [b"x" * 40_000] * 10
    status, _, _ = begin.ask("/upload/photo", method="POST", origin=ORIGIN, body=pieces)
    assert (status, begin.read) == (413, 3)


def test_nothing_else_takes_large_bodies(begin: Begin) -> None:
    for path in ("/upload/scheme", "/upload/", "/api/begin/make", "/uploads/photo", "/upload/photo/x"):
        status, _, _ = begin.ask(path, method="POST", origin=ORIGIN, content_length="2000000")
        assert status == 413, path
    assert begin.ask("/upload/scheme", method="POST", origin=ORIGIN, body=b"x")[0] == 404


def test_looking_at_another_photo_keeps_the_one_that_is_worked_on(begin: Begin) -> None:
    one, other = (begin.hand("photo", jpeg(size))[1]["id"] for size in ((80, 60), (50, 90)))
    working = begin.desk.beginning._photo
    assert working is not None
    assert working.upload.id == other
    for _ in range(2):
        status, headers, data = begin.ask(f"/begin/photo.jpg?id={one}")
        assert (status, Image.open(io.BytesIO(data)).size) == (200, (80, 60))
        assert headers["cache-control"].startswith("private")
    assert begin.desk.beginning._photo is working


def test_only_the_last_files_are_kept(begin: Begin) -> None:
    ids = [begin.hand("photo", jpeg())[1]["id"] for _ in range(uploads_module.MOST_KEPT + 2)]
    assert begin.said("trace", photo=ids[0])[1]["problems"] == ["this file is no longer kept; hand it over again"]
    folder = begin.desk.uploads.get(ids[-1]).path.parent
    assert len(list(folder.iterdir())) == uploads_module.MOST_KEPT


@pytest.mark.parametrize(
    "body",
    [
        {"at": [0.5]}, {"at": [0.5, 1.2]}, {"at": ["a", 0]}, {"at": [True, 0.5]}, {"background": "50%"},
        {"marks": []}, {"marks": {"from": [0, 0]}}, {"turn_deg": "9"}, {"turn_deg": 1e9}, {"paper": ["A4"]},
        {"part_width": "9" * 300}, {"kind": 4},
    ],
)  # fmt: skip
def test_what_is_said_of_a_photo_is_checked(body: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        options_asked(body)


@pytest.mark.parametrize("pulls", [{}, [[1, 2, 3, 4]], [[1, 2, 3, 4, 0]], [[1, 2, 3, 1e9, 5]], [[0] * 4 + [9]] * 300])
def test_pulls_are_checked(pulls: Any) -> None:
    with pytest.raises(InputError):
        pulls_asked({"pulls": pulls})


# --- a photo ---


@pytest.fixture(scope="module")
def with_sheet(tmp_path_factory: pytest.TempPathFactory) -> tuple[PartPhoto, Path]:
    photo = take(_WITH_SHEET)
    return photo, photo.save(tmp_path_factory.mktemp("photo") / "body.jpg", orientation=6, gps=True)


@pytest.mark.slow
def test_the_page_makes_the_job_that_the_command_makes(
    begin: Begin, with_sheet: tuple[PartPhoto, Path], tmp_path: Path
) -> None:
    """To the byte, but for the name and what is said of the file."""
    started = start_job(tmp_path / "typed", photo=with_sheet[1])
    _, upload = begin.hand("photo", with_sheet[1].read_bytes(), "body.jpg")
    status, told = begin.said("trace", photo=upload["id"])
    assert (status, told["verdict"], told["known"]) == (200, "good", True)
    assert told["command"] == "layerpreview start my-job --photo body.jpg"
    asked = {"from": "photo", "photo": upload["id"], "base": "photo", "name": "First preview"}
    status, made = begin.said("make", **asked)
    assert (status, made["doubtful"]) == (200, False)
    folder = begin.desk.home / "first_preview"
    for name in started.files:
        assert (folder / name).read_bytes() == (tmp_path / "typed" / name).read_bytes(), name
    for path in folder.glob("*.jpg"):
        with Image.open(path) as kept:
            assert not kept.getexif()
    shown = Image.open(io.BytesIO(begin.ask(f"/begin/photo.jpg?id={upload['id']}")[2]))
    assert not shown.getexif()
    assert shown.size == (upload["width_px"], upload["height_px"])


@pytest.mark.slow
def test_a_line_that_was_pulled_is_the_outline_that_is_written(
    begin: Begin, with_sheet: tuple[PartPhoto, Path]
) -> None:
    """In millimetres of the bench: the leftmost place pulled 40 pixels to the left makes the part so much wider."""
    _, upload = begin.hand("photo", with_sheet[1].read_bytes())
    _, told = begin.said("trace", photo=upload["id"])
    ring = np.array(told["outer"])
    held = ring[ring[:, 0].argmin()]
    pulls = [[*held.tolist(), -40.0, 0.0, 120.0]]
    status, pulled = begin.said("trace", photo=upload["id"], pulls=pulls)
    assert (status, pulled["verdict"]) == (200, "look at it")
    keep = [False] * len(told["openings"])
    asked = {"from": "photo", "photo": upload["id"], "pulls": pulls, "keep": keep, "base": "relief hammered"}
    assert begin.said("make", name="Pulled", **asked)[0] == 200
    folder = begin.desk.home / "pulled"
    face = read_drawing(folder / "front.svg").outline
    assert face.openings == {}
    assert begin.said("make", name="Found", **{**asked, "pulls": [], "keep": None})[0] == 200
    before = read_drawing(begin.desk.home / "found/front.svg").outline
    assert len(before.openings) == 1
    assert face.width_mm - before.width_mm == pytest.approx(40.0 * told["mm_per_px"], rel=0.02)
    assert face.height_mm == pytest.approx(before.height_mm, abs=0.05)
    notes = (folder / "photo_notes.txt").read_text()
    assert "moved by hand at 1 place" in notes
    assert "1 closed" in notes
    assert not (folder / "front.jpg").exists()


@pytest.fixture(scope="module")
def without_sheet(tmp_path_factory: pytest.TempPathFactory) -> tuple[PartPhoto, Path]:
    photo = take(_WITHOUT)
    return photo, photo.save(tmp_path_factory.mktemp("photo") / "plate.jpg")


@pytest.mark.slow
def test_without_a_sheet_the_edge_is_shown_and_one_length_gives_the_size(
    begin: Begin, without_sheet: tuple[PartPhoto, Path]
) -> None:
    photo, path = without_sheet
    _, upload = begin.hand("photo", path.read_bytes(), "plate.jpg")
    status, told = begin.said("trace", photo=upload["id"])
    assert (status, told["known"], told["size"]) == (200, False, None)
    status, refused = begin.said("make", **{"from": "photo"}, photo=upload["id"], base="photo")
    assert status == 422
    assert "size" in refused["problems"][0]
    ring = np.array(told["outer"])
    left, right = ring[ring[:, 0].argmin()], ring[ring[:, 0].argmax()]
    size = np.array([told["width_px"], told["height_px"]])
    true = photo.truth.rings_mm[0]
    apart_mm = float(np.hypot(*(true[true[:, 0].argmin()] - true[true[:, 0].argmax()])))
    marks = {"from": (left / size).tolist(), "to": (right / size).tolist(), "length": f"{apart_mm:.1f} mm"}
    status, told = begin.said("trace", photo=upload["id"], marks=marks)
    assert (status, told["known"]) == (200, True)
    assert told["size"]["width_mm"] == pytest.approx(float(np.ptp(true[:, 0])), rel=0.02)
    assert "--marks" in told["command"]
    wide = f"{np.ptp(true[:, 0]):.0f} mm"
    assert begin.said("trace", photo=upload["id"], part_width=wide)[1]["size"]["width_mm"] == pytest.approx(
        float(np.ptp(true[:, 0])), abs=0.6
    )


def test_the_pages_are_there_and_their_files(begin: Begin) -> None:
    page = begin.ask("/")[2].decode()
    assert "What are you going to paint?" in page
    for name in ("begin.js", "begin.css", "begin_line.js", "begin_photo.js"):
        assert begin.ask(f"/static/{name}")[0] == 200
    assert begin.ask("/static/begin.html")[0] == 404
    shutil.rmtree(begin.desk.home)
    status, _, told = begin.ask("/api/begin/doors")
    assert (status, json.loads(told)["jobs"]) == (200, [])


@pytest.mark.parametrize("job", [False, True])
def test_whatever_is_asked_for_first_is_answered(start: Start, folder: Path, job: bool) -> None:
    """All at once, right after the start, when nothing is loaded yet: no answer is a fault."""
    paths = ("api/begin/doors", "api/phone", "api/state", "begin/chip.jpg?base=white", "api/figures", "api/pulse")
    for _ in range(2):
        running = start(*([folder] if job else []))
        with running.browser() as client, ThreadPoolExecutor(len(paths)) as pool:
            answers = pool.map(lambda path: client.get(f"/{path}").status_code, paths)
            assert set(answers) <= {200, 422}
        code, said = running.end()
        assert (code, "fault" in said) == (0, False)
