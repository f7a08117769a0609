"""Beginning a job and the shop's phone in a real browser: these tests exist for a handle that moves another line than
the one that is written, a step that needs a keyboard or a mouse, and a page that a thumb or a reading voice cannot
use."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
import shapely

from layerpreview.desk.phone import local_address
from layerpreview.errors import InputError
from layerpreview.finish.texture import texture_of
from layerpreview.scheme import load_scheme
from layerpreview.surface.bent import Pull, bent
from layerpreview.surface.drawing import read_drawing
from layerpreview.workflows.photo_options import PhotoOptions, read_options
from layerpreview.workflows.photographed import photographed
from tests.surface.lamp_photos import lamp_photos
from tests.workflows.test_start_lamps import on_bench

from .conftest import COARSE, SAMPLES, SIZES
from .desk_page import READY, ChromiumPage, after_loading, spotless_page

pytestmark = [pytest.mark.browser, pytest.mark.slow]

PHOTO = SAMPLES / "silver_on_bench.jpg"
HANDS = {"has_touch": True, "is_mobile": True}
DRAGGED_PX = (-9, -22)


@contextmanager
def desk_in(home: Path, *typed: str, said: str = "") -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """A desk that is started in a folder: its address, and its process."""
    process = subprocess.Popen(
        [sys.executable, "-m", "layerpreview", "desk", *typed, "--no-open"],
        cwd=home, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip
    with process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(said)
        process.stdin.flush()
        try:
            yield process.stdout.readline().strip(), process
        finally:
            process.kill()


def opened(
    chromium: Any, url: str, size: str, *, but: str = "untrustworthy", **how: Any
) -> AbstractContextManager[ChromiumPage]:
    """A page of the desk: over plain http in a local network a browser says that one header is untrustworthy."""
    return spotless_page(chromium, url, SIZES[size], but=but, **{"device_scale_factor": COARSE, **how})


def fits(page: ChromiumPage) -> None:
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    small = page.evaluate(
        "[...document.querySelectorAll('button, label.door, .camera, input:not(.unseen):not([type=checkbox])')]"
        ".filter((e) => e.offsetParent && Math.min(e.offsetWidth, e.offsetHeight) < 44)"
        ".map((e) => e.outerHTML.slice(0, 90))"
    )
    assert small == []


def broken_rules(page: ChromiumPage, axe: str) -> list[str]:
    if not page.evaluate("'axe' in window"):
        page.page.evaluate(axe)
    return list(
        page.evaluate(
            "(await axe.run(document)).violations.map((v) => v.id + ': ' + v.nodes.map((n) => n.html.slice(0, 120)))"
        )
    )


def begun(page: ChromiumPage) -> None:
    """The photo handed over, its edge found."""
    page.wait_for("!!document.querySelector('#shape-door')")
    page.page.set_input_files("#photo-file", PHOTO)
    page.wait_for("document.querySelectorAll('.handle').length > 7")


def at_step(page: ChromiumPage, step: str) -> None:
    page.wait_for(f"document.body.dataset.step === '{step}'")


def test_from_a_photo_to_a_job_without_a_keyboard(chromium: Any, tmp_path: Path) -> None:
    """A handle dragged by the mouse lies in front.svg where it was let go, to 0.3 mm: measured from the opening's
    middle, through the map from pixels to millimetres that the photo's own sheet gives."""
    with desk_in(tmp_path) as (url, _), opened(chromium, url, "laptop") as page:
        begun(page)
        seen = photographed(PHOTO, read_options(PhotoOptions()))
        k, held = top_handle(page)
        scale = page.evaluate("begun.told.width_px / document.getElementById('photo').clientWidth")
        x, y = page.middle_of(f"[data-key='handle {k}']")
        page.drag([(x, y), (x + DRAGGED_PX[0], y + DRAGGED_PX[1])])
        page.wait_for("begun.told.verdict === 'look at it' && !document.getElementById('photo-next').disabled")
        assert "moved by hand" in page.evaluate("document.getElementById('leaf').textContent")
        page.click("#photo-next")
        at_step(page, "base")
        page.wait_for("[...document.querySelectorAll('#chips img')].every((e) => e.complete && e.naturalWidth > 100)")
        page.click("[data-key='photo']")
        page.click("#base-next")
        at_step(page, "name")
        assert page.evaluate("document.getElementById('name').value") == "Silver on bench"
        page.wait_for("document.getElementById('command').textContent.includes('mend front.svg')")
        page.click("#make")
        page.page.wait_for_selector("#strips", state="attached")
    folder = tmp_path / "silver_on_bench"
    assert load_scheme(folder / "scheme.toml").name == "Silver on bench"
    face = read_drawing(folder / "front.svg").outline
    let_go = held + scale * np.array(DRAGGED_PX)
    (hole,) = seen.traced.rings_px()[1].values()
    middle = centre(seen.part.square.to_mm(hole))
    on_the_face = centre(next(iter(face.openings.values()))) - middle
    line = shapely.LinearRing(face.outer)
    assert line.distance(shapely.Point(seen.part.square.to_mm(let_go[None])[0] + on_the_face)) < 0.3
    far_mm = scale * float(np.hypot(*DRAGGED_PX)) * seen.part.square.mm_per_px
    assert line.distance(shapely.Point(seen.part.square.to_mm(held[None])[0] + on_the_face)) > 0.6 * far_mm


