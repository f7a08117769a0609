"""How evenly the coats will lie: the finish under three hands, the build and what shows of it, and what to change."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.choose.evenness import Advice, Stripes, Trial, advice_of, dye_build, local_de00, stripes_of
from layerpreview.choose.patches import first_field
from layerpreview.choose.uneven import Spraying, UnevenFace, coarse_scene, uneven_faces, uneven_scene
from layerpreview.colour import JUST_SEEN_DE00
from layerpreview.errors import InputError, Problem
from layerpreview.output.caption import labelled_sheet
from layerpreview.output.charts import map_legend, map_tile
from layerpreview.output.files import write_text, written_together
from layerpreview.output.pictures import write_picture, write_pictures
from layerpreview.preview.scene import Scene, appearances_of, make_scene
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.spray.passes import GUNS, HANDS, PATTERNS, Fan, Strokes, travel
from layerpreview.workflows.render import MARGIN, with_lights

TILE_PX, MAP_TILE_PX = 560, 440
PICTURE, MAPS, SHEET, FIGURES = "uneven_{hand}.png", "build_maps.png", "evenness.png", "evenness.json"
MAP_RANGE = 0.15
NOTE = "The verdict comes from flat samples side by side; over texture and with soft edges less is seen."


@dataclass(frozen=True)
class Pass:
    """What one coat entry asks of the hand: strokes, metres and minutes for one coat and in all, drying apart."""

    order: int
    what: str
    coats: int
    strokes: int
    metres: float
    minutes: float
    fan_mm: float
    spacing_mm: float


@dataclass(frozen=True)
class Evenness:
    """The figures by hand, the work by coat entry, and what would stop the stripes showing."""

    folder: Path
    files: tuple[str, ...]
    stripes: tuple[Stripes, ...]
    passes: tuple[Pass, ...]
    advice: Advice | None
    lines: tuple[str, ...]


def evenness_files(
    scheme_path: Path,
    *,
    out: Path,
    force: bool = False,
    how: Spraying | None = None,
    hands: Sequence[str] = ("flat", "good", "hurried"),
    advise_hand: str = "good",
    light: str | None = None,
    width_px: int = 1600,
) -> Evenness:
    """Write the finish under each of `hands`, a sheet of them, maps of the build and of what shows, and the figures.

    Raises SchemeError, PictureError or OutputError; nothing is written then.
    """
    scheme = with_lights(load_scheme(scheme_path), [light] if light else None)
    lit, plan = scheme.lights[0], how or Spraying()
    names = [PICTURE.format(hand=hand) for hand in hands] + [SHEET, MAPS, FIGURES]
    with written_together(out, names, force=force, inputs=scheme.inputs) as paths:
        scene = make_scene(scheme, width_px=width_px, margin=MARGIN)
        coarse = coarse_scene(scheme, plan, width_mm=scene.width_px * scene.pixel_mm)
        field = first_field(scheme, coarse)
        look = appearances_of(scheme, scene, [lit])[0]
        found, tiles, rows, passes = [], [], [], []
        for hand in hands:
            faces, strokes = uneven_faces(scheme, coarse, plan, HANDS[hand])
            maps = [local_de00(scheme, face) for face in faces]
            stripes = stripes_of(scheme, faces, maps, hand)
            found.append(stripes)
            caption = [
                f"{scheme.name}: {_hand_words(hand)}",
                f"stripes {stripes.stripes_de00:.1f} (CIEDE2000): {stripes.verdict}; {plan_words(plan)}",
                f"light {lit}, seen straight on; computed, scatter of the hand assumed; approximate",
            ]
            written = write_pictures(
                uneven_scene(scene, faces),
                [look],
                [caption],
                [paths[PICTURE.format(hand=hand)]],
                small_width_px=TILE_PX,
            )
            label = f"{_hand_words(hand)}: {stripes.stripes_de00:.1f}, {stripes.verdict}"
            tiles.append((label, written.small[0]))
            rows.append((hand, faces, maps))
            passes = _passes(scheme, strokes)
        title = f"{scheme.name}: as a hand lays it"
        note = (
            "Figure: CIEDE2000 to the mean colour that 95 % of the area stays within. "
            f"Gun: {plan_words(plan)}; light {lit}. {NOTE}"
        )
        write_picture(labelled_sheet(tiles, title=title, note=note, columns=len(tiles)), paths[SHEET])
        write_picture(_map_sheet(scheme, coarse, rows), paths[MAPS])
        box = coarse.faces[0].picture.outline
        advice = advice_of(scheme, field, plan, HANDS[advise_hand], width_mm=box.width_mm, height_mm=box.height_mm)
        lines = tuple(_lines(scheme, plan, found, passes, advice, advise_hand))
        document = {
            "scheme": scheme.name,
            "approximate": True,
            "light": lit,
            "spraying": asdict(plan),
            "hands": {hand: asdict(HANDS[hand]) for hand in hands},
            "stripes": [asdict(s) for s in found],
            "passes": [asdict(p) for p in passes],
            "advice": asdict(advice) if advice else None,
            "lines": lines,
        }
        write_text(paths[FIGURES], json.dumps(document, indent=2, ensure_ascii=False) + "\n")
    return Evenness(out, tuple(names), tuple(found), tuple(passes), advice, lines)


def plan_words(how: Spraying) -> str:
    """How the gun is moved, in one line.

    >>> plan_words(Spraying())
    'fan 220 mm at 180 mm, overlap 50 %, strokes at 0 deg, lines shifted'
    """
    ways = " and ".join(f"{angle:g}" for angle in how.directions_deg)
    return (
        f"fan {how.gun.width_mm:g} mm at {how.gun.distance_mm:g} mm, overlap {100 * how.overlap:.0f} %, "
        f"strokes at {ways} deg, lines {how.pattern}"
    )


def spraying_from(
    *,
    gun: str = "full",
    fan_mm: float | None = None,
    distance_mm: float | None = None,
    beta: float | None = None,
    overlap: float = 0.5,
    directions_deg: Sequence[float] = (0.0,),
    pattern: str = "shifted",
    seed: int = 7,
) -> Spraying:
    """How the gun is moved: a typical gun by name, with what was measured of one's own put in its place.

    Raises InputError with every value that is out of range.
    """
    problems = []
    if gun not in GUNS:
        problems.append(Problem("no such gun", f"use one of {', '.join(GUNS)}", field="--gun", value=gun))
    if pattern not in PATTERNS:
        remedy = f"use one of {', '.join(PATTERNS)}"
        problems.append(Problem("no such pattern of lines", remedy, field="--lines", value=pattern))
    for name, value, low, high in (
        ("--fan", fan_mm, 2.0, 1000.0),
        ("--distance", distance_mm, 5.0, 1000.0),
        ("--beta", beta, 1.0, 12.0),
        ("--overlap", overlap, 0.0, 0.9),
    ):
        if value is not None and not low <= value <= high:
            problems.append(Problem(f"this lies between {low:g} and {high:g}", field=name, value=f"{value:g}"))
    if problems:
        raise InputError(problems)
    usual = GUNS[gun]
    fan = Fan(
        width_mm=fan_mm or usual.width_mm,
        distance_mm=distance_mm or usual.distance_mm,
        beta=beta or usual.beta,
        speed_mm_s=usual.speed_mm_s,
    )
    return Spraying(gun=fan, overlap=overlap, directions_deg=tuple(directions_deg), pattern=pattern, seed=seed)


def _hand_words(hand: str) -> str:
    return {"flat": "a perfectly steady hand", "good": "a practised hand", "hurried": "a hurried hand"}.get(hand, hand)


def _passes(scheme: Scheme, strokes: list[list[Strokes]]) -> list[Pass]:
    out = []
    for i, (coat, laid) in enumerate(zip(scheme.coats, strokes, strict=True)):
        if laid:
            way, fan, spacing = travel(laid), laid[0].fan, laid[0].spacing_mm
            minutes = way.seconds / 60.0
            out.append(Pass(i + 1, coat.label, coat.coats, way.strokes, way.metres, minutes, fan.width_mm, spacing))
    return out


def _map_sheet(
    scheme: Scheme,
    coarse: Scene,
    rows: Sequence[tuple[str, list[UnevenFace], list[tuple[NDArray[np.float32], NDArray[np.bool_]]]]],
) -> NDArray[np.uint8]:
    """Two tiles a hand of the first face: the dye's build against what is meant, and the difference that shows."""
    tiles = []
    for hand, faces, maps in rows:
        face, (de, counts) = faces[0], maps[0]
        shape = face.grid.n_rows, face.grid.n_cols
        cover = face.cover.reshape(shape)
        build = map_tile(dye_build(scheme, face).reshape(shape), cover, low=1.0 - MAP_RANGE, high=1.0 + MAP_RANGE)
        shown = map_tile(de.reshape(shape), cover * counts.reshape(shape), low=-3.6, high=3.6)
        times = -(-MAP_TILE_PX // shape[1])
        build, shown = (tile.repeat(times, axis=0).repeat(times, axis=1) for tile in (build, shown))
        tiles += [(f"{_hand_words(hand)}: build", build), ("what shows of it", shown)]
    sheet = labelled_sheet(
        tiles,
        title=f"{scheme.name}: where the dye lies thick and thin",
        note="Left: build of the dye against what is meant there. Right: CIEDE2000 to the mean colour; "
        "0.8 is hardly seen, 1.8 is; areas under opaque coats are left out. First face; computed, approximate.",
        columns=2,
    )
    half = sheet.shape[1] // 2
    percent = f"{100 * MAP_RANGE:.0f} %"
    left = map_legend(width_px=half, low=f"-{percent}", middle="as meant", high=f"+{percent}")
    right = map_legend(width_px=sheet.shape[1] - half, low="0", middle="1.8", high="3.6", one_sided=True)
    return np.concatenate([sheet, np.concatenate([left, right], axis=1)])


def _lines(
    scheme: Scheme, how: Spraying, found: Sequence[Stripes], passes: Sequence[Pass], advice: Advice | None, hand: str
) -> list[str]:
    lines = [f"How it is sprayed (assumed where the scheme does not say): {plan_words(how)}."]
    for s in found:
        spread = ", ".join(f"{order}: {100 * cv:.1f} %" for order, cv in s.build_cv.items())
        words = _hand_words(s.hand)
        lines.append(
            f"{words[0].upper()}{words[1:]}: stripes {s.stripes_de00:.1f} ({s.verdict}); "
            f"{100 * s.share_just_seen:.0f} % of the area differs by 0.8 or more, "
            f"{100 * s.share_not_accepted:.0f} % by 1.8 or more; build varies by (standard deviation, by coat entry) "
            f"{spread}."
        )
    for p in passes:
        lines.append(
            f"{p.order}. {p.what}: {p.strokes} strokes in {p.coats} coat{'s' if p.coats > 1 else ''}, "
            f"fan {p.fan_mm:.0f} mm, lines {p.spacing_mm:.0f} mm apart, {p.metres:.0f} m of travel, "
            f"{p.minutes:.1f} min of spraying."
        )
    if advice:
        lines += _advice_lines(scheme, advice, hand)
    return [*lines, NOTE]


def _advice_lines(scheme: Scheme, a: Advice, hand: str) -> list[str]:
    lines = [
        f"Fan and overlap alone leave a ripple of {100 * a.fan_ripple_now:.1f} %; this fan lies evenest at "
        f"{100 * a.fan_best_overlap:.0f} % overlap ({100 * a.fan_ripple_best:.1f} %)."
    ]
    if a.now.stripes_de00 < JUST_SEEN_DE00:
        return [*lines, f"Entry {a.order} ({a.what}) as written: {_came_out(a.now)} with {_hand_words(hand)}. Keep it."]
    lines.append(
        f"Entry {a.order} ({a.what}) as written: {_came_out(a.now)} with {_hand_words(hand)}. The same colour with"
    )
    options = [
        f"  {trial.coats} coat{'s' if trial.coats > 1 else ''} at {_strength(trial)}, "
        f"{100 * trial.overlap:.0f} % overlap: {_came_out(trial)}"
        for trial in (a.coats, a.overlap, a.both)
        if trial
    ]
    return lines + (
        options or ["  nothing tried (up to 16 coats, 75 % overlap) gets below what is seen: steady the hand first"]
    )


def _strength(trial: Trial) -> str:
    return "the same strength" if trial.strength == 1.0 else f"{trial.strength:.2g} times the strength"


def _came_out(trial: Trial) -> str:
    return f"stripes {trial.stripes_de00:.1f} ({trial.verdict})"
