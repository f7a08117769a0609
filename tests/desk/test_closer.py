"""Closer to this: exists for a recipe that is not what was promised once it is written, one that changes other coats,
and a search that tells nothing until it is over."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from layerpreview.answers.atlas_near import Atlas
from layerpreview.desk import beside
from layerpreview.desk.desk import Desk
from layerpreview.desk.tell import state
from layerpreview.errors import InputError
from layerpreview.scheme import load_scheme
from layerpreview.workflows.atlas import atlas_files
from layerpreview.workflows.atlas_question import AtlasOptions
from layerpreview.workflows.check import scheme_figures

from ..schemes import FULL, HEAD, PANEL, SILVER
from .conftest import settled


def reach(desk: Desk, **asked: Any) -> dict[str, Any]:
    status, task = beside.POST["reach"](desk, {}, asked)
    assert status == 202
    return settled(desk, task)


def take(desk: Desk, task: dict[str, Any], index: int = 0, **more: Any) -> tuple[int, Any]:
    return beside.POST["take"](desk, {}, {"task": task["id"], "index": index, "base": desk.job().version, **more})


def lab_at(desk: Desk, place: str) -> tuple[float, float, float]:
    assert desk.path is not None
    (colour,) = [c for c in scheme_figures(desk.path).colours if c.spot == place and c.light == "D65"]
    return colour.lab


@pytest.mark.parametrize("coat", [0, 1])
def test_what_is_promised_is_what_is_written(desk: Desk, folder: Path, coat: int) -> None:
    """The colour that the figures tell of the place afterwards; every remark and all else in the file stays."""
    before = desk.job().text
    task = reach(desk, target="#3f5a46", coat=coat, dyes=["blue", "yellow"])
    found = task["result"]
    assert (task["state"], found["settled"], found["coat"]) == ("done", True, coat)
    best = found["alternatives"][0]
    assert best["de00"] == found["nearest_de00"]
    status, told = take(desk, task)
    assert status == 200
    assert told["undo"] == f"closer to #3f5a46: {best['mix']} {best['coats']} coat{'' if best['coats'] == 1 else 's'}"
    scheme = load_scheme(folder / "scheme.toml")
    assert (scheme.coats[coat].coats, scheme.coats[coat].film_um.likely) == (best["coats"], best["film_um"])
    assert lab_at(desk, found["place"]) == pytest.approx(best["lab"], abs=0.02)
    assert desk.job().undo(desk.job().version)
    assert desk.job().text == before


def test_the_volume_is_that_of_the_figures(desk: Desk) -> None:
    """What the coats of an alternative take of the mix is what the figures say once they are written."""
    task = reach(desk, target="#3f5a46", coat=1, dyes=["blue", "yellow"])
    one = task["result"]["alternatives"][-1]
    take(desk, task, one["index"])
    assert desk.path is not None
    coat = scheme_figures(desk.path).coats[1]
    for end in ("low", "likely", "high"):
        assert one["volume_mL"][end] == pytest.approx(getattr(coat.mix_needed_mL, end), rel=1e-3)
    assert one["volume_mL"]["rests_on"]


def test_other_coats_of_the_same_mix_stay(desk: Desk, folder: Path) -> None:
    path = folder / "scheme.toml"
    path.write_text(FULL.replace('mix = "sea"', 'mix = "honey"'))
    task = reach(desk, target="40, -4, 20", coat=1)
    status, told = take(desk, task)
    assert status == 200
    assert [coat["mix"] for coat in told["coats"][:2]] == ["honey", "honey 2"]
    mixes = load_scheme(path).mixes
    assert mixes["honey 2"].solids == mixes["honey"].solids
    assert mixes["honey"].strengths["yellow"].amount == 12.0


def test_a_dye_of_the_library_comes_along(desk: Desk, folder: Path) -> None:
    task = reach(desk, target="#9a3324", coat=0, dyes=["cherry", "orange"])
    assert take(desk, task)[0] == 200
    assert set(load_scheme(folder / "scheme.toml").dyes) > {"yellow", "blue", "orange"}


def test_a_scheme_without_dye_gets_its_first_coat(desk: Desk, folder: Path) -> None:
    (folder / "scheme.toml").write_text(HEAD + PANEL + SILVER)
    task = reach(desk, target="#a07a30", dyes=["amber", "brown"])
    assert task["result"]["coat"] is None
    assert take(desk, task)[0] == 200
    assert lab_at(desk, task["result"]["place"]) == pytest.approx(task["result"]["alternatives"][0]["lab"], abs=0.02)


def test_it_tells_its_best_while_it_runs(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped after the first, that one stays and can be taken."""
    seen: list[dict[str, Any]] = []
    from layerpreview.desk import closer

    def stop_at_first(read: Any, found: Any, target: str, sought: Any) -> dict[str, Any]:
        seen.append(told(read, found, target, sought))
        if len(seen) == 2:
            beside.POST["stop"](desk, {}, {"id": desk.tasks.told("")[0]["id"]})
        return seen[-1]

    told = closer.told
    monkeypatch.setattr(closer, "told", stop_at_first)
    task = reach(desk, target="#3f5a46")
    assert task["state"] == "stopped"
    assert task["result"] == seen[0]
    assert task["result"]["settled"] is False
    assert task["words"].startswith("searching: ")
    assert take(desk, task)[0] == 200