def top_handle(page: ChromiumPage) -> tuple[int, np.ndarray]:
    """The handle that lies highest, and where it was found [px of the photo]."""
    places = np.array(page.evaluate("begun.handles"))
    k = int(places[:, 1].argmin())
    return k, places[k]


def centre(ring: np.ndarray) -> np.ndarray:
    return np.array(shapely.Polygon(ring).centroid.coords[0])


def test_the_line_under_the_finger_is_the_one_that_is_written(chromium: Any, tmp_path: Path) -> None:
    """The page's sum and the desk's, for pulls that overlap and go over the place where the line begins."""
    ring = [[40.0, 30.0], [340.0, 55.0], [310.0, 230.0], [60.0, 190.0]]
    pulls = [[40.0, 30.0, -9.0, -5.0, 24.0], [150.0, 40.0, 3.0, -8.0, 30.0], [180.0, 43.0, 2.0, 7.0, 21.0]]
    with desk_in(tmp_path) as (url, _), opened(chromium, url, "laptop") as page:
        found = page.evaluate(
            "import('/static/begin_line.js').then(({ Line }) => {"
            f" const line = new Line({ring}); for (const pull of {pulls}) line.pull(...pull); return line.ring(); }})"
        )
    mine = shapely.LinearRing(bent(np.array(ring), [Pull(*pull) for pull in pulls]))
    assert shapely.hausdorff_distance(mine, shapely.LinearRing(found)) < 0.15


def test_a_handle_by_arrow_keys(chromium: Any, tmp_path: Path) -> None:
    with desk_in(tmp_path) as (url, _), opened(chromium, url, "laptop") as page:
        begun(page)
        before = page.evaluate("begun.line.ring()")
        page.page.focus("[data-key='handle 3']")
        page.press("ArrowUp", "ArrowUp", "Shift+ArrowLeft")
        page.wait_for("begun.told.verdict === 'look at it'")
        scale = page.evaluate("begun.told.width_px / document.getElementById('photo').clientWidth")
        far = np.hypot(*(np.array(page.evaluate("begun.line.ring()")) - before).T).max()
        assert far == pytest.approx(max(scale, 1.0) * np.hypot(2.0, 10.0), rel=0.02)
        page.page.click("[data-key='back']")
        page.wait_for("begun.told.verdict === 'good'")
        assert page.evaluate("begun.line.ring()") == before


