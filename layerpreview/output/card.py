"""The spray-out frame to print: windows to cut out, corner marks, a place for a grey card, a 100 mm check bar."""

from __future__ import annotations

from collections.abc import Sequence

from layerpreview.errors import InputError, Problem
from layerpreview.learn.read.columns import Column, as_columns, in_steps
from layerpreview.learn.read.frame import (
    COLUMNS,
    Box,
    grey_box,
    mark_box,
    windows,
)
from layerpreview.output.typst_pdf import compile_pdf
from layerpreview.surface.marks import CORNERS_MM, FRAME_HEIGHT_MM, FRAME_WIDTH_MM, HOLE_MM, MARK_MM

BAR_MM = 100
_AROUND_MM = 5.0  # the drawing reaches half a mark beyond the frame's corners
USUAL_COATS = (0, 1, 2, 3, 4, 5, 6)


def card_pdf(*, coats: Sequence[float | Column] = USUAL_COATS, paper: str = "A4") -> bytes:
    """The frame on A4 or Letter, its columns labelled with `coats` [each 0 or more, at most seven].

    Raises InputError for other numbers of coats or another paper, OutputError where typst is missing.
    """
    columns = as_columns(coats)
    typed = ",".join(column.typed for column in columns)
    bare = any(column == Column(0.0) for column in columns)
    if not 3 <= len(columns) <= COLUMNS or not bare or len(set(columns)) < len(columns):
        rule = f"three to {COLUMNS} different numbers are wanted, one of them 0 (bare)"
        raise InputError(Problem(rule, "for example 0,1,2,3,4,5,6", field="--coats", value=typed))
    option = "" if columns == as_columns(USUAL_COATS) else f' --coats "{typed}"'
    data = {
        "title": "Spray-out frame",
        "lead": "Lay it over a card sprayed in steps, half of it over white, half over your base.",
        "bar_mm": BAR_MM,
        "bar_text": f"{BAR_MM} mm: if not, print again at 100 %",
        "svg": frame_svg(columns),
        "width_mm": FRAME_WIDTH_MM + 2 * _AROUND_MM,
        "about": f"Frame with windows in {len(columns)} columns, four corner squares, and a place for a grey card",
        "steps": [
            "Print at 100 % on matt white paper, check the bar, cut the windows out along their lines.",
            "Prepare a card of two strips, one above the other, each 36 mm high and 170 mm long: white, and your base.",
            _spraying(columns),
            "When it is dry and cleared, lay the frame over it, and a grey card in its place.",
            "Photograph it flat, from straight above, in daylight without sun or lamps mirrored in it; all four black "
            "squares in the picture, the paper light grey and nowhere blown out.",
            f"Then run: layerpreview fit PHOTO --name mydye --strength ... --grey 0.18{option}",
        ],
    }
    return compile_pdf("card.typ", data, paper=paper)


def _spraying(columns: Sequence[Column]) -> str:
    """How the card is sprayed: in steps of one mix, or every column for itself."""
    if _plain(columns):
        shown = ", ".join(f"{column.coats:g}" for column in sorted(columns, key=lambda one: one.coats) if column.coats)
        return (
            f"Spray both strips in the same strokes, {shown} coats from the left; cover a column when it has "
            "its coats. Use the film, the gun and the mix of the job."
        )
    each = "; ".join(column.words for column in columns)
    how = (
        f"Spray both strips in the same strokes, from the left: {each}; cover a column when it has its coats."
        if in_steps(columns)
        else f"Spray each column for itself while the others are covered, from the left: {each}."
    )
    return f"{how} Use the film and the gun of the job; the strength is counted from the mix of the first card."


def _plain(columns: Sequence[Column]) -> bool:
    """Whether every column is of one mix over both backgrounds, so that a number over it says all."""
    return all(column == Column(column.coats) for column in columns)


def frame_svg(coats: Sequence[float | Column]) -> str:
    """The frame as SVG in millimetres; a window that one background lacks is not drawn."""
    parts = [_square(corner) for corner in range(4)]
    x, y = CORNERS_MM[0]
    parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="{HOLE_MM / 2:g}" fill="#fff"/>')
    columns = as_columns(coats)
    plain = _plain(columns)
    for box in windows():
        if box.column < len(columns) and columns[box.column].over(box.what):
            column, middle = columns[box.column], box.left + box.width / 2
            parts.append(_outline(box))
            if not plain:  # cut out with the window, but there while it is sprayed
                parts += [
                    _text(middle, box.top + 9.0 + 4.5 * i, line, 3.2) for i, line in enumerate(_inside(column, box))
                ]
            elif box.what == "white":
                parts.append(_text(middle, box.top - 6.0, "bare" if column.coats == 0 else f"{column.coats:g}", 3.6))
    for what, words in (("white", "white"), ("base", "base")):
        top = next(box.top for box in windows() if box.what == what)
        parts.append(_text(1.2, top + 15.0, words, 3.6, turn=True))
    grey = grey_box()
    parts += [
        _outline(grey),
        _text(grey.left + grey.width / 2, grey.top + grey.height / 2 + 1.2, "grey card here", 3.6),
    ]
    wide, high = FRAME_WIDTH_MM + 2 * _AROUND_MM, FRAME_HEIGHT_MM + 2 * _AROUND_MM
    box_of_view = f"{-_AROUND_MM:g} {-_AROUND_MM:g} {wide:g} {high:g}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}mm" height="{high:g}mm" viewBox="{box_of_view}">'
        f"{''.join(parts)}</svg>"
    )


def _inside(column: Column, box: Box) -> list[str]:
    """The label of one window: coats, strength, background."""
    coats = "bare" if column.coats == 0 else f"{column.coats:g} coat{'' if column.coats == 1 else 's'}"
    strength = [] if column.coats == 0 or column.strength == 1.0 else [f"{column.strength:g} x strength"]
    return [coats, *strength, f"over {box.what}"]


def _square(corner: int) -> str:
    box = mark_box(corner)
    return f'<rect x="{box.left:g}" y="{box.top:g}" width="{MARK_MM:g}" height="{MARK_MM:g}" fill="#000"/>'


def _outline(box: Box) -> str:
    return (
        f'<rect x="{box.left:g}" y="{box.top:g}" width="{box.width:g}" height="{box.height:g}" fill="none" '
        'stroke="#888" stroke-width="0.2"/>'
    )


def _text(x: float, y: float, words: str, size: float, *, turn: bool = False) -> str:
    turned = f' transform="rotate(-90 {x:g} {y:g})"' if turn else ""
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" text-anchor="middle" '
        f'font-family="Libertinus Serif, sans-serif" fill="#555"{turned}>{words}</text>'
    )
