"""The command line: exists for tracebacks in a workshop, a wrong exit code in a script, bad input that is half
accepted, and files written though something was wrong."""

from __future__ import annotations

import json
import struct
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from layerpreview import cli, load_scheme
from layerpreview.output.board_code import Choice
from layerpreview.picture.faces import shapes_of
from layerpreview.scheme import load_dye

from .schemes import DYES, FULL, HEAD, HONEY, MIXES, PANEL, SILVER, WHITE, bare_scheme
from .written import names_in

Run = Callable[..., tuple[int, str, str]]
Save = Callable[..., Path]
COMMANDS = ("demo", "start", "check", "render", "figures")
SPRAY_OUT = Path(__file__).parents[1] / "samples" / "spray_out.csv"
PICTURES = {"lifelike_window.png", "bare.png", "finish_D65.png", "side_by_side.png", "figures.json"}


def _tree(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*")}


def _refused(result: tuple[int, str, str], *pieces: str, lines: int | None = 1) -> None:
    """Exit 2, nothing on stdout, one line a problem, each with what is wrong and no Python in it."""
    code, out, err = result
    assert code == 2, err
    assert out == ""
    told = err.splitlines()
    assert lines is None or len(told) == lines, err
    for line in told:
        assert line.startswith("error: ")
        assert "Traceback" not in line
        assert "not foreseen" not in line
    for piece in pieces:
        assert piece in err


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (
            "tolerance job.toml --within nan",
            "--within = nan: a number from 0 to 100 is wanted; write for example --within 1.8",
        ),
        ("render job.toml --width 10", "--width = 10: a whole number from 64 to 30000 is wanted"),
        ("render job.toml --width=ten", "--width = ten: a whole number from 64 to 30000 is wanted"),
        (
            "fade job.toml --exposure much",
            "--exposure = much: a number from 0 to 10000 is wanted; write for example --exposure 20",
        ),
        ("render job.toml --wdth 100", '--wdth: there is no such option here; did you mean "--width"?'),
        ("render job.toml --width", "--width: its value is missing"),
        ("render job.toml --force=3", "--force: this takes no value; write --force alone"),
        ("render", "JOB: this is missing; write layerpreview render JOB"),
        ("progress job.toml", "--coats-done: this is missing; write layerpreview progress JOB --coats-done N"),
        ("card extra", "extra: this is more than the command takes"),
        ("rendr job.toml", 'rendr: there is no such command; did you mean "render"?'),
        ("job.toml", "job.toml: there is no such command; a command comes first: layerpreview check job.toml"),
        ("-x", "-x: there is no such option here; layerpreview --help"),
        (
            "progress job.toml --coats-done 1 --lab 1,2",
            "--lab = 1,2: 3 numbers with commas between are wanted, here are 2; write for",
        ),
        ("render-all . --on here", "--on = here"),
        ("sweep job.toml", "sweep: there is no such command"),
        (f"check {'x' * 300}.toml", "this name is too long for a file"),
    ],
)
def test_what_the_parser_refuses_is_one_clear_line_too(run: Run, typed: str, told: str) -> None:
    result = run(*typed.split())
    _refused(result, told)
    for word in ("Usage", "Try", "Input should", "Error", "Invalid"):
        assert word not in result[2]


def test_nothing_typed_shows_the_help(run: Run) -> None:
    code, _, err = run()
    assert code == 2
    assert "Begin with: layerpreview demo" in err


@pytest.mark.slow
@pytest.mark.parametrize("command", [("tolerance",), ("fade", "--exposure", "5")])
@pytest.mark.parametrize("coats", ["", '[[coat]]\nopaque = "#102030"\nhiding = 1.0\n'])
def test_no_dye_no_answer_and_the_reason_as_json(
    run: Run, save_scheme: Save, command: tuple[str, ...], coats: str
) -> None:
    scheme = save_scheme(HEAD + PANEL + SILVER + coats)
    code, out, err = run(command[0], scheme, *command[1:], "--json")
    assert code == 1
    assert err == f"error: {json.loads(out)['reason']}\n"
    assert "dye" in err
    assert "amber" not in err
    assert run(command[0], scheme, *command[1:])[:2] == (1, "")


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(command: str) -> None:
    result = CliRunner().invoke(cli.app, [command, "--help"])
    assert result.exit_code == 0
    assert len(result.output.split("Options")[0].split()) > 10


