"""Names in other hands' formats: exists for a dye, a mix, a note or a shop's name that a page takes for markup, a
spreadsheet for a formula, a terminal for an order, a printed page for a sign it cannot draw, or a folder for a way out.

What is written is read back by general parsers (html.parser, csv, json, tomllib, a PDF renderer's text).
"""

from __future__ import annotations

import csv
import io
import json
import os
import sys
import tomllib
from contextlib import redirect_stderr, redirect_stdout
from html.parser import HTMLParser
from pathlib import Path

import pypdfium2
import pytest

from layerpreview import cli
from layerpreview.output.board_code import Choice
from layerpreview.output.csv_table import csv_rows
from layerpreview.output.files import file_stem

ODD = "=<zz>\"'&</script>{{0}}%s$#\\*_é🎨`@ ../"
"""Markup, quotes, templates, formulas, a way out, a sign that printed pages have no font for; a scheme takes it."""
REFUSED = ["a\nb", "\x1b[31mred", "\x07", "‮gnp", "a\u2028b", "\ufeff", "x" * 300, "", " "]
"""Line ends, escapes, a direction turned round, a mark of bytes: never a name (Unicode's categories Cc, Cf, Zl)."""


def odd(number: int) -> str:
    """The name of that number."""
    return f"{ODD}{number}"


def quoted(text: str) -> str:
    """A TOML basic string: JSON's escapes are TOML's (TOML 1.0, strings)."""
    return json.dumps(text, ensure_ascii=False)


PART, FACE, HOLE, ZONE, DYE, OTHER, MIX, CARRIER, PAINT, CLEAR, NOZZLE, SHOP, TITLE = map(odd, range(13))
SCHEME = f"""\
layerpreview = 1
name = {quoted(PART)}
lights = ["D65"]
[[face]]
name = {quoted(FACE)}
shape = "panel"
width = "64 mm"
height = "48 mm"
[[face.opening]]
name = {quoted(HOLE)}
shape = "disc"
diameter = "16 mm"
centre = ["20 mm", "24 mm"]
[[face.zone]]
name = {quoted(ZONE)}
points = [["30 mm", "5 mm"], ["60 mm", "5 mm"], ["60 mm", "40 mm"]]
[base]
kind = "metal"
colour = "#b9bcc0"
flake_spread = 0.3
[base_of.{quoted(FACE)}]
colour = "#b9bcc1"
[dye.{quoted(DYE)}]
absorptivity = [[380, 50.0], [480, 50.0], [520, 2.0], [780, 2.0]]
concentrate = "40 g/L"
[dye.{quoted(OTHER)}]
absorptivity = [[380, 1.0], [560, 5.0], [620, 70.0], [780, 30.0]]
concentrate = "25 g/L"
[mix.{quoted(MIX)}]
dyes = {{ {quoted(DYE)} = "12 mL/L", {quoted(OTHER)} = "2 mL/L" }}
solids = "20 %"
carrier = {quoted(CARRIER)}
[paint.{quoted(PAINT)}]
solids = "20 %"
[[coat]]
mix = {quoted(MIX)}
coats = 3
film = "35 to 45 um"
zone = {quoted(ZONE)}
[[coat]]
opaque = "#221814"
name = {quoted(PAINT)}
hiding = 0.9
coats = 2
film = "20 um"
burst = {{ from = {quoted(HOLE)}, width = "6 mm", fall_off = "fan" }}
[clear]
name = {quoted(CLEAR)}
[gun]
kind = "HVLP"
nozzle = {quoted(NOZZLE)}
[shop]
name = {quoted(SHOP)}
"""


def typed(*arguments: object) -> tuple[int, str, str]:
    """Run a command in this folder; gives exit code, stdout and stderr."""
    out, err, before = io.StringIO(), io.StringIO(), sys.argv
    sys.argv = ["layerpreview", *map(str, arguments)]
    try:
        with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as ended:
            cli.main()
    finally:
        sys.argv = before
    return int(ended.value.code or 0), out.getvalue(), err.getvalue()


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job whose every name is odd, in a folder that is oddly called, too, with all that is made of it."""
    folder = tmp_path_factory.mktemp("jobs") / "Gu\u0308nter's 🎨 & <b>"
    folder.mkdir()
    (folder / "scheme.toml").write_bytes(SCHEME.replace("\n", "\r\n").encode("utf-8"))
    before = Path.cwd()
    os.chdir(folder)
    try:
        said = []
        for arguments in (
            ["check", "scheme.toml"],
            ["figures", "scheme.toml"],
            ["render", "scheme.toml", "--width", 64],
            ["sheet", "scheme.toml", "--form", "pdf", "--form", "html", "--form", "text", "--form", "json"],
            ["ladder", "scheme.toml", "--coats", 3],
            ["board", "scheme.toml", "--width", 64, "--title", TITLE, "--pdf"],
            ["record", "scheme.toml", "--width", 64],
            ["check-record", f"record/{file_stem(PART, otherwise='job')}.record.zip"],
            ["book", "."],
        ):
            code, out, err = typed(*arguments)
            assert code == 0, (arguments, err)
            said.append(out + err)
        entry = json.loads((folder / "job-log.jsonl").read_text("utf-8").splitlines()[0])
        coats = tuple(coat["proposed"] for coat in entry["options"][0]["coats"])
        code, out, err = typed("agree", Choice(entry["board"], "A", coats, (100,)).code)
        assert code == 0, err
        (folder / "said.txt").write_text("\n".join([*said, out, err]), encoding="utf-8")
    finally:
        os.chdir(before)
    return folder


class _Page(HTMLParser):
    """What a browser would take for elements, and the texts between them."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.texts: list[str] = []
        self.policy = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        assert not [name for name in found if name.startswith("on")], "no element carries a script"
        self.tags.append(tag)
        if found.get("http-equiv") == "Content-Security-Policy":
            self.policy = found["content"] or ""

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


