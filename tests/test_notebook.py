"""From a notebook: exists for results that say something else than the command of their name, tables whose columns
differ in length, a name that becomes markup, and schemes built in code that only a file would do for."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import layerpreview as lp
from layerpreview.output.plain_json import columns_of, text_table
from layerpreview.threads import thread_count

from .test_every_command import CARD, JOB
from .written import names_in

Run = Callable[..., tuple[int, str, str]]
Save = Callable[..., Path]
Make = Callable[[lp.Scheme], "lp.Result[object]"]

GUN = lp.GunOptions(fan_mm=30.0, overlap=0.6)
# What a notebook asks, and the command that asks the same.
ASKED: dict[str, tuple[Make, list[str]]] = {
    "figures": (lp.figures, ["figures", "job.toml"]),
    "sheet": (lp.sheet, ["sheet", "job.toml"]),
    "ladder": (
        lambda scheme: lp.ladder(scheme, mix="sea", strengths=(0.5, 2.0), most_coats=3),
        ["ladder", "job.toml", "--mix", "sea", "--strengths", "0.5,2", "--coats", "3", "-o", "made"],
    ),
    "reach": (
        lambda scheme: lp.reach(scheme, "step 2", limits=lp.Limits(most_coats=5)),
        ["reach", "job.toml", "step 2", "--most-coats", "5", "-o", "made"],
    ),
    "evenness": (
        lambda scheme: lp.evenness(scheme, options=GUN, width_px=64),
        ["evenness", "job.toml", "--fan", "30", "--overlap", "0.6", "--width", "64", "-o", "made"],
    ),
    "tolerance": (
        lambda scheme: lp.tolerance(scheme, runs=200, within_de00=1.1),
        ["tolerance", "job.toml", "--runs", "200", "--within", "1.1", "-o", "made"],
    ),
    "fade": (
        lambda scheme: lp.fade(scheme, years_window=2.0, steps={"yellow": "3 to 4"}),
        ["fade", "job.toml", "--years-window", "2", "--step", "yellow=3 to 4", "-o", "made"],
    ),
    "touch_up": (
        lambda scheme: lp.touch_up(
            scheme, damage_mm=[(38.0, 14.0), (46.0, 16.0), (44.0, 24.0)], feather_mm=10.0, width_px=64
        ),
        [
            *("touch-up", "job.toml", "--damage", "38,14 46,16 44,24 mm"),
            *("--feather", "10 mm", "--width", "64", "-o", "made"),
        ],
    ),
    "fit": (
        lambda _: lp.fit("card.csv", name="my yellow"),
        ["fit", "card.csv", "--name", "my yellow", "-o", "made"],
    ),
    "board": (
        lambda scheme: lp.board([scheme], width_px=64, allow=["honey coats 2 to 5"]),
        ["board", "job.toml", "--width", "64", "--allow", "honey coats 2 to 5", "-o", "made"],
    ),
}
PRINTED = {"figures", "sheet"}  # these commands answer as JSON without writing a file


@pytest.fixture
def job(save_scheme: Save, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> lp.Scheme:
    """A scheme with everything in it, in the folder where we are, and a card beside it."""
    monkeypatch.chdir(tmp_path)
    save_scheme(CARD, "card.csv")
    save_scheme(JOB)
    return lp.load("job.toml")


@pytest.fixture(scope="module")
def built() -> lp.Scheme:
    """A scheme that no file was ever read for, with a name that would be markup."""
    panel = lp.Face(name="front", shape="panel", width="64 mm", height="48 mm")
    return lp.Scheme(
        name="<b>Test</b> & panel",
        faces=(panel,),
        base=lp.Base(kind="metal", colour="#b9bcc0", flake_spread=0.3),
        dyes={"amber": lp.load_library_dye("amber")},
        mixes={"honey": lp.Mix(name="honey", dyes={"amber": "12 mL/L"})},
        coats=(lp.DyeCoat(mix="honey", coats=3, film="35 to 45 um"),),
    )


def shows_itself(result: lp.Result[object], *, picture: bool) -> None:
    """One line, a small table without scripts, a picture where there is one, columns of one length."""
    line = repr(result)
    assert line.startswith("<")
    assert line.endswith(">")
    assert "\n" not in line
    assert len(line) < 160
    table = result.table()
    assert len({len(column) for column in table.values()}) == 1
    assert all(isinstance(column, list | np.ndarray) for column in table.values())
    assert len(next(iter(table.values()))) > 0
    html = result._repr_html_()
    assert "<table>" in html
    assert "<script" not in html
    png = result._repr_png_()
    assert (png is not None) == picture
    assert png is None or png.startswith(b"\x89PNG")
    assert result.text().endswith("\n")


@pytest.mark.slow
@pytest.mark.parametrize("name", ASKED)
def test_it_says_and_saves_what_the_command_does(run: Run, job: lp.Scheme, name: str) -> None:
    make, command = ASKED[name]
    result = make(job)
    shows_itself(result, picture=name not in PRINTED)
    before = result.to_dict()
    if name in PRINTED:
        code, out, err = run(*command, "--json")
        assert code == 0, err
        assert before == json.loads(out)
        return
    code, out, err = run(*command, "--json")
    assert code == 0, err
    told = json.loads(out)
    written = {path.name: path.read_bytes() for path in Path("made").iterdir()}
    saved = result.save("made", force=True)
    assert saved.to_dict() == told
    assert {path.name: path.read_bytes() for path in Path("made").iterdir()} == written
    assert sorted(saved.files) == names_in(Path("made"))
    # Before it is saved only the places of the files are not known.
    assert before == {key: value for key, value in told.items() if key in before}
    assert set(told) - set(before) <= {"folder", "files", "dye_file", "log"}
    assert result.files == ()
    assert result.folder is None


def test_fields_of_what_was_found_can_be_asked_for(job: lp.Scheme) -> None:
    ladder = lp.ladder(job, most_coats=2)
    assert ladder.rows is not None
    assert ladder.mix == ladder.found.mix == "honey"
    assert "film_um" in dir(ladder)
    assert "save" in dir(ladder)
    with pytest.raises(AttributeError, match="paint"):
        ladder.paint  # noqa: B018
    # Everything that asks an object about itself ends in a name that begins with _.
    with pytest.raises(AttributeError, match="_ipython_display_"):
        ladder._ipython_display_  # noqa: B018


def test_a_picture(job: lp.Scheme, tmp_path: Path) -> None:
    result = lp.render(job, light="A", view_deg=-20.0, lamp_deg=45.0, width_px=64)
    assert result.rgb_lin.shape == (48, 64, 3)
    assert isinstance(result.found, lp.Preview)
    assert repr(result) == (
        "<Preview Test part, A, seen 20 deg from straight on, mirror side, lamp at 45 deg, 64 x 48 px>"
    )
    assert result.to_dict()["lamp_deg"] == 45.0
    saved = result.save(tmp_path / "one")
    assert saved.files == ("finish_A_view-20_lamp45.png",)
    assert names_in(tmp_path / "one") == list(saved.files)
    assert result.save(tmp_path / "one").files == saved.files
    (tmp_path / "one" / saved.files[0]).write_text("a client's own")
    with pytest.raises(lp.LayerPreviewError, match="already there"):
        result.save(tmp_path / "one")


@pytest.mark.slow
def test_a_reading_is_logged_when_it_is_saved(run: Run, job: lp.Scheme, tmp_path: Path) -> None:
    result = lp.progress(job, (71.0, -13.0, 34.5), coats_done=2, mix="honey")
    assert "coats" in repr(result)
    assert not (tmp_path / "job-log.jsonl").exists()
    code, out, err = run("progress", "job.toml", "--mix", "honey", "--coats-done", 2, "--lab", "71,-13,34.5", "--json")
    assert code == 0, err
    told = json.loads(out)
    assert result.to_dict() == {key: told[key] for key in ("standing", "lab", "light", "notes")}
    result.save(tmp_path)
    first, second = ((json.loads(line)) for line in (tmp_path / "job-log.jsonl").read_text("utf-8").splitlines())
    assert {**first, "time": ""} == {**second, "time": ""}
    odd = lp.progress(job, "#0000ff", coats_done=2, mix="honey")
    with pytest.raises(lp.LayerPreviewError, match="not logged"):
        odd.save(tmp_path)


@pytest.mark.slow
def test_a_scheme_built_in_code(built: lp.Scheme, tmp_path: Path) -> None:
    results = {
        "render": lp.render(built, width_px=64),
        "figures": lp.figures(built),
        "ladder": lp.ladder(built, strengths=(0.5, 1.0), most_coats=2),
        "reach": lp.reach(built, "#c88a3a"),
        "evenness": lp.evenness(built, width_px=64, hands=("good",)),
        "tolerance": lp.tolerance(built, runs=100),
        "fade": lp.fade(built, exposure_Mlx_h=3.0, steps={"amber": 4}),
        "sheet": lp.sheet(built, forms=["html", "json"]),
        "board": lp.board([built, built], width_px=64),
        "progress": lp.progress(
            built,
            (62.0, 18.0, 44.0),
            coats_done=2,
        ),
    }
    for name, result in results.items():
        html = result._repr_html_()
        assert "<b>" not in html, name
        assert "&lt;b&gt;Test" in html or "Test" not in html, name
        assert "\n" not in repr(result)
        if name == "progress":
            continue
        saved = result.save(tmp_path / name)
        assert names_in(tmp_path / name) == sorted(saved.files)
    assert not list(tmp_path.glob("**/job-log.jsonl"))
    assert "<b>" not in (tmp_path / "board" / "board.html").read_text("utf-8").split("</h1>")[0].split("<h1")[1]


def test_a_scheme_built_in_code_names_only_what_it_has(built: lp.Scheme) -> None:
    given = {name: getattr(built, name) for name in ("name", "faces", "base", "dyes", "mixes", "coats")}
    coat = lp.DyeCoat(mix="hony", coats=1)
    with pytest.raises(ValueError, match="no dye is called 'amber'; no mix is called 'hony'"):
        lp.Scheme(**{**given, "dyes": {}, "coats": (coat,)})
    with pytest.raises(ValueError, match="no face is called 'back'"):
        lp.Scheme(**given, base_of={"back": built.base})
    with pytest.raises(ValueError, match="at least one face"):
        lp.Scheme(**{**given, "faces": ()})


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda s: lp.render(s, light="noon"), "light = 'noon'"),
        (lambda s: lp.render(s, width_px=1), "width_px = 1"),
        (lambda s: lp.render(s, view_deg=100.0), "view_deg = 100"),
        (lambda s: lp.render(s, lamp_deg=-2.0), "lamp_deg = -2"),
        (lambda s: lp.ladder(s, mix="plum"), "no coat is sprayed with this mix"),
        (lambda s: lp.ladder(s, strengths=(0.0, 1.0)), "each between 0.01 and 20"),
        (lambda s: lp.ladder(s, most_coats=0), "most_coats = 0"),
        (lambda s: lp.ladder(s, lights=["noon"]), "no such light"),
        (lambda s: lp.reach(s, "step 2 of plum"), "target = 'plum'"),
        (lambda s: lp.reach(s, "#00ff00", dyes=["tea"]), "no such dye"),
        (lambda _: lp.Limits(most_coats=0), "limits must be above 0"),
        (lambda s: lp.evenness(s, hands=("shaky",)), "no such hand"),
        (lambda s: lp.evenness(s, hands=()), "a hand is wanted"),
        (lambda s: lp.tolerance(s, runs=0), "runs = 0"),
        (lambda s: lp.fade(s, exposure_Mlx_h=3.0), "no dye has a light-fastness step"),
        (lambda s: lp.fade(s, exposure_Mlx_h=3.0, steps={"amber": 9}), "from 1 to 8"),
        (lambda s: lp.touch_up(s), "where the damage is"),
        (lambda s: lp.sheet(s, paper="A5"), "no such paper"),
        (lambda s: lp.board([]), "a board holds 1 to"),
        (lambda s: lp.progress(s, "#ffffff", coats_done=-1), "from 0 to 60"),
        (lambda s: lp.fit("nowhere.csv"), "nowhere.csv"),
    ],
)
def test_what_cannot_be_used_is_one_kind_of_error(
    built: lp.Scheme, ask: Callable[[lp.Scheme], object], said: str
) -> None:
    with pytest.raises(lp.LayerPreviewError) as caught:
        ask(built)
    assert said in str(caught.value)
    assert not str(caught.value).startswith(".:")


def test_names_are_loaded_when_they_are_asked_for() -> None:
    assert lp.load is lp.load_scheme
    for name in lp.__all__:
        assert getattr(lp, name) is not None


def test_columns_with_something_missing() -> None:
    found = columns_of(
        [{"mL": 1.5, "name": "a", "on": True, "none": None}, {"mL": None, "name": "b", "on": False, "none": None}]
    )
    np.testing.assert_array_equal(found["mL"], [1.5, np.nan])
    assert found["name"] == ["a", "b"]
    assert found["on"] == [True, False]
    assert found["none"] == [None, None]
    assert columns_of([]) == {}


def test_a_table_that_does_not_fit_is_wrapped() -> None:
    lines = text_table([["what", "how much"], ["honey", "about twelve and a half"]], width=20, ruled=True)
    assert max(map(len, lines)) <= 20
    assert lines[0].split() == ["what", "how", "much"]
    assert set(lines[1]) == {"-", " "}
    assert " ".join(line[7:].strip() for line in lines[2:]).split() == ["about", "twelve", "and", "a", "half"]


def test_threads_are_one_setting(monkeypatch: pytest.MonkeyPatch, built: lp.Scheme) -> None:
    monkeypatch.delenv("LAYERPREVIEW_THREADS", raising=False)
    assert thread_count() >= 1
    pictures = []
    for count in ("1", "3"):
        monkeypatch.setenv("LAYERPREVIEW_THREADS", count)
        assert thread_count() == int(count)
        pictures.append(lp.render(built, width_px=200, strip_px=1000).rgb_lin)
    np.testing.assert_array_equal(*pictures)
    for wrong in ("0", "many", "1.5", "-2", "1000"):
        monkeypatch.setenv("LAYERPREVIEW_THREADS", wrong)
        with pytest.raises(lp.LayerPreviewError, match=f"LAYERPREVIEW_THREADS = {wrong}: must be a whole number"):
            thread_count()
