"""What an atlas takes: recipes by one worker and by two, memory, what is added and what gaps remain, how long loading
and one answer take, and what would limit it with a thousand workers.

python -m tests.bench.bench_atlas            about a million recipes
python -m tests.bench.bench_atlas --quick    an eighth of them
"""

from __future__ import annotations

import argparse
import os
import pickle
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

from layerpreview import __version__
from layerpreview.answers.reach import Limits, Reach
from layerpreview.answers.recipes import alternatives
from layerpreview.colour import delta_e_2000, lab_to_din99b
from layerpreview.output.atlas_file import load_atlas, question_print
from layerpreview.output.atlas_part import made_part
from layerpreview.processes import each_done
from layerpreview.workflows.atlas import AtlasMade, atlas_files
from layerpreview.workflows.atlas_question import AtlasOptions, question_from
from layerpreview.workflows.workers import workers_from

from ..schemes import DYES, HEAD, HONEY, MIXES, PANEL, SILVER

MANY = 1000
TARGETS = 200


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="an eighth of the recipes")
    options = AtlasOptions(dyes=["library"], coats=1 if parser.parse_args().quick else 8)
    print(f"load of this machine at the start {os.getloadavg()[0]:.1f}, {os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder, "scheme.toml")
        job.write_text(HEAD + PANEL + SILVER + DYES + MIXES + HONEY, encoding="utf-8")
        made = {count: _timed(job, Path(folder, f"by {count}"), options, count) for count in (1, 2)}
        (one, one_s), (_, two_s) = made[1], made[2]
        print(f"two workers are {one_s / two_s:.2f} times as fast as one")
        _kept(job, Path(folder, "by 2"), options)
        _gaps(job, Path(folder, "by 1"), options)
        _answers(job, one, options)
        _on_paper(job, options)


def _timed(job: Path, out: Path, options: AtlasOptions, count: int) -> tuple[AtlasMade, float]:
    with _memory() as peak:
        begun, cpu = time.perf_counter(), sum(os.times()[:4])
        made = atlas_files([job], out=out, options=options, workers=workers_from(None, count))
        seconds, cpu = time.perf_counter() - begun, sum(os.times()[:4]) - cpu
    size = f"{made.size_bytes / 1e6:.1f} MB, load {os.getloadavg()[0]:.1f}, largest process {peak[0] / 1e6:.0f} MB"
    print(f"{made.recipes:,} recipes and {made.added:,} added, {count} worker(s): ", end="")
    print(f"{seconds:.1f} s, {cpu:.1f} s of a core; {size}")
    return made, seconds


@contextmanager
def _memory() -> Iterator[list[float]]:
    """The most memory that this process or one of its children has, looked at ten times a second (where /proc is)."""
    peak, over = [0.0], threading.Event()

    def watch() -> None:
        while not over.wait(0.1):
            children = Path(f"/proc/self/task/{os.getpid()}/children")
            pids = [str(os.getpid()), *(children.read_text("ascii").split() if children.exists() else [])]
            for pid in pids:
                try:
                    resident = int(Path(f"/proc/{pid}/statm").read_text("ascii").split()[1]) * os.sysconf(
                        "SC_PAGE_SIZE"
                    )
                except (OSError, ValueError):
                    continue
                peak[0] = max(peak[0], resident)

    watcher = threading.Thread(target=watch)
    watcher.start()
    yield peak
    over.set()
    watcher.join()


def _kept(job: Path, out: Path, options: AtlasOptions) -> None:
    begun = time.perf_counter()
    made = atlas_files([job], out=out, options=options)
    print(f"the same again: {made.kept} of {made.parts} parts kept, {time.perf_counter() - begun:.2f} s")


def _gaps(job: Path, folder: Path, options: AtlasOptions) -> None:
    """Colours of random mixes against the nearest recipe, before and after recipes were added."""
    question = question_from([job], options)
    recipes = question.recipes(np.random.default_rng(1).integers(0, question.count, 5000))
    load = recipes.load_mg_m2(question) * np.random.default_rng(2).uniform(0.6, 1.0, recipes.strength.shape)
    wanted = question.patches[0].lab(load)[:, 0]
    (atlas,) = load_atlas(folder).bases
    lab = atlas.lab[:, 0].astype(np.float64)
    for words, there in (("as asked", lab[: question.count]), ("with those added", lab)):
        near = cKDTree(lab_to_din99b(there)).query(lab_to_din99b(wanted))[1]
        de = delta_e_2000(there[near], wanted)
        told = ", ".join(
            f"{name} {value:.2f}" for name, value in zip(("p50", "p95", "most"), _percent(de), strict=True)
        )
        print(f"colours of random mixes to the nearest recipe, {words}: CIEDE2000 {told}")


def _percent(values: np.ndarray) -> list[float]:
    return np.percentile(values, [50, 95, 100]).tolist()


def _answers(job: Path, made: AtlasMade, options: AtlasOptions) -> None:
    begun = time.perf_counter()
    (atlas,) = load_atlas(made.folder).bases
    read = time.perf_counter()
    atlas.ready()
    print(f"loading {(read - begun) * 1e3:.0f} ms, its tree {(time.perf_counter() - read) * 1e3:.0f} ms")
    question = question_from([job], options)
    patches = question.patches[0]
    reach = Reach(patches, question.load_of_unit[0], Limits())
    rng, away, times = np.random.default_rng(3), [], []
    for row in rng.integers(0, len(atlas.lab), TARGETS):
        target = patches.lab(atlas.load_mg_m2[row : row + 1] * rng.uniform(0.7, 1.0, len(atlas.dyes)))[0]
        begun = time.perf_counter()
        near = reach.nearest_from(atlas.near(target), target)
        found = alternatives(reach, near, target, names=question.dyes, powders=question.powders, ripple_cv=0.05)
        times.append((time.perf_counter() - begun) * 1e3)
        away.append((near.de00[0], found[0].worst_de00, *(reach.nearest(target).de00[:1] if row % 8 == 0 else [0.0])))
    worse = np.array([near - whole for near, _, whole in away if whole])
    print(
        "{} answers: {:.0f} ms at the median, 95 % within {:.0f}, most {:.0f}".format(
            TARGETS, *_percent(np.array(times))
        )
    )
    print(f"against the whole search at most {worse.max(initial=0.0):.4f} CIEDE2000 further")


def _on_paper(job: Path, options: AtlasOptions) -> None:
    """The one that collects: what a part costs it, and so how many workers it keeps busy."""
    question = question_from([job], options)
    asked = question_print(question, fill=True, version=__version__)
    begun = time.process_time()
    part = made_part(question, min(5, question.count // question.part_rows), asked)
    making = time.process_time() - begun
    size, sent = len(pickle.dumps(part)), len(pickle.dumps(partial(made_part, question, 0, asked)))
    begun = time.process_time()
    pieces = ((n, partial(len, part.file)) for n in range(MANY))
    for _ in each_done(pieces, partial(ThreadPoolExecutor, 2), waiting=4):
        pass
    handing = (time.process_time() - begun) / MANY
    begun = time.process_time()
    for _ in range(20):
        pickle.loads(pickle.dumps(part))
    moving = (time.process_time() - begun) / 20
    with tempfile.TemporaryDirectory() as folder:
        begun = time.perf_counter()
        _landed(Path(folder), part.file, 64)
        landing = (time.perf_counter() - begun) / 64
    each = handing + moving + landing
    print(f"a part of {part.rows:,} recipes: {making:.2f} s of a core, ", end="")
    print(f"{sent / 1e3:.0f} kB there, {size / 1e6:.2f} MB back")
    print(f"the collector spends {handing * 1e3:.2f} ms on handing it on, {moving * 1e3:.2f} on unpacking, ", end="")
    print(f"{landing * 1e3:.1f} on landing: enough for {making / each:.0f} workers; ", end="")
    print(f"{MANY} would send {MANY * size / making / 1e6:.0f} MB/s")


def _landed(folder: Path, data: bytes, count: int) -> None:
    from layerpreview.output.files import written_in_steps

    with written_in_steps(folder) as landed:
        for group in range(count // 8):
            landed({f"part-{group * 8 + n:04}.parquet": data for n in range(8)})


if __name__ == "__main__":
    main()
