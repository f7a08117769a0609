"""The same colour again, as a person does it: exists for a scheme that does not make the colour it promises, a dye
swapped for the wrong one, a change where nothing changed, and files written over or half written.

Colours that the written scheme makes are worked out anew from its own text and compared by colour-science's CIEDE2000.
"""

from __future__ import annotations

import json
import shutil
import tomllib
import zipfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from layerpreview.colour import WAVELENGTHS_NM, spectrum_to_lab
from layerpreview.errors import InputError, NoAnswerError, OutputError
from layerpreview.finish.layers import absorptivity_on_grid, stack_of
from layerpreview.learn.fit.known_dye import smooth_doubt
from layerpreview.learn.fit.one_card import fit_dye
from layerpreview.output import remake_result
from layerpreview.output.record_file import open_record
from layerpreview.output.record_zip import MANIFEST, zipped
from layerpreview.picture.spots import places_of
from layerpreview.scheme import Scheme, load_library_dye, load_scheme
from layerpreview.scheme.dyefile import dye_file_text
from layerpreview.workflows import record as record_workflow
from layerpreview.workflows.record import record_file
from layerpreview.workflows.remake import Asked, remake_files, remake_place
from layerpreview.workflows.remake_dyes import dyes_on_shelf, stands_for

from ..learn.simulated import photo_card, random_truth
from ..schemes import HEAD, PANEL
from .kept_job import make_job

F64 = NDArray[np.float64]
Run = Callable[..., tuple[int, str, str]]
NOW = datetime(2026, 3, 2, 18, 30, tzinfo=UTC)

AMBER = 60.0 * np.exp(-0.5 * ((WAVELENGTHS_NM - 440.0) / 38.0) ** 2) + 1.0
PLUM = 55.0 * np.exp(-0.5 * ((WAVELENGTHS_NM - 545.0) / 42.0) ** 2) + 1.5
SCHEME = (
    HEAD.replace('["D65"]', '["D65", "A"]')
    + PANEL
    + """\
[base]
kind = "metal"
colour = "#b9bcc0"
flake_spread = 0.3
[dye.amber]
file = "amber.dye.toml"  # the bottle of spring
[dye.plum]
file = "plum.dye.toml"
[mix.honey]
dyes = { amber = "14 mL/L", plum = "1 mL/L" }  # tried on a card
[mix.rim]
dyes = { plum = "12 mL/L", amber = "30 drops per 100 mL" }
[[coat]]
mix = "honey"
coats = 3
film = "40 um"
[[coat]]
mix = "rim"
coats = 2
film = "30 um"
burst = { from = "outline", width = "15 mm", fall_off = "soft" }
"""
)


@pytest.fixture(scope="module", autouse=True)
def _small_picture() -> Iterator[None]:
    """The picture in a record is not what these tests look at: none is worked out."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(record_workflow, "picture_of", lambda *_, **__: np.zeros((40, 60, 3), dtype=np.uint8))
        yield


def dye(
    path: Path, name: str, absorptivity: F64, *, doubt: F64 | float = 0.03, concentrate: float | None = 40.0
) -> Path:
    """A dye file as a fit leaves it, with roots (81, K) or one size of its doubt."""
    roots = smooth_doubt(np.full(81, doubt)) if isinstance(doubt, float) else doubt
    half = 1.645 * np.sqrt(np.square(roots).sum(axis=1))
    path.parent.mkdir(parents=True, exist_ok=True)
    text = dye_file_text(
        name=name,
        kind="fitted",
        provenance="a card",
        concentrate_g_per_L=concentrate,
        wavelength_nm=WAVELENGTHS_NM.tolist(),
        best=absorptivity.tolist(),
        interval=((absorptivity * np.exp(-half)).tolist(), (absorptivity * np.exp(half)).tolist()),
        doubt_of_log=roots.tolist(),
    )
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(autouse=True)
def _no_swatches(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Squares are drawn once, where they are looked at."""
    if request.node.name != "test_at_the_prompt":
        monkeypatch.setattr(remake_result, "_sheet", lambda found, was: np.zeros((8, 8, 3), dtype=np.uint8))


