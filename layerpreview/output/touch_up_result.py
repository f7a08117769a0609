"""A repair in pictures and figures: before, after, the difference enhanced, by light; the colours along the feather."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from layerpreview.answers.along_feather import usual_fading
from layerpreview.answers.mended import Mending, mended_scene
from layerpreview.answers.touch_up import Level, TouchUp
from layerpreview.colour import DISPLAY_WHITE_XYZ, XYZ_TO_RGB_LIN, lab_to_xyz
from layerpreview.finish.layers import stack_of
from layerpreview.job.local_mix import LocalWork
from layerpreview.output.caption import FAINT, INK, PAPER, caption, fitted, font, labelled_sheet, text_size_px
from layerpreview.output.files import write_text
from layerpreview.output.pictures import small_pictures, write_picture
from layerpreview.output.png import screen_srgb8
from layerpreview.output.result import Paths, Result
from layerpreview.output.touch_up_words import (
    Own,
    advice_lines,
    cautions_of,
    part_words,
    seen_word,
    short_verdict,
    touch_up_lines,
    verdict_line,
    work_steps,
)
from layerpreview.picture.scene import Scene, appearance_with
from layerpreview.scheme import Scheme

U8 = NDArray[np.uint8]

SHEET, UNTOUCHED, BEFORE, AFTER, DIFFERENCE = (
    "touch_up.png",
    "touch_up_untouched.png",
    "touch_up_before.png",
    "touch_up_after.png",
    "touch_up_difference.png",
)
FIGURES, WORDS = "touch_up.json", "touch_up.txt"
TOUCH_UP_NAMES = (SHEET, UNTOUCHED, BEFORE, AFTER, DIFFERENCE, WORDS, FIGURES)
TIMES = 8
"""By how much differences are enhanced."""
TILE_PX = 420
_AROUND = 0.8
"""Of the feather, shown beyond it in a close-up."""
_TALLEST = 1.25
"""Of a tile against its width; of a close-up also the widest against its height."""
_LINE, _FEATHER_LINE = (214, 32, 32), (245, 245, 245)


@dataclass(frozen=True, eq=False)
class Seen:
    """One light's pictures of the face (rows, cols, 3): untouched, sanded with the damage drawn on it, repaired."""

    untouched: U8
    before: U8
    after: U8

    @property
    def difference(self) -> U8:
        """What the repair changes, enhanced, about a mid grey."""
        away = self.after.astype(np.int16) - self.untouched.astype(np.int16)
        return np.asarray(np.clip(128 + TIMES * away, 0, 255), dtype=np.uint8)


def touch_up_result(scheme: Scheme, scene: Scene, found: TouchUp, work: LocalWork, *, blend: bool) -> Result[TouchUp]:
    """The answer with its ways out; `scene` is of the damaged face alone. The table has a row for each distance."""
    lines = touch_up_lines(scheme, found, work, blend=blend)
    worst, feather = found.worst, Own(scheme.shop.units == "US").mm(found.feather_mm)

    def sheet() -> U8:
        return _sheet(scheme, scene, found, _pictures(scheme, scene, found, lights=scheme.lights))

    def write(paths: Paths) -> None:
        seen = _pictures(scheme, scene, found, lights=scheme.lights)
        write_picture(_sheet(scheme, scene, found, seen), paths[SHEET])
        first = seen[scheme.lights[0]]
        titles = {
            UNTOUCHED: (first.untouched, "untouched, to be swapped with the repaired one"),
            BEFORE: (first.before, "sanded for the repair; red: the damage, white: where the feather ends"),
            AFTER: (first.after, f"repaired, feather {feather}, the usual attempt"),
            DIFFERENCE: (first.difference, f"what the repair changes, {TIMES} times enhanced; grey is no change"),
        }
        for name, (pixels, words) in titles.items():
            told = [f"{scheme.name}: {found.face}", f"{words}; light {scheme.lights[0]}; computed, approximate"]
            strip = caption(told, width_px=pixels.shape[1], pixel_mm=scene.pixel_mm)
            write_picture(np.concatenate([pixels, strip]), paths[name], pixel_mm=scene.pixel_mm)
        write_text(paths[WORDS], "\n".join([*lines, ""]))

    return Result(
        found=found,
        line=f"Touch-up {scheme.name}, {found.face}: feather {feather}, {worst.de00.likely:.1f} dE00, {worst.verdict}",
        document=lambda _: _document(scheme, scene, found, work, lines, blend=blend),
        rows=lambda: [_row(level) for level in found.profile],
        text=lambda: "\n".join([*lines, ""]),
        names=TOUCH_UP_NAMES,
        write=write,
        json_name=FIGURES,
        picture=sheet,
        inputs=scheme.inputs,
    )


def _row(level: Level) -> dict[str, object]:
    values = asdict(level)
    for name in ("untouched", "repaired"):
        for channel, value in zip("Lab", values.pop(f"lab_{name}"), strict=True):
            values[f"{channel}_{name}"] = value
    return dict(values)


