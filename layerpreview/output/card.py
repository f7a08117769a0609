"""The spray-out frame to print: windows to cut out, corner marks, a place for a grey card, a 100 mm check bar."""

from __future__ import annotations

from collections.abc import Sequence

from layerpreview.errors import InputError, Problem
from layerpreview.learn.frame import (
    COLUMNS,
    CORNERS_MM,
    FRAME_HEIGHT_MM,
    FRAME_WIDTH_MM,
    HOLE_MM,
    MARK_MM,
    Box,
    grey_box,
    mark_box,
    windows,
)
from layerpreview.output.typst_pdf import compile_pdf

BAR_MM = 100
_AROUND_MM = 5.0  # the drawing reaches half a mark beyond the frame's corners
USUAL_COATS = (0, 1, 2, 3, 4, 5, 6)


def card_pdf(*, coats: Sequence[float] = USUAL_COATS, paper: str = "A4") -> bytes:
    """The frame on A4 or Letter, its columns labelled with `coats` [each 0 or more, at most seven].

    Raises InputError for other numbers of coats or another paper, OutputError without the `pdf` extra.
    """
    if not 3 <= len(coats) <= COLUMNS or min(coats) != 0 or len(set(coats)) < len(coats):
        rule = f"three to {COLUMNS} different numbers are wanted, one of them 0 (bare)"
        raise InputError(Problem(rule, "for example 0,1,2,3,4,5,6", field="--coats", value=",".join(map(str, coats))))
    shown = ", ".join(f"{n:g}" for n in sorted(coats) if n)
    data = {
        "title": "Spray-out frame",
        "lead": "Lay it over a card sprayed in steps, half of it over white, half over your base.",
        "bar_mm": BAR_MM,
        "bar_text": f"{BAR_MM} mm: if not, print again at 100 %",
        "svg": frame_svg(coats),
        "width_mm": FRAME_WIDTH_MM + 2 * _AROUND_MM,
        "about": f"Frame with two rows of {len(coats)} windows, four corner squares, and a place for a grey card",
        "steps": [
            "Print at 100 % on matt white paper, check the bar, cut the windows out along their lines.",
            "Prepare a card of two strips, one above the other, each 36 mm high and 170 mm long: white, and your base.",
            f"Spray both strips in the same strokes, {shown} coats from the left; cover a column when it has "
            "its coats. Use the film, the gun and the mix of the job.",
            "When it is dry and cleared, lay the frame over it, and a grey card in its place.",
            "Photograph it flat, from straight above, in daylight without sun or lamps mirrored in it; all four black "
            "squares in the picture, the paper light grey and nowhere blown out.",
            "Then run: layerpreview fit PHOTO --name mydye --strength ... --grey 0.18",
        ],
    }
    return compile_pdf("card.typ", data, paper=paper)


def frame_svg(coats: Sequence[float]) -> str:
    """The frame as SVG in millimetres."""
    parts = [_square(corner) for corner in range(4)]
    x, y = CORNERS_MM[0]
    parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="{HOLE_MM / 2:g}" fill="#fff"/>')
    for box in windows():
        if box.column < len(coats):
            parts.append(_outline(box))
            if box.what == "white":
                number = coats[box.column]
                label = "bare" if number == 0 else f"{number:g}"
                parts.append(_text(box.left + box.width / 2, box.top - 6.0, label, 3.6))
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
