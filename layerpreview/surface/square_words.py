"""What is said of a photo that was made square and to scale: one sentence each."""

from __future__ import annotations

import math

_FAR = 2.0  # half sheets from its middle: beyond, the map reaches further than it knows


def scale(by: str, mm_per_px: float) -> str:
    """Where the scale is from."""
    return f"scale from {by}: {mm_per_px:.3g} mm per pixel"


def tilt(tilt_deg: float, residual_mm: float) -> str:
    """The camera's tilt and what remains."""
    steep = "; from more straight above it would be surer" if tilt_deg > 25 else ""
    return f"the camera leaned {tilt_deg:.0f} deg, taken out; what remains is {residual_mm:.2g} mm{steep}"


def of_marks(apart_mm: float, pointed_share: float) -> str:
    """What two marks cannot tell."""
    lost = 1 - math.cos(math.radians(10))
    return (
        f"two marks {apart_mm:g} mm apart set the scale to {100 * pointed_share:.1g} % (each pointed at to 2 pixels, "
        f"assumed) and cannot tell the camera's tilt: 10 deg shorten one direction by {100 * lost:.1f} %, 25 deg by "
        f"{100 * (1 - math.cos(math.radians(25))):.0f} %"
    )


def not_squared() -> str:
    """What a width alone cannot tell."""
    return (
        "a width cannot tell the camera's tilt: 10 deg shorten one direction by 1.5 %, 25 deg by 9 %; a sheet of A4 or "
        "Letter paper laid beside the part tells both"
    )


def of_part(told_mm: float, found_mm: float, by: str) -> str:
    """What the sheet makes of a width that is known."""
    return (
        f"by the {by} the part is {found_mm:.1f} mm wide, {100 * (found_mm / told_mm - 1):+.1f} % of the known "
        f"{told_mm:.5g} mm: the known width counts, the {by} takes out the tilt"
    )


def rather(stated: str, likelier: str) -> str:
    """The sheet has the proportions of another paper than stated."""
    return (
        f"the sheet has the proportions of {likelier}, not of {stated}, and all sizes hang on that: --paper {likelier}?"
    )


def either(taken: str, other: str) -> str:
    """The sheet may be either paper."""
    return f"taken for {taken}, but from this side it may as well be {other}: say which with --paper"


def same_shape(by: str) -> tuple[str, ...]:
    """What a photo cannot tell of a sheet: ISO 216 gives every size of the A series one shape."""
    return ("A3 and A5 have A4's shape: were it an A5, all would be 1.41 times too large",) if by == "A4" else ()


def lens(focal35_mm: float | None) -> str:
    """What the lens may bend (bounds assumed, of lenses as phones and cameras correct them)."""
    if focal35_mm is None:
        bound = "about 1 % near the picture's edge for a phone's main camera, more for its wide one"
    elif focal35_mm < 20:
        bound = f"some 3 % near the picture's edge at {focal35_mm:g} mm (35 mm equivalent): use the main camera"
    else:
        bound = f"{'1' if focal35_mm < 35 else '0.5'} % near the edge at {focal35_mm:g} mm (35 mm equivalent)"
    return f"what the lens bends is left alone: up to {bound} (assumed)"


def out_of_sheet(half_sheets: float, doubt_mm: float, by: str) -> str:
    """How far the part reaches out of what the scale was taken from."""
    what = {"frame": "frame", "marks": "pair of marks"}.get(by, "sheet")
    nearer = f"; lay the {what} nearer" if half_sheets > 2 * _FAR else ""
    reach = f"{half_sheets:.1f} half lengths from the middle of the {what}"
    return f"the part reaches {reach}, where a place is known to {doubt_mm:.2g} mm{nearer}"


def thick(thickness_mm: float, share: float, distance_mm: float) -> str:
    """What a part's thickness does to its size."""
    return (
        f"a face {thickness_mm:g} mm above the sheet is nearer to the camera, which is {distance_mm:.0f} mm away (a "
        "third more or less where the photo does not name its lens), and looks up to "
        f"{100 * share:.1f} % too large: raise the sheet to that face, or step back"
    )