def recorded(folder: Path, scheme: str = SCHEME) -> Path:
    """A job with its two dyes in `folder`, and the record of it."""
    job = folder / "job"
    dye(job / "amber.dye.toml", "amber", AMBER)
    dye(job / "plum.dye.toml", "plum", PLUM)
    (job / "scheme.toml").write_text(scheme, encoding="utf-8")
    return folder / record_file(job, out=folder, now=NOW).file


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return recorded(tmp_path_factory.mktemp("then"))


@pytest.fixture
def today(tmp_path: Path) -> Path:
    """Today's bottles: amber 15 % stronger with its band 4 nm on, plum with 5 % of amber in it, and a red besides."""
    dye(tmp_path / "today" / "amber.dye.toml", "amber", 1.15 * np.interp(WAVELENGTHS_NM - 4.0, WAVELENGTHS_NM, AMBER))
    dye(tmp_path / "today" / "plum_new.dye.toml", "Plum", 0.95 * PLUM + 0.05 * AMBER)
    dye(tmp_path / "today" / "red.dye.toml", "red", 50.0 * np.exp(-0.5 * ((WAVELENGTHS_NM - 510.0) / 30.0) ** 2) + 1.0)
    return tmp_path / "today"


def away(scheme: Scheme, record: Path, colour_science: ModuleType) -> F64:
    """CIEDE2000 of every place of a record under each of its lights, from its spectra to what `scheme` makes."""
    held = open_record(record)
    spots = {spot.name: spot for spot in places_of(scheme)}
    found = []
    for place in held.places:
        spot = spots[place.name]
        made = stack_of(scheme, base=spot.base).reflectance(spot.bare[None], spot.build[None])[0]
        for light in held.lights:
            pair = [spectrum_to_lab(s, light=light) for s in (held.reflectance(place), made)]
            found.append(float(colour_science.delta_E(*pair, method="CIE 2000")))
    return np.array(found)


def test_at_the_prompt(run: Run, record: Path, today: Path, tmp_path: Path, colour_science: ModuleType) -> None:
    files = sorted(today.iterdir())
    code, out, err = run("remake", record, "--dyes", *files, "-o", "again")
    assert code == 0, err
    assert out.splitlines()[0].startswith("Test part: comes out 0.")
    assert "17 % stronger than in the record" in out or "% stronger than in the record" in out
    assert "Spray one card first: " in out
    assert "red.dye.toml (red): not needed for the mixes as they were" in out
    assert "safety data sheet" in out
    assert "Approximate" in out
    assert "--" not in out.replace("--also", "")
    assert err.splitlines()[-1].startswith("Next: ")
    scheme = load_scheme(tmp_path / "again" / "scheme.toml")
    assert away(scheme, record, colour_science).mean() < 0.5
    # What was not meant stays to the letter.
    text, was = scheme.text, SCHEME
    assert "# tried on a card" in text
    assert "# the bottle of spring" in text
    assert text.splitlines()[1:8] == was.splitlines()[:7]
    assert tomllib.loads(text)["mix"]["rim"]["dyes"]["amber"].endswith(" drops per 100 mL")
    assert {dye.concentrate_g_per_L for dye in scheme.dyes.values()} == {40.0}
    with Image.open(tmp_path / "again" / "remake.png") as picture:
        assert picture.width > 1000
    told = json.loads((tmp_path / "again" / "remake.json").read_text("utf-8"))
    assert told["same_within_doubt"] is False
    assert told["left_de00"] < 0.5 < told["as_before_de00"]
    assert told["may_come_out_de00"]["low"] < told["may_come_out_de00"]["high"]
    assert len(told["places"]) == 3 * len(open_record(record).places)


