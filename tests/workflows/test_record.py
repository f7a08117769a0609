"""A job sealed and opened again: exists for a record that cannot be read without this program, that says what was
planned where something else was sprayed, that changes from one making to the next, or that tells whose computer
it was made on.

Colours are worked out from the CSV files alone with numpy, as READ_ME.txt tells it, and compared by colour-science's
CIEDE2000. PDF/A is checked in the file's own bytes (ISO 19005-2: 6.6.4 identification, 6.2.3 output intent, 6.2.11.4
embedded fonts, 6.1.3 no encryption), since no open validator is in the registries that tests may use.
"""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import socket
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from PIL import Image

from layerpreview.errors import InputError, OutputError
from layerpreview.job.done import Done, PhotoRead
from layerpreview.output.record_file import Record, open_record
from layerpreview.output.record_scheme import photo_files
from layerpreview.output.record_zip import zipped
from layerpreview.scheme import load_scheme
from layerpreview.workflows import record as workflow
from layerpreview.workflows.record import Recorded, record_file
from layerpreview.workflows.record_check import check_record, checked_lines

from ..schemes import HEAD, MAPLE, PANEL, RIM
from .kept_job import CAMERA, NOW, make_job

Run = Callable[..., tuple[int, str, str]]
Table = list[dict[str, str]]


REAL_PICTURE = workflow.picture_of
PICTURE = np.full((40, 60, 3), (180, 140, 90), dtype=np.uint8)


