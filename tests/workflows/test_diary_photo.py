"""A photo after a coat: exists for a photo of the wrong part that counts, a reading that counts twice, and a job whose
log tells of a photo that is not there."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview.answers.photo_day import even_words, last_coat, mean_noise, spread_de00
from layerpreview.answers.progress import PHOTO_NOISE, standing
from layerpreview.colour import DISPLAY_WHITE_XYZ, XYZ_TO_RGB_LIN, lab_to_xyz
from layerpreview.errors import InputError, NoAnswerError, OutputError, PictureError
from layerpreview.job.done import CLEAR_COAT, CoatDone, Done
from layerpreview.output import joblog
from layerpreview.output.diary_entries import done_of, entry_of
from layerpreview.output.joblog import read_lines
from layerpreview.output.photo_strip import CARD_PX, TILE_PX
from layerpreview.picture.spots import main_spot, places_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.workflows.diary_photo import PhotoJudged, photo_said
from layerpreview.workflows.log import job_log
from layerpreview.workflows.photo_strip import strip_file, strip_of
from layerpreview.workflows.progress import Reading, log_progress

from ..schemes import DYES, HEAD, MIXES, PANEL, RIM, SILVER
from ..surface.touched_scenes import CARD, PAINT, Photographed, jpeg

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
COATS = '[[coat]]\nmix = "honey"\ncoats = 3\n[[coat]]\nmix = "sea"\ncoats = 2\n'
TEXT = HEAD + PANEL + SILVER + DYES + MIXES + COATS + RIM
Colours = dict[tuple[int, int], tuple[float, float, float]]
Say = Callable[..., PhotoJudged]


@pytest.fixture(scope="module")
def colours(tmp_path_factory: pytest.TempPathFactory) -> Colours:
    """What the part reflects after each coat of each entry, as linear sRGB light."""
    path = tmp_path_factory.mktemp("ladder") / "scheme.toml"
    path.write_text(TEXT, encoding="utf-8")
    scheme = load_scheme(path)
    spot, found = main_spot(places_of(scheme)), {}
    for entry in (0, 1):
        for rung in standing(scheme, spot, np.array([50.0, 0.0, 0.0]), entry=entry, coats_done=1).ladder:
            rgb = lab_to_xyz(np.array(rung.lab), white_xyz=DISPLAY_WHITE_XYZ) @ XYZ_TO_RGB_LIN.T
            found[entry + 1, round(rung.coats)] = tuple(map(float, rgb))
    return found


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = tmp_path / "drum shell"
    folder.mkdir()
    (folder / "scheme.toml").write_text(TEXT, encoding="utf-8")
    return folder


@pytest.fixture
def say(job: Path, tmp_path: Path) -> Say:
    """Photograph and say it."""

    def say(rgb: tuple[float, float, float], name: str = "taken.jpg", **how: object) -> PhotoJudged:
        scene = Photographed(rgb=rgb, **how.pop("scene", {}))  # type: ignore[arg-type]
        (tmp_path / name).write_bytes(jpeg(scene, 92))
        usual = {"card": CARD, "spots": (PAINT, (0.72, 0.6)), "now": NOON}
        return photo_said(job, tmp_path / name, **{**usual, **how})  # type: ignore[arg-type]

    return say


def lines(job: Path) -> list[dict[str, object]]:
    """The lines of the log but for the one that begins the diary."""
    found = [json.loads(line) for line in (job / "job-log.jsonl").read_text("utf-8").splitlines()]
    return [line for line in found if line["what"] != "day-begun"]


def test_it_says_where_the_part_stands(say: Say, job: Path, colours: Colours) -> None:
    found = say(colours[1, 2], entry=1, number=2, scene={"light": (0.9, 0.75, 0.6)})
    at = found.standing
    assert at is not None
    assert at.build.low < 2.0 < at.build.high
    assert (at.coats_left.low, at.coats_left.likely) == (1.0, 1.0)
    assert "1 more coat " in " ".join(found.words)
    assert "over 2 spots" in found.words[-1]
    assert any("the light is coloured" in note for note in found.notes)
    assert found.logged
    photo, reading = lines(job)
    assert (photo["what"], photo["entry"], photo["number"], photo["of"]) == ("photo", 1, 2, "part")
    assert photo["scheme_from_log"] == "scheme.toml"
    assert (reading["what"], reading["mix"], reading["coats_done"]) == ("progress", "honey", 2)
    assert reading["photo"] == photo["id"]
    assert "refused" not in photo
    with Image.open(job / str(photo["file"])) as copy:
        assert copy.size == (480, 360)
        assert not copy.getexif()
    assert job_log(job).entries[2].words.startswith("reading after 2 coats of honey")


def test_a_count_that_can_hardly_be_is_asked_about(say: Say, colours: Colours) -> None:
    assert "that is much for 1 coat: is the diary right about how many are on?" in say(colours[1, 3], entry=1).notes
    assert not any("is the diary right" in note for note in say(colours[1, 3], "b.jpg", entry=1, number=3).notes)


def test_a_photo_is_less_sure_than_an_instrument(say: Say, job: Path, colours: Colours) -> None:
    by_photo = say(colours[1, 2], entry=1, number=2).standing
    assert by_photo is not None
    rung = by_photo.ladder[2].lab
    by_reading = log_progress(job / "scheme.toml", Reading(lab=rung), coats_done=2, coat=1, now=NOON).standing
    assert by_photo.build.high - by_photo.build.low > by_reading.build.high - by_reading.build.low


def test_the_coat_laid_last_is_meant_where_none_is_named(say: Say, job: Path, colours: Colours) -> None:
    deeds = [CoatDone(id=f"{n}", time=NOON + timedelta(minutes=n), entry=1, number=n) for n in (1, 2, 3)]
    deeds.append(CoatDone(id="4", time=NOON + timedelta(minutes=9), entry=2, number=1))
    (job / "job-log.jsonl").write_text("".join(json.dumps(entry_of(deed)) + "\n" for deed in deeds), "utf-8")
    found = say(colours[2, 1])
    assert (found.photo.entry, found.photo.number, found.logged) == (2, 1, True)
    assert last_coat(Done()) == (0, 1)
    earlier = say(colours[1, 3], entry=1)
    assert (earlier.photo.number, earlier.logged) == (3, True)


def test_bare_base_and_clear_are_judged_too(say: Say, colours: Colours) -> None:
    bare = say(colours[1, 0])
    assert bare.standing is not None
    assert (bare.photo.entry, bare.standing.coats_done) == (0, 0)
    assert bare.logged
    clear = say(colours[2, 2], "clear.jpg", entry=CLEAR_COAT, number=1)
    assert clear.standing is not None
    assert clear.standing.under_clear
    assert clear.standing.to_agreed < 2.0
    assert clear.standing.coats_done == 2


def test_under_the_clear_the_diary_counts_and_a_burst_has_its_place(say: Say, job: Path, colours: Colours) -> None:
    """One coat of sea instead of two is on below the clear; as a burst it says nothing in the middle."""
    burst = 'burst = { from = "outline", width = "8 mm", fall_off = "soft" }\n'
    (job / "scheme.toml").write_text(TEXT.replace(COATS, COATS + burst), "utf-8")
    deeds = [CoatDone(id=f"{n}", time=NOON, entry=entry, number=1) for n, entry in enumerate((2, CLEAR_COAT))]
    (job / "job-log.jsonl").write_text("".join(json.dumps(entry_of(deed)) + "\n" for deed in deeds), "utf-8")
    found = say(colours[2, 1])
    assert found.standing is not None
    assert (found.standing.coats_done, found.standing.under_clear) == (1, True)
    assert any("sea does not reach the middle" in note and found.standing.spot in note for note in found.notes)


@pytest.mark.parametrize("of", ["part", "card"])
def test_the_wrong_part_and_another_jobs_card_do_not_count(say: Say, job: Path, of: str) -> None:
    found = say((0.03, 0.05, 0.5), entry=1, number=2, of=of)
    assert not found.judged
    assert "no colour of this job" in found.photo.refused
    assert found.photo.lab is None
    (line,) = lines(job)
    assert line["refused"] == found.photo.refused
    assert (job / found.photo.file).is_file()


def test_another_coat_is_named(say: Say, job: Path, colours: Colours) -> None:
    """The photo is of this job, but not of what is said: the reading does not count, and what it is like is said."""
    found = say(colours[1, 2], entry=2, number=2)
    assert not found.logged
    assert "2 coats of honey (coat 1): is that the one?" in found.photo.refused
    assert found.standing is not None
    assert [line["what"] for line in lines(job)] == ["photo"]
    kept = say(colours[1, 2], "again.jpg", entry=2, number=2, keep=True, scene={"seed": 8})
    assert kept.logged
    assert lines(job)[-1]["kept"] is True


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"scene": {"light": (1.2, 1.2, 1.2)}}, "the card is overexposed"),
        ({"card": PAINT}, "coloured, no white or grey card"),
        ({"entry": 3, "number": 1}, "an opaque one: there is no dye to judge"),
        ({"entry": 9, "number": 1}, "the scheme has no coat 9: it has 3"),
    ],
)
def test_what_cannot_be_judged_is_kept_with_its_reason(
    say: Say, job: Path, colours: Colours, how: dict[str, object], said: str
) -> None:
    found = say(colours[1, 2], **{"entry": 1, "number": 2, **how})
    assert said in found.photo.refused
    assert found.words[0].startswith("this photo cannot be judged: ")
    log = job / "job-log.jsonl"
    (photo,) = done_of(read_lines(log), log).photos
    assert photo.refused == found.photo.refused
    assert photo.white is None
    with pytest.raises(NoAnswerError, match="there is no photo to show"):
        strip_of(job)


def test_the_same_photo_counts_once(say: Say, job: Path, colours: Colours) -> None:
    first = say(colours[1, 2], entry=1, number=2)
    again = say(colours[1, 2], entry=1, number=2, now=NOON + timedelta(hours=1))
    assert (first.known, again.known) == (False, True)
    assert len(lines(job)) == 2
    assert len(list((job / "photos").iterdir())) == 1
    # Touched elsewhere it is another reading of the same photo, kept once.
    say(colours[1, 2], entry=1, number=2, spots=((0.6, 0.4),))
    assert len(lines(job)) == 4
    assert len(list((job / "photos").iterdir())) == 1


def test_a_photo_of_the_phone_is_used_where_it_lies(job: Path, colours: Colours) -> None:
    (job / "photos").mkdir()
    place = job / "photos" / "photo_1.jpg"
    place.write_bytes(jpeg(Photographed(rgb=colours[1, 1])))
    found = photo_said(job, place, card=CARD, spots=[PAINT], entry=1, number=1, now=NOON)
    assert found.photo.file == "photos/photo_1.jpg"
    assert [path.name for path in (job / "photos").iterdir()] == ["photo_1.jpg"]


def test_nothing_is_left_where_the_log_cannot_be_written(
    say: Say, job: Path, colours: Colours, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(joblog.HeldLog, "_append", full)
    with pytest.raises(OutputError, match="No space left"):
        say(colours[1, 2], entry=1, number=2)
    monkeypatch.undo()
    assert not (job / "photos").exists()
    assert not (job / "job-log.jsonl").exists()


def test_what_is_no_photo_is_refused(job: Path, tmp_path: Path, say: Say, colours: Colours) -> None:
    with pytest.raises(PictureError, match="no such file"):
        photo_said(job, tmp_path / "none.jpg", card=CARD, spots=[PAINT])
    with pytest.raises(InputError, match="there is no place of this name; there are: base, field"):
        say(colours[1, 2], entry=1, number=2, place="headstock")
    assert not (job / "job-log.jsonl").exists()
    assert say(colours[1, 2], entry=1, number=2, place="field").logged


def test_a_reading_by_touches(job: Path, tmp_path: Path, colours: Colours) -> None:
    """The same touches through `progress`, beside its way by pixels."""
    photo = tmp_path / "taken.jpg"
    photo.write_bytes(jpeg(Photographed(rgb=colours[1, 2])))
    by_touch = Reading(photo=photo, card=CARD, spots=[PAINT])
    by_pixels = Reading(photo=photo, patch=(260, 150, 70, 60), white=(40, 60, 70, 70))
    one, other = (
        log_progress(job / "scheme.toml", how, coats_done=2, coat=1, now=NOON) for how in (by_touch, by_pixels)
    )
    assert one.lab == pytest.approx(other.lab, abs=1.5)


def test_how_even_is_told_in_words() -> None:
    assert even_words(0.3, 1).startswith("even where it was touched")
    assert even_words(1.2, 2).startswith("nearly even over 2 spots")
    assert even_words(3.0, 2).startswith("uneven")
    assert even_words(9.0, 3).startswith("blotchy")


def test_a_texture_is_not_unevenness(rng: np.random.Generator) -> None:
    """Pieces that differ by chance are texture; a slope across a spot, or spots that differ, are not."""
    flat = np.broadcast_to([60.0, 10.0, 40.0], (4, 6, 6, 3))
    assert spread_de00(flat) == 0.0
    texture = flat + rng.normal(0.0, 3.0, flat.shape)
    assert spread_de00(texture) < 0.8
    slope = flat + np.linspace(-6.0, 6.0, 6)[:, None, None] * [1.0, 0.0, 0.0]
    assert spread_de00(slope) > 2.0
    spots = texture + np.array([-5.0, 5.0, -5.0, 5.0])[:, None, None, None] * [1.0, 0.0, 0.0]
    assert spread_de00(spots) > 2.5
    light, a, b = mean_noise(texture)
    assert PHOTO_NOISE[0] < light < PHOTO_NOISE[0] + 0.3
    assert mean_noise(texture[:1])[1] > a
    assert b > PHOTO_NOISE[2]


def test_a_blotchy_coat_is_seen(say: Say, colours: Colours) -> None:
    even = say(colours[1, 2], entry=1, number=2, scene={"texture": 0.1}).photo.spread_de00
    blotchy = say(colours[1, 2], "b.jpg", entry=1, number=2, scene={"texture": 0.1, "blotches": 0.3}).photo.spread_de00
    assert even is not None
    assert blotchy is not None
    assert blotchy > 2.0 * even


def test_the_strip_shows_all_photos_in_one_light(say: Say, job: Path, colours: Colours) -> None:
    """Three photos under three lamps: every card is the same white, every spot the colour that was sprayed."""
    lamps = [(0.9, 0.7, 0.5), (0.5, 0.55, 0.6), (0.85, 0.85, 0.85)]
    for number, lamp in enumerate(lamps, start=1):
        when = NOON + timedelta(minutes=30 * (4 - number))
        say(colours[1, number], f"{number}.jpg", entry=1, number=number, scene={"light": lamp}, now=when)
    say((0.03, 0.05, 0.5), "wrong.jpg", entry=1, number=2)
    made = strip_file(job, zone=UTC)
    assert made.file == job / "strip" / "photos_in_one_light.png"
    assert made.photos == 4
    assert strip_file(job, zone=UTC).file == made.file  # ours is made anew unasked
    pixels = np.asarray(Image.open(made.file))
    assert np.array_equal(pixels, made.pixels)
    tops = [y for y in range(len(pixels) - 1) if not np.array_equal(pixels[y, 20], pixels[y + 1, 20])]
    top = next(y for y in tops if y > 40) + 2
    cards, spots = [], []
    for tile in range(4):
        left = 16 + tile * (TILE_PX + 16)
        spots.append(pixels[top + 90 : top + 210, left + 90 : left + 210].reshape(-1, 3).mean(axis=0))
        cards.append(pixels[top + TILE_PX + 8 : top + TILE_PX + CARD_PX - 8, left + 9 : left + 290].reshape(-1, 3))
    assert np.ptp([card.mean(axis=0) for card in cards], axis=0).max() < 2.0
    agreed = spots[3]
    assert np.abs(spots[2] - agreed).max() < 12.0
    assert np.abs(spots[0] - agreed).max() > 30.0


def test_a_scheme_without_dye_says_so(tmp_path: Path, colours: Colours) -> None:
    folder = tmp_path / "bare"
    folder.mkdir()
    (folder / "scheme.toml").write_text(HEAD + PANEL + SILVER, encoding="utf-8")
    photo = tmp_path / "taken.jpg"
    photo.write_bytes(jpeg(Photographed()))
    found = photo_said(folder, photo, card=CARD, spots=[PAINT], now=NOON)
    assert "no coat of dye" in found.photo.refused
    scheme: Scheme = load_scheme(folder / "scheme.toml")
    assert scheme.coats == ()


def test_the_command(run: Callable[..., tuple[int, str, str]], job: Path, tmp_path: Path, colours: Colours) -> None:
    (tmp_path / "taken.jpg").write_bytes(jpeg(Photographed(rgb=colours[1, 0])))
    photo = ["diary", job.name, "--photo", "taken.jpg"]
    code, out, err = run(*photo, "--white", "15 %, 27 %", "--spot", "62 %, 50 %", "--strip")
    assert code == 0, err
    assert "on it: 0.0 coats' worth of honey" in out
    assert "Wrote the photo into the diary: photos/photo_" in err
    assert (job / "strip" / "photos_in_one_light.png").is_file()
    code, out, err = run(*photo, "--white", "15 %, 27 %", "--spot", "0.62, 0.5", "--json")
    assert (code, json.loads(out)["known"]) == (0, True)
    for words, said in (
        ([], "a photo needs a touch on its white card"),
        (["--white", "15, 27", "--spot", "1,1"], "a place in the picture is wanted"),
        (["--coat", "next"], "one thing at a time"),
    ):
        code, out, err = run(*photo, *words)
        assert (code, said in err) == (2, True), err
    assert run("diary", job.name, "--spot", "0.1,0.1")[0] == 2
    code, out, err = run("log", job.name)
    assert "photo of the part after coat 1" in out


def test_a_strip_takes_nothing_from_the_log_on_trust(say: Say, job: Path, colours: Colours, tmp_path: Path) -> None:
    """A log is a text: a reading whose distance is a word, and a photo from elsewhere."""
    say(colours[1, 2], entry=1, number=2)
    log = job / "job-log.jsonl"
    photo = next(line for line in lines(job) if line["what"] == "photo")
    Image.new("RGB", (80, 60)).save(tmp_path / "own.jpg")
    away = {**photo, "id": "p", "file": "../own.jpg"}
    log.write_text(log.read_text("utf-8") + json.dumps(away) + "\n", "utf-8")
    found = strip_of(job)
    assert (found.photos, len(found.notes)) == (1, 1)
    assert "not in the job's folder" in found.notes[0]
    log.write_text(log.read_text("utf-8").replace('"to_agreed": ', '"to_agreed": "x", "was": '), "utf-8")
    with pytest.raises(InputError, match='to_agreed = "x": a number is wanted'):
        strip_of(job)
