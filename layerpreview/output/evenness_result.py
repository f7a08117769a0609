"""How evenly the coats will lie: the finish under each hand, maps of the build and of what shows, and words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.advice import MOST_COATS, OVERLAPS, Advice, Evenness, Trial
from layerpreview.answers.evenness import ATTEMPTS, Part, Stripes, dye_build, local_de00
from layerpreview.answers.gun import plan_words
from layerpreview.answers.uneven import Spraying, UnevenFace, uneven_scene
from layerpreview.colour import JUST_SEEN_DE00, NOT_ACCEPTED_DE00
from layerpreview.doing import each_of
from layerpreview.finish.look import Appearance
from layerpreview.output.caption import labelled_sheet
from layerpreview.output.charts import map_legend, map_tile
from layerpreview.output.pictures import write_picture, write_pictures
from layerpreview.output.result import Paths, Result
from layerpreview.picture.scene import Scene, appearances_of
from layerpreview.scheme import Scheme
from layerpreview.spray.passes import HANDS

U8 = NDArray[np.uint8]

TILE_PX, MAP_TILE_PX = 560, 440
PICTURE, MAPS, SHEET, FIGURES = "uneven_{hand}.png", "build_maps.png", "evenness.png", "evenness.json"
MAP_RANGE = 0.15
HELPS_DE00 = 0.05
"""A smaller step of the figure is not seen in its one decimal."""
NOTE = "The verdict comes from flat samples side by side; over texture and with soft edges less is seen."


def evenness_names(hands: Sequence[str]) -> tuple[str, ...]:
    """The files: a picture of each hand, all of them on a sheet, maps, and the figures."""
    return (*(PICTURE.format(hand=hand) for hand in hands), SHEET, MAPS, FIGURES)


def evenness_result(scheme: Scheme, scene: Scene, found: Evenness) -> Result[Evenness]:
    """The answer with its ways out, pictures as large as `scene`; the table has a row for every hand."""
    hands = [stripes.hand for stripes in found.stripes]
    lines = evenness_lines(found)

    def maps() -> U8:
        return _map_sheet(found.part, {hand: faces[0] for hand, faces in found.usual.items()})

    def write(paths: Paths) -> None:
        look = appearances_of(scheme, scene, [found.light])[0]
        tiles = []
        for stripes in each_of("one hand after another", found.stripes, len(found.stripes)):
            shown = uneven_scene(scene, found.usual[stripes.hand])
            path = paths[PICTURE.format(hand=stripes.hand)]
            tiles.append(_picture(scheme, shown, look, stripes, found.gun.how, path))
        note = (
            f"Stripes: CIEDE2000 to the mean colour that 95 % of the area stays within, over {ATTEMPTS} attempts. "
            f"Gun: {found.gun.words}. Light {found.light}. {NOTE}"
        )
        title = f"{scheme.name}: as a hand lays it"
        write_picture(labelled_sheet(tiles, title=title, note=note, columns=len(tiles)), paths[SHEET])
        write_picture(maps(), paths[MAPS])

    return Result(
        found=found,
        line=f"Evenness {scheme.name}, "
        + ", ".join(f"{s.hand}: stripes {stripes_words(s.stripes_de00)}" for s in found.stripes),
        document=lambda _: _document(scheme, found, lines),
        rows=lambda: [_row(stripes) for stripes in found.stripes],
        text=lambda: "\n".join([*lines, ""]),
        names=evenness_names(hands),
        write=write,
        json_name=FIGURES,
        picture=maps,
        inputs=scheme.inputs,
    )


def _document(scheme: Scheme, found: Evenness, lines: Sequence[str]) -> dict[str, object]:
    return {
        "scheme": scheme.name,
        "approximate": True,
        "light": found.light,
        "spraying": asdict(found.gun.how),
        "spraying_from": found.gun.sources,
        "spraying_notes": found.gun.notes,
        "attempts": ATTEMPTS,
        "hands": {stripes.hand: asdict(HANDS[stripes.hand]) for stripes in found.stripes},
        "stripes": [asdict(stripes) for stripes in found.stripes],
        "passes": [asdict(each) for each in found.passes],
        "advice": asdict(found.advice) if found.advice else None,
        "lines": lines,
    }


def _row(stripes: Stripes) -> dict[str, object]:
    return {
        "hand": stripes.hand,
        "stripes_de00": stripes.stripes_de00,
        "typical_de00": stripes.typical_de00,
        "share_just_seen": stripes.share_just_seen,
        "share_not_accepted": stripes.share_not_accepted,
        "verdict": stripes.verdict,
        **{f"build_cv_{order}": cv for order, cv in stripes.build_cv.items()},
    }


def _picture(
    scheme: Scheme, scene: Scene, look: Appearance, stripes: Stripes, how: Spraying, path: Path
) -> tuple[str, NDArray[np.uint8]]:
    """Write the picture of one hand; its label and itself reduced, for the sheet."""
    lit, shown = scheme.lights[0], stripes_words(stripes.stripes_de00)
    caption = [
        f"{scheme.name}: {hand_words(stripes.hand)}",
        f"stripes {shown} (CIEDE2000): {stripes.verdict}; {plan_words(how)}",
        f"light {lit}, seen straight on; computed, scatter of the hand assumed; approximate",
    ]
    written = write_pictures(scene, [look], [caption], [path], small_width_px=TILE_PX)
    return f"{_short_words(stripes.hand)}: stripes {shown}, {stripes.verdict}", written.small[0]


def hand_words(hand: str) -> str:
    """What a hand is called."""
    return {"flat": "a perfectly steady hand", "good": "a practised hand", "hurried": "a hurried hand"}.get(hand, hand)


def _short_words(hand: str) -> str:
    """For a label that must fit its tile."""
    return {"flat": "steady", "good": "practised", "hurried": "hurried"}.get(hand, hand)


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
        tiles += [(f"{hand_words(hand)}: build", build), ("what shows of it", shown)]
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


def evenness_lines(found: Evenness) -> list[str]:
    """How it is sprayed, the figures of each hand, the work, and what would help."""
    gun = found.gun
    lines = [f"How it is sprayed: {gun.words}.", *(note[0].upper() + note[1:] for note in gun.notes)]
    for s in found.stripes:
        spread = ", ".join(f"{order}: {100 * cv:.1f} %" for order, cv in s.build_cv.items())
        words = hand_words(s.hand)
        lines.append(
            f"{words[0].upper()}{words[1:]}: stripes {stripes_words(s.stripes_de00)} ({s.verdict}); "
            f"{100 * s.share_just_seen:.0f} % of the area differs by 0.8 or more, "
            f"{100 * s.share_not_accepted:.0f} % by 1.8 or more; build varies by (standard deviation, by coat entry) "
            f"{spread}."
        )
    lines.append(
        f"Figures are over {ATTEMPTS} attempts of each hand; a picture shows the one that comes nearest to them."
    )
    for p in found.passes:
        lines.append(
            f"{p.order}. {p.what}: {p.strokes} strokes in {p.coats} coat{'s' if p.coats > 1 else ''}, "
            f"fan {p.fan_mm:.0f} mm, lines {p.spacing_mm:.0f} mm apart, {p.metres:.0f} m of travel, "
            f"{p.minutes:.1f} min of spraying."
        )
    if found.advice:
        lines += advice_lines(found.advice, hand_words(found.advised_hand))
    return [*lines, NOTE]


def stripes_words(de00: float) -> str:
    """A stripe figure to one decimal, never rounded across a threshold that its verdict goes by.

    >>> stripes_words(1.36), stripes_words(0.796), stripes_words(0.8)
    ('1.4', 'under 0.8', '0.8')
    """
    shown = f"{de00:.1f}"
    over = any(de00 < threshold <= float(shown) for threshold in (JUST_SEEN_DE00, NOT_ACCEPTED_DE00))
    return f"under {shown}" if over else shown


def advice_lines(a: Advice, hand: str) -> list[str]:
    """The fan's own ripple, the entry that matters most, and what of all that was tried would help.

    `hand`: the hand in words.
    """
    ripple = f"Fan and overlap alone leave a ripple of {100 * a.fan_ripple_now:.1f} % in a coat"
    if a.fan_ripple_best < a.fan_ripple_now:
        ripple += f", at {100 * a.fan_best_overlap:.0f} % overlap it would be {100 * a.fan_ripple_best:.1f} %"
    now = f"As it stands: {_came_out(a.now)} with {hand}."
    if a.now.stripes_de00 < JUST_SEEN_DE00:
        return [f"{ripple}.", f"{now} Keep it."]
    matters = (
        f"{now} Entry {a.order} ({a.what}) matters most: with it laid perfectly even, stripes would be "
        f"{stripes_words(a.even_de00)}."
    )
    tried = [trial for trial in (a.coats, a.overlap, a.both) if trial]
    if tried:
        return [f"{ripple}.", f"{matters} The same colour with", *(f"  {_option(t, a)}" for t in tried)]
    return [f"{ripple}.", matters, *_no_way(a)]


def _no_way(a: Advice) -> list[str]:
    limits = f"up to {MOST_COATS} coats, {100 * OVERLAPS[-1]:.0f} % overlap"
    gain = a.now.stripes_de00 - a.best.stripes_de00 if a.best else 0.0
    if a.best is None or gain < HELPS_DE00:
        return [f"Nothing tried ({limits}) helps: steady the hand first."]
    lines = [f"Nothing tried ({limits}) gets below what is seen. The best for the least work:"]
    lines.append(f"  {_option(a.best, a)}, {gain:.1f} less")
    if a.remains == a.order:
        return [*lines, f"What remains is still mostly entry {a.order}: steady the hand there."]
    return [*lines, f"What remains is mostly entry {a.remains} ({a.remains_what})."]


def _option(trial: Trial, a: Advice) -> str:
    coats = f"{trial.coats} coat{'s' if trial.coats > 1 else ''} of entry {a.order} at "
    strength = "the same strength" if trial.strength == 1.0 else f"{trial.strength:.2g} times the strength"
    everywhere = " everywhere" if trial.overlap != a.now.overlap else ""
    return f"{coats}{strength}, {100 * trial.overlap:.3g} % overlap{everywhere}: {_came_out(trial)}"


def _came_out(trial: Trial) -> str:
    return f"stripes {stripes_words(trial.stripes_de00)} ({trial.verdict})"