@pytest.fixture(scope="module", autouse=True)
def _small_picture() -> Iterator[None]:
    """No picture is worked out for most of these tests: over metal that takes many seconds the first time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(workflow, "picture_of", lambda scheme, width_px: PICTURE)
        yield


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_job(tmp_path_factory.mktemp("somebody") / "the job")


@pytest.fixture(scope="module")
def made(job: Path) -> Recorded:
    return record_file(job, out=job / "record", now=NOW)


@pytest.fixture(scope="module")
def file(made: Recorded) -> Path:
    return made.path


@pytest.fixture(scope="module")
def held(file: Path) -> dict[str, bytes]:
    """Every file of the record, unpacked by the standard library."""
    with zipfile.ZipFile(file) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


@pytest.fixture(scope="module")
def record(file: Path) -> Record:
    return open_record(file)


def table(held: dict[str, bytes], name: str) -> Table:
    return list(csv.DictReader(io.StringIO(held[name].decode("utf-8"))))


def column(rows: Table, name: str) -> np.ndarray[Any, Any]:
    return np.array([float(row[name]) for row in rows])


def test_it_holds_what_was_done(record: Record) -> None:
    honey, sea = record.mixes
    # 55 drops at 44 to a mL are 1.25 mL in 100: 12.5 mL/L.
    assert honey.strengths_as_made == {"yellow": "12.5 mL/L", "blue": "2.5 mL/L"}
    assert honey.strengths_planned == {"yellow": "12 mL/L", "blue": "2 mL/L"}
    assert honey.lots == {"yellow": "Y-7"}
    assert sea.strengths_as_made == {"blue": "30 mL/L"}
    assert sea.as_made
    assert sea.lots == {"blue": "=B-2"}
    assert [(coat.entry, coat.planned, coat.done) for coat in record.coats] == [(1, 3, 3), (2, 2, 1), (3, 2, 2)]
    assert [coat.film_um[1] for coat in record.coats] == pytest.approx([39.0, 25.0, 20.0])
    low, _, high = record.coats[0].film_um
    assert low < 36.0 < 43.0 < high  # three readings tell little
    assert record.coats[0].film_basis.startswith("measured")
    assert record.coats[2].film_basis == "stated"
    assert record.lights == ("D65", "A", "LED-B3")
    assert record.made == "2026-03-02T18:30:00+00:00"
    assert record.base["flake_spread"] == 0.3
    assert record.base["clear"]["finish"] == "satin"
    burst = next(place for place in record.places if place.name == "burst")
    assert record.reflectance(burst).shape == (81,)
    assert burst.de00["D65"] > 3.0  # one coat of sea instead of two
    assert record.notes == ("the photo lost.jpg is not there any more, or cannot be read: left out",)
    assert len(repr(record)) < 3000


def test_its_scheme_can_be_used_elsewhere(record: Record, tmp_path: Path) -> None:
    path = record.scheme_in(tmp_path / "new")
    scheme = load_scheme(path)
    assert scheme.name == record.name
    assert (tmp_path / "new" / "shop.toml").is_file()
    path.write_bytes(path.read_bytes() + b"# mine now\n")
    with pytest.raises(OutputError, match="changed since"):
        record.scheme_in(tmp_path / "new")


def test_same_job_same_bytes(job: Path, file: Path, tmp_path: Path) -> None:
    again = record_file(job, out=tmp_path, now=NOW)
    assert (tmp_path / again.file).read_bytes() == file.read_bytes()


def test_a_person_with_a_spreadsheet_gets_the_same_lab(
    held: dict[str, bytes], record: Record, colour_science: ModuleType
) -> None:
    """From reflectance to L*a*b* by formulas 6 to 8 of READ_ME.txt, nothing of this package used."""
    lights, spectra = table(held, "lights.csv"), table(held, "spectra.csv")
    observer = np.stack([column(lights, f"{letter}-bar, 2 deg") for letter in "xyz"])
    matrix = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
    new_white = np.array([0.95046, 1.0, 1.08906])
    rows = table(held, "colours.csv")
    assert len(rows) == len(record.places) * 3
    for row in rows:
        power = column(lights, row["light"])
        for kind, keys in (("made", ("L", "a", "b")), ("agreed", ("agreed_L", "agreed_a", "agreed_b"))):
            reflectance = column(spectra, f"{row['place']}: as {kind}")
            total = (power * observer[1]).sum()
            xyz, white = (observer * power * reflectance).sum(axis=1) / total, (observer * power).sum(axis=1) / total
            cone = (matrix @ xyz) * (matrix @ new_white) / (matrix @ white)
            t = np.linalg.inv(matrix) @ cone / new_white
            f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
            lab = np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])
            stored = np.array([float(row[key]) for key in keys])
            assert colour_science.delta_E(lab, stored, method="CIE 2000") < 0.05, row
    stored = np.array(
        [[float(row[key]) for key in ("L", "a", "b", "agreed_L", "agreed_a", "agreed_b")] for row in rows]
    )
    difference = colour_science.delta_E(stored[:, :3], stored[:, 3:], method="CIE 2000")
    assert difference == pytest.approx([float(row["dE00"]) for row in rows], abs=0.01)


def test_and_the_same_reflectance_from_dyes_films_and_coats(held: dict[str, bytes]) -> None:
    """Formulas 1 to 5 of READ_ME.txt: from what was poured to what each place sends back."""
    dyes, spectra = table(held, "dyes.csv"), table(held, "spectra.csv")
    curves = {(row["over"], row["curve"]): row for row in table(held, "film_face.csv")}

    def curve(over: str, name: str, absorbance10: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
        row = {key: float(curves[over, name][key]) for key in ("start", "n0", "n1", "n2", "q1", "q2")}
        x = 3.321928 * absorbance10
        d = x * (row["n0"] + row["n1"] * x + row["n2"] * x * x) / (1 + row["q1"] * x + row["q2"] * x * x)
        return np.asarray(row["start"] * 2.0**-d)

    *coats, clear = table(held, "films.csv")
    assert (clear["entry"], clear["what"], clear["planned_coats"], clear["coats_on"]) == ("-1", "clear", "3", "1")
    assert clear["readings_um"] == "coat 1: 61 64"
    one_pass = {}
    for coat in coats:
        if coat["what"] == "dye":
            film_um = float(coat["film_um_likely"])
            one_pass[coat["entry"]] = np.sum(
                [
                    0.1
                    * column(dyes, f"{row['dye']}: likely [L/(g cm)]")
                    * float(row["pure_g_per_L_likely"])
                    * film_um
                    / 1000
                    for row in table(held, "mixes.csv")
                    if row["mix"] == coat["mix_or_colour"]
                ],
                axis=0,
            )
    # By hand, at 380 nm: yellow 50 L/(g cm) x 0.5 g/L and blue 1 x 0.0625 in 39 um, 0.1 a m.
    assert one_pass["1"][0] == pytest.approx(0.1 * (50 * 0.5 + 1 * 0.0625) * 39 / 1000, rel=1e-5)
    veil = float(curves["veil of the clear", "V"]["start"])
    assert veil > 0.0
    for place in table(held, "places.csv"):
        bare = column(spectra, f"{place['place']}: base alone")
        share = {
            coat["entry"]: float(coat["coats_on"]) * float(place[f"share_of_entry_{coat['entry']}"]) for coat in coats
        }
        dye = np.sum([share[entry] * one for entry, one in one_pass.items()], axis=0)
        hidden = 1.0 - 10.0 ** -(float(coats[2]["hiding_per_coat"]) * share["3"])
        rim = column(spectra, "opaque coat 3")
        c0, k0 = (float(curves["over an opaque coat", name]["start"]) for name in "CK")
        r = rim / (c0 + rim * k0)
        none = 0.0 * rim
        over = curve("over an opaque coat", "C", none) * r / (1 - r * curve("over an opaque coat", "K", none))
        shown = (1 - veil) * (hidden * over + (1 - hidden) * bare * curve("front", "T", dye)) + veil
        assert shown == pytest.approx(column(spectra, f"{place['place']}: as made"), abs=2e-5)


def test_a_typed_text_is_no_formula_of_a_spreadsheet(held: dict[str, bytes]) -> None:
    assert next(row["lot"] for row in table(held, "batches.csv") if row["batch"] == "sea") == "'=B-2"


def test_white_and_wood_by_the_two_curves(job: Path, tmp_path: Path) -> None:
    """Formula 5 over a diffuse base, which has C and K instead of T."""
    from layerpreview.finish.layers import stack_of
    from layerpreview.job.colours import spot_spectrum
    from layerpreview.output.record_tables import face_csv
    from layerpreview.picture.spots import places_of
    from tests.schemes import HONEY, MAPLE, bare_scheme

    path = tmp_path / "wood.toml"
    path.write_text(bare_scheme(MAPLE, coats=HONEY))
    scheme = load_scheme(path)
    rows = {
        row["curve"]: row for row in csv.DictReader(io.StringIO(face_csv(scheme).decode())) if row["over"] == "front"
    }
    assert set(rows) == {"C", "K"}
    spot = next(spot for spot in places_of(scheme) if spot.kind == "field")
    stack = stack_of(scheme, base=spot.base)
    layer = stack.layers[0]
    x = 3.321928 * layer.absorbance10 * spot.build[0]  # type: ignore[union-attr]
    value = {
        key: {name: float(row[name]) for name in ("start", "n0", "n1", "n2", "q1", "q2")} for key, row in rows.items()
    }
    c, k = (
        v["start"] * 2.0 ** -(x * (v["n0"] + v["n1"] * x + v["n2"] * x**2) / (1 + v["q1"] * x + v["q2"] * x**2))
        for v in (value["C"], value["K"])
    )
    rho = spot.bare / (value["C"]["start"] + spot.bare * value["K"]["start"])
    assert c * rho / (1 - rho * k) == pytest.approx(spot_spectrum(stack, spot.bare, spot.build), abs=2e-5)


def test_nothing_personal(job: Path, held: dict[str, bytes]) -> None:
    """No folder of this computer, no camera, no user or machine, in any file, packed pictures unpacked."""
    secrets = [str(job), str(job.parent), job.parent.name, str(Path.home()) + "/", CAMERA, "somebody", str(Path.cwd())]
    if len(socket.gethostname()) > 5:  # shorter ones are parts of words
        secrets.append(socket.gethostname())
    guide = held["READ_ME.txt"].decode().replace("What somebody typed", "")
    for name, data in {**held, "READ_ME.txt": guide.encode()}.items():
        for secret in secrets:
            assert secret.encode() not in data, (name, secret)
    entries = [json.loads(line) for line in held["job-log.jsonl"].splitlines()]
    assert {entry["scheme"] for entry in entries} == {"scheme.toml"}
    assert [entry["file"] for entry in entries if entry["what"] == "photo"] == ["photos/first.jpg", "shots/lost.jpg"]
    with Image.open(io.BytesIO(held["photos/first.jpg"])) as picture:
        assert not picture.getexif()
        assert "comment" not in picture.info


def test_the_cover_says_that_it_is_pdf_a(held: dict[str, bytes]) -> None:
    pdf = held["cover.pdf"]
    assert pdf.startswith(b"%PDF-1.7")
    assert re.search(rb"<pdfaid:part>2</pdfaid:part><pdfaid:conformance>A</pdfaid:conformance>", pdf)
    assert b"<pdfuaid:part>1</pdfuaid:part>" in pdf
    intent = re.search(rb"<</Type/OutputIntent/DestOutputProfile (\d+) 0 R/S/GTS_PDFA1", pdf)
    assert intent
    assert b"\n" + intent[1] + b" 0 obj" in pdf
    fonts = re.findall(rb"<</Type/FontDescriptor.*?>>", pdf, re.DOTALL)
    assert fonts
    assert all(b"/FontFile" in font for font in fonts)
    assert b"/Encrypt" not in pdf
    assert b"/JavaScript" not in pdf


def test_the_cover_is_one_page_with_the_picture(held: dict[str, bytes]) -> None:
    pdfium = pytest.importorskip("pypdfium2")
    document = pdfium.PdfDocument(held["cover.pdf"])
    assert len(document) == 1
    words = document[0].get_textpage().get_text_range()
    for said in ("Test part", "12.5 mL", "as poured", "1 coat of 2", "measured", "daylight (D65)", "approximate"):
        assert said in words
    assert any(item.type == 3 for item in document[0].get_objects())  # FPDF_PAGEOBJ_IMAGE
    document.close()


def test_a_sign_that_no_font_has_is_asked_about_on_the_cover(tmp_path: Path) -> None:
    """PDF/A forbids signs without a shape; the cover is made all the same, with a ? where this computer has none."""
    pdfium = pytest.importorskip("pypdfium2")
    make_job(tmp_path)
    scheme = tmp_path / "scheme.toml"
    scheme.write_text(scheme.read_text().replace("Test part", "Part \\U00012000 of h\u00f6ney"))
    made = record_file(tmp_path, out=tmp_path / "out", now=NOW)
    assert not any("cover" in words for words in made.missing)
    document = pdfium.PdfDocument(open_record(tmp_path / "out" / made.file).read("cover.pdf"))
    words = document[0].get_textpage().get_text_range()
    assert re.search("Part (\\?|\U00012000) of h\u00f6ney", words)
    document.close()


def test_the_guide(held: dict[str, bytes], made: Recorded) -> None:
    guide = held["READ_ME.txt"].decode("utf-8")
    assert all(len(line) <= 78 for line in guide.splitlines())
    assert set(re.findall(r"^  (\S+?)(?: |$)", guide.split("2. HOW IT WAS MADE")[0], re.MULTILINE)) >= {
        name for name in held if "/" not in name
    }
    for said in ("sha256sum -c", "shasum -a 256 -c", "Get-FileHash", "base 10", "A = 0.1 x a x m", "safety data sheet"):
        assert said in guide
    assert "12.5 mL/L" in guide
    assert "$" not in guide.replace("$h", "").replace("$n", "").replace("$_", "")


def test_a_check_of_a_whole_one(file: Path, record: Record) -> None:
    found = check_record(file)
    assert found.cover
    assert found.worst is not None
    assert found.worst.de00 < 0.001
    assert found.tables_moved == ()
    assert len(found.colours) == 3 * len(record.places)
    assert "are those that are stored" in "\n".join(checked_lines(found))


def changed(held: dict[str, bytes], path: Path, **files: bytes | None) -> Path:
    """The record with other files, sealed anew: what a later version, or somebody who knows how, would make."""
    names = {"record": "record.json", "scheme": "scheme/scheme.toml", "spectra": "spectra.csv", "log": "job-log.jsonl"}
    new = {**held, **{names[key]: data for key, data in files.items()}}
    new.pop("MANIFEST.sha256")
    path.write_bytes(zipped({name: data for name, data in new.items() if data is not None}))
    return path


def test_colours_that_moved_are_told_and_not_refused(held: dict[str, bytes], tmp_path: Path) -> None:
    said = json.loads(held["record.json"])
    said["places"][1]["lab"]["A"][0] += 3.0
    said["tables"]["lights.csv"] = "0" * 64
    said["later"] = {"added": "by a later version"}
    said["lights"].append("LED-Z9")
    for place in said["places"]:
        place["lab"]["LED-Z9"] = [50.0, 0.0, 0.0]
    path = changed(held, tmp_path / "x.zip", record=json.dumps(said).encode())
    found = check_record(path)
    assert found.worst is not None
    assert (found.worst.place, found.worst.light) == (said["places"][1]["name"], "A")
    told = "\n".join(checked_lines(found))
    assert "dE00 off what is stored, to be seen" in told
    assert "Tables that are others today: lights.csv" in told
    assert "does not know them: light LED-Z9" in told


@pytest.mark.parametrize(
    ("what", "said", "rule"),
    [
        ("record", b"{", "no JSON text"),
        ("record", b"[" * 200_000, "nested too deep"),
        ("record", b'{"layerpreview_record": 2}', "written by a newer layerpreview"),
        ("record", b'{"name": "x"}', "no record of a job"),
        ("record", b'{"layerpreview_record": 1}', "this is missing"),
        ("spectra", b"wavelength_nm,a\n380,1\n", "every 5 nm"),
        ("spectra", None, "a record has this file"),
        ("scheme", b"layerpreview = ", "scheme.toml"),
        ("log", b'{"what": "coat-done", "id": "x", "time": "2026-01-01T00:00:00+00:00"}\n', "entry"),
    ],
)
def test_what_is_no_record_of_a_job(
    held: dict[str, bytes], tmp_path: Path, what: str, said: bytes | None, rule: str
) -> None:
    path = changed(held, tmp_path / "x.zip", **{what: said})
    with pytest.raises(InputError, match=rule) as caught:
        check_record(path)
    assert all(line.startswith(str(path)) for line in str(caught.value).splitlines())


def test_a_scheme_may_not_reach_out_of_the_record(held: dict[str, bytes], tmp_path: Path) -> None:
    text = held["scheme/scheme.toml"].decode().replace('colour = "#b9bcc0"', 'picture = "../../x.png"')
    path = changed(held, tmp_path / "x.zip", scheme=text.encode())
    with pytest.raises(InputError, match=r"base\.picture.*does not hold this file"):
        open_record(path)


def test_a_scheme_far_too_long_is_not_read(held: dict[str, bytes], tmp_path: Path) -> None:
    path = changed(held, tmp_path / "x.zip", scheme=bytes(20_000_000))
    with pytest.raises(InputError, match="which no scheme is"):
        open_record(path)


def test_numbers_and_places_that_do_not_fit(held: dict[str, bytes], tmp_path: Path) -> None:
    said = json.loads(held["record.json"])
    said["places"][0]["reflectance"] = "nowhere"
    said["places"][1]["share"] = [1.0]
    del said["places"][2]["lab"]["A"]
    said["scheme"] = "scheme/../../x.toml"
    path = changed(held, tmp_path / "x.zip", record=json.dumps(said).encode())
    with pytest.raises(InputError) as caught:
        open_record(path)
    lines = str(caught.value).splitlines()
    assert len(lines) == 4
    said["places"][0]["lab"]["A"] = [1.0, 2.0, float("nan")]
    with pytest.raises(InputError, match="a number that is none"):
        open_record(changed(held, tmp_path / "y.zip", record=json.dumps(said).encode()))


def test_the_agreed_scheme_is_what_is_compared_with(job: Path, tmp_path: Path) -> None:
    folder = tmp_path / "agreed"
    shutil.copytree(job, folder, ignore=shutil.ignore_patterns("record"))
    agreed = (folder / "scheme.toml").read_text().replace("coats = 3", "coats = 1")
    (folder / "scheme.agreed.toml").write_text(agreed)
    entry = {"what": "agreed", "board": "B1", "option": "A", "code": "LP-1", "scheme_from_log": "scheme.agreed.toml"}
    with (folder / "job-log.jsonl").open("a") as log:
        log.write(json.dumps(entry) + "\n")
    found = record_file(folder, out=tmp_path / "out", now=NOW).content
    assert found.agreed == "scheme.agreed.toml, agreed as option A of board B1, code LP-1"
    assert next(place for place in found.places if place.name == "field").de00["D65"] > 5.0


def test_the_picture_is_of_what_was_done(tmp_path: Path) -> None:
    """Over wood, which is quick: more coats are darker, none leave the wood, and the part fills the picture."""
    from tests.schemes import HONEY, MAPLE, bare_scheme

    path = tmp_path / "wood.toml"
    path.write_text(bare_scheme(MAPLE, coats=HONEY))
    scheme = load_scheme(path)
    pictures = []
    for coats in (0, 3):
        changed_coats = tuple(coat.model_copy(update={"coats": coats}) for coat in scheme.coats)
        pictures.append(REAL_PICTURE(scheme.model_copy(update={"coats": changed_coats}), width_px=160))
    bare, dyed = (picture[picture.shape[0] // 3 : -20, 20:-20].mean(axis=(0, 1)) for picture in pictures)
    assert (bare > dyed + 20).all()
    assert pictures[0].shape == pictures[1].shape
    assert pictures[0].shape[1] < 160


def test_deeds_of_another_scheme_in_the_folder_are_left_out(job: Path, tmp_path: Path) -> None:
    """A pale twin beside it shares the log; its coats are not this one's."""
    folder = tmp_path / "both"
    shutil.copytree(job, folder, ignore=shutil.ignore_patterns("record"))
    shutil.copy(folder / "scheme.toml", folder / "pale.toml")
    with (folder / "job-log.jsonl").open("a") as log:
        log.write('{"what": "withdrawn", "line": 2}\n')
    made = record_file(folder / "pale.toml", out=tmp_path / "out", now=NOW)
    assert made.missing == (
        "what the diary says about another scheme, scheme.toml",
        "a diary: strengths, films and coats are those that were planned",
    )
    assert not made.content.from_diary
    assert check_record(tmp_path / "out" / made.file).worst is not None


