"""The sheet's first page: exists for a wall sheet of two pages, letters too small to be read from an arm's length,
boxes that are not one a coat, a bar that is not as long as it says, and a page that runs what is not its own."""

from __future__ import annotations

import base64
import hashlib
import io
import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from PIL import Image

from layerpreview.errors import InputError
from layerpreview.job.agreed import HowAgreed
from layerpreview.job.cautions import Caution, general_cautions
from layerpreview.job.foremost import foremost_cautions, staged_cautions
from layerpreview.job.plan import Stage
from layerpreview.job.products import Details, PlainCoats, Product
from layerpreview.job.sheet import MixSheet, make_sheet
from layerpreview.output.sheet_code import MOST_LETTERS, code_svg, code_text, first_signs, read_printed, standing_of
from layerpreview.output.sheet_forms import sheet_html, sheet_pdf
from layerpreview.output.sheet_seen import Patch, Seen
from layerpreview.output.sheet_wall import Wall, wall_of
from layerpreview.scheme import load_scheme
from layerpreview.scheme.work_fields import parse_ratio
from layerpreview.units import Range
from layerpreview.workflows.sheet import _signs

from ..schemes import FULL

Save = Callable[..., Path]
DPI = 300
TWO_PACK = Product(name="two-pack", ratio=parse_ratio("4:1:1 clear:hardener:reducer"), pot_life_min=Range(60, 90, 120))


@pytest.fixture(scope="module")
def pdfium() -> ModuleType:
    pytest.importorskip("typst")
    return pytest.importorskip("pypdfium2")


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> MixSheet:
    path = tmp_path_factory.mktemp("job") / "scheme.toml"
    path.write_text(FULL)
    return make_sheet(load_scheme(path), Details(clear=PlainCoats(TWO_PACK)))


@pytest.fixture(scope="module")
def wall(sheet: MixSheet) -> Wall:
    made = io.BytesIO()
    Image.new("RGB", (90, 60), (120, 40, 30)).save(made, "JPEG")
    coats = [stage.sprayed.coats for stage in sheet.stages if stage.sprayed and stage.sprayed.kind in ("dye", "opaque")]
    after = tuple(("#804020",) * count for count in coats)
    seen = Seen(made.getvalue(), 90, 60, (Patch("open field", "#785c26"),), (("front", "#777777"),), after, "D65")
    code = code_text(sheet, file="scheme.toml", sha256="0123456789ab")
    return wall_of(sheet, seen, code=code)


def page_text(page: Any) -> str:
    return re.sub(r"\s+", " ", page.get_textpage().get_text_range())


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_all_of_the_wall_is_one_page(sheet: MixSheet, wall: Wall, pdfium: ModuleType, paper: str) -> None:
    document: Any = pdfium.PdfDocument(sheet_pdf(sheet, wall, paper=paper))
    assert document[0].get_size() == pytest.approx({"A4": (595.28, 841.89), "Letter": (612, 792)}[paper], abs=0.1)
    first = page_text(document[0])
    for row in wall.rows:
        assert row.title in first
    assert wall.last_word in first
    assert wall.bar_words in first
    assert page_text(document[1]).startswith(f"{sheet.name} page 2 of {len(document)} Contents")


def test_what_hands_need_is_large(sheet: MixSheet, wall: Wall, pdfium: ModuleType) -> None:
    """11 pt and more to be read at 70 cm (our own limit); only remarks on print and colours are smaller."""
    page: Any = pdfium.PdfDocument(sheet_pdf(sheet, wall))[0]
    text = page.get_textpage()
    sizes = [
        pdfium.raw.FPDFText_GetFontSize(text.raw, i)
        for i in range(text.count_chars())
        if text.get_text_range(i, 1).strip()
    ]
    assert min(sizes) >= 9.49
    small = len("".join((wall.patches_words + wall.pour_words + wall.bar_words + wall.code_words).split()))
    assert sum(size < 10.99 for size in sizes) <= small


