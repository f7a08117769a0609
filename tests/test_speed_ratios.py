"""The pixels' speed beside things that everyone can run: exists for a change that makes every picture several times
slower while it stays right.

No time is judged, only ratios, in processor time of the fastest of several runs taken in turns: neither a busy machine
nor another processor should fail it, a lost fast path does.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

from layerpreview import load_scheme
from layerpreview.finish.layers import stack_of
from layerpreview.finish.look import Look, make_look
from tests.bench.bench_engine import SAMPLES, bench_coats, composite, three_coats
from tests.bench.ratios import in_turns

pytestmark = pytest.mark.slow

MOST_COPIES, MOST_OVERLAYS = 150.0, 45.0
"""Three times what was measured without the widest vectors (55 and 16, numpy held to x86-64-v3); 30, 10 with them."""
MOST_OUT_OF_STEP = 3.0
RUNS = 4


@pytest.fixture(scope="module")
def look() -> Look:
    scheme = load_scheme(SAMPLES / "octave_mandolin.toml")
    return make_look(stack_of(scheme.model_copy(update={"coats": bench_coats(scheme)})), light="D65")


def test_beside_a_copy_and_three_overlays(look: Look) -> None:
    """A picture that comes from the film's optics costs some multiplications more than three flat overlays."""
    bare, builds, _ = three_coats(1.0)
    overlays = np.random.default_rng(8).uniform(0.2, 1.0, (3, *bare.shape)).astype(np.float32)

    def multiplied() -> object:
        out = bare * overlays[0]
        out *= overlays[1]
        out *= overlays[2]
        return out

    ours = partial(composite, look, bare, builds, threads=1)
    took = in_turns({"ours": ours, "copy": bare.copy, "overlays": multiplied}, RUNS)
    assert took["ours"] < MOST_COPIES * took["copy"], took
    assert took["ours"] < MOST_OVERLAYS * took["overlays"], took


def test_pixels_take_time_in_step(look: Look) -> None:
    """Eight times the pixels, eight times the work: nothing is kept or searched that grows with the picture."""
    little, much = (three_coats(megapixels)[:2] for megapixels in (0.25, 2.0))
    works = {"little": partial(composite, look, *little, threads=1), "much": partial(composite, look, *much, threads=1)}
    took = in_turns(works, RUNS)
    assert took["much"] / took["little"] < MOST_OUT_OF_STEP * 8.0, took