def _document(
    scheme: Scheme, scene: Scene, found: TouchUp, work: LocalWork, lines: Sequence[str], *, blend: bool
) -> dict[str, object]:
    return {
        "scheme": scheme.name,
        "approximate": True,
        "face": found.face,
        "depth": found.repair.depth,
        "texture": found.repair.texture if found.repair.depth == "base" else None,
        "hand": found.repair.hand,
        "clear": "blended" if blend else "whole face",
        "damage_mm": [ring.round(3).tolist() for ring in found.damage.rings()],
        "damage_mm2": found.damage.area_mm2,
        "feather_mm": found.feather_mm,
        "smallest_feather_mm": found.smallest_mm,
        "hides": found.hides,
        "verdict": {"seen": seen_word(found), "short": short_verdict(found), "line": verdict_line(scheme, found)},
        "advice": advice_lines(scheme, found),
        "worst_by_feather_de00": {f"{mm:g}": de00 for mm, de00 in found.worst_by_feather.items()},
        "steps": found.steps,
        "causes_de00": found.causes,
        "per_10_mm_de00": found.per_10_mm,
        "texture_de00": found.texture_de00,
        "dye_left": found.dye_left,
        "weakened_de00": found.weakened_de00,
        "edges": found.edges,
        "redo": {"up_to": [edge.name for edge in found.piece.edges], "area_m2": found.piece.area_m2},
        "sprayed_mm2": found.area_mm2,
        "coats_m2": found.coats_m2,
        "mixes": [
            {
                "title": mix.title,
                "needed_mL": mix.needed_mL,
                "make_mL": mix.make_mL,
                "dyes": mix.dyes,
                "others_mL": dict(mix.others_mL),
                "parts": part_words(mix),
                "warnings": mix.warnings,
            }
            for mix in work.mixes
        ],
        "work": work_steps(scheme, found, work, blend=blend),
        "cautions": [{"title": title, "text": text} for title, text in cautions_of(work)],
        "picture_px": (scene.width_px, scene.height_px),
        "close_up_px": _close_up(scene, found),
        "lines": list(lines),
    }


def _pictures(scheme: Scheme, scene: Scene, found: TouchUp, *, lights: Sequence[str]) -> dict[str, Seen]:
    """The face under each light, old coats as the middle one of the fadings has them."""
    fading, repair = usual_fading(found.fadings), found.repair
    touched = repair.depth != "clear"
    sanded = Mending(found.damage, found.feather_mm, repair.core_mm, fading, None, touched)
    nothing = Mending(found.damage, found.feather_mm, repair.core_mm, fading, None, False)
    laid = Mending(found.damage, found.feather_mm, repair.core_mm, fading, found.usual, touched)
    anew = repair.depth == "base" and scheme.base_for(found.face).kind != "wood"
    margin = {"margin_mm": repair.core_mm}
    scenes = [
        mended_scene(scene, nothing, texture=None, **margin),
        mended_scene(scene, sanded, texture="flat" if anew else None, **margin),
        mended_scene(scene, laid, texture=repair.texture if anew else None, **margin),
    ]
    looks = [
        appearance_with(scheme, scene, light, lambda base: fading.stack(stack_of(scheme, base=base)))
        for light in lights
    ]
    drawn = [small_pictures(each, looks) for each in scenes]
    return {
        light: Seen(drawn[0][i], _with_lines(drawn[1][i], scene, found), drawn[2][i]) for i, light in enumerate(lights)
    }


def _with_lines(pixels: U8, scene: Scene, found: TouchUp) -> U8:
    """The damage in red and the end of the feather in white, drawn on a picture of the face."""
    (face,) = scene.faces
    image = Image.fromarray(pixels)
    pen = ImageDraw.Draw(image)
    box = _close_up(scene, found)
    thick = max(2, round((box[2] - box[0]) / 250))
    # A ragged line of thousands of corners takes minutes to widen, and none of them shows within a pixel.
    reach = found.damage.shape.simplify(0.5 * scene.pixel_mm).buffer(found.feather_mm + found.repair.core_mm)
    end = reach.intersection(face.picture.outline.polygon)
    for shape, colour in ((end, _FEATHER_LINE), (found.damage.shape, _LINE)):
        for line in shapely.get_parts(shapely.get_parts(shape.boundary)):
            at = shapely.get_coordinates(line) / scene.pixel_mm + (face.left_px, face.top_px)
            pen.line([(float(x), float(y)) for x, y in at], fill=colour, width=thick, joint="curve")
    return np.asarray(image)