@pytest.mark.parametrize(("units", "mm"), [("metric", 50.0), ("US", 50.8)])
def test_the_bar_is_as_long_as_it_says(sheet: MixSheet, wall: Wall, pdfium: ModuleType, units: str, mm: float) -> None:
    """2 in are 50.8 mm: 1 in = 25.4 mm exactly (NIST SP 811, B.8, from memory)."""
    shown = wall_of(replace(sheet, units=units))
    assert shown.bar_words.startswith("2 in" if units == "US" else "50 mm")
    page: Any = pdfium.PdfDocument(sheet_pdf(sheet, shown))[0]
    dark = np.asarray(page.render(scale=DPI / 72, grayscale=True).to_pil()) < 128
    longest = [
        max((len(run) for run in "".join("x" if d else " " for d in row).split()), default=0) * 25.4 / DPI
        for row in dark[dark.shape[0] // 2 :: 3]
    ]
    thick = [length for length in longest if abs(length - mm) < 0.3]
    assert len(thick) * 3 * 25.4 / DPI == pytest.approx(2.4, abs=0.4)


class Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.boxes: list[str] = []
        self.heads: list[str] = []
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        if tag == "th":
            self.heads.append("")
        if tag == "input":
            self.boxes.append(str(dict(attrs)["id"]))
        if tag not in ("input", "meta", "img", "rect", "path", "col"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "th":
            self.heads[-1] += data.strip()


def test_html_has_a_box_a_coat_and_no_empty_heads(sheet: MixSheet, wall: Wall) -> None:
    page = sheet_html(sheet, wall)
    read = Page()
    read.feed(page)
    assert all(read.heads)
    assert read.tags.count("main") == 1
    assert len(set(read.boxes)) == len(read.boxes)
    coats = sum(stage.sprayed.coats for stage in sheet.stages if stage.sprayed)
    shown = [box.words for row in wall.rows for box in row.boxes]
    assert sum(words.isdigit() for words in shown) == coats
    before, after = page.split('id="contents"')
    assert before.count('type="checkbox"') == len(shown)
    assert "open" in after[after.index("<details") :][:80]  # cautions are never folded away


def test_the_page_runs_its_own_script_alone(sheet: MixSheet, wall: Wall) -> None:
    """The policy names script and style by their SHA-256 (Content Security Policy Level 3, 2.3.1), as by hashlib."""
    page = sheet_html(sheet, wall)
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)
    assert policy is not None
    for tag in ("script", "style"):
        text = re.search(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        assert text is not None
        digest = base64.b64encode(hashlib.sha256(text[1].encode()).digest()).decode()
        assert f"sha256-{digest}" in policy[1].replace("&#43;", "+").replace("&#39;", "'")
    assert " style=" not in page
    assert re.findall(r"\son\w+=", page) == []


def test_ticks_belong_to_what_the_sheet_says(sheet: MixSheet, wall: Wall) -> None:
    key = re.compile(r'data-key="([^"]*)"')
    first, again = (key.findall(sheet_html(sheet, wall)) for _ in range(2))
    other = key.findall(sheet_html(sheet, replace(wall, bar_words="another")))
    assert first == again != other


def test_a_mix_is_poured_one_way(sheet: MixSheet, wall: Wall) -> None:
    """Every filling of a syringe stands by itself, and they sum to what the batch holds."""
    for mix, card in zip(sheet.mixes, wall.cards, strict=True):
        batches = [batch for batch, _ in dict.fromkeys((cup.batch, cup.coats) for cup in mix.cups)] or [mix.batch]
        parts = [part for batch in batches for part in batch.parts]
        pours = [pour for pour in card.pours if not pour[0].startswith("Cup ")]
        if len(mix.batch.parts) == 1:
            assert pours == []  # it comes ready to spray
            continue
        for part, (name, amount) in zip(parts, pours, strict=True):
            assert name == part.name
            if part.tool == "cup":
                assert amount == f"fill to {float(part.line_mL):g}\u00a0mL"
            elif "syringe" in part.tool:
                fills = [fill.partition(" x ") for fill in amount.removesuffix("\u00a0mL").split(" + ")]
                total = sum(float(one) * float(each or 1) for one, _, each in fills)
                assert total == pytest.approx(float(part.mL))


def test_agreed_is_said_where_it_was(sheet: MixSheet, wall: Wall) -> None:
    assert wall.status.startswith("Not agreed yet.")
    agreed = replace(sheet, how_agreed=HowAgreed(code="LP-1", board="12345", option="A", day="2026-03-02"))
    assert wall_of(agreed).status.startswith("Agreed: option A, 2026-03-02, code LP-1.")
    assert "Agreed: LP-1" in code_text(agreed, file="a.toml", sha256="0" * 12)
    assert "greed" not in wall.code


def test_three_cautions_and_none_is_lost(sheet: MixSheet) -> None:
    """Isocyanates first where a catalyst may hold them; every general caution stands in full behind the wall."""
    assert foremost_cautions(sheet)[0].title == "Isocyanates"
    calm = without_isocyanates(sheet)
    assert "Isocyanates" not in [caution.title for caution in foremost_cautions(calm)]
    assert len(foremost_cautions(calm)) == 3
    full = [staged.caution.text for staged in staged_cautions(sheet)]
    assert [caution.text for caution in general_cautions() if caution.text not in full] == []
    told = {caution.title for stage in sheet.stages for caution in stage.cautions if caution.title != "Vapour and fire"}
    assert told <= {staged.caution.title for staged in staged_cautions(sheet)}


def without_isocyanates(sheet: MixSheet) -> MixSheet:
    def cautions(stage: Stage) -> tuple[Caution, ...]:
        return tuple(caution for caution in stage.cautions if caution.title != "Isocyanates")

    return replace(sheet, stages=tuple(replace(stage, cautions=cautions(stage)) for stage in sheet.stages))


def test_the_code_names_the_scheme_as_it_was(save_scheme: Save, sheet: MixSheet) -> None:
    """The first signs of the SHA-256 (FIPS 180-4) of the file's bytes, as hashlib and sha256sum tell them."""
    path = save_scheme(FULL)
    signs = hashlib.sha256(path.read_bytes()).hexdigest()[:12]
    assert first_signs(path.read_bytes()) == signs
    text = code_text(sheet, file=path.name, sha256=signs)
    assert len(text) <= MOST_LETTERS
    printed = read_printed(f"  {text}\r\n")
    assert (printed.name, printed.file, printed.sha256) == (sheet.name, path.name, signs)
    assert standing_of(printed, path, name=sheet.name) == "this job"
    path.write_text(FULL + "\n# a remark\n")
    assert standing_of(printed, path, name=sheet.name) == "changed"
    assert standing_of(printed, path, name="Another part") == "another job"
    assert standing_of(replace(printed, file="other.toml"), path, name=sheet.name) == "another job"
    with pytest.raises(InputError, match="square code"):
        read_printed("Mix sheet: x")


def test_an_editor_that_saves_meanwhile_does_not_get_its_text_into_the_code(save_scheme: Save) -> None:
    scheme = load_scheme(path := save_scheme(FULL))
    read = path.read_bytes()
    path.write_bytes(read + b"# saved since\n")
    assert _signs(scheme) == first_signs(read)
    path.write_bytes(read.replace(b"\n", b"\r\n"))  # as the same text lies there now, so is it asked for on the day
    assert _signs(scheme) == first_signs(path.read_bytes())


def test_the_code_is_one_drawing_of_its_size() -> None:
    """Modules a side are 4 times the version and 17 (ISO/IEC 18004), and the quiet border is 4 on every side."""
    svg = code_svg("a short text")
    side = int(re.search(r'viewBox="0 0 (\d+) \1"', svg)[1])  # type: ignore[index]
    assert (side - 8 - 17) % 4 == 0
    assert "style" not in svg
