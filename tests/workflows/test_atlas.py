"""An atlas in its folder: exists for bytes that depend on who made them, for a stop that costs what was done or leaves
what is half done, and for an atlas that answers for another base."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from layerpreview.errors import InputError, OutputError, SchemeError
from layerpreview.picture.faces import shapes_of
from layerpreview.picture.spots import places_of
from layerpreview.processes import worker_pool
from layerpreview.scheme import load_scheme
from layerpreview.workflows.atlas import AtlasMade, atlas_files
from layerpreview.workflows.atlas_asked import atlas_beside, atlas_in
from layerpreview.workflows.atlas_question import AtlasOptions
from layerpreview.workflows.reach import Sought, seek
from layerpreview.workflows.workers import Workers, workers_from

from ..schemes import DYES, HEAD, HONEY, MIXES, PANEL, SILVER, WHITE

Run = Callable[..., tuple[int, str, str]]
parquet = pytest.importorskip("pyarrow.parquet")
HERE = Workers(lambda: worker_pool(1), 1)
# Two dyes of five strengths each, eight coats, two films: 560 recipes, in four parts and four more between.
OPTIONS = AtlasOptions(strengths=["2, 4, 8, 16, 30", "blue=0.5,1,3,9,20"], films="30,44", part_rows=150)
PLAIN = HEAD.replace('["D65"]', '["D65", "A"]') + PANEL + SILVER + DYES + MIXES + HONEY


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("job") / "scheme.toml"
    path.write_text(PLAIN, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def made(job: Path) -> AtlasMade:
    """An atlas beside its job, made here."""
    return atlas_files([job], out=job.parent / "atlas", options=OPTIONS, workers=HERE)


def bytes_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if not path.name.startswith(".")}


def test_what_is_there(made: AtlasMade) -> None:
    said = json.loads((made.folder / "atlas.json").read_text("utf-8"))
    assert (made.recipes, made.parts, made.made, made.kept, made.mended) == (560, 8, 8, 0, ())
    assert (said["recipes"], said["added"], said["finished"], said["approximate"]) == (560, made.added, True, True)
    assert 0 < made.added <= 560
    assert made.off_de00 == pytest.approx(said["stored_off_de00"]["max"], abs=1e-4)
    assert made.off_de00 < 0.002, "figures are stored to 0.001"
    assert sorted(bytes_in(made.folder)) == sorted(
        ["atlas.json", "atlas.png", *(part["name"] for part in said["parts"])]
    )


def test_the_table_by_its_own_library_and_numpy(made: AtlasMade) -> None:
    """Read by pyarrow alone; loads, films and swatches worked out again by hand: 40 and 25 g/L as sold."""
    table = parquet.read_table(sorted(map(str, made.folder.glob("*.parquet")))).to_pydict()
    columns = {name: np.array(values) for name, values in table.items()}
    assert list(columns) == [
        *("recipe", "base", "yellow_mL_per_L", "blue_mL_per_L", "coats", "film_um", "total_film_um"),
        *("yellow_mg_m2", "blue_mg_m2", "L_D65", "a_D65", "b_D65", "L_A", "a_A", "b_A", "srgb"),
    ]
    assert len(set(columns["recipe"])) == len(columns["recipe"]) == 560 + made.added
    wet = columns["coats"] * columns["film_um"]
    assert columns["total_film_um"] == pytest.approx(wet)
    for dye, g_per_mL in (("yellow", 0.040), ("blue", 0.025)):
        expected = columns[f"{dye}_mL_per_L"] * g_per_mL * wet
        assert columns[f"{dye}_mg_m2"] == pytest.approx(expected, abs=0.001 + 5e-5 * wet.max())
    assert set(columns["base"]) == {"Test part"}
    deepest = columns["L_D65"].argmin()
    assert columns["yellow_mg_m2"][deepest] + columns["blue_mg_m2"][deepest] > 200.0
    code = columns["srgb"][deepest]
    assert max(bytes.fromhex(code[1:])) < 110


@pytest.mark.parametrize("opened", [lambda: ThreadPoolExecutor(2), lambda: worker_pool(2)])
def test_the_same_bytes_whoever_makes_it(made: AtlasMade, job: Path, tmp_path: Path, opened: Any) -> None:
    again = atlas_files([job], out=tmp_path / "atlas", options=OPTIONS, workers=Workers(opened, 4))
    assert again.made == 8
    assert bytes_in(again.folder) == bytes_in(made.folder)


def test_what_is_there_stays_and_what_is_damaged_is_made_again(made: AtlasMade, job: Path, tmp_path: Path) -> None:
    out = tmp_path / "atlas"
    atlas_files([job], out=out, options=OPTIONS, workers=HERE)
    before = {path.name: path.stat().st_mtime_ns for path in out.glob("*.parquet")}
    (out / "part-0002.parquet").write_bytes((out / "part-0002.parquet").read_bytes()[:-1] + b"x")
    (out / "between-0000.parquet").unlink()
    with pytest.raises(
        InputError, match=r"part-0002\.parquet: this part of the atlas is damaged or gone; run atlas once"
    ):
        atlas_in(out)
    again = atlas_files([job], out=out, options=OPTIONS, workers=HERE)
    assert (again.made, again.kept, again.mended) == (2, 6, ("part-0002.parquet",))
    assert bytes_in(out) == bytes_in(made.folder)
    same = [name for name, at in before.items() if (out / name).stat().st_mtime_ns == at]
    assert len(same) == 6


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no such signal there")
def test_a_kill_costs_little_and_changes_nothing(made: AtlasMade, job: Path, tmp_path: Path) -> None:
    """The whole command killed once some parts are there, and run again."""
    out = tmp_path / "atlas"
    script = (
        "import sys; from pathlib import Path; from layerpreview.output import atlas_part as a;"
        "from layerpreview.workflows import atlas as w; from layerpreview.workflows.atlas_question import AtlasOptions;"
        "from layerpreview.workflows.workers import workers_from; import time; made = a.made_part;"
        "w.LANDS_TOGETHER = 1; w.made_part = lambda q, n, s: (time.sleep(0.5 * n), made(q, n, s))[1];"
        f"w.atlas_files([Path(sys.argv[1])], out=Path(sys.argv[2]), options={OPTIONS!r}, workers=workers_from(None, 1))"
    )
    process = subprocess.Popen([sys.executable, "-c", script, str(job), str(out)])
    while not (out / "part-0001.parquet").exists():
        assert process.poll() is None
        time.sleep(0.02)
    process.send_signal(signal.SIGKILL)
    process.wait()
    with pytest.raises(InputError, match="this atlas is not finished; run atlas once more"):
        atlas_in(out)
    again = atlas_files([job], out=out, options=OPTIONS, workers=HERE)
    assert 2 <= again.kept < 8
    assert bytes_in(out) == bytes_in(made.folder)
    assert not list(out.glob(".layerpreview-work-*"))


def test_an_atlas_of_something_else_is_not_replaced_unasked(job: Path, tmp_path: Path) -> None:
    out = tmp_path / "atlas"
    few = replace(OPTIONS, strengths=["3"], coats=2, part_rows=2)
    atlas_files([job], out=out, options=few, workers=HERE)
    before = bytes_in(out)
    with pytest.raises(OutputError, match="an atlas of something else is here; nothing was written; add --force"):
        atlas_files([job], out=out, options=replace(few, coats=1), workers=HERE)
    assert bytes_in(out) == before
    atlas_files([job], out=out, options=replace(few, coats=1), workers=HERE, force=True)
    assert len(bytes_in(out)) < len(before), "the parts of the old one are gone"
    (out / "atlas.json").write_text("my own notes")
    with pytest.raises(OutputError, match=r"changed since it was made here: atlas\.json; nothing was written"):
        atlas_files([job], out=out, options=few, workers=HERE)


def test_bases_of_several_jobs(job: Path, tmp_path: Path) -> None:
    other = tmp_path / "white.toml"
    other.write_text(HEAD + PANEL + WHITE + DYES + MIXES + HONEY, encoding="utf-8")
    found = atlas_files(
        [job, other], out=tmp_path / "both", options=replace(OPTIONS, coats=2, fill=False), workers=HERE
    )
    assert found.bases == ("Test part", "Test part 2")
    assert (found.recipes, found.added) == (280, 0)
    for path in (job, other):
        scheme = load_scheme(path)
        asked = next(seek(scheme, "step 2", Sought(atlas=found.folder)))
        assert asked.nearest_de00 < 0.1


def test_reach_begins_there_and_comes_as_near(made: AtlasMade, job: Path) -> None:
    scheme = load_scheme(job)
    spots, parts = places_of(scheme), shapes_of(scheme)
    plain, begun = (
        [*seek(scheme, "step 2", Sought(atlas=atlas), parts=parts, spots=spots)][-1] for atlas in (None, made.folder)
    )
    assert begun.reached
    assert begun.nearest_de00 == pytest.approx(plain.nearest_de00, abs=0.05)


def test_an_atlas_of_others_is_refused(made: AtlasMade, job: Path, tmp_path: Path, run: Run) -> None:
    """Other dyes, another light, another base, none at all: one line each."""
    other = tmp_path / "other.toml"
    other.write_text(PLAIN.replace("#b9bcc0", "#b0b0a8"), encoding="utf-8")
    for scheme, more, told in (
        (job, ["--dyes", "amber"], "this atlas has no dye amber: its own are yellow, blue; make it"),
        (job, ["--light", "FL11"], "this atlas has no light"),
        (other, [], "this atlas is of another base or other dyes: its colours are"),
    ):
        code, _, err = run("reach", scheme, "#806020", "-o", "out", "--atlas", made.folder, *more)
        assert (code, [line for line in err.splitlines() if told in line]) == (2, err.splitlines()[-1:]), err
    code, _, err = run("reach", job, "#806020", "-o", "out", "--atlas", tmp_path)
    assert code == 2
    assert "name the folder" in err or "there is no such file" in err
    assert not (tmp_path / "out").exists()


def test_the_job_knows_its_atlas(made: AtlasMade, job: Path, tmp_path: Path) -> None:
    assert atlas_beside(job) == made.folder
    assert atlas_beside(tmp_path / "scheme.toml") is None


def test_all_that_is_wrong_is_told_at_once(job: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        atlas_files([job], out=tmp_path / "a", options=replace(OPTIONS, strengths=["x", "red=1"], films="0"))
    assert len(str(caught.value).splitlines()) == 3
    many = ",".join(f"{0.1 * n:.1f}" for n in range(1, 65))
    with pytest.raises(InputError, match="500,000,000 at most"):
        atlas_files([job], out=tmp_path / "a", options=AtlasOptions(["library"], [many], 60))
    with pytest.raises(SchemeError):
        atlas_files([tmp_path / "gone.toml"], out=tmp_path / "a")
    for address in ("10.0.0.5", "tcp://", "http://10.0.0.5:1"):
        with pytest.raises(InputError, match=r"--on = .*: an address is wanted"):
            workers_from(address)
    assert not (tmp_path / "a").exists()


def test_what_is_not_installed_is_told(job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda _: None)
    with pytest.raises(InputError, match=r'an atlas needs an extra; pip install "layerpreview\[atlas\]"'):
        atlas_files([job], out=tmp_path / "a")
    with pytest.raises(InputError, match=r'needs an extra; pip install "layerpreview\[cluster\]"'):
        workers_from("tcp://10.0.0.5:8786")


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no such signal there")
def test_on_an_engine_that_is_there_and_loses_a_worker(made: AtlasMade, job: Path, tmp_path: Path) -> None:
    """dask.distributed with two workers, of which one is killed once there are parts: nothing lost, nothing twice."""
    distributed = pytest.importorskip("distributed")
    out, options = tmp_path / "atlas", replace(OPTIONS, part_rows=20)
    with distributed.LocalCluster(2, processes=True, threads_per_worker=1, dashboard_address=None) as cluster:
        workers = workers_from(cluster.scheduler_address)
        assert workers.waiting == 4
        (victim, *_) = [worker.process.pid for worker in cluster.workers.values()]

        def kill() -> None:
            while not list(out.glob("part-*")):
                time.sleep(0.005)
            os.kill(victim, signal.SIGKILL)

        killer = threading.Thread(target=kill)
        killer.start()
        found = atlas_files([job], out=out, options=options, workers=workers)
        killer.join()
    assert found.made == found.parts == 56
    plain = atlas_files([job], out=tmp_path / "plain", options=options, workers=HERE)
    assert bytes_in(out) == bytes_in(plain.folder)


def test_an_engine_that_does_not_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr("layerpreview.workflows.workers.ANSWERS_S", 0.2)
    with pytest.raises(InputError, match="nobody answers there"):
        workers_from("tcp://127.0.0.1:1")
