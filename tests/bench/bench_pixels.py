"""Pixels in memory beside things everyone can run, and how time grows with them: rows for `bench_all.py`."""

from __future__ import annotations

import sys
import time
from functools import partial
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from PIL import Image, ImageChops

from layerpreview import load_scheme, render
from layerpreview.finish.layers import stack_of
from layerpreview.finish.look import make_look
from tests.bench.bench_engine import SAMPLES, apart, bench_coats, by_colour_science, composite, three_coats
from tests.bench.ratios import Row, in_turns
from tests.schemes import DYES, GUN, HEAD, HONEY, MIXES, SEA_BURST, WHITE

MANDOLIN = SAMPLES / "octave_mandolin.toml"
REFERENCE = SAMPLES.parent / "tests" / "reference"


def one_picture() -> list[Row]:
    scheme = load_scheme(MANDOLIN)
    stack = stack_of(scheme.model_copy(update={"coats": bench_coats(scheme)}))
    look = make_look(stack, light="D65")
    bare, builds, picture = three_coats(12.0)
    overlays = [np.roll(bare, k + 1, axis=1) for k in range(3)]
    image, layers = Image.fromarray(picture), [Image.fromarray(picture[::-1] // (k + 1) + 64) for k in range(3)]
    path = np.random.default_rng(6).uniform(1.0, 3.0, bare.shape).astype(np.float32)

    def multiplied() -> object:
        out = bare * overlays[0]
        out *= overlays[1]
        out *= overlays[2]
        return out

    def multiplied_8_bit() -> object:
        out = image
        for layer in layers:
            out = ImageChops.multiply(out, layer)
        return out

    took = in_turns(
        {
            "copy": bare.copy,
            "overlays": multiplied,
            "8 bit": multiplied_8_bit,
            "ours": partial(composite, look, bare, builds, threads=1),
            "facets": partial(composite, look, bare, builds, threads=1, path=path),
        },
        5,
    )
    what = f"12 megapixels under three dye coats, {look.wavelength_nm.size} wavelengths"
    rows = [
        Row("One picture", what, said, took["ours"] / took[peer], took["ours"])
        for peer, said in (
            ("copy", "one copy of the picture in memory"),
            ("overlays", "three multiply overlays in numpy, 32 bit"),
            ("8 bit", "three multiply overlays by Pillow, 8 bit"),
        )
    ]
    facets = Row(
        "One picture",
        "the same with a curve for each pixel, as over textured metal",
        "all pixels on one curve",
        took["facets"] / took["ours"],
        took["facets"],
    )
    some = slice(0, 200_000)
    by_colour_science(stack, bare[:, :1000], builds[:, :1000])  # imports it
    took = in_turns(
        {
            "straight": partial(by_colour_science, stack, bare[:, some], builds[:, some]),
            "ours": partial(composite, look, bare[:, some], builds[:, some], threads=1),
        },
        3,
    )
    off = apart(
        by_colour_science(stack, bare[:, some], builds[:, some]),
        composite(look, bare[:, some], builds[:, some], threads=1).T,
    )
    note = f"same picture within {np.percentile(off, 99):.2f} CIEDE2000 (99 %), {off.max():.2f} at most"
    peer = "the sum over 81 wavelengths by colour-science, pixel by pixel"
    ratio = took["ours"] / took["straight"]
    return [*rows, facets, Row("One picture", "a part of it (0.2 megapixels)", peer, ratio, took["ours"], note)]


def growth_of_the_core() -> list[Row]:
    scheme = load_scheme(MANDOLIN)
    first, second, *_ = bench_coats(scheme)

    def look_of(count: int) -> object:
        coats = tuple((first, second)[k % 2] for k in range(count))
        return make_look(stack_of(scheme.model_copy(update={"coats": coats})), light="D65")

    look, sizes = look_of(3), (1.0, 4.0, 16.0, 48.0)
    pictures = {size: three_coats(size)[:2] for size in sizes}
    took = in_turns({str(size): partial(composite, look, *pictures[size], threads=1) for size in sizes}, 3)
    rows = [
        Row(
            "Growth",
            f"the pixels alone, {size:g} megapixels",
            "1 megapixel",
            took[str(size)] / took["1.0"],
            took[str(size)],
            f"{size:g} times the work",
        )
        for size in sizes[1:]
    ]
    bare, builds, _ = three_coats(2.0)
    works = {
        count: partial(composite, look_of(count), bare, np.tile(builds, (count, 1))[:count], threads=1)
        for count in (1, 3, 6, 12)
    }
    of_coats = in_turns({str(count): work for count, work in works.items()}, 3)
    return rows + [
        Row(
            "Growth",
            f"the pixels alone, {count} coats",
            "1 coat",
            of_coats[str(count)] / of_coats["1"],
            of_coats[str(count)],
        )
        for count in (3, 6, 12)
    ]


def growth_with_faces(folder: Path) -> list[Row]:
    works, pixels = {}, {}
    for count in (1, 4, 16):
        faces = "".join(
            f'[[face]]\nname = "side {k}"\nshape = "panel"\nwidth = "64 mm"\nheight = "48 mm"\n' for k in range(count)
        )
        path = folder / f"faces{count}.toml"
        path.write_text(HEAD + faces + WHITE + DYES + MIXES + HONEY + SEA_BURST + GUN, encoding="utf-8")
        works[str(count)] = partial(render, load_scheme(path), width_px=round(1000 * count**0.5))
        pixels[count] = works[str(count)]().rgb_lin[..., 0].size / 1e6
    took = in_turns(works, 3)
    each = {count: took[str(count)] / pixels[count] for count in pixels}
    return [
        Row("Growth", f"a megapixel of a part with {n} faces", "a megapixel of one with 1", each[n] / each[1], each[n])
        for n in (4, 16)
    ]


def traced() -> list[Row]:
    if find_spec("mitsuba") is None:
        print("mitsuba is not installed: the traced picture is left out", file=sys.stderr)
        return []
    from tests.bench.trace_whole_picture import FACETS, SHOWN, facet_curves, normals_of, shown_of

    scheme = load_scheme(REFERENCE / "whole_picture.toml")
    truth = np.load(REFERENCE / "whole_picture.npz")["rgb_lin"].astype(np.float64).reshape(-1, 3)
    draw = partial(render, scheme, around="bench", width_px=FACETS)
    blocks = SHOWN, FACETS // SHOWN, SHOWN, FACETS // SHOWN, 3
    first = draw().rgb_lin.astype(np.float64)
    off = float(apart(first.reshape(blocks).mean(axis=(1, 3)).reshape(-1, 3), truth).mean())
    ours = in_turns({"": draw}, 3)[""]
    start = time.process_time()
    mean, error = facet_curves(normals_of(scheme), 1)
    a_pass = time.process_time() - start
    noise = float(apart(shown_of(scheme, mean, error)[0].reshape(-1, 3), truth).mean())
    passes = max(1.0, (noise / off) ** 2)
    note = (
        f"ours is {off:.2f} CIEDE2000 (mean) from a picture of 2304 paths a facet; one pass of 64 took {a_pass:.0f} s "
        f"and was {noise:.2f} off, and noise falls with the root of paths; the silver's law was solved before"
    )
    peer = "the same picture by the path tracer mitsuba at equal error"
    return [Row("One picture", "57,600 facets under a burst", peer, ours / (a_pass * passes), ours, note)]