@pytest.mark.parametrize(
    ("page", "names"),
    [
        ("sheet/mix_sheet.html", [PART, DYE, MIX]),
        ("board/board.html", [TITLE, MIX]),
        ("book/book.html", [PART, MIX]),
    ],
)
def test_a_page_shows_names_and_obeys_none(job: Path, page: str, names: list[str]) -> None:
    text = (job / page).read_text("utf-8")
    read = _Page(text)
    shown = "".join(read.texts)
    assert "zz" not in read.tags
    assert [name for name in names if name not in shown] == []
    # Content Security Policy Level 3: scripts and styles by hash, and nothing from elsewhere.
    rules = dict(rule.strip().split(" ", 1) for rule in read.policy.split(";"))
    assert rules["default-src"] == rules["connect-src"] == rules["form-action"] == rules["base-uri"] == "'none'"
    assert rules["script-src"].startswith("'sha256-")
    assert "unsafe" not in read.policy


def test_a_spreadsheet_runs_nothing(job: Path) -> None:
    for path in (job / "book/book.csv", job / "book/order.csv"):
        rows = list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8-sig"), newline=""), strict=True))
        assert len({len(row) for row in rows}) == 1, path.name
        for row in rows:
            for cell in row:  # OWASP, CSV injection: signs that make a cell a formula
                assert not cell.startswith(("=", "+", "@", "\t", "\r")), (path.name, cell)
                assert not cell.startswith("-") or float(cell) < 0.0


def test_cells_keep_numbers_and_lines() -> None:
    text = csv_rows(["a"], [[-3.5], ["-3.5"], ["x\r\ny"], ['q"q,'], [" =1"], ["'=1"]])
    read = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert read == [["a"], ["-3.5"], ["'-3.5"], ["x\r\ny"], ['q"q,'], ["' =1"], ["''=1"]]


def _no_number(word: str) -> None:
    raise AssertionError(f"{word} is no JSON (RFC 8259)")


def test_json_and_toml_keep_names_whole(job: Path) -> None:
    for path in job.rglob("*.json"):
        json.loads(path.read_text("utf-8"), parse_constant=_no_number)
    agreed = next(job.glob("*.agreed.toml"))
    read = tomllib.loads(agreed.read_text("utf-8"))
    assert {DYE, OTHER} == set(read["dye"])
    assert read["face"][0]["name"] == FACE
    assert [json.loads(line)["what"] for line in (job / "job-log.jsonl").read_text("utf-8").splitlines()] == [
        "board",
        "agreed",
    ]


def test_printed_pages_stand_in_for_signs_they_lack(job: Path) -> None:
    for name in ("sheet/mix_sheet.pdf", "board/board.pdf"):
        document = pypdfium2.PdfDocument(job / name)
        text = "".join(page.get_textpage().get_text_bounded() for page in document)
        document.close()
        assert "<zz>" in text
        assert "🎨" in text or "é?" in text.replace("\u200b", "")


def test_nothing_steers_the_terminal(job: Path) -> None:
    said = (job / "said.txt").read_text("utf-8")
    assert [sign for sign in said if not sign.isprintable() and sign != "\n"] == []


def test_nothing_is_written_outside_or_left_behind(job: Path) -> None:
    assert [path.name for path in job.parent.iterdir()] == [job.name]
    assert list(job.rglob(".layerpreview-work*")) == []
    assert list(job.rglob(".layerpreview-lock")) == []
    for path in job.rglob("*"):
        assert path.name.isprintable()
        assert not set(path.name) & set('<>:"|?*\\')


@pytest.mark.parametrize("title", ["a\nb", "\udcff"])
def test_a_title_is_one_printable_line(title: str, job: Path) -> None:
    code, out, err = typed("board", job / "scheme.toml", "--width", 64, "--title", title)
    assert (code, out, len(err.splitlines())) == (2, "", 1), err
    assert "--title" in err
    assert all(sign.isprintable() or sign == "\n" for sign in err)


def test_what_is_no_name_is_told_in_a_line_each(tmp_path: Path) -> None:
    text = SCHEME
    for name, bad in zip((PART, FACE, HOLE, ZONE, DYE, MIX, PAINT, CLEAR, SHOP), REFUSED, strict=True):
        text = text.replace(quoted(name), quoted(bad), 1)
    scheme = tmp_path / "job.toml"
    scheme.write_bytes(text.encode("utf-8"))
    code, out, err = typed("check", scheme)
    assert (code, out) == (2, "")
    for field in ("name", "face[1].name", "face[1].opening[1].name", "face[1].zone[1].name", "clear.name", "shop.name"):
        assert f": {field} = " in err
    assert sum("a name is one line of 1 to 60 characters" in line for line in err.splitlines()) == 3
    assert all(sign.isprintable() or sign == "\n" for sign in err)
    assert max(map(len, err.splitlines())) <= 400


@pytest.mark.parametrize(
    "shown", [*REFUSED, ODD, "../up", "/etc/passwd", "C:\\con", "CON", "nul.txt", "aux ", "trailing.", "a/b", ".", ".."]
)
def test_a_file_takes_a_plain_name(shown: str) -> None:
    stem = file_stem(shown, otherwise="dye")
    # Names that one common system keeps, and signs that it or a shell takes for others (its naming rules for files).
    assert stem.casefold() not in {"con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(10))}
    assert stem.replace("_", "").replace("-", "").isalnum()
    assert 0 < len(stem) <= 61