def test_without_typst_it_says_so(job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "typst", None)
    made = record_file(job, out=tmp_path, now=NOW)
    assert any("cover page" in words and "pip install" in words for words in made.missing)
    found = check_record(tmp_path / made.file)
    assert not found.cover
    assert "It has no cover page" in checked_lines(found)


def test_at_the_prompt(run: Run, job: Path, tmp_path: Path) -> None:
    code, out, err = run("record", job, "-o", "kept")
    assert (code, out) == (0, ""), err
    assert "it does without: the photo lost.jpg" in err
    assert err.splitlines()[-1].startswith("Next: ")
    name = next((tmp_path / "kept").glob("*.record.zip"))
    code, out, err = run("check-record", name)
    assert code == 0, err
    assert out.startswith("Test part, made ")
    name.write_bytes(name.read_bytes().replace(b"12.5 mL/L", b"12.6 mL/L"))
    code, out, err = run("check-record", name)
    assert (code, out) == (2, "")
    assert all(
        "its bytes are not those of the manifest" in line or "cannot be unpacked" in line for line in err.splitlines()
    )
    assert "record.json" in err


def test_photos_out_of_the_jobs_folder_stay_out(tmp_path: Path) -> None:
    """A log is a text, and a phone may add to it: what it names elsewhere is nobody's photo of this job."""
    folder = tmp_path / "job"
    folder.mkdir()
    for place in (tmp_path / "own.jpg", folder / "kept.jpg"):
        Image.new("RGB", (8, 8)).save(place)
    (folder / "link.jpg").symlink_to(tmp_path / "own.jpg")
    names = ("kept.jpg", "../own.jpg", str(tmp_path / "own.jpg"), "link.jpg")
    photos = tuple(PhotoRead(id=n, time=NOW, file=n, of="part", entry=1, number=1) for n in names)
    files, _, words = photo_files(Done(photos=photos), folder)
    assert list(files) == ["photos/kept.jpg"]
    assert len(words) == 3


