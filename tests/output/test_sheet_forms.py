"""The sheet's four forms: exist for a figure that differs between them, for user text read as markup, for a page scaled
to fit, and for text that runs off the page."""

from __future__ import annotations

import builtins
import json
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from layerpreview.errors import InputError, OutputError
from layerpreview.job.products import Details, PlainCoats, Product
from layerpreview.job.sheet import MixSheet, make_sheet
from layerpreview.output.section_drawing import section_svg
from layerpreview.output.sheet_blocks import blocks_of
from layerpreview.output.sheet_forms import plain_blocks, sheet_html, sheet_json, sheet_pdf, sheet_text
from layerpreview.output.sheet_wall import wall_of
from layerpreview.output.sheet_words import FL_OZ_ML, Table, Words, number, plain
from layerpreview.output.template_lines import lines_of
from layerpreview.output.templates_pdf import OVERLAP_MM, layout_of, template_pdf
from layerpreview.picture.faces import shape_of
from layerpreview.scheme import load_scheme
from layerpreview.scheme.work_fields import parse_ratio
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range

from ..schemes import FULL

Save = Callable[..., Path]
NASTY = 'a<b>&"q" #let x = 1; $y$ *z* _w_ `v` [u] @t // \\ {{ s }} {% r %}'
DETAILS = Details(
    clear=PlainCoats(
        Product(name="clear <i>& $", ratio=parse_ratio("2:1 clear:hardener")),
        3,
        Told.of(Range(45, 55, 65), "um", Rest(Basis.STATED)),
    ),
)
DPI = 300


def sheet_of(save: Save, *, name: str = "Test part", details: Details = DETAILS) -> MixSheet:
    text = FULL.replace('name = "Test part"', f"name = '''{name}'''")
    return make_sheet(load_scheme(save(text)), details)


def text_of(sheet: MixSheet, *, width: int) -> str:
    return sheet_text(sheet, wall_of(sheet), width=width)


def html_of(sheet: MixSheet) -> str:
    return sheet_html(sheet, wall_of(sheet, code="a code"))


def pdf_of(sheet: MixSheet, *, paper: str = "A4") -> bytes:
    return sheet_pdf(sheet, wall_of(sheet, code="a code"), paper=paper)


@pytest.fixture(scope="session")
def pdfium() -> ModuleType:
    pytest.importorskip("typst")
    return pytest.importorskip("pypdfium2")


def pdf_text(pdfium: ModuleType, pdf: bytes) -> str:
    document: Any = pdfium.PdfDocument(pdf)
    return "\n".join(document[i].get_textpage().get_text_range() for i in range(len(document)))


def squeezed(text: str) -> str:
    """Without spaces, line ends and the hyphens that a line's end adds."""
    return re.sub(r"[\s\u200b\u00ad\u2010\ufffe-]", "", text)


def amounts(sheet: MixSheet) -> list[str]:
    """Every amount of every recipe as the tables show it."""
    tables = [block for block in plain_blocks(blocks_of(sheet)) if isinstance(block, Table) and block.large]
    wall = [amount for card in wall_of(sheet).cards for _, amount in card.pours]
    return [*wall, *(cell for table in tables for row in table.rows for cell in row[2:4] if cell)]


class _Spoken(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.text = ""

    def handle_data(self, data: str) -> None:
        self.text += data + " "


def html_text(page: str) -> str:
    parser = _Spoken()
    parser.feed(page)
    return parser.text


def test_the_same_numbers_in_all_four(save_scheme: Save, pdfium: ModuleType) -> None:
    sheet = sheet_of(save_scheme)
    forms = [text_of(sheet, width=300), html_text(html_of(sheet)), pdf_text(pdfium, pdf_of(sheet))]
    shown = amounts(sheet)
    assert len(shown) > 15
    for form in forms:
        flat = squeezed(form)
        assert [amount for amount in shown if squeezed(amount) not in flat] == []
    told = json.loads(sheet_json(sheet))
    for mix, again in zip(sheet.mixes, told["mixes"], strict=True):
        for part, known in zip(mix.batch.parts, again["batch"]["parts"], strict=True):
            assert plain(part.mL) in forms[0]
            assert known["mL"] == float(part.mL)


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_markup_comes_out_literally(save_scheme: Save, pdfium: ModuleType, paper: str) -> None:
    sheet = sheet_of(save_scheme, name=NASTY)
    page = html_of(sheet)
    assert "<b>" not in page
    assert "<i>" not in page
    for form in (text_of(sheet, width=300), html_text(page), pdf_text(pdfium, pdf_of(sheet, paper=paper))):
        assert squeezed(NASTY) in squeezed(form)
        assert squeezed("clear <i>& $: 3 coats") in squeezed(form)


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["Quite a long name of a part in many words " * 4, "W" * 190])
def test_long_names_stay_on_the_page(save_scheme: Save, pdfium: ModuleType, paper: str, name: str) -> None:
    clear = PlainCoats(Product(name=name, ratio=parse_ratio("2:1 clear:hardener"), part_names={"catalyst": name}))
    sheet = sheet_of(save_scheme, name=name.strip(), details=Details(clear=clear))
    document: Any = pdfium.PdfDocument(pdf_of(sheet, paper=paper))
    for i in range(len(document)):
        grey = np.asarray(document[i].render(scale=1, grayscale=True).to_pil())
        margin = round(10 / 25.4 * 72)  # text keeps 15 mm off the sides
        assert grey[:, :margin].min() == 255
        assert grey[:, -margin:].min() == 255


