"""`teach`: what the diaries of jobs measured, shown and, when told, kept beside the jobs and used from then on."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from layerpreview.errors import InputError, OutputError
from layerpreview.job.done import BatchMade, CoatDone, Deed, DropsCounted, FilmRead, Left
from layerpreview.output.diary_entries import entry_of
from layerpreview.output.shop_result import shop_text
from layerpreview.scheme import load_scheme
from layerpreview.scheme.shop_values import ShopValues, load_shop_values
from layerpreview.workflows import shop_values
from layerpreview.workflows.diary import diary, said
from layerpreview.workflows.places import scheme_of_job
from layerpreview.workflows.shop_values import learn_values

from ..schemes import DYES, HEAD, MIXES, PANEL, SILVER

BIG = PANEL.replace("64 mm", "640 mm").replace("48 mm", "480 mm")
SCHEME = HEAD + BIG + SILVER + DYES + MIXES + '[[coat]]\nmix = "honey"\ncoats = 2\n[gun]\nkind = "HVLP"\n'
Run = Callable[..., tuple[int, str, str]]


def new_job(folder: Path, *, um: float, left_mL: float = 40.0) -> Path:
    """A job in `folder` with a diary of a day."""
    folder.mkdir()
    (folder / "scheme.toml").write_text(SCHEME, encoding="utf-8")
    start = datetime(2026, 5, 4, 9, tzinfo=UTC)
    when = [{"id": f"{folder.name} {i}", "time": start + timedelta(minutes=9 * i)} for i in range(8)]
    deeds: list[Deed] = [
        DropsCounted(**when[0], dye="blue", drops=43, volume_mL=1.0),  # type: ignore[arg-type]
        BatchMade(**when[1], batch="honey", total_mL=110.0),  # type: ignore[arg-type]
    ]
    for number in (1, 2):
        read = (um, um + number, um + 2)
        deeds.append(CoatDone(**when[2 * number], entry=1, number=number))  # type: ignore[arg-type]
        deeds.append(FilmRead(**when[2 * number + 1], entry=1, number=number, readings_um=read))  # type: ignore[arg-type]
    deeds.append(Left(**when[6], batch="honey", left_mL=left_mL))  # type: ignore[arg-type]
    lines = [json.dumps(entry_of(deed)) for deed in deeds]
    (folder / "job-log.jsonl").write_text("\n".join([*lines, ""]), encoding="utf-8")
    return folder


def test_it_shows_first_and_writes_when_told(tmp_path: Path, run: Run) -> None:
    for name, um in (("drum shell", 34.0), ("octave mandolin", 38.0)):
        new_job(tmp_path / name, um=um)
    code, out, err = run("teach", "drum shell", "octave mandolin")
    assert code == 0, err
    assert "40 um (28 to 55), usual till now" in out
    assert "12 readings on 4 coats of 2 jobs" in out
    assert "Nothing is written yet" in err
    assert 'teach "drum shell" "octave mandolin" --write' in err
    assert not (tmp_path / "shop.toml").exists()
    code, out, err = run("teach", "drum shell", "octave mandolin", "--write", "--json")
    assert code == 0, err
    told = json.loads(out)
    assert told["written"] is True
    assert told["jobs"] == ["drum shell", "octave mandolin"]
    assert [(row["what"], row["of"]) for row in told["values"]] == [
        ("film", "medium"),
        ("transfer", "HVLP"),
        ("drops_per_mL", "blue"),
    ]
    assert "Wrote" in err
    code, out, err = run("check", "drum shell/scheme.toml")
    assert "this shop's own, 12 readings" in out
    assert "HVLP, this shop's own, 2 batches" in out


def test_again_changes_nothing_and_another_job_is_added(tmp_path: Path) -> None:
    one, two = new_job(tmp_path / "one", um=34.0), new_job(tmp_path / "two", um=38.0)
    learn_values([one], write=True)
    file = tmp_path / "shop.toml"
    first = file.read_bytes()
    assert not learn_values([one, one / "scheme.toml"], write=True).found.kept
    assert file.read_bytes() == first
    learn_values([two], write=True)
    both = file.read_bytes()
    file.unlink()
    learn_values([two, one], write=True)
    assert file.read_bytes() == both
    # It teaches by its scheme without the values that it taught, so that nothing is multiplied by itself.
    assert load_shop_values(file).film_um["medium"].range.likely == pytest.approx(37.3, abs=0.2)
    assert load_scheme(one / "scheme.toml").coats[0].film_um.likely == pytest.approx(37.3, abs=0.2)
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_of_two_who_teach_at_once_neither_is_lost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The other one ends after this one has read the file and before it writes: what is then there counts."""
    one, two = new_job(tmp_path / "one", um=34.0), new_job(tmp_path / "two", um=38.0)
    work, others = shop_values._job, [two]

    def meanwhile(scheme: Path) -> object:
        if others:
            learn_values([others.pop()], write=True)
        return work(scheme)

    monkeypatch.setattr(shop_values, "_job", meanwhile)
    assert learn_values([one], write=True).found.kept
    assert sorted(job.name for job in load_shop_values(tmp_path / "shop.toml").jobs) == ["one", "two"]


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    values = learn_values([new_job(tmp_path / "one", um=34.0)], write=True).found.values
    assert shop_text(load_shop_values(tmp_path / "shop.toml")) == shop_text(values)
    assert shop_text(ShopValues()).count("\n") == 3