def test_a_coat_that_was_left_out_hides_nothing(tmp_path: Path) -> None:
    """A job that is recorded before its opaque rim is on."""
    path = tmp_path / "scheme.toml"
    path.write_text(HEAD + PANEL + MAPLE + RIM)
    scheme = load_scheme(path)
    bare, rim = (scheme.model_copy(update={"coats": coats}) for coats in ((), scheme.coats))
    none = rim.model_copy(update={"coats": tuple(coat.model_copy(update={"coats": 0}) for coat in rim.coats)})
    pictures = [REAL_PICTURE(one, width_px=96).astype(int) for one in (bare, none, rim)]
    assert np.abs(pictures[0] - pictures[1]).max() <= 2
    assert np.abs(pictures[0] - pictures[2]).max() > 20


@pytest.mark.parametrize("film_um", [[50, 10, 40], [-3, -2, -1]])
def test_a_film_rises_from_low_to_high(held: dict[str, bytes], tmp_path: Path, film_um: list[float]) -> None:
    said = json.loads(held["record.json"])
    said["coats"][0]["film_um"] = film_um
    path = changed(held, tmp_path / "x.zip", record=json.dumps(said).encode())
    with pytest.raises(InputError, match=r"coats\[1\]\.film_um.*low, likely and high"):
        open_record(path)