def test_mixed_as_before_is_what_it_says(record: Path, today: Path, tmp_path: Path, colour_science: ModuleType) -> None:
    """The record's own scheme with today's dyes in place of its own, by hand."""
    found = remake_files(record, Asked(dyes=[today]), out=tmp_path / "again")
    job = tmp_path / "by hand"
    shutil.copytree(record.parent / "job", job)
    for name, file in (("amber", "amber.dye.toml"), ("plum", "plum_new.dye.toml")):
        shutil.copy(today / file, job / f"{name}.dye.toml")
    by_hand = away(load_scheme(job / "scheme.toml"), record, colour_science).reshape(found.as_before.de00.shape)
    assert by_hand == pytest.approx(found.as_before.de00, abs=0.02)


def test_the_same_within_doubt_changes_nothing(run: Run, record: Path, tmp_path: Path) -> None:
    dye(tmp_path / "today" / "amber.dye.toml", "amber", 1.02 * AMBER)
    dye(tmp_path / "today" / "plum.dye.toml", "plum", 0.98 * PLUM)
    code, out, err = run("remake", record, "--dyes", "today")
    assert code == 0, err
    assert out.splitlines()[0] == "Test part: your dyes are the same within doubt: mix as in the record."
    again = remake_place(record)
    try:
        text = (again / "scheme.toml").read_text("utf-8")
        assert text.split("\n", 1)[1] == SCHEME
        assert (again / "amber.dye.toml").read_bytes() == (record.parent / "job" / "amber.dye.toml").read_bytes()
        assert json.loads((again / "remake.json").read_text("utf-8"))["same_within_doubt"] is True
    finally:
        shutil.rmtree(again)
    anyway = remake_files(record, Asked(dyes=[tmp_path / "today"], anyway=True), out=tmp_path / "anyway")
    assert not anyway.same
    assert anyway.recipe.strengths[0] == pytest.approx(14.0 / 1.02, rel=0.03)


def test_a_dye_that_was_never_measured(tmp_path: Path) -> None:
    """The record's amber is a kind of dye from the library: any bottle may be it, and what that hides is told."""
    own = 'file = "amber.dye.toml"  # the bottle of spring'
    kept = recorded(tmp_path / "then", SCHEME.replace(own, 'library = "amber"\nconcentrate = "40 g/L"'))
    dye(tmp_path / "today" / "amber.dye.toml", "amber", 1.25 * absorptivity_on_grid(load_library_dye("amber")))
    found = remake_files(kept, Asked(dyes=[tmp_path / "today"]), out=tmp_path / "again")
    assert found.same
    assert found.wide_doubt
    assert "the doubt is wide" in found.verdict
    assert "the record's own was never measured" in found.text()
    assert "first and learn it" in found.text()
    anyway = remake_files(kept, Asked(dyes=[tmp_path / "today"], anyway=True), out=tmp_path / "anyway")
    assert anyway.de00 < found.as_before.joint_de00
    assert "of which no card of today's tells" in anyway.text()


def test_nothing_new_at_all(record: Path, tmp_path: Path) -> None:
    """No dye of today, or the very files of the record: nothing to do."""
    for asked in (Asked(), Asked(dyes=sorted((record.parent / "job").glob("*.dye.toml")))):
        found = remake_files(record, asked, out=tmp_path / "again")
        assert found.same
        assert found.as_before.de00.max() < 1e-3
        shutil.rmtree(tmp_path / "again")