@pytest.mark.parametrize("sizes", [["laptop"], ["small", "phone"]])
def test_every_step_fits_and_can_be_read(chromium: Any, axe: str, tmp_path: Path, sizes: list[str]) -> None:
    how = {} if sizes == ["laptop"] else HANDS
    found = {}

    def look(state: str) -> None:
        for size in sizes:
            width, height = SIZES[size]
            page.page.set_viewport_size({"width": width, "height": height})
            page.page.wait_for_timeout(150)
            fits(page)
            found[size, state] = broken_rules(page, axe)

    with desk_in(tmp_path) as (url, _), opened(chromium, url, sizes[-1], **how) as page:
        look("doors")
        begun(page)
        for state in ("edge", "holes", "size", "wrong"):
            page.page.click(f"[data-look={state}]")
            look(state)
        page.page.click("#photo-next")
        at_step(page, "base")
        look("base")
        page.page.click("[data-key='lamps']")
        look("lamps")
        page.page.click("[data-key='white']")
        page.page.click("#base-next")
        at_step(page, "name")
        look("name")
        for _ in range(3):
            page.page.click("#back")
        page.page.click("#shape-door")
        page.wait_for("!!document.querySelector('#shape-drawn path')")
        look("shape")
    assert {state: rules for state, rules in found.items() if rules} == {}


def test_a_shape_by_touch_alone(chromium: Any, tmp_path: Path) -> None:
    """And then its window is left open while another opens a job that reads the same to the byte."""
    with desk_in(tmp_path) as (url, _), opened(chromium, url, "phone", but="409", **HANDS) as page:
        page.wait_for("!!document.querySelector('#shape-door')")
        page.wait_for("document.getElementById('earlier-door').disabled")
        page.page.tap("#shape-door")
        page.page.tap("[data-key='drum shell']")
        page.page.tap("[data-key='depth more']")
        page.wait_for("document.querySelector('[data-key=\"size depth\"]').value === '6.75 in'")
        page.page.tap("#shape-next")
        page.page.tap("[data-key='relief hammered']")
        page.page.tap("#base-next")
        page.page.tap("#make")
        page.page.wait_for_selector("#strips", state="attached")
        page.wait_for(READY)
        left_open(page, tmp_path)
    scheme = load_scheme(tmp_path / "drum_shell/scheme.toml")
    assert (scheme.base.relief, scheme.name) == ("hammered", "Drum shell")


def test_three_photos_make_a_base_that_glints(chromium: Any, tmp_path: Path) -> None:
    """A hammered panel with a lamp at three sides, by touch: its slopes are the job's base, and not flat."""
    home = tmp_path / "jobs"
    home.mkdir()
    wide_mm, high_mm = 40.0, 30.0
    truth = lamp_photos("hammered", size_mm=(wide_mm, high_mm), step_mm=0.2, exposed=0.97, jpeg=-1)
    left, top, right = on_bench(truth, tmp_path)
    with desk_in(home) as (url, _), opened(chromium, url, "phone", **HANDS) as page:
        page.wait_for("!!document.querySelector('#shape-door')")
        page.page.set_input_files("#photo-file", top)
        page.wait_for("!!document.querySelector('[data-key=\"length width\"]') && begun.told && !begun.told.known")
        page.page.fill('[data-key="length width"]', f"{wide_mm} mm")
        page.page.tap("[data-look=edge]")
        page.wait_for("begun.told.known && !document.getElementById('photo-next').disabled")
        page.page.tap("#photo-next")
        page.page.tap("[data-key='lamps']")
        assert page.evaluate("document.getElementById('base-next').disabled")
        page.page.tap("[data-key='mine top']")
        for n, (side, photo) in enumerate((("left", left), ("right", right)), start=2):
            page.page.set_input_files(f"[aria-label='Photo with the lamp at its {side}']", photo)
            page.wait_for(f"document.querySelectorAll('.lamps img').length === {n}")
        page.page.tap("#base-next")
        at_step(page, "name")
        page.page.tap("#make")
        after_loading(page, READY, within_s=180.0)  # lamps are searched for: half a minute where nothing else runs
    (scheme,) = home.glob("*/scheme.toml")
    relief = texture_of(load_scheme(scheme).base, wide_mm, high_mm)
    assert {"base_slopes.png", "base_brightness.png"} <= {path.name for path in scheme.parent.iterdir()}
    assert 0.05 < relief.slope_x.std() < 1.0