def test_the_nearer_file_is_the_one_that_is_kept(tmp_path: Path) -> None:
    job = new_job(tmp_path / "one", um=34.0)
    (job / "shop.toml").write_text("layerpreview_shop = 1\n[transfer.HVLP]\nshare = [0.4, 0.5, 0.6]\nn = 4\n", "utf-8")
    found = learn_values([job], write=True).found
    assert found.values.file == job / "shop.toml"
    assert not (tmp_path / "shop.toml").exists()
    assert load_shop_values(job / "shop.toml").transfer["HVLP"].n == 5


def test_what_cannot_be_used_is_refused_in_one_line(tmp_path: Path, run: Run) -> None:
    assert run("teach", ".")[0] == 2
    job = new_job(tmp_path / "one", um=34.0)
    (job / "job-log.jsonl").unlink()
    assert "note: one: no diary yet" in learn_values([job]).text()
    (job / "job-log.jsonl").write_text('{"what":"film-read","id":"a","time":"now"}\n', encoding="utf-8")
    with pytest.raises(InputError, match="a time is wanted"):
        learn_values([job])
    (job / "job-log.jsonl").write_text("", encoding="utf-8")
    found = learn_values([job], write=True)
    assert "nothing is learnt yet" in found.text()
    assert not (tmp_path / "shop.toml").exists()
    with pytest.raises(InputError, match="no job is named"):
        learn_values([])


def test_the_scheme_of_a_job(tmp_path: Path) -> None:
    assert scheme_of_job(tmp_path / "pale.toml") == tmp_path / "pale.toml"
    with pytest.raises(InputError, match="no scheme is in this folder"):
        scheme_of_job(tmp_path)
    for name in ("pale.toml", "shop.toml", "amber.dye.toml"):
        kind = {"pale": "", "shop": "_shop", "amber": "_dye"}[name.partition(".")[0]]
        (tmp_path / name).write_text(f"layerpreview{kind} = 1\n", encoding="utf-8")
    assert scheme_of_job(tmp_path) == tmp_path / "pale.toml"
    (tmp_path / "deep.toml").write_text("# mine\nlayerpreview = 1\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"several schemes are in this folder; name one: deep.toml, pale.toml"):
        scheme_of_job(tmp_path)
    (tmp_path / "scheme.toml").touch()
    assert scheme_of_job(tmp_path) == tmp_path / "scheme.toml"


def test_a_job_that_was_begun_goes_on_with_its_own_values(tmp_path: Path) -> None:
    """What is taught later moves no film and no colour that was agreed: of the job itself, of the next it does."""
    now = datetime(2026, 5, 4, 12, tzinfo=UTC)
    job = new_job(tmp_path / "one", um=34.0)
    said(job, "conditions", {"gun": "fan half open"}, now)
    before = load_scheme(job / "scheme.toml")
    learn_values([job], write=True)
    assert load_shop_values(tmp_path / "shop.toml").film_um["medium"].n == 6
    assert load_scheme(job / "scheme.toml").coats == before.coats
    assert not any("shop.toml" in note for note in diary(job, now=now).found.notes)
    two = new_job(tmp_path / "two", um=38.0)
    said(two, "conditions", {"gun": "fan half open"}, now)
    begun = json.loads((two / "job-log.jsonl").read_text("utf-8").splitlines()[-2])
    assert begun["what"] == "day-begun"
    taught = [*_ends(load_shop_values(tmp_path / "shop.toml")), 6]
    assert begun["shop"]["film_um"]["medium"] == taught
    held = load_shop_values(two / "shop-of-this-job.toml")
    assert [*_ends(held), held.film_um["medium"].n] == taught
    assert held.jobs == ()
    (tmp_path / "shop.toml").unlink()
    assert load_scheme(two / "scheme.toml").coats[0].film_um.likely == taught[1]
    learn_values([two], write=True)
    assert load_shop_values(two / "shop-of-this-job.toml") == held


def test_a_scheme_among_others_says_when_the_values_have_changed(tmp_path: Path) -> None:
    now = datetime(2026, 5, 4, 12, tzinfo=UTC)
    job = new_job(tmp_path / "one", um=34.0)
    (job / "scheme.toml").rename(job / "pale.toml")
    said(job / "pale.toml", "conditions", {"gun": "fan half open"}, now)
    learn_values([job], write=True)
    assert not (job / "shop-of-this-job.toml").exists()
    assert any("shop.toml" in note for note in diary(job, now=now).found.notes)


def _ends(values: ShopValues) -> tuple[float, float, float]:
    medium = values.film_um["medium"].range
    return medium.low, medium.likely, medium.high


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege there")
def test_a_link_is_not_written_over(tmp_path: Path) -> None:
    job = new_job(tmp_path / "one", um=34.0)
    (tmp_path / "shop.toml").symlink_to(tmp_path / "elsewhere.toml")
    with pytest.raises(OutputError, match="this is a link; nothing was written"):
        learn_values([job], write=True)
    assert (tmp_path / "shop.toml").is_symlink()
    assert not (tmp_path / "elsewhere.toml").exists()