def test_which_dye_stands_for_which(record: Path, today: Path, tmp_path: Path) -> None:
    odd = dye(today / "amberish 2.dye.toml", "Bottle 7", 0.8 * AMBER)
    (today / "amber.dye.toml").unlink()
    found = remake_files(record, Asked(dyes=[today]), out=tmp_path / "one")
    (line,) = (line for line in found.notes if line.startswith("amber: "))
    assert line.startswith("amber: none of today's dyes has this name")
    assert "is it amberish 2.dye.toml?" in line
    assert [each.name for each in found.dyes] == ["plum"]
    found = remake_files(record, Asked(dyes=[today], stand_for=[f"amber={odd}"]), out=tmp_path / "two")
    amber = next(each for each in found.dyes if each.name == "amber")
    assert amber.strength.likely == pytest.approx(0.8, abs=0.02)
    assert amber.strength_sure > 0.99
    assert found.recipe.strengths[0] == pytest.approx(14.0 / 0.8, rel=0.05)
    assert (tmp_path / "two" / "amberish_2.dye.toml").read_bytes() == odd.read_bytes()


def test_a_further_dye_is_offered_and_taken(record: Path, tmp_path: Path, colour_science: ModuleType) -> None:
    """Amber that lost its red end: alone it is off; what it lost is on the shelf, is offered, and taken if asked."""
    lost = 8.0 * np.exp(-0.5 * ((WAVELENGTHS_NM - 600.0) / 25.0) ** 2)
    was = dye(tmp_path / "then" / "job" / "amber.dye.toml", "amber", AMBER + lost)
    dye(was.parent / "plum.dye.toml", "plum", PLUM)
    (was.parent / "scheme.toml").write_text(SCHEME, encoding="utf-8")
    kept = tmp_path / "then" / record_file(was.parent, out=tmp_path / "then", now=NOW).file
    dye(tmp_path / "today" / "amber.dye.toml", "amber", AMBER)
    dye(tmp_path / "today" / "lost.dye.toml", "what it lost", 6.0 * lost)
    alone = remake_files(kept, Asked(dyes=[tmp_path / "today"]), out=tmp_path / "alone")
    assert alone.de00 > 0.8
    assert 'add --also "lost"' in alone.text()
    both = remake_files(kept, Asked(dyes=[tmp_path / "today"], also=["lost"]), out=tmp_path / "both")
    assert both.de00 < 0.3 * alone.de00
    scheme = load_scheme(tmp_path / "both" / "scheme.toml")
    assert scheme.mixes["honey"].strengths["lost"].unit == "mL/L"
    assert np.median(away(scheme, kept, colour_science)) < 0.5
    idle = remake_files(record, Asked(dyes=[tmp_path / "today"], also=["lost"], anyway=True), out=tmp_path / "idle")
    assert idle.recipe.joint_de00 < 0.2


def test_what_was_done_and_not_what_was_planned(tmp_path: Path, colour_science: ModuleType) -> None:
    """A job with a diary: other strengths, a coat less and other films than planned; the colour that came out is it."""
    job = make_job(tmp_path / "kept")
    kept = tmp_path / record_file(job, out=tmp_path, now=NOW).file
    found = remake_files(kept, Asked(), out=tmp_path / "again")
    assert found.same
    scheme = load_scheme(tmp_path / "again" / "scheme.toml")
    held = open_record(kept)
    assert [coat.coats for coat in scheme.coats] == [coat.done for coat in held.coats]
    assert scheme.mixes["sea"].strengths["blue"].amount == pytest.approx(30.0, abs=0.5)
    # What is promised for the same dyes (0.0) holds of the scheme that is written: its films are those that were laid.
    assert away(scheme, kept, colour_science).max() < 0.3
    assert "Coats: 3 of honey (39 um wet each), then 1 of sea (25 um wet each" in found.text()
    anyway = remake_files(kept, Asked(anyway=True), out=tmp_path / "anyway")
    assert anyway.de00 < 0.3
    assert away(load_scheme(tmp_path / "anyway" / "scheme.toml"), kept, colour_science).max() < 0.6