def test_help_lists_the_commands() -> None:
    result = CliRunner().invoke(cli.app, ["--help"])
    assert result.exit_code == 0
    for command in COMMANDS:
        assert command in result.output


@pytest.mark.slow
def test_a_job_from_start_to_finish(run: Run, tmp_path: Path) -> None:
    code, _, err = run("start", "my job")
    assert code == 0
    assert "Next: " in err
    assert set(names_in(tmp_path / "my job")) == {"scheme.toml", "lifelike_window.png"}

    code, out, _ = run("check", Path("my job", "scheme.toml"))
    assert code == 0
    assert out.startswith("First panel: ")

    code, _, err = run(
        "render", Path("my job", "scheme.toml"), "--width", 96, "-o", "pictures", "--light", "D65", "--timing"
    )
    assert code == 0
    assert set(names_in(tmp_path / "pictures")) == PICTURES
    assert "lifelike_window.png" in err.splitlines()[-1]
    with Image.open(tmp_path / "pictures" / "finish_D65.png") as picture:
        picture.load()
        assert picture.width == 96
    json.loads((tmp_path / "pictures" / "figures.json").read_text(encoding="utf-8"))

    code, out, err = run("figures", Path("my job", "scheme.toml"))
    assert code == 0
    assert "orange" in out
    assert [line[:5] for line in err.splitlines()] == ["Next:"]