def left_open(page: ChromiumPage, home: Path) -> None:
    """Nothing of the old window reaches either job; it says which is open now, and goes on with that one."""
    shutil.copytree(home / "drum_shell", home / "twin")
    before = {name: (home / name / "scheme.toml").read_bytes() for name in ("drum_shell", "twin")}
    other = ChromiumPage(page.page.context.new_page())
    other.page.goto(page.page.url + "begin")
    other.page.tap("#earlier-door")
    other.page.tap("[data-key='twin']")
    other.page.wait_for_selector("#strips", state="attached")
    other.wait_for(READY)
    change = "[{ do: 'set', at: ['coat', 0, 'coats'], to: 6 }]"
    assert page.evaluate(f"desk.edit('6 coats', {change}, true)") is False
    page.wait_for("document.querySelector('.band')?.textContent.includes('Another job is open now: twin')")
    assert page.evaluate("document.querySelector('.plate').inert")
    assert {name: (home / name / "scheme.toml").read_bytes() for name in before} == before
    page.page.tap("[data-key='other']")
    page.page.wait_for_function("!document.querySelector('.band')")
    page.wait_for(f"{READY} && desk.store.state.job === 'twin'")
    assert page.evaluate(f"desk.edit('6 coats', {change})") is True
    assert (home / "drum_shell/scheme.toml").read_bytes() == before["drum_shell"]
    other.page.close()


@pytest.fixture
def mandolin(tmp_path: Path) -> Path:
    scheme = tmp_path / "my-mandolin" / "scheme.toml"
    scheme.parent.mkdir()
    shutil.copy(SAMPLES / "octave_mandolin.toml", scheme)
    return scheme


def phone_address(process: subprocess.Popen[str]) -> str:
    assert process.stderr is not None
    return next(line.strip() for line in process.stderr if line.startswith("http"))


@pytest.mark.parametrize("size", ["phone", "small"])
def test_the_phone_by_touch(chromium: Any, axe: str, mandolin: Path, size: str) -> None:
    """Coats and strength reach the file, a photo the job's folder; nothing overlaps and axe-core finds nothing."""
    try:
        local_address()
    except InputError:
        pytest.skip("this machine is in no local network")
    with desk_in(mandolin.parents[1], "my-mandolin", "--phone", said="y\n") as (_, process):
        address = phone_address(process)
        with opened(chromium, address, size, **HANDS) as page:
            page.wait_for("!document.body.dataset.waiting && !!document.querySelector('[data-key=more]')")
            fits(page)
            found = broken_rules(page, axe)
            page.page.tap("[data-key='more']")
            page.page.tap("[data-key='more']")
            page.wait_for("phone.store.state.coats[0].coats === 5 && phone.store.state.undo === 'honey: 5 coats'")
            assert load_scheme(mandolin).coats[0].coats == 5
            page.page.tap("[data-key='dye amber']")
            page.page.tap("[data-key='less']")
            page.wait_for("phone.store.state.mixes[0].dyes[0].likely < 13")
            page.page.tap("#after")
            page.page.tap("[data-key='film']")
            fits(page)
            page.page.set_input_files("#photo", PHOTO)
            page.wait_for("document.getElementById('camera-says').textContent === 'It is at the desk'")
            for _ in range(6):
                if page.evaluate("!document.getElementById('after').disabled"):
                    page.page.tap("#after")
            page.page.tap("[data-key='light']")
            fits(page)
            found += broken_rules(page, axe)
            assert httpx.get(address).status_code == 403
            assert found == []
        mix = next(iter(load_scheme(mandolin).mixes.values()))
        assert next(iter(mix.strengths.values())).amount == pytest.approx(14.0 / 1.1, rel=0.01)
        assert (mandolin.parent / "photos/photo_1.jpg").is_file()