def test_films_of_the_job_stand_before_those_the_shop_knew(tmp_path: Path, colour_science: ModuleType) -> None:
    """The record holds the shop's own medium film, and readings of this job's, which was laid otherwise."""
    job = make_job(tmp_path / "jobs" / "kept")
    scheme = job / "scheme.toml"
    scheme.write_text(scheme.read_text("utf-8").replace('film = "35 to 45 um"', 'film = "medium"'), "utf-8")
    (job.parent / "shop.toml").write_text("layerpreview_shop = 1\n[film.medium]\num = [44, 50, 56]\nn = 9\njobs = 2\n")
    kept = tmp_path / record_file(job, out=tmp_path, now=NOW).file
    assert remake_files(kept, Asked(), out=tmp_path / "again").same
    again = load_scheme(tmp_path / "again" / "scheme.toml")
    assert again.coats[0].film_um.likely == pytest.approx(39.0)  # the mean of 36, 38 and 43
    assert away(again, kept, colour_science).max() < 0.3


def test_an_entry_that_was_never_sprayed_is_left_out(tmp_path: Path) -> None:
    job = make_job(tmp_path / "kept")
    log = job / "job-log.jsonl"
    lines = [line for line in log.read_text("utf-8").splitlines() if '"entry": 2' not in line]
    log.write_text("\n".join(lines) + "\n", encoding="utf-8")
    kept = tmp_path / record_file(job, out=tmp_path, now=NOW).file
    found = remake_files(kept, Asked(anyway=True), out=tmp_path / "again")
    scheme = load_scheme(tmp_path / "again" / "scheme.toml")
    assert [coat.label for coat in scheme.coats] == ["honey", "opaque #221814"]
    assert found.de00 < 0.3


def test_the_base_and_gun_of_today(record: Path, tmp_path: Path) -> None:
    other = SCHEME.replace("flake_spread = 0.3", "flake_spread = 0.45\nbroad_spread = 0.6\nbroad_share = 0.5")
    shop = tmp_path / "shop"
    shop.mkdir()
    for name in ("amber", "plum"):
        shutil.copy(record.parent / "job" / f"{name}.dye.toml", shop)
    Image.new("RGB", (64, 48), (170, 172, 178)).save(shop / "Silver 2.png")
    own = '[base_of.front]\nkind = "metal"\npicture = "Silver 2.png"\npicture_options = { width = "64 mm" }\n'
    gun = '[gun]\nkind = "HVLP"\ntransfer = "50 %"\n'
    (shop / "now.toml").write_text(other + own.replace("front", "front") + gun, encoding="utf-8")
    found = remake_files(record, Asked(today=shop / "now.toml"), out=tmp_path / "again")
    assert found.base.other
    scheme = load_scheme(tmp_path / "again" / "scheme.toml")
    assert scheme.gun.kind == "HVLP"
    assert scheme.base.flake_spread == 0.45
    assert scheme.bases_of["front"].picture == tmp_path / "again" / "silver_2.png"
    assert (tmp_path / "again" / "silver_2.png").read_bytes() == (shop / "Silver 2.png").read_bytes()