def _sheet(scheme: Scheme, scene: Scene, found: TouchUp, seen: Mapping[str, Seen]) -> U8:
    """The whole face under the first light, and the place itself under every light: before, after, difference."""
    high, wide = scene.height_px, scene.width_px
    box = _close_up(scene, found)
    whole_px = min(round(TILE_PX * high / wide), round(TILE_PX * _TALLEST))
    near_px = round(TILE_PX * (box[3] - box[1]) / (box[2] - box[0]))
    first = scheme.lights[0]
    whole = [(label, _tile(pixels, (0, 0, wide, high), whole_px)) for label, pixels in _named(seen[first], first)]
    near = [(label, _tile(pixels, box, near_px)) for light in seen for label, pixels in _named(seen[light], light)]
    note = (
        f"{verdict_line(scheme, found)} Red: the damage; white: where the feather ends. Seen straight on in even "
        "light; the usual attempt of the hand, whose scatter is assumed"
        + ("; light of the years: the middle of a wide range" if len(found.fadings) > 1 else "")
        + ". Computed, approximate."
    )
    top = labelled_sheet(whole, title=f"{scheme.name}: touch-up on {found.face}", note="", columns=3)
    below = labelled_sheet(near, title="Close up", note=note, columns=3)
    return np.concatenate([top, below, _strip(found, Own(scheme.shop.units == "US"), width_px=top.shape[1])])


def _named(seen: Seen, light: str) -> list[tuple[str, U8]]:
    """One light's tiles with their labels."""
    labels = f"sanded, {light}", f"repaired, {light}", f"difference, {TIMES} times, {light}"
    return list(zip(labels, (seen.before, seen.after, seen.difference), strict=True))


def _strip(found: TouchUp, own: Own, *, width_px: int) -> U8:
    """The colours along the feather, the middle of the damage at the left: untouched above, repaired below."""
    size = text_size_px(width_px)
    face, pad, high = font(size), size, 2 * size
    image = Image.new("RGB", (width_px, 2 * high + 6 * size), PAPER)
    pen = ImageDraw.Draw(image)
    head = "Colour alone, without texture, from the damage (left) outwards: above as it was, below as repaired."
    pen.text((pad, 0), fitted(pen, head, face, width_px - 2 * pad), font=face, fill=FAINT)
    edges = np.linspace(pad, width_px - pad, len(found.profile) + 1)
    for level, left, right in zip(found.profile, edges[:-1], edges[1:], strict=True):
        for row, lab in enumerate((level.lab_untouched, level.lab_repaired)):
            rgb_lin = lab_to_xyz(np.array([[lab]]), white_xyz=DISPLAY_WHITE_XYZ) @ XYZ_TO_RGB_LIN.T
            red, green, blue = (int(code) for code in screen_srgb8(rgb_lin.astype(np.float32))[0, 0])
            top = 2 * size + row * high
            pen.rectangle((left, top, right, top + high), fill=(red, green, blue))
    below = 2 * size + 2 * high + size // 3
    for level, left in list(zip(found.profile, edges, strict=False))[2::3]:
        pen.text((left, below), own.mm(round(level.away_mm, 1)), font=face, fill=INK)
        pen.text((left, below + round(1.3 * size)), f"{level.de00:.1f}", font=face, fill=FAINT)
    pen.text((pad, below + round(1.3 * size)), "CIEDE2000", font=face, fill=FAINT)
    return np.asarray(image)


def _close_up(scene: Scene, found: TouchUp) -> tuple[int, int, int, int]:
    """The box of pixels about the repair, nearly square."""
    left, top, right, bottom = found.damage.shape.bounds
    room = found.feather_mm * (1.0 + _AROUND) + found.repair.core_mm
    aspect = float(np.clip(scene.width_px / scene.height_px, 1.0 / _TALLEST, _TALLEST))
    half_mm = 0.5 * max((right - left + 2.0 * room) / aspect, bottom - top + 2.0 * room)
    half_px = min(half_mm / scene.pixel_mm, 0.5 * scene.height_px, 0.5 * scene.width_px / aspect)
    (face,) = scene.faces
    x, y = (0.5 * (a + b) / scene.pixel_mm + c for a, b, c in ((left, right, face.left_px), (top, bottom, face.top_px)))
    x = float(np.clip(x, half_px * aspect, scene.width_px - half_px * aspect))
    y = float(np.clip(y, half_px, scene.height_px - half_px))
    return round(x - half_px * aspect), round(y - half_px), round(x + half_px * aspect), round(y + half_px)


def _tile(pixels: U8, box: tuple[int, int, int, int], high_px: int) -> U8:
    """The box of a picture as a tile, TILE_PX wide; beside what is too narrow for it there is paper."""
    wide_px = min(TILE_PX, max(1, round(high_px * (box[2] - box[0]) / (box[3] - box[1]))))
    shown = Image.fromarray(pixels).resize((wide_px, high_px), Image.Resampling.LANCZOS, box=box)
    tile = Image.new("RGB", (TILE_PX, high_px), PAPER)
    tile.paste(shown, ((TILE_PX - wide_px) // 2, 0))
    return np.asarray(tile)