def bar_mm(grey: np.ndarray[Any, Any], dpi: float) -> float:
    """Length of the longest run of black in any row [mm]."""
    longest = 0
    for row in grey < 128:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(np.int8), [0]])))
        if edges.size:
            longest = max(longest, int((edges[1::2] - edges[::2]).max()))
    return longest * 25.4 / dpi


def test_identical_bytes(save_scheme: Save, pdfium: ModuleType) -> None:
    one, two = (sheet_of(save_scheme) for _ in range(2))
    assert pdf_of(one) == pdf_of(two)
    assert html_of(one) == html_of(two)
    assert sheet_json(one) == sheet_json(two)


def test_the_pdf_is_tagged_for_readers(save_scheme: Save, pdfium: ModuleType) -> None:
    pdf = pdf_of(sheet_of(save_scheme))
    assert b"/StructTreeRoot" in pdf
    assert b"pdfuaid" in pdf


def test_html_stands_alone(save_scheme: Save) -> None:
    page = html_of(sheet_of(save_scheme))
    assert re.findall(r"(?:src|action)=|url\((?!#)", page) == []
    assert all(target.startswith("#part-") for target in re.findall(r'href="([^"]*)"', page))
    assert "<title" in page


def test_without_typst_the_line_names_it(save_scheme: Save, monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> ModuleType:
        if name == "typst":
            raise ImportError(name)
        return real(name, *rest, **more)

    sheet = sheet_of(save_scheme)
    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(OutputError) as caught:
        pdf_of(sheet)
    assert str(caught.value).splitlines() == ["PDF needs one more package: pip install typst"]


def test_unknown_paper(save_scheme: Save) -> None:
    with pytest.raises(InputError, match="A4 or Letter"):
        pdf_of(sheet_of(save_scheme), paper="A5")


def test_terminal_lines_fit(save_scheme: Save) -> None:
    assert max(map(len, text_of(sheet_of(save_scheme), width=90).splitlines())) <= 90


def test_us_units_go_there_and_back(save_scheme: Save) -> None:
    """US fl oz 29.5735295625 mL, mil 25.4 um (exact)."""
    us = Words("US")
    assert us.volume(2 * FL_OZ_ML) == "2 fl oz = 59.1 mL"
    assert us.film(Range(25.4, 50.8, 76.2)) == "2 (1 to 3) mil"
    assert (us.length(609.6), us.length(3657.6)) == ("24 in", "12 ft")
    text = text_of(sheet_of(save_scheme, details=Details(units="US")), width=300)
    assert "sq in" in text
    assert "fl oz" in text
    assert "µm" not in text.replace("1 µm of wet film", "")
    assert number(-0.5) == "-0.5"


def test_section_is_to_scale(save_scheme: Save) -> None:
    """The layers' heights in the drawing over their dry films are the scale it states."""
    sheet = sheet_of(save_scheme)
    drawing = section_svg(sheet)
    scale = int(re.search(r"heights (\d+) times", drawing.described)[1])  # type: ignore[index]
    polygons = re.findall(r'<polygon points="([^"]+)"', drawing.svg)
    assert len(polygons) == len(sheet.layers) + 1
    for points, layer in zip(polygons[1:], sheet.layers, strict=True):
        xy = np.array([[float(v) for v in point.split(",")] for point in points.split()])
        half = len(xy) // 2
        height_mm = xy[:half, 1] - xy[half:][::-1, 1]
        assert height_mm.mean() * 1000 / scale == pytest.approx(layer.dry_um.likely, rel=0.01, abs=0.02 * 1000 / scale)
    assert "<title" in drawing.svg
    assert "<desc" in drawing.svg


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_templates_are_to_scale_and_overlap(save_scheme: Save, pdfium: ModuleType, paper: str) -> None:
    """A face of 320 x 240 mm takes several pages; on them its lower edge is a straight line that can be measured."""
    scheme = load_scheme(save_scheme(FULL.replace("64 mm", "320 mm").replace("48 mm", "240 mm")))
    part = shape_of(scheme.faces[0])
    layout = layout_of(lines_of(scheme, part, Words("metric")), paper=paper)
    tiles = {tile.name: tile.box for tile in layout.tiles}
    assert set(tiles) >= {"A1", "B1"}
    assert tiles["A1"][2] - tiles["B1"][0] == pytest.approx(OVERLAP_MM)
    pdf = template_pdf(scheme, [part], paper=paper)
    assert pdf == template_pdf(scheme, [part], paper=paper)
    document: Any = pdfium.PdfDocument(pdf)
    assert len(document) == len(tiles)
    dpi = 150
    grey = np.asarray(document[0].render(scale=dpi / 72, grayscale=True).to_pil())
    page = grey < 128
    assert bar_mm(grey[: round(18 / 25.4 * dpi)], dpi) == pytest.approx(100.0, abs=0.2)
    # The face's left and upper edges start at its corner; the upper one runs to the tile's right border.
    x0, y0, _, y1 = tiles["A1"]
    left_px = (0.0 - x0 + 12.0) / 25.4 * dpi
    columns = np.flatnonzero(page[round(60 / 25.4 * dpi) :].sum(axis=0) > 0.5 * min(y1 - y0, 240.0 - y0) / 25.4 * dpi)
    assert abs(columns - left_px).min() <= 2


def test_templates_of_an_unrolled_tube(save_scheme: Save) -> None:
    drum = FULL.replace(
        'shape = "panel"\nwidth = "64 mm"\nheight = "48 mm"',
        'shape = "drum shell"\ndiameter = "80 mm"\ndepth = "60 mm"',
    )
    scheme = load_scheme(save_scheme(drum))
    gone = next(line for line in lines_of(scheme, shape_of(scheme.faces[0]), Words("metric")) if line.kind == "gone")
    assert gone.shape.bounds[1::2] == pytest.approx((15.0, 45.0))


ZONES = (
    '[[face.zone]]\nname = "crown"\nside = { at = ["0 mm", "20 mm"], angle = 90 }\n'
    '[[face.zone]]\nname = "heel"\nshape = "disc"\ndiameter = "10 mm"\ncentre = ["50 mm", "40 mm"]\nmasked = true\n'
)
SPOT = (
    '[[coat]]\nmix = "sea"\nfilm = "30 um"\nzone = "crown"\n'
    'burst = { from = "centre", width = "9 mm", fall_off = "linear", at = ["50 mm", "30 mm"] }\n'
)


def test_zones_are_masked_and_drawn(save_scheme: Save) -> None:
    """A straight tape line across 64 mm, a disc of 10 mm covered, and a spot that is half at 4.5 mm."""
    text = FULL.replace("[base]", ZONES + "[base]", 1).replace("[gun]", SPOT + "[gun]")
    scheme = load_scheme(save_scheme(text))
    masks = {mask.what.split(":")[0]: mask for mask in make_sheet(scheme, DETAILS).masks}
    assert masks["heel"].edge_mm == pytest.approx(3.14159 * 10, rel=0.01)
    assert masks["heel"].when == "before the first coat"
    assert masks["crown"].when == "before stage 5, sea"
    lines = {line.label: line.shape for line in lines_of(scheme, shape_of(scheme.faces[0]), Words("metric"))}
    assert lines["dash and dot: zone heel, covered"].length == pytest.approx(3.14159 * 10, rel=0.01)
    spot = next(shape for label, shape in lines.items() if "from centre, half build at 4.5 mm" in label)
    assert spot.bounds[0] == pytest.approx(45.5, abs=0.01)


def test_a_ready_to_spray_base_coat_comes_first(save_scheme: Save, pdfium: ModuleType) -> None:
    base = PlainCoats(Product(name="silver basecoat"), 2, Told.of(Range(25, 35, 45), "um", Rest(Basis.STATED)))
    sheet = sheet_of(save_scheme, details=Details(base=base))
    assert sheet.mixes[0].title == "silver basecoat"
    assert "Have silver basecoat ready to spray" in pdf_text(pdfium, pdf_of(sheet))
    most = sum(layer.dry_um.likely for layer in sheet.layers)  # but for half a pixel of the rim
    assert sheet.total_dry_um["front"].likely == pytest.approx(most, rel=1e-4)
