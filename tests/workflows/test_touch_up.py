"""A touch-up as a person asks for it: exists for corners read in the wrong unit, problems told one at a time, pictures
that show no repair, films of the diary that are not used, and a job's folder with two schemes in it."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import chdir
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

import layerpreview as lp
from layerpreview.answers.touch_up import TouchUp
from layerpreview.errors import InputError
from layerpreview.job.done import BatchMade, CoatDone, Done, DropsCounted, FilmRead, Poured
from layerpreview.output.diary_entries import entry_of
from layerpreview.output.touch_up_result import TOUCH_UP_NAMES
from layerpreview.told import Basis
from layerpreview.workflows.choices import MARGIN
from layerpreview.workflows.places import scheme_of_job
from layerpreview.workflows.touch_up import corners_from, touch_up_files, with_diary

from ..schemes import DYES, GUN, HEAD, HONEY, MIXES, RELIEF, SEA_BURST, WHITE
from ..written import names_in

Run = Callable[..., tuple[int, str, str]]
Save = Callable[..., Path]
FACE = '[[face]]\nname = "front"\nshape = "panel"\nwidth = "160 mm"\nheight = "120 mm"\n'
JOB = HEAD + FACE + WHITE + DYES + MIXES + HONEY + SEA_BURST + GUN
SILVER_JOB = HEAD + FACE + RELIEF + DYES + MIXES + HONEY + GUN
CORNERS = "60,40 80,44 76,62 58,60 mm"


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, lp.Result[TouchUp]]:
    """A touch-up of a silver job, base and all, written once."""
    folder = tmp_path_factory.mktemp("silver")
    (folder / "scheme.toml").write_text(SILVER_JOB, "utf-8")
    return folder, _flat(folder, folder / "made")


def _flat(folder: Path, out: Path) -> lp.Result[TouchUp]:
    job = folder / "scheme.toml"
    return touch_up_files(job, out=out, damage=CORNERS, depth="base", texture="flat", feather="15 mm", width_px=320)


def test_pictures_show_the_repair_where_it_is(written: tuple[Path, lp.Result[TouchUp]]) -> None:
    folder, _ = written
    assert names_in(folder / "made") == sorted(TOUCH_UP_NAMES)
    before, after, away = (
        np.asarray(Image.open(folder / "made" / f"touch_up_{name}.png").convert("RGB")).astype(float)
        for name in ("before", "after", "difference")
    )
    border = MARGIN * 160.0
    mm = 320 / (160.0 + 2.0 * border)

    def box(left: float, top: float, right: float, bottom: float) -> tuple[slice, slice]:
        x0, y0, x1, y1 = (round((border + at) * mm) for at in (left, top, right, bottom))
        return slice(y0, y1), slice(x0, x1)

    place, far = box(65, 47, 73, 55), box(115, 95, 140, 110)
    assert np.ptp(before[place], axis=(0, 1)).max() < 12.0  # bare, flat
    saturation = [np.ptp(picture[place].mean(axis=(0, 1))) for picture in (before, after)]
    assert saturation[1] > saturation[0] + 30.0  # dyed again
    assert (away[far] == 128.0).all()
    assert away[place].std() > 20.0  # the old facets, missed


def test_the_document_and_the_table(written: tuple[Path, lp.Result[TouchUp]]) -> None:
    folder, found = written
    told = json.loads((folder / "made" / "touch_up.json").read_text("utf-8"))
    assert told == found.to_dict()
    assert told["approximate"]
    assert told["texture"] == "flat"
    assert not told["hides"]
    assert told["feather_mm"] == 15.0
    assert {step["view"] for step in told["steps"]} >= {"straight on", "lamp, 45 deg from it"}
    assert [step["what"] for step in told["work"]][:3] == ["Look", "Mask", "Sand"]
    table = found.table()
    assert len(table["away_mm"]) == len(table["de00"]) > 10
    words = (folder / "made" / "touch_up.txt").read_text("utf-8")
    for needed in (
        "Verdict: ",
        "it will be seen",
        "Dust: ",
        "Solvent vapour and fire: ",
        "Isocyanates: ",
        "Approximate",
    ):
        assert needed in words


def test_the_same_bytes_twice(written: tuple[Path, lp.Result[TouchUp]], tmp_path: Path) -> None:
    folder, _ = written
    _flat(folder, tmp_path)
    for name in TOUCH_UP_NAMES:
        assert (tmp_path / name).read_bytes() == (folder / "made" / name).read_bytes()


def test_corners_in_every_unit() -> None:
    np.testing.assert_allclose(corners_from("1,2 3,2 2,4.5 in"), [(25.4, 50.8), (76.2, 50.8), (50.8, 114.3)])
    assert corners_from("1,2 3,2 2,4 cm")[1] == (30.0, 20.0)


def test_from_the_command_line(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    save_scheme(JOB, "scheme.toml")
    image = Image.new("RGB", (320, 240), (200, 190, 170))
    ImageDraw.Draw(image).line([(30, 60), (70, 90)], fill=(0, 255, 0), width=14)
    image.save(tmp_path / "brushed.png")
    with chdir(tmp_path):
        code, out, err = run("touch-up", ".", "--mask", "brushed.png", "--clear", "blend", "--width", 120)
    assert code == 0, err
    assert "Blend the clear out" in out
    assert err.splitlines()[-1].startswith("Next: open ")
    assert (tmp_path / "touch-up" / "touch_up.png").is_file()


def test_every_problem_at_once(run: Run, save_scheme: Save) -> None:
    job = save_scheme(JOB)
    code, _, err = run("touch-up", job, "--damage", "1,2 3", "--depth", "deep", "--feather", "90 mm", "--hand", "third")
    assert code == 2
    assert len(err.splitlines()) == 4
    for said in ("no corners with a unit", "clear, dye, base", "10 to 60 mm wide", "flat, good, hurried"):
        assert said in err
    code, _, err = run("touch-up", job, "--face", "back", "--clear", "some")
    assert code == 2
    for said in ("where the damage is", "its faces are: front", "face, blend"):
        assert said in err


def test_no_coats_no_touch_up(run: Run, save_scheme: Save) -> None:
    code, out, err = run("touch-up", save_scheme(HEAD + FACE + WHITE), "--damage", CORNERS, "--json")
    assert code == 1
    assert "no coats of colour" in json.loads(out)["reason"]
    assert "no coats of colour" in err


def test_what_was_sprayed_comes_before_what_was_planned(save_scheme: Save, tmp_path: Path) -> None:
    """Two thick coats of a stronger mix in place of three: what is repaired is that, and not three thick coats."""
    path = save_scheme(JOB)
    when = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
    poured = (Poured("yellow", 2.0, "mL"), Poured("blue", 0.4, "mL"), Poured("carrier", 97.6, "mL"))
    films = [FilmRead(id=f"f{n}", time=when, entry=1, number=n, readings_um=(58.0, 60.0, 62.0)) for n in (1, 2)]
    coats = [CoatDone(id=f"c{n}", time=when, entry=1, number=n) for n in (1, 2)]
    batch = BatchMade(id="b", time=when, batch="honey", poured=poured)
    counted = DropsCounted(id="d", time=when, dye="blue", drops=45, volume_mL=1.0)
    done = Done(batches=(batch,), coats=tuple(coats), films=tuple(films), drops=(counted,))
    scheme, planned = with_diary(lp.load(path), done), lp.load(path)
    assert [coat.coats for coat in scheme.coats] == [2, planned.coats[1].coats]
    assert scheme.coats[0].film_um.likely == pytest.approx(60.0)
    assert scheme.coats[0].film_um.rests_on[0].basis is Basis.MEASURED
    assert scheme.mixes["honey"].strengths["yellow"].amount == pytest.approx(20.0)
    assert scheme.coats[1] == planned.coats[1]
    lines = [json.dumps(entry_of(deed)) for deed in (batch, counted, *coats, *films)]
    other = {**entry_of(films[0]), "id": "other", "readings_um": [200.0], "scheme_from_log": "other.toml"}
    (tmp_path / "job-log.jsonl").write_text("\n".join([*lines, json.dumps(other)]) + "\n", "utf-8")
    made = touch_up_files(path, out=tmp_path / "made", damage=CORNERS, feather="12 mm", width_px=96)
    assert "film measured (n = 6)" in made.text()
    assert "2 coats with the small gun" in made.text()
    # 4 mL/L of blue in 5 mL are 0.02 mL: measured as 0.2 mL of a tenth, 9 drops at 45 a mL, and never as 9 drops of it.
    assert "0.2 mL blue thinned 1 part in 10 with carrier (about 9 drops)" in made.text()


def test_a_shop_in_inches_reads_inches(save_scheme: Save) -> None:
    """And of the clear alone no rest of a dye is spoken, but of its pot life. 1 in is 25.4 mm (NIST Handbook 44)."""
    us = JOB + '[clear]\nratio = "2:1 clear:hardener"\npot_life = "1 to 2 h"\n[shop]\nunits = "US"\n'
    corners = [(50.8, 25.4), (76.2, 25.4), (76.2, 50.8), (50.8, 50.8)]
    scheme = lp.load(save_scheme(us))
    told = lp.touch_up(scheme, damage_mm=corners, feather_mm=12.7, hand="flat", width_px=64).text()
    for words in (
        "1 in by 1 in (1 sq in), its middle 2 1/2 in across and 1 1/2 in down",
        "a feather of 1/2 in",
        " fl oz = ",
    ):
        assert words in told
    assert " mm" not in told
    assert " cm2" not in told
    clear = lp.touch_up(scheme, damage_mm=corners, depth="clear", width_px=64).text()
    assert "Pot life 1 to 2 h: mix one cup at a time" in clear
    assert "dye mix" not in clear
    assert "the same dye" not in clear


def test_which_scheme_a_folder_means(save_scheme: Save, tmp_path: Path) -> None:
    one = save_scheme(JOB, "one.toml")
    save_scheme("", "my.dye.toml")
    save_scheme("", "shop.toml")
    assert scheme_of_job(tmp_path) == one
    save_scheme(JOB, "two.toml")
    with pytest.raises(lp.LayerPreviewError, match="several schemes"):
        scheme_of_job(tmp_path)
    usual = save_scheme(JOB, "scheme.toml")
    assert scheme_of_job(tmp_path) == usual
    assert scheme_of_job(one) == one
    with pytest.raises(lp.LayerPreviewError, match="no scheme"):
        scheme_of_job(tmp_path.parent / tmp_path.name / "..")


def test_an_old_part_from_a_notebook(save_scheme: Save) -> None:
    from layerpreview.workflows.fade import exposure_from, steps_from

    scheme = lp.load(save_scheme(JOB))
    found = lp.touch_up(
        scheme,
        damage_mm=[(60.0, 40.0), (80.0, 44.0), (76.0, 62.0)],
        feather_mm=25.0,
        exposure=exposure_from(years={"window": 3.0}),
        steps=steps_from(["yellow=3", "blue=5"]),
        width_px=96,
    )
    assert "The part is old" in found.text()
    assert found.weakened_de00 < found.worst.de00.likely
    assert found.hides is False


def test_the_diary_of_another_scheme_in_the_folder_tells_nothing(save_scheme: Save, tmp_path: Path) -> None:
    path = save_scheme(JOB)
    read = FilmRead(id="a", time=datetime(2026, 3, 1, 9, 30, tzinfo=UTC), entry=1, number=1, readings_um=(90.0,))
    other = {**entry_of(read), "scheme": "pale.toml", "scheme_from_log": "pale.toml"}
    (tmp_path / "job-log.jsonl").write_text(json.dumps(other) + "\n", "utf-8")
    made = touch_up_files(path, out=tmp_path / "made", damage=CORNERS, feather="12 mm", width_px=96)
    assert "film measured" not in made.text()


def test_no_one_types_a_thousand_corners() -> None:
    with pytest.raises(InputError, match="3 to 1000 corners"):
        corners_from("1,2 " * 1001 + "mm")
