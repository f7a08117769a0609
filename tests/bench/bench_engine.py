"""The engine beside things everyone can run: prints a table, judges nothing.

    python tests/bench/bench_engine.py            all of it (about a minute, 3 GB of memory)
    python tests/bench/bench_engine.py --quick    without the 100 megapixel part

Timings on shared machines wander: every figure is the best of a few runs, and the ratios are what to read.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
import warnings
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from PIL import Image, ImageChops

from layerpreview.colour import DISPLAY_WHITE_XYZ, RGB_LIN_TO_XYZ, delta_e_2000, rgb_basis, xyz_to_lab
from layerpreview.finish.engine import Engine
from layerpreview.finish.layers import stack_of
from layerpreview.finish.look import Look, make_look
from layerpreview.picture.scene import BAND_PX
from layerpreview.scheme import load_scheme

SAMPLES = Path(__file__).parents[2] / "samples"


def best(work: Callable[[], object], runs: int) -> float:
    """Seconds of the fastest of `runs` runs."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def composite(
    look: Look, bare: np.ndarray, builds: np.ndarray, *, threads: int, path: np.ndarray | None = None
) -> np.ndarray:
    """The compositing core alone, in the blocks a render uses; `path` as over a textured metal."""
    count = bare.shape[1]
    out = np.empty((3, count), dtype=np.float32)
    blocks = [slice(start, min(start + BAND_PX, count)) for start in range(0, count, BAND_PX)]

    def work(part: list[slice]) -> None:
        engine = Engine(look)
        for block in part:
            own = None if path is None else path[:, block]
            out[:, block] = engine.pixels(bare[:, block], builds[:, block], own)

    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(work, [blocks[i::threads] for i in range(threads)]))
    return out


def three_coats(megapixels: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A colour base, its 8-bit picture, and three builds that vary over the picture."""
    cols = round((megapixels * 1e6 * 4 / 3) ** 0.5)
    rows = round(megapixels * 1e6 / cols)
    rng = np.random.default_rng(5)
    bare = rng.uniform(0.05, 0.95, (3, rows * cols)).astype(np.float32)
    bare[1:] = bare[0] * rng.uniform(0.95, 1.0, (2, 1)).astype(np.float32)
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float32)
    builds = np.stack([x / cols, y / rows, 0.5 + 0.5 * np.sin(x / 300.0)]).reshape(3, -1)
    picture = np.rint(bare.T.reshape(rows, cols, 3) * 255).astype(np.uint8)
    return bare, builds, picture


def core(look: Look) -> None:
    bare, builds, picture = three_coats(12.0)
    image = Image.fromarray(picture)
    overlays = [Image.fromarray((picture[::-1] // (k + 1) + 64).astype(np.uint8)) for k in range(3)]

    def multiply() -> object:
        result = image
        for overlay in overlays:
            result = ImageChops.multiply(result, overlay)
        return result

    naive = best(multiply, 5)
    copy = best(lambda: bare.copy(), 5)
    print(f"12 MP, 3 dye coats, {look.wavelength_nm.size} wavelengths (p99 dE00 {look.nodes.p99_delta_e:.3f})")
    print(f"  three 8-bit Pillow multiply overlays      {naive:7.3f} s")
    print(f"  one copy of the float picture (memory)    {copy:7.3f} s")
    for threads in (1, 2):
        ours = best(lambda threads=threads: composite(look, bare, builds, threads=threads), 5)
        name = f"compositing core, {threads} thread(s)"
        print(f"  {name:<41} {ours:7.3f} s  ratio {ours / naive:5.2f}")
    path = np.random.default_rng(6).uniform(1.0, 3.0, bare.shape).astype(np.float32)
    facets = best(lambda: composite(look, bare, builds, threads=2, path=path), 5)
    print(f"  {'every pixel with a curve of its own, 2':<41} {facets:7.3f} s  ratio {facets / naive:5.2f}")
    for part in (1.0, 12.0, 48.0):
        some = three_coats(part)
        seconds = best(lambda some=some: composite(look, some[0], some[1], threads=2), 3)
        print(f"  {part:5.0f} MP: {seconds:7.3f} s, {seconds / part * 1e3:6.2f} ms a megapixel")


def by_colour_science(stack: object, bare: np.ndarray, builds: np.ndarray) -> np.ndarray:
    """Linear display colours of each pixel, by the straightforward spectral sum of colour-science."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    shape = colour.SpectralShape(380, 780, 5)
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)
    spectra = (bare.T.astype(np.float64)) @ rgb_basis()
    reflectance = stack.reflectance(spectra, builds.T.astype(np.float64))
    xyz = colour.msds_to_XYZ(reflectance[None], cmfs, light, method="Integration", shape=shape)
    return colour.XYZ_to_sRGB(xyz.reshape(-1, 3) / 100.0, apply_cctf_encoding=False)


def apart(rgb_lin: np.ndarray, other: np.ndarray) -> np.ndarray:
    """CIEDE2000 between pictures of linear display colours (n, 3)."""
    return delta_e_2000(*(xyz_to_lab(rgb @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ) for rgb in (rgb_lin, other)))


def against_colour_science(look: Look, stack: object) -> None:
    """The straightforward spectral sum of colour-science on the same 1 MP picture."""
    bare, builds, _ = three_coats(1.0)
    by_colour_science(stack, bare[:, :1000], builds[:, :1000])  # imports it
    start = time.perf_counter()
    reference = by_colour_science(stack, bare, builds)
    straight = time.perf_counter() - start
    ours = best(lambda: composite(look, bare, builds, threads=2), 5)
    error = apart(reference, composite(look, bare, builds, threads=2).T)
    print(f"1 MP against colour-science: {straight:.2f} s and {ours:.4f} s, {straight / ours:.0f} times faster")
    print(f"  same picture within dE00 p99 {np.percentile(error, 99):.3f}, max {error.max():.3f}")


def cold(width_px: int, where: Path) -> None:
    """Whole renders from the shell, with the peak memory of the process."""
    import resource  # not on Windows

    command = [sys.executable, "-m", "layerpreview", "render", str(SAMPLES / "octave_mandolin.toml")]
    command += ["-o", str(where / f"cold{width_px}"), "--force", "--width", str(width_px), "--light", "D65", "--timing"]
    start = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    whole = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"whole render, {width_px} px wide, base and one light: {whole:.2f} s, peak memory so far {peak:.0f} MiB")
    print("\n".join(line for line in done.stderr.splitlines() if line.startswith("  ")))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--out", type=Path, default=Path("out", "bench"))
    options = parser.parse_args()
    scheme = load_scheme(SAMPLES / "octave_mandolin.toml")
    stack = stack_of(scheme.model_copy(update={"coats": bench_coats(scheme)}))
    look = make_look(stack, light="D65")
    # Whole processes first: a child's peak memory is counted from that of the process that starts it.
    cold(1740, options.out)
    if not options.quick:
        cold(12_300, options.out)
    core(look)
    against_colour_science(look, stack)


def bench_coats(scheme: object) -> tuple[object, ...]:
    """Three dye coats: the sample's two and one more of the second mix."""
    return (scheme.coats[0], scheme.coats[1], scheme.coats[1])


if __name__ == "__main__":
    main()
