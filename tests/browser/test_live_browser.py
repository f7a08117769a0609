"""The live lifelike picture in a real browser: these tests exist for a shader that draws another solid, other facets or
other colours than the engine, and for a page that asks again for what it has."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from layerpreview.colour import LIFELIKE, on_screen, srgb_hex_to_rgb_lin
from layerpreview.finish.engine import Engine
from layerpreview.finish.view import SURROUNDINGS
from layerpreview.output.board_looks import look_json
from layerpreview.output.live import LivePicture, live_picture
from layerpreview.picture.lifelike import lifelike_of, looks_of
from layerpreview.scheme import Scheme, load_scheme

from .conftest import SAMPLES
from .live_page import LiveServer, loaded, shown
from .live_truth import Setting, apart, drawn_by_lot, rendered, worst

pytestmark = [pytest.mark.browser, pytest.mark.slow]

WIDTH_PX = 420
WINDOW = SURROUNDINGS["window"]


def taken(page: Any, server: LiveServer, scheme: Scheme, **how: Any) -> LivePicture:
    """Load a scheme's picture on the page, at the size that Python renders it."""
    size = lifelike_of(scheme, WINDOW, width_px=WIDTH_PX)
    made = live_picture(scheme, WINDOW, longest_px=max(size.width_px, size.height_px), **how)
    server.put("picture", made)
    loaded(page, "picture", width_px=size.width_px, height_px=size.height_px)
    return made


@pytest.mark.parametrize("name", ["octave_mandolin", "drum_shell"])
def test_the_live_picture_is_what_python_renders(page: Any, server: LiveServer, name: str) -> None:
    """dE00 over the part, pixel for pixel: mean at most 0.3, 99 % at most 1.5; as it stands and as it is pulled."""
    scheme = load_scheme(SAMPLES / f"{name}.toml")
    taken(page, server, scheme)
    found = []
    for setting in (Setting(scheme.lights[0]), drawn_by_lot(scheme, 1), drawn_by_lot(scheme, 7)):
        wanted, cover = rendered(scheme, WINDOW, setting, width_px=WIDTH_PX)
        found.append(apart(shown(page, **setting.state(scheme)), wanted)[cover > 0.5])
    mean, most = worst(found)
    print(name, mean, most)
    assert mean <= 0.3
    assert most <= 1.5


def test_only_what_changed_is_asked_for(page: Any, server: LiveServer) -> None:
    """Other coats need no texture; the picture is the one that is loaded afresh."""
    scheme = load_scheme(SAMPLES / "drum_shell.toml")
    taken(page, server, scheme)
    page.evaluate("fetched.length = 0")
    coats = tuple(coat.model_copy(update={"coats": 4}) for coat in scheme.coats)
    more = scheme.model_copy(update={"coats": coats})
    taken(page, server, more)
    assert page.evaluate("fetched") == []
    wanted, cover = rendered(more, WINDOW, Setting("D65"), width_px=WIDTH_PX)
    assert apart(shown(page), wanted)[cover > 0.5].mean() <= 0.3
    assert np.ptp(shown(page)) > 100


def test_one_spot_is_what_the_engine_makes_of_it(page: Any) -> None:
    """`Film.colour`, for chips: over silver with a facet's own path, over wood, under opaque coats; on the screen."""
    scheme = load_scheme(SAMPLES / "octave_mandolin.toml")
    rng = np.random.default_rng(3)
    looks = looks_of(scheme, lifelike_of(scheme, WINDOW, width_px=60), "A")
    for name, bare in (("front", [0.43]), ("head", [0.61, 0.44, 0.23])):
        look = looks[name]
        told = look_json(look, layers=len(scheme.coats))
        for path in [None, [2.9, 24.0, 21.0]] if name == "front" else [None]:
            builds = rng.uniform(0.0, 1.4, len(scheme.coats)) * [1, 1, 1, 1, 0.2, 0.1]
            column = None if path is None else np.float32(path)[:, None]
            wanted = Engine(look).pixels(np.float32(bare)[:, None], np.float32(builds)[:, None], column)[:, 0]
            found = page.evaluate("([l, b, n, p]) => Film.colour(l, b, n, p)", [told, bare, builds.tolist(), path])
            np.testing.assert_allclose(found, wanted, rtol=2e-4, atol=2e-6)
    for rgb in ([0.2, 0.5, 0.1], [1.7, 0.9, 0.2], [0.02, 0.4, 0.9], [-0.05, 0.3, 0.4]):
        shown_as = page.evaluate("([rgb, from]) => Film.hex(rgb, from)", [rgb, LIFELIKE])
        wanted = on_screen(np.float32([rgb]), rolled_from=LIFELIKE)[0]
        np.testing.assert_allclose(srgb_hex_to_rgb_lin(shown_as), wanted, atol=0.012)