def test_another_base_moves_the_colour_and_strengths_mend_a_part(record: Path, tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    shutil.copytree(record.parent / "job", shop)
    (shop / "scheme.toml").write_text(SCHEME.replace("flake_spread = 0.3", "flake_spread = 0.42"), encoding="utf-8")
    found = remake_files(record, Asked(today=shop / "scheme.toml"), out=tmp_path / "again")
    assert not found.same
    assert found.base.moved_de00 > found.base.doubt_de00 > 0.0
    assert found.de00 < 0.5 * found.as_before.joint_de00
    assert "Base: another one" in found.text()
    near = SCHEME.replace("flake_spread = 0.3", "flake_spread = 0.305")
    (shop / "scheme.toml").write_text(near, encoding="utf-8")
    found = remake_files(record, Asked(today=shop / "scheme.toml"), out=tmp_path / "near")
    assert found.same
    assert "your dyes and your base are the same within doubt" in found.verdict


def test_a_powder_in_place_of_a_liquid(record: Path, tmp_path: Path) -> None:
    """The same pure dye as a powder: 14 mL/L of 40 g/L is 0.56 g/L."""
    dye(tmp_path / "today" / "amber.dye.toml", "amber", AMBER, concentrate=None)
    found = remake_files(record, Asked(dyes=[tmp_path / "today"], anyway=True), out=tmp_path / "again")
    strengths = load_scheme(tmp_path / "again" / "scheme.toml").mixes["honey"].strengths
    assert strengths["amber"].unit == "g/L"
    assert strengths["amber"].amount == pytest.approx(0.56, abs=0.011)
    assert found.de00 < 0.2


def test_the_shops_own_film_counts(tmp_path: Path) -> None:
    """Coats told in words: a shop that now lays 32 um where 40 were usual mixes a quarter stronger."""
    words = SCHEME.replace('film = "40 um"', 'film = "medium"').replace('film = "30 um"', 'film = "medium"')
    kept = recorded(tmp_path / "then", words)
    jobs = tmp_path / "jobs"
    jobs.mkdir()
    (jobs / "shop.toml").write_text("layerpreview_shop = 1\n[film.medium]\num = [29, 32, 35]\nn = 9\njobs = 2\n")
    found = remake_files(kept, Asked(anyway=True), out=jobs / "again")
    assert found.recipe.strengths == pytest.approx(1.25 * found.booth.as_written, rel=0.01)
    assert not (jobs / "again" / "shop.toml").exists()
    assert found.films[0].now_um.likely == 32.0
    # 3 coats of 40 um are 4 of 32 less a sixteenth; 2 are as near to 2 as to 3 (2.5), where Python rounds to even.
    assert found.as_tried.coats == (4, 2)
    assert found.as_tried.strengths[:2] == pytest.approx(found.booth.as_written[:2] * 120.0 / 128.0, rel=0.02)
    assert "Or, with mixes nearer to those that were tried: 4 of honey, then 2 of rim; in a litre" in found.text()


def test_whole_with_noise_from_photos(tmp_path: Path, colour_science: ModuleType) -> None:
    """A bottle of both years learnt from simulated photos of cards (grey beside them), then the colour that really
    was against the colour that really comes out; limits are of this chain, as measured: photos, not the search."""
    rng = np.random.default_rng(11)
    shapes = {"amber": AMBER / AMBER.max(), "plum": PLUM / PLUM.max()}
    moved = {**shapes, "amber": np.interp(WAVELENGTHS_NM - 4.0, WAVELENGTHS_NM, shapes["amber"])}
    real: dict[str, dict[str, F64]] = {"then": {}, "now": {}}
    for when, dyes, folder, times in (("then", shapes, "job", 1.0), ("now", moved, "today", 1.15)):
        real[when] = {"amber": times * 60.0 * dyes["amber"], "plum": 60.0 * dyes["plum"]}
        truth = random_truth(rng, dye=dyes["amber"])
        fit = fit_dye(photo_card(truth, rng, grey=True))
        scale = times * 60.0 / truth.absorbance10.max()
        dye(tmp_path / folder / "amber.dye.toml", "amber", scale * fit.absorbance10, doubt=fit.doubt)
        dye(tmp_path / folder / "plum.dye.toml", "plum", real[when]["plum"])
    job = tmp_path / "job"
    (job / "scheme.toml").write_text(SCHEME, encoding="utf-8")
    kept = tmp_path / record_file(job, out=tmp_path, now=NOW).file
    found = remake_files(kept, Asked(dyes=[tmp_path / "today"], anyway=True), out=tmp_path / "again")

    def really(scheme: Path, dyes: dict[str, F64]) -> F64:
        own = load_scheme(scheme)
        true = {
            n: d.model_copy(update={"absorptivity_L_per_g_cm": tuple(dyes[n].tolist())}) for n, d in own.dyes.items()
        }
        own = own.model_copy(update={"dyes": true})
        spots = [spot for spot in places_of(own) if spot.build.any()]
        seen = [stack_of(own, base=s.base).reflectance(s.bare[None], s.build[None])[0] for s in spots]
        return np.stack([spectrum_to_lab(np.stack(seen), light=light) for light in ("D65", "A")], axis=1)

    was = really(job / "scheme.toml", real["then"])
    again = really(tmp_path / "again" / "scheme.toml", real["now"])
    shutil.copytree(job, tmp_path / "as before")
    before = really(tmp_path / "as before" / "scheme.toml", real["now"])
    left, unmended = (colour_science.delta_E(was, each, method="CIE 2000") for each in (again, before))
    assert left.mean() < 2.5
    assert left.mean() < 0.8 * unmended.mean()
    assert np.sqrt(np.square(left).mean()) < found.sure.joint_de00.high + 1.0


WRONG = {
    "no such record": (["gone.zip"], "gone.zip"),
    "no record": (["note.txt"], "note.txt"),
    "no such dye file": (["RECORD", "--dyes", "gone.dye.toml"], "gone.dye.toml"),
    "an empty folder": (["RECORD", "--dyes", "empty"], "there is no dye file in this folder"),
    "a scheme for a dye": (["RECORD", "--dyes", "scheme.toml"], "this is a scheme, not a dye"),
    "nonsense after --as": (["RECORD", "--as", "amber"], "--as = amber: a dye of the record and the file of today's"),
    "a dye that never was": (["RECORD", "--as", "teal=today/red.dye.toml"], "the record has no dye of this name"),
    "no such dye to add": (["RECORD", "--dyes", "today", "--also", "teal"], "left over of today's dyes are: red"),
    "two of one name": (["RECORD", "--dyes", "today", "--dyes", "twice"], "have one name"),
    "a base that is none": (["RECORD", "--today", "note.txt"], "note.txt"),
}


@pytest.mark.parametrize("case", WRONG)
def test_one_clear_line_and_nothing_written(run: Run, record: Path, today: Path, tmp_path: Path, case: str) -> None:
    arguments, said = WRONG[case]
    (tmp_path / "note.txt").write_text("not a record\n")
    (tmp_path / "scheme.toml").write_text(SCHEME, encoding="utf-8")
    (tmp_path / "empty").mkdir()
    dye(tmp_path / "twice" / "other.dye.toml", "amber", AMBER)
    code, out, err = run("remake", *[record if a == "RECORD" else a for a in arguments], "-o", "again")
    assert (code, out) == (2, ""), err
    assert said in err
    assert all(line.startswith("error: ") for line in err.splitlines())
    assert not (tmp_path / "again").exists()


def test_a_record_put_together_by_hand(run: Run, record: Path, tmp_path: Path) -> None:
    """Whole by its manifest, but its figures are of another scheme: every such thing is told, nothing is worked out."""
    with zipfile.ZipFile(record) as held:
        files = {name: held.read(name) for name in held.namelist() if name != "MANIFEST.sha256"}
    said = json.loads(files["record.json"])
    said["places"][1]["face"] = "lid"
    said["lights"].append("moon")
    for place in said["places"]:
        place["lab"]["moon"] = [50.0, 0.0, 0.0]
    files["record.json"] = json.dumps(said).encode()
    files["scheme/scheme.toml"] += b'[[coat]]\nmix = "rim"\n'
    (tmp_path / "made.record.zip").write_bytes(zipped(files))
    code, out, err = run("remake", "made.record.zip", "-o", "again")
    assert (code, out) == (2, "")
    assert [line.split(": ")[2] for line in err.splitlines()] == ["places[2].face = lid", "coats", "lights = moon"]
    assert not (tmp_path / "again").exists()


def test_all_that_is_wrong_with_the_dyes_at_once(tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / f"{name}.dye.toml").write_text("layerpreview_dye = 1\n")
    with pytest.raises(InputError) as told:
        dyes_on_shelf(sorted(tmp_path.iterdir()))
    assert {Path(problem.file).name for problem in told.value.problems} == {"one.dye.toml", "two.dye.toml"}
    with pytest.raises(InputError) as told:
        stands_for(["amber", "=x", "plum=ok.dye.toml", "y="])
    assert [problem.value for problem in told.value.problems] == ["amber", "=x", "y="]
    assert stands_for(["amber = a b.dye.toml"]) == {"amber": Path("a b.dye.toml")}


def test_nothing_of_a_person_is_written_over(run: Run, record: Path, today: Path, tmp_path: Path) -> None:
    asked = ("remake", record, "--dyes", "today", "-o", "again")
    assert run(*asked)[0] == 0
    first = {path.name: path.read_bytes() for path in (tmp_path / "again").iterdir() if path.suffix != ""}
    code, _, err = run(*asked)
    assert code == 2
    assert "already there: scheme.toml" in err
    assert run(*asked, "--force")[0] == 0
    assert first == {path.name: path.read_bytes() for path in (tmp_path / "again").iterdir() if path.suffix != ""}
    with pytest.raises(OutputError):
        remake_files(record, Asked(dyes=[today]), out=record)


def test_no_dye_anywhere_is_no_answer(run: Run, tmp_path: Path) -> None:
    """All of it under an opaque coat: exit 1, and the reason as JSON."""
    hidden = SCHEME + '[[coat]]\nopaque = "#221814"\nhiding = 9\n'
    kept = recorded(tmp_path / "then", hidden)
    code, out, _ = run("remake", kept, "-o", "again", "--json")
    assert code == 1
    assert "nothing to remake" in json.loads(out)["reason"]
    with pytest.raises(NoAnswerError):
        remake_files(kept, Asked(), out=tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_a_file_of_today_is_named_as_it_is_known(record: Path, tmp_path: Path) -> None:
    """It is copied for the work: the folder of that is gone when the message is read."""
    (tmp_path / "own.png").write_bytes(b"no picture")
    scheme = tmp_path / "now.toml"
    scheme.write_text(HEAD + PANEL + '[base]\nkind = "metal"\npicture = "own.png"\n', "utf-8")
    with pytest.raises(InputError) as caught:
        remake_files(record, Asked(today=scheme, anyway=True), out=tmp_path / "again")
    assert str(caught.value).startswith(f"{tmp_path / 'own.png'}: ")


def test_over_black_it_says_how_far_off_it_stays(record: Path, tmp_path: Path) -> None:
    """Black has no colour to compare under another light: no figure is none."""
    (tmp_path / "now.toml").write_text(HEAD + PANEL + '[base]\nkind = "solid"\ncolour = "#000000"\n', "utf-8")
    made = remake_files(record, Asked(today=tmp_path / "now.toml", anyway=True), out=tmp_path / "again")
    assert json.loads(made.json())


def test_where_no_dye_at_all_comes_nearest_there_is_no_answer(record: Path, tmp_path: Path) -> None:
    """A colour lighter than the bare base: a mix of nothing is no scheme."""
    with zipfile.ZipFile(record) as archive:
        held = {name: archive.read(name) for name in archive.namelist() if name != MANIFEST}
    head, *rows = held["spectra.csv"].decode().splitlines()
    light = [",".join([row.split(",")[0], *("2" for _ in row.split(",")[1:])]) for row in rows]
    held["spectra.csv"] = "\n".join([head, *light, ""]).encode()
    (tmp_path / "light.record.zip").write_bytes(zipped(held))
    with pytest.raises(NoAnswerError, match="nearest comes no dye at all"):
        remake_files(tmp_path / "light.record.zip", Asked(anyway=True), out=tmp_path / "again")
    assert not (tmp_path / "again").exists()