def test_both_readings_are_told(desk: Desk) -> None:
    """Over a grey silver the hue angle stays and only the darkness is the base's; recipes are further from the colour
    itself than from what they are for."""
    found = reach(desk, target={"l": 62.0, "a": 4.0, "b": 38.0}, reading="hue")["result"]
    read = found["readings"]
    assert found["reading"] == "hue"
    assert found["wanted"]["lab"] == read["mean"]["lab"] == pytest.approx([62.0, 4.0, 38.0])
    assert read["hue"]["lab"][0] < read["hue"]["base"]["lab"][0] < 100.0
    assert found["alternatives"][0]["mean_de00"] > found["alternatives"][0]["de00"]


def test_the_command_that_does_the_same(desk: Desk) -> None:
    body = {"target": "#3f5a46", "coat": 1, "reading": "hue", "dyes": ["blue"], "films_um": "30,60", "most_coats": 5}
    _, task = beside.POST["reach"](desk, {}, body)
    said = '"#3f5a46" --coat 2 --reading hue --dyes blue --most-coats 5 --films "30,60"'
    assert task["command"] == f"layerpreview reach {desk.path} {said}"
    settled(desk, task)


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"target": "photo.jpg@1,1,2,2"},
        {"target": {"l": 1e400, "a": 0, "b": 0}},
        {"target": "#3f5a46", "dyes": "blue"},
        {"target": "#3f5a46", "coat": "first"},
        {"target": "#3f5a46", "most_coats": 1e12},
        {"target": "#3f5a46", "reading": ["hue"]},
        {"target": "#3f5a46", "films_um": 20},
    ],
)
def test_what_is_no_question(desk: Desk, body: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        beside.POST["reach"](desk, {}, body)


@pytest.mark.parametrize(
    "body", [{"target": "reddish"}, {"target": "#3f5a46", "coat": 2}, {"target": "#3f5a46", "dyes": ["ochre"]}]
)
def test_what_has_no_answer(desk: Desk, body: dict[str, Any]) -> None:
    task = reach(desk, **body)
    assert task["state"] == "failed"
    assert len(task["problems"]) == 1


@pytest.mark.parametrize("target", ["reddish", "#12", "40, x, 3", "140, 0, 0"])
def test_what_is_no_colour_is_said_in_words_of_the_page(desk: Desk, target: str) -> None:
    """What else the command takes (a photo's patch, a step) cannot be typed into the page."""
    (line,) = reach(desk, target=target)["problems"]
    assert line.endswith("; type it as #c88a3a, or as 62, 12, 48 for L*, a*, b*")
    assert "photo.jpg" not in line
    assert "target" not in line


def test_nothing_is_taken_that_no_longer_fits(desk: Desk, folder: Path) -> None:
    """Another coat at that number, a file that was changed meanwhile, and what was never found."""
    task = reach(desk, target="#3f5a46", coat=0)
    for index in (-1, 99, "0", None):
        with pytest.raises(InputError, match="no such alternative"):
            take(desk, task, index)  # type: ignore[arg-type]
    status, told = take(desk, task, base="00000000")
    assert (status, told["state"]) == (409, state(desk.job()))
    text = (folder / "scheme.toml").read_text()
    (folder / "scheme.toml").write_text(text.replace('mix = "honey"\ncoats', 'mix = "sea"\ncoats'))
    with pytest.raises(InputError, match="look for it again"):
        take(desk, task)
    with pytest.raises(InputError, match="no longer kept"):
        take(desk, {"id": "t77"})


def test_an_atlas_in_the_jobs_folder_is_asked_where_it_fits(
    desk: Desk, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is of the first coat among the others: of the second it knows nothing, which nobody is told."""
    pytest.importorskip("pyarrow")
    options = AtlasOptions(strengths=["2,8,30"], coats=4, coat=1, fill=False)
    atlas_files([folder / "scheme.toml"], out=folder / "atlas", options=options)
    asked: list[int] = []
    near = Atlas.near
    monkeypatch.setattr(Atlas, "near", lambda atlas, target: (asked.append(len(atlas.lab)), near(atlas, target))[1])
    begun = reach(desk, target="#8a8a50", coat=0, within_de00=30)["result"]
    assert asked == [(3 + 3 + 9) * 4]
    assert reach(desk, target="#8a8a50", coat=1, within_de00=60)["state"] == "done"
    assert len(asked) == 1
    shutil.rmtree(folder / "atlas")
    assert reach(desk, target="#8a8a50", coat=0, within_de00=30)["result"]["nearest_de00"] == pytest.approx(
        begun["nearest_de00"], abs=0.05
    )