@pytest.mark.slow
def test_figures_as_json_are_those_of_the_rendering(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(FULL)
    code, out, _ = run("figures", scheme, "--json")
    assert code == 0
    alone = json.loads(out)
    assert run("render", scheme, "--width", 64, "-o", "pictures")[0] == 0
    rendered = json.loads((tmp_path / "pictures" / "figures.json").read_text(encoding="utf-8"))
    assert rendered["coats"] == alone["coats"]
    assert rendered["mixes"] == alone["mixes"]


@pytest.mark.slow
def test_the_same_bytes_twice(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(FULL)
    for folder in ("one", "two"):
        assert run("render", scheme, "--width", 64, "-o", folder)[0] == 0
    for name in PICTURES:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


@pytest.mark.slow
def test_never_over_what_is_there_without_force(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(bare_scheme(WHITE))
    arguments = ("render", scheme, "--width", 64, "-o", "pictures")
    assert run(*arguments)[0] == 0
    (tmp_path / "pictures" / "bare.png").write_text("a client's own")
    before = _tree(tmp_path)
    _refused(run(*arguments), "already there and changed since it was made here: bare.png;", "--force")
    assert _tree(tmp_path) == before
    assert (tmp_path / "pictures" / "bare.png").read_text() == "a client's own"
    assert run(*arguments, "--force")[0] == 0
    assert (tmp_path / "pictures" / "bare.png").read_bytes()[:4] == b"\x89PNG"
    assert run("start", "job")[0] == 0
    (tmp_path / "job" / "scheme.toml").write_text("an edited scheme")
    for more in ((), ("--force",)):
        result = run("start", "job", *more)
        _refused(result, "already there", "never written over", "start another folder")
        assert "--force" not in result[2]
        assert "-o" not in result[2].split()
    assert (tmp_path / "job" / "scheme.toml").read_text() == "an edited scheme"


def test_the_demo_never_replaces_a_scheme_that_was_changed(run: Run, tmp_path: Path) -> None:
    (tmp_path / "demo").mkdir()
    (tmp_path / "demo" / "scheme.toml").write_text("an edited scheme")
    _refused(run("demo", "-o", "demo", "--force"), "never written over", "another folder with -o")
    assert _tree(tmp_path) == {"demo", "demo/scheme.toml"}


@pytest.mark.slow
def test_the_users_photo_is_never_replaced(run: Run, tmp_path: Path) -> None:
    """Rendering into the job's own folder must leave a base photo there as it is, whatever it is called."""
    assert run("start", "job")[0] == 0
    Image.new("RGB", (30, 20), "silver").save(tmp_path / "job" / "base.png")
    photo = (tmp_path / "job" / "base.png").read_bytes()
    text = (tmp_path / "job" / "scheme.toml").read_text().replace('relief = "lifted"', 'picture = "base.png"')
    (tmp_path / "job" / "scheme.toml").write_text(text.replace("  [base.relief_options]\n  seed = 3", ""))
    assert run("render", "job/scheme.toml", "--width", 96, "-o", "job", "--force")[0] == 0
    assert (tmp_path / "job" / "base.png").read_bytes() == photo
    assert (tmp_path / "job" / "bare.png").is_file()
    text = (tmp_path / "job" / "scheme.toml").read_text().replace('"base.png"', '"finish_D65.png"')
    (tmp_path / "job" / "scheme.toml").write_text(text)
    before = _tree(tmp_path)
    _refused(run("render", "job/scheme.toml", "-o", "job", "--force"), "finish_D65.png", "never written over")
    assert _tree(tmp_path) == before


@pytest.mark.slow
@pytest.mark.parametrize("name", ["../out", "/tmp/layerpreview-out", "..\\out"])
def test_names_of_dyes_stay_in_the_folder(run: Run, tmp_path: Path, name: str) -> None:
    """The shown name is kept inside the file; the file's own name is made of its letters."""
    table = tmp_path / "cell.csv"
    table.write_text("nm,absorbance\n380,0.1\n500,0.9\n780,0.05\n")
    code, _, err = run("import", table, "--strength", "0.02 g/L", "--name", name, "-o", "deep/er")
    assert code == 0, err
    written = list((tmp_path / "deep" / "er").iterdir())
    assert [path.name for path in written] == [f"{name.strip('./').replace('/', '_').split(chr(92))[-1]}.dye.toml"]
    assert load_dye(written[0]).name == name
    assert {path.name for path in tmp_path.iterdir()} == {"cell.csv", "deep"}
    assert run("import", table, "--strength", "0.02 g/L", "--name", name, "-o", "deep/er")[0] == 2
    stem = written[0].name.removesuffix(".dye.toml")
    code, _, err = run("fit", SPRAY_OUT, "--name", name, "-o", "fitted")
    assert code == 0, err
    expected = {f"{stem}.dye.toml", f"{stem}_fit.png", f"{stem}_fit.json"}
    assert set(names_in(tmp_path / "fitted")) == expected
    assert {path.name for path in tmp_path.iterdir()} == {"cell.csv", "deep", "fitted"}


@pytest.mark.slow
def test_a_width_with_an_inch_sign(run: Run, tmp_path: Path) -> None:
    pixels = np.full((90, 120, 3), 235, dtype=np.uint8)
    pixels[20:70, 30:90] = (70, 60, 50)
    Image.fromarray(pixels).save(tmp_path / "body.png")
    assert run("start", "job", "--photo", "body.png", "--part-width", '13"')[0] == 0
    (front,) = shapes_of(load_scheme(tmp_path / "job" / "scheme.toml"))
    assert front.outline.width_mm == pytest.approx(330.2, abs=0.01)


@pytest.mark.slow
def test_the_log_from_board_to_withdrawal(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    """Every result as JSON on stdout and nothing else there; what a person reads is on stderr."""
    scheme = save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + HONEY)
    code, out, err = run("board", scheme, "-o", "board", "--width", 64, "--json")
    assert (code, "Next: send board.html" in err) == (0, True)
    made = json.loads(out)
    assert made["files"] == ["board.html", "board.png"]

    code, out, _ = run("agree", Choice(made["board"], "A", (4,), (100,)).code, "--job", tmp_path, "--json")
    assert code == 0
    agreed = json.loads(out)
    assert (agreed["option"], agreed["changes"]) == ("A", ["honey, all over: 3 -> 4 coats"])
    assert agreed["scheme"] == str(tmp_path / "job.agreed.toml")

    code, out, _ = run("progress", scheme, "--coats-done", 2, "--lab", "71,-13,34.5", "--json")
    assert code == 0
    assert json.loads(out)["logged"] is True

    code, out, err = run("log", tmp_path, "--withdraw", "--json")
    assert (code, err.splitlines()[0]) == (0, f"Withdrew line 3 of {tmp_path / 'job-log.jsonl'}")
    assert [entry["withdrawn"] for entry in json.loads(out)["entries"]] == [False, False, True, False]
    code, out, err = run("log", tmp_path)
    assert (code, len(err.splitlines()), len(out.splitlines())) == (0, 1, 4)
    _refused(run("log", tmp_path / "board"), "there is no log here")


@pytest.mark.slow
def test_a_reading_off_the_ladder_is_shown_but_not_logged(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + HONEY)
    for as_json in ((), ("--json",)):
        code, out, err = run("progress", scheme, "--coats-done", 2, "--lab", "60,-45,-30", *as_json)
        assert code == 1
        assert json.loads(out)["logged"] is False if as_json else "(agreed)" in out
        (line,) = err.splitlines()
        assert line.startswith("error: not logged: the reading is 39.5 CIEDE2000 from what 2 coats of honey")
        assert "--keep" in line
    assert _tree(tmp_path) == {"job.toml"}
    assert run("progress", scheme, "--coats-done", 2, "--lab", "60,-45,-30", "--keep")[0] == 0
    assert json.loads((tmp_path / "job-log.jsonl").read_text(encoding="utf-8"))["kept"] is True


def test_a_scheme_given_as_log_is_refused(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + HONEY)
    before = scheme.read_bytes()
    told = f"{scheme}:1: this is no line of a job's log"
    _refused(run("progress", scheme, "--coats-done", 2, "--lab", "71,-13,34.5", "--log", scheme), told)
    _refused(run("log", scheme, "--withdraw"), told)
    _refused(run("agree", Choice("00000", "A", (4,), (100,)).code, "--job", scheme), told)
    scheme.with_name("job-log.jsonl").write_bytes(before)
    _refused(run("board", scheme, "-o", "board"), "job-log.jsonl:1: this is no line of a job's log")
    assert _tree(tmp_path) == {"job.toml", "job-log.jsonl"}
    assert scheme.read_bytes() == scheme.with_name("job-log.jsonl").read_bytes() == before


@pytest.mark.slow
def test_demo_from_the_shell(tmp_path: Path) -> None:
    """A real process, in a folder with a space: writes a job, its pictures, its figures, and says what to open."""
    done = subprocess.run(
        [sys.executable, "-m", "layerpreview", "demo", "-o", "the demo"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 3
    assert "mg/m2" in (tmp_path / "the demo" / "pictures" / "figures.txt").read_text("utf-8")
    assert "open the demo" in done.stderr.replace("\\", "/")
    assert "Traceback" not in done.stderr
    assert (tmp_path / "the demo" / "scheme.toml").is_file()
    assert _tree(tmp_path / "the demo" / "pictures") >= PICTURES
    assert (tmp_path / "the demo" / "board" / "board.html").is_file()


@pytest.mark.slow
def test_an_error_from_the_shell(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "layerpreview", "render", "none.toml"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("error: none.toml")
    assert len(done.stderr.splitlines()) == 1
    assert _tree(tmp_path) == set()


@pytest.mark.parametrize(
    "arguments",
    [("render",), ("render", "a.toml", "--width", "10"), ("render", "a.toml", "--width", "wide"), ("paint",)],
)
def test_wrong_usage(run: Run, arguments: tuple[str, ...]) -> None:
    code, _, err = run(*arguments)
    assert code == 2
    assert err.startswith("error: ")
    assert len(err.splitlines()) == 1


def test_unknown_light(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(bare_scheme(WHITE))
    before = _tree(tmp_path)
    _refused(run("render", scheme, "--light", "D95", "--light", "F2", "-o", "p"), "D95", "F2", "LED-B3", lines=2)
    assert _tree(tmp_path) == before


# Bad input. Each writes its files into the folder and returns the text of the scheme's base.
def _text_file(folder: Path) -> str:
    (folder / "photo.png").write_text("not a picture at all\n")
    return "photo.png"


def _empty_file(folder: Path) -> str:
    (folder / "photo.png").write_bytes(b"")
    return "photo.png"


def _cut_short(folder: Path) -> str:
    pixels = np.random.default_rng(1).integers(0, 256, (60, 80, 3), dtype=np.uint8)
    Image.fromarray(pixels).save(folder / "whole.png")
    (folder / "photo.png").write_bytes((folder / "whole.png").read_bytes()[:4000])
    return "photo.png"


def _huge(folder: Path) -> str:
    """20,000 x 20,000 by its header alone: it has to be refused before anything is unpacked."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 20_000, 20_000, 8, 2, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")
    (folder / "photo.png").write_bytes(b"\x89PNG\r\n\x1a\n" + body)
    return "photo.png"


def _cmyk(folder: Path) -> str:
    Image.new("CMYK", (64, 48), (10, 60, 90, 5)).save(folder / "photo.jpg")
    return "photo.jpg"


def _missing(folder: Path) -> str:
    return "no_such_photo.png"


def _folder(folder: Path) -> str:
    (folder / "photo.png").mkdir()
    return "photo.png"


BAD_PICTURES = {
    "text named .png": (_text_file, "not a picture"),
    "empty": (_empty_file, "empty"),
    "cut short": (_cut_short, "broken or cut short"),
    "20000 x 20000": (_huge, "100 megapixels"),
    "CMYK": (_cmyk, "CMYK"),
    "missing": (_missing, "no such file"),
    "folder": (_folder, "folder"),
}


@pytest.mark.slow
@pytest.mark.parametrize("command", ["check", "render", "figures"])
@pytest.mark.parametrize("name", BAD_PICTURES)
def test_bad_base_picture(run: Run, save_scheme: Save, tmp_path: Path, command: str, name: str) -> None:
    make, rule = BAD_PICTURES[name]
    picture = make(tmp_path)
    scheme = save_scheme(bare_scheme(f'[base]\nkind = "metal"\npicture = "{picture}"\n'))
    before = _tree(tmp_path)
    _refused(run(command, scheme, *(("-o", "pictures") if command == "render" else ())), picture, rule)
    assert _tree(tmp_path) == before


@pytest.mark.parametrize("shade", [0, 255], ids=["all outside", "all inside"])
def test_mask_without_an_edge(run: Run, save_scheme: Save, tmp_path: Path, shade: int) -> None:
    """A mask without any inside is refused; one that is inside everywhere is a part as large as the picture."""
    Image.new("L", (60, 40), shade).save(tmp_path / "mask.png")
    face = '[[face]]\nname = "front"\nshape = "picture"\npicture = "mask.png"\nwidth = "60 mm"\n'
    scheme = save_scheme(bare_scheme(WHITE, face=face))
    before = _tree(tmp_path)
    result = run("render", scheme, "--width", 64, "-o", "pictures")
    if shade == 0:
        _refused(result, "mask.png")
        assert _tree(tmp_path) == before
    else:
        assert result[0] in (0, 2)
        assert "not foreseen" not in result[2]


BAD_AMOUNTS = {
    "negative width": ('width = "64 mm"', 'width = "-64 mm"', "negative"),
    "negative strength": ('"12 mL/L"', '"-12 mL/L"', "negative"),
    "absurd strength": ('"12 mL/L"', '"12000 mL/L"', "more dye than a mix can hold"),
    "absurd film": ('"35 to 45 um"', '"4000 mm"', "film"),
    "no unit": ('width = "64 mm"', 'width = "64"', "unit"),
    "bare ounce": ('"12 mL/L"', '"2 oz/gal"', "fluid ounce or an ounce by weight"),
    "no coats": ("coats = 3", "coats = 0", "coats"),
    "absurd coats": ("coats = 3", "coats = 5000", "coats"),
    "absurd size": ('width = "64 mm"', 'width = "64 km"', "64 km"),
    "not a number": ("coats = 3", "coats = nan", "coats"),
    "unknown mix": ('mix = "honey"', 'mix = "hony"', 'did you mean "honey"'),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", BAD_AMOUNTS)
def test_bad_amounts(run: Run, save_scheme: Save, tmp_path: Path, name: str) -> None:
    old, new, piece = BAD_AMOUNTS[name]
    text = HEAD + PANEL + SILVER + DYES + MIXES + HONEY
    assert text.count(old) == 1
    scheme = save_scheme(text.replace(old, new))
    line = text[: text.index(old)].count("\n") + 1
    before = _tree(tmp_path)
    _refused(run("render", scheme, "-o", "pictures"), f"job.toml:{line}", piece)
    assert _tree(tmp_path) == before


def test_all_problems_at_once(run: Run, save_scheme: Save) -> None:
    text = HEAD + PANEL + SILVER + DYES + MIXES + HONEY
    for old, new, _ in (BAD_AMOUNTS[name] for name in ("negative width", "bare ounce", "absurd coats")):
        text = text.replace(old, new)
    _refused(run("check", save_scheme(text)), lines=3)


def test_a_byte_order_mark_is_no_matter(run: Run, save_scheme: Save) -> None:
    scheme = save_scheme("\ufeff" + FULL)
    assert run("check", scheme)[0] == 0


def test_curly_quotes(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(FULL.replace('name = "Test part"', "name = “Test part”"))
    before = _tree(tmp_path)
    _refused(run("render", scheme, "-o", "pictures"), "job.toml:2", "quotes", lines=None)
    assert _tree(tmp_path) == before


def test_a_windows_path_in_quotes(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    r"""In TOML "C:\Users\..." is a broken escape: the line and the remedy have to be told."""
    scheme = save_scheme(bare_scheme('[base]\nkind = "metal"\npicture = "C:\\Users\\me\\base.jpg"\n'))
    before = _tree(tmp_path)
    _refused(run("render", scheme, "-o", "pictures"), "job.toml:11", lines=None)
    assert _tree(tmp_path) == before


@pytest.mark.slow
@pytest.mark.parametrize("command", ["render", "start", "demo"])
def test_a_folder_that_cannot_be_written(run: Run, save_scheme: Save, tmp_path: Path, command: str) -> None:
    """A file stands where the folder should be (a superuser could write into any folder)."""
    scheme = save_scheme(bare_scheme(WHITE))
    (tmp_path / "taken").write_text("a file")
    arguments = {"render": ("render", scheme, "-o"), "start": ("start",), "demo": ("demo", "-o")}[command]
    before = _tree(tmp_path)
    _refused(run(*arguments, Path("taken", "deeper")), "cannot be written to", "nothing was written")
    assert _tree(tmp_path) == before


@pytest.mark.parametrize("content", [b"\x89PNG\r\n\x1a\n", b"\xff\xfea\x00", b"", b"\x00" * 50], ids=str)
def test_a_scheme_that_is_no_text(run: Run, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "job.toml").write_bytes(content)
    _refused(run("check", "job.toml"), "job.toml", lines=None)


def test_a_folder_for_a_scheme(run: Run, tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    _refused(run("check", "job"), "job")


def test_the_unforeseen_is_one_line_too(
    run: Run, save_scheme: Save, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("deep inside")

    monkeypatch.setattr("layerpreview.workflows.check.check_scheme", broken)
    code, out, err = run("check", save_scheme(FULL))
    assert (code, out) == (3, "")
    assert len(err.splitlines()) == 1
    assert "not foreseen (ZeroDivisionError: deep inside)" in err
    monkeypatch.setattr(sys, "argv", ["layerpreview", "check", "job.toml", "--debug"])
    with pytest.raises(ZeroDivisionError):
        cli.main()


@pytest.mark.slow
@pytest.mark.parametrize("shape", ["panel", "ellipse", "disc", "teardrop", "double bout", "drum shell", "tube"])
def test_every_built_in_shape_has_a_starter_that_renders(run: Run, shape: str) -> None:
    assert run("start", "job", "--shape", shape)[0] == 0
    code, _, err = run("render", "job/scheme.toml", "-o", "pictures", "--width", "120")
    assert code == 0, err


@pytest.mark.slow
def test_from_a_photo_on_a_plain_background_to_a_preview(run: Run, tmp_path: Path) -> None:
    """A dark oval of 100 x 130 px on a pale ground, told to be 200 mm wide."""
    rows, cols = np.mgrid[0:220, 0:180]
    oval = ((cols - 90) / 50.0) ** 2 + ((rows - 110) / 65.0) ** 2 < 1.0
    picture = np.where(oval[:, :, None], (110, 80, 60), (228, 226, 222)).astype(np.uint8)
    Image.fromarray(picture).save(tmp_path / "body.jpg", quality=95)
    code, _, err = run("start", "job", "--photo", "body.jpg", "--part-width", "200 mm")
    assert code == 0, err
    assert (tmp_path / "job" / "traced_edge.png").is_file()
    assert run("render", "job/scheme.toml", "-o", "pictures", "--width", "160")[0] == 0
    figures = json.loads((tmp_path / "pictures" / "figures.json").read_text(encoding="utf-8"))
    assert figures["faces"]["front"] == pytest.approx(np.pi / 4 * 0.200 * 0.260, rel=0.02)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--photo", "body.jpg"), "a photo does not know its scale"),
        (("--photo", "body.jpg", "--part-width", "12 oz"), "--part-width = 12 oz"),
        (("--photo", "body.jpg", "--part-width", "0 mm"), "this must be from 1 mm to 20000 mm"),
        (("--shape", "pear"), "no such shape"),
    ],
)
def test_a_start_that_cannot_be_made(run: Run, tmp_path: Path, arguments: tuple[str, ...], told: str) -> None:
    Image.new("RGB", (40, 40), "white").save(tmp_path / "body.jpg")
    code, _, err = run("start", "job", *arguments)
    assert code == 2
    assert told in err
    assert not (tmp_path / "job").exists()


def test_a_shape_beside_a_photo(run: Run, tmp_path: Path) -> None:
    Image.new("RGB", (40, 40), "white").save(tmp_path / "body.jpg")
    _refused(run("start", "job", "--photo", "body.jpg", "--part-width", "9 in", "--shape", "disc"), "--shape = disc")
    _refused(run("start", "job", "--part-width", "9 in"), "--part-width = 9 in", "no photo")


@pytest.mark.slow
def test_turn(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(bare_scheme(WHITE, coats=HONEY))
    code, out, err = run("turn", scheme, "-o", "out", "--width", "200", "--frames", "5", "--json")
    assert code == 0, err
    told = json.loads(out)
    assert told["views_deg"] == [0.0, 47.55, 29.39, -29.39, -47.55]
    assert told["size_bytes"] <= 3_000_000
    with Image.open(tmp_path / "out" / "turn.webp") as moving:
        assert getattr(moving, "n_frames", 1) == 5
        assert moving.width == 200


def test_no_such_surroundings(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(bare_scheme(WHITE, coats=HONEY))
    for command in ("render", "turn"):
        _refused(run(command, scheme, "-o", "out", "--around", "attic"), "--around = attic", "window")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("angle", ["95", "-45", "nan"])
def test_a_lamp_out_of_range(run: Run, save_scheme: Save, tmp_path: Path, angle: str) -> None:
    scheme = save_scheme(bare_scheme(WHITE, coats=HONEY))
    _refused(
        run("render", scheme, "-o", "out", "--lamp", angle), f"--lamp = {angle}", "a number from 0 to 80 is wanted"
    )
    assert not (tmp_path / "out").exists()


def test_views_that_are_none(run: Run, save_scheme: Save) -> None:
    scheme = save_scheme(bare_scheme(WHITE, coats=HONEY))
    said = "numbers with commas between are wanted, each from -85 to 85; write for example 0,15,45,70"
    for view in ("0:15", "nan"):
        _refused(run("render", scheme, "--view", view), f"--view = {view}: {said}")
    _refused(run("render", scheme, "--view", "0,,1"), "--view: a number from -85 to 85 is wanted")
    code, _, err = run("render", scheme, "--view", "0,90,x")
    assert code == 2
    assert [line.partition(":")[2].partition(": a")[0] for line in err.splitlines()] == [" --view = 90", " --view = x"]


def test_a_black_base(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    Image.new("RGB", (30, 20), "black").save(tmp_path / "black.png")
    scheme = save_scheme(bare_scheme('[base]\nkind = "metal"\npicture = "black.png"\n', coats=HONEY))
    assert run("figures", scheme)[0] == 0


def test_millimetres_for_metres(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    """A strip of 2 mm by 3 m as a picture 200 px wide would be 270 000 px high; one of 16 mm by 3 m over 30 000."""
    text = bare_scheme(WHITE, coats=HONEY).replace('"64 mm"', '"2 mm"').replace('"48 mm"', '"3 m"')
    _refused(
        run("render", save_scheme(text), "-o", "out", "--width", "200"),
        "over 1000 times as long as it is wide",
        "sizes",
    )
    text = text.replace('"2 mm"', '"16 mm"').replace('centre = ["20 mm"', 'centre = ["8 mm"')
    _refused(run("render", save_scheme(text), "-o", "out", "--width", "200"), "200 pixels wide and over 34", "sizes")
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_a_light_is_known_in_small_letters(run: Run, save_scheme: Save) -> None:
    code, _, err = run("render", save_scheme(FULL), "-o", "pictures", "--width", "64", "--light", "led-b3")
    assert code == 0, err
    assert "finish_LED-B3.png" in err
