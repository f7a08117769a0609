"""How evenly the coats will lie: the finish under three hands, the build and what shows of it, and what to change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.advice import Advice, advice_of
from layerpreview.answers.evenness import ATTEMPTS, Part, Stripes, dye_build, lay, local_de00, part_of, stripes_of
from layerpreview.answers.uneven import UnevenFace, coarse_scene, uneven_faces, uneven_scene
from layerpreview.finish.look import Appearance
from layerpreview.output.caption import labelled_sheet
from layerpreview.output.charts import map_legend, map_tile
from layerpreview.output.files import write_text, written_together
from layerpreview.output.pictures import write_picture, write_pictures
from layerpreview.output.plain_json import plain_json
from layerpreview.picture.faces import shapes_of
from layerpreview.picture.scene import Scene, appearances_of, make_scene
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.spray.passes import HANDS, Strokes, travel
from layerpreview.workflows.evenness_text import advice_lines, stripes_words
from layerpreview.workflows.gun import GunOptions, GunSet, gun_set, plan_words
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
    options: GunOptions | None = None,
    hands: Sequence[str] = ("flat", "good", "hurried"),
    advise_hand: str = "good",
    light: str | None = None,
    width_px: int = 1600,
) -> Evenness:
    """Write the finish under each of `hands`, a sheet of them, maps of the build and of what shows, and the figures.

    `options`: what is said of the gun besides the scheme. Raises SchemeError, InputError, PictureError or OutputError;
    nothing is written then.
    """
    scheme = with_lights(load_scheme(scheme_path), [light] if light else None)
    lit = scheme.lights[0]
    names = [PICTURE.format(hand=hand) for hand in hands] + [SHEET, MAPS, FIGURES]
    with written_together(out, names, force=force, inputs=scheme.inputs) as paths:
        shapes = shapes_of(scheme)
        gun = gun_set(scheme, shapes[0].outline, options)
        scene = make_scene(scheme, width_px=width_px, margin=MARGIN, shapes=shapes)
        whole = part_of(scheme, coarse_scene(scheme, gun.how, width_mm=scene.width_px * scene.pixel_mm))
        part = whole.sample()
        laid = {hand: lay(part, gun.how, HANDS[hand]) for hand in dict.fromkeys((*hands, advise_hand))}
        figures = {hand: stripes_of(scheme, laid[hand], hand) for hand in laid}
        # A picture shows the attempt that comes nearest to the hand's figure.
        usual = {
            hand: uneven_faces(scheme, whole.faces, gun.how, HANDS[hand], attempt=laid[hand].usual) for hand in hands
        }
        look = appearances_of(scheme, scene, [lit])[0]
        tiles = []
        for hand in hands:
            shown = uneven_scene(scene, usual[hand][0])
            tiles.append(_picture(scheme, shown, look, figures[hand], gun, paths[PICTURE.format(hand=hand)]))
        note = (
            f"Stripes: CIEDE2000 to the mean colour that 95 % of the area stays within, over {ATTEMPTS} attempts. "
            f"Gun: {gun.words}. Light {lit}. {NOTE}"
        )
        sheet = labelled_sheet(tiles, title=f"{scheme.name}: as a hand lays it", note=note, columns=len(tiles))
        write_picture(sheet, paths[SHEET])
        write_picture(_map_sheet(whole, {hand: faces[0] for hand, (faces, _) in usual.items()}), paths[MAPS])
        passes = _passes(scheme, usual[hands[-1]][1])
        advice = advice_of(part, gun.how, HANDS[advise_hand], laid[advise_hand], figures[advise_hand])
        found = [figures[hand] for hand in hands]
        lines = tuple(_lines(gun, found, passes, advice, advise_hand))
        document = {
            "scheme": scheme.name,
            "approximate": True,
            "light": lit,
            "spraying": asdict(gun.how),
            "spraying_from": gun.sources,
            "spraying_notes": gun.notes,
            "attempts": ATTEMPTS,
            "hands": {hand: asdict(HANDS[hand]) for hand in hands},
            "stripes": [asdict(s) for s in found],
            "passes": [asdict(p) for p in passes],
            "advice": asdict(advice) if advice else None,
            "lines": lines,
        }
        write_text(paths[FIGURES], plain_json(document))
    return Evenness(out, tuple(names), tuple(found), tuple(passes), advice, lines)


def _picture(
    scheme: Scheme, scene: Scene, look: Appearance, stripes: Stripes, gun: GunSet, path: Path
) -> tuple[str, NDArray[np.uint8]]:
    """Write the picture of one hand; its label and itself reduced, for the sheet."""
    lit, shown = scheme.lights[0], stripes_words(stripes.stripes_de00)
    caption = [
        f"{scheme.name}: {_hand_words(stripes.hand)}",
        f"stripes {shown} (CIEDE2000): {stripes.verdict}; {plan_words(gun.how)}",
        f"light {lit}, seen straight on; computed, scatter of the hand assumed; approximate",
    ]
    written = write_pictures(scene, [look], [caption], [path], small_width_px=TILE_PX)
    return f"{_short_words(stripes.hand)}: stripes {shown}, {stripes.verdict}", written.small[0]


def _hand_words(hand: str) -> str:
    return {"flat": "a perfectly steady hand", "good": "a practised hand", "hurried": "a hurried hand"}.get(hand, hand)


def _short_words(hand: str) -> str:
    """For a label that must fit its tile."""
    return {"flat": "steady", "good": "practised", "hurried": "hurried"}.get(hand, hand)


def _passes(scheme: Scheme, strokes: list[list[Strokes]]) -> list[Pass]:
    out = []
    for i, (coat, laid) in enumerate(zip(scheme.coats, strokes, strict=True)):
        if laid:
            way, fan, spacing = travel(laid), laid[0].fan, laid[0].spacing_mm
            minutes = way.seconds / 60.0
            out.append(Pass(i + 1, coat.label, coat.coats, way.strokes, way.metres, minutes, fan.width_mm, spacing))
    return out


def _map_sheet(part: Part, by_hand: Mapping[str, UnevenFace]) -> NDArray[np.uint8]:
    """Two tiles a hand of the first face: the dye's build against what is meant, and the difference that shows."""
    scheme, tiles = part.scheme, []
    for hand, face in by_hand.items():
        shape = face.grid.n_rows, face.grid.n_cols
        cover = face.cover.reshape(shape)
        de, counts = local_de00(face, part.looks[0]), part.counts[0]
        build = map_tile(dye_build(scheme, face).reshape(shape), cover, low=1.0 - MAP_RANGE, high=1.0 + MAP_RANGE)
        shown = map_tile(de.reshape(shape), cover * counts.reshape(shape), low=-3.6, high=3.6)
        times = -(-MAP_TILE_PX // shape[1])
        build, shown = (tile.repeat(times, axis=0).repeat(times, axis=1) for tile in (build, shown))
        tiles += [(f"{_hand_words(hand)}: build", build), ("what shows of it", shown)]
    sheet = labelled_sheet(
        tiles,
        title=f"{scheme.name}: where the dye lies thick and thin",
        note="Left: build of the dye against what is meant there. Right: CIEDE2000 to the mean colour; "
        "0.8 is hardly seen, 1.8 is; areas under opaque coats or under none are left out. First face; computed, "
        "approximate.",
        columns=2,
    )
    half = sheet.shape[1] // 2
    percent = f"{100 * MAP_RANGE:.0f} %"
    left = map_legend(width_px=half, low=f"-{percent}", middle="as meant", high=f"+{percent}")
    right = map_legend(width_px=sheet.shape[1] - half, low="0", middle="1.8", high="3.6 CIEDE2000", one_sided=True)
    return np.concatenate([sheet, np.concatenate([left, right], axis=1)])


def _lines(
    gun: GunSet, found: Sequence[Stripes], passes: Sequence[Pass], advice: Advice | None, hand: str
) -> list[str]:
    lines = [f"How it is sprayed: {gun.words}.", *(note[0].upper() + note[1:] for note in gun.notes)]
    for s in found:
        spread = ", ".join(f"{order}: {100 * cv:.1f} %" for order, cv in s.build_cv.items())
        words = _hand_words(s.hand)
        lines.append(
            f"{words[0].upper()}{words[1:]}: stripes {stripes_words(s.stripes_de00)} ({s.verdict}); "
            f"{100 * s.share_just_seen:.0f} % of the area differs by 0.8 or more, "
            f"{100 * s.share_not_accepted:.0f} % by 1.8 or more; build varies by (standard deviation, by coat entry) "
            f"{spread}."
        )
    lines.append(
        f"Figures are over {ATTEMPTS} attempts of each hand; a picture shows the one that comes nearest to them."
    )
    for p in passes:
        lines.append(
            f"{p.order}. {p.what}: {p.strokes} strokes in {p.coats} coat{'s' if p.coats > 1 else ''}, "
            f"fan {p.fan_mm:.0f} mm, lines {p.spacing_mm:.0f} mm apart, {p.metres:.0f} m of travel, "
            f"{p.minutes:.1f} min of spraying."
        )
    if advice:
        lines += advice_lines(advice, _hand_words(hand))
    return [*lines, NOTE]
