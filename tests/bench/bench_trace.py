"""How well a part is traced from its photo, over scenes with a known outline: prints figures, judges nothing.

    python tests/bench/bench_trace.py                  every scene at 2 megapixels (two to five minutes)
    python tests/bench/bench_trace.py --mp 1 silver    the scenes with "silver" in their name at 1 megapixel
    python tests/bench/bench_trace.py --sizes          some scenes at 1, 2 and 12 megapixels beside each other
    python tests/bench/bench_trace.py --sheet all.png  and all of them in one picture, traced in red, truth in green

Per scene: what the tool says, area [% off] as seen and as told, edge [mm] root mean square and 99 %, whether the
openings are right, seconds, peak memory [MiB]. As seen: what was traced, taken back to mm by the true camera, so that
tracing alone is judged; as told: with the scale that the tool makes of the part's true width. The edge is off by the
worse of traced to true and true to traced. Memory is what the tracing adds at its peak, where the system tells (Linux).
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw

sys.path.insert(0, str(Path(__file__).parents[2]))

from layerpreview.errors import PictureError
from layerpreview.surface.part import trace_part
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.square import find_sheet
from tests.surface.part_photos import PartPhoto, take
from tests.surface.part_scenes import fair_scenes, unfair_scenes
from tests.surface.part_truth import Scene, Truth, seen

F64 = NDArray[np.float64]
_SAME_HOLE = 0.8  # shared area over joint area
_EVERY_MM = 0.5
_TILE_PX = (320, 240)


@dataclass(frozen=True, eq=False)
class Answer:
    """What a tracer says of a photo."""

    verdict: str
    """"good", "look at it" or "not usable"."""
    rings_px: tuple[F64, ...] = ()
    """Outline, then openings, in px from the picture's corner; none when not usable."""
    told_mm2: float = 0.0


def answer(picture: PictureData, *, part_width_mm: float, leave_out: tuple[F64, ...] = ()) -> Answer:
    """The tracer that is judged: change it here alone."""
    try:
        found = trace_part(picture, part_width_mm=part_width_mm, leave_out=leave_out)
    except PictureError:
        return Answer("not usable")
    traced = found.traced
    rings = (traced.outline.outer, *traced.outline.openings.values())
    placed = tuple(ring / traced.pixel_mm + np.array(traced.corner_px) for ring in rings)
    return Answer(found.sureness.verdict, placed, traced.outline.area_m2 * 1e6)


def sheets(photo: PartPhoto) -> tuple[F64, ...]:
    """The corners of the sheet of paper as the tool finds it in the photo, where one lies there."""
    if photo.truth.sheet_mm is None:
        return ()
    try:
        return (find_sheet(photo.picture).known_px,)
    except PictureError:
        return ()


@dataclass(frozen=True)
class Off:
    """How far an answer is off."""

    area_percent: float
    told_percent: float
    rms_mm: float
    most_mm: float
    """99 % of the edge is nearer."""
    holes_right: bool


def off(said: Answer, truth: Truth) -> Off:
    rings = [seen(np.linalg.inv(truth.to_px), ring) for ring in said.rings_px]
    got, true = (shapely.make_valid(shapely.Polygon(outer, holes)) for outer, *holes in (rings, truth.rings_mm))
    rms, most = edge_off_mm(rings[0], truth.rings_mm[0])
    return Off(
        100 * (got.area / true.area - 1), 100 * (said.told_mm2 / true.area - 1), rms, most, holes_match(rings, truth)
    )


def edge_off_mm(one: F64, other: F64) -> tuple[float, float]:
    """Root mean square and 99 % of the way between two rings [mm], the worse of there and back."""
    lines = [shapely.LinearRing(ring) for ring in (one, other)]
    ways = []
    for line, towards in (lines, lines[::-1]):
        points = shapely.points(shapely.get_coordinates(shapely.segmentize(line, _EVERY_MM)))
        ways.append(shapely.distance(points, towards))
    return max(float(np.sqrt(np.square(way).mean())) for way in ways), max(float(np.quantile(w, 0.99)) for w in ways)


def holes_match(rings_mm: list[F64], truth: Truth) -> bool:
    got, true = ([shapely.Polygon(ring) for ring in rings[1:]] for rings in (rings_mm, truth.rings_mm))
    if len(got) != len(true):
        return False
    return all(any(a.intersection(b).area > _SAME_HOLE * a.union(b).area for a in got) for b in true)


def measured(photo: PartPhoto) -> tuple[Answer, float, float]:
    """The answer, seconds, and MiB added at the peak (nan where the system does not tell)."""
    picture, leave_out = photo.picture, sheets(photo)
    wide = float(np.ptp(photo.truth.rings_mm[0][:, 0]))
    before = _memory_mib("VmRSS", restart=True)
    start = time.perf_counter()
    said = answer(picture, part_width_mm=wide, leave_out=leave_out)
    seconds = time.perf_counter() - start
    return said, seconds, _memory_mib("VmHWM") - before


def _memory_mib(what: str, *, restart: bool = False) -> float:
    try:
        if restart:
            Path("/proc/self/clear_refs").write_text("5", encoding="utf-8")  # the peak starts anew from here
        lines = Path("/proc/self/status").read_text(encoding="utf-8").splitlines()
        return next(float(line.split()[1]) / 1024 for line in lines if line.startswith(what + ":"))
    except OSError:
        return float("nan")


def row(scene: Scene, said: Answer, away: Off | None, seconds: float, mib: float) -> str:
    head = f"{scene.name:38} {'' if scene.fair else 'unfair':6} {scene.mp:4g} {said.verdict:10}"
    tail = f"{seconds:6.2f} {mib:6.0f}"
    if away is None:
        return f"{head} {'-':>8} {'-':>8} {'-':>7} {'-':>7} {'-':>6} {tail}"
    holes = "right" if away.holes_right else "wrong"
    figures = f"{away.area_percent:+8.2f} {away.told_percent:+8.2f} {away.rms_mm:7.2f} {away.most_mm:7.2f} {holes:>6}"
    return f"{head} {figures} {tail}"


def summary(results: list[tuple[Scene, Answer, Off | None]]) -> Iterator[str]:
    """The rules that a tracer is held to, counted."""
    fair = [(said, away) for scene, said, away in results if scene.fair]
    good = [(scene, away) for scene, said, away in results if said.verdict == "good" and away]
    near = [abs(away.area_percent) <= 1 and away.rms_mm <= 1 and away.holes_right for _, away in good]
    yield f"fair scenes called good: {sum(said.verdict == 'good' for said, _ in fair)} of {len(fair)}"
    yield f"called good: {len(good)}; of these area within 1 %, edge within 1 mm rms, openings right: {sum(near)}"
    yield f"called good and more than 3 % off: {sum(abs(away.area_percent) > 3 for _, away in good)}"
    ours = [away for _, away in fair if away and abs(away.area_percent) <= 1 and away.rms_mm <= 1 and away.holes_right]
    yield f"fair scenes traced right, whatever is said: {len(ours)} of {len(fair)}"


def tile(scene: Scene, photo: PartPhoto, said: Answer) -> Image.Image:
    """The scene in small, truth in green, traced in red."""
    picture = Image.fromarray(photo.picture.pixels)
    small = picture.resize(_TILE_PX)
    pen, scale = ImageDraw.Draw(small), _TILE_PX[0] / picture.width
    for rings, colour in ((photo.truth.rings_px, (30, 220, 60)), (said.rings_px, (230, 30, 30))):
        for ring in rings:
            pen.line([tuple(at * scale) for at in (*ring, ring[0])], fill=colour, width=1)
    pen.text((4, 2), f"{scene.name}: {said.verdict}", fill=(255, 255, 0), stroke_width=1, stroke_fill=(0, 0, 0))
    return small


def across_sizes(scenes: list[Scene]) -> None:
    """Each scene at three sizes, and how far apart their outlines lie on the bench."""
    for scene in scenes:
        found: dict[float, F64] = {}
        for mp in (1.0, 2.0, 12.0):
            photo = take(scene.at(mp))
            said, seconds, mib = measured(photo)
            print(row(scene.at(mp), said, off(said, photo.truth) if said.rings_px else None, seconds, mib), flush=True)
            if said.rings_px:
                found[mp] = seen(np.linalg.inv(photo.truth.to_px), said.rings_px[0])
        for mp in found.keys() - {2.0} if 2.0 in found else ():
            rms, most = edge_off_mm(found[mp], found[2.0])
            print(f"    {mp:g} MP to 2 MP: rms {rms:.2f}, 99 % {most:.2f} mm")


def main() -> None:
    options = argparse.ArgumentParser(description="How well a part is traced from its photo.")
    options.add_argument("name", nargs="*", help="only scenes with one of these in their name")
    options.add_argument("--mp", type=float, default=2.0, help="megapixels")
    options.add_argument("--sizes", action="store_true", help="every seventh fair scene at 1, 2 and 12 megapixels")
    options.add_argument("--sheet", type=Path, help="write all scenes with their edges as one picture")
    asked = options.parse_args()
    scenes = [
        scene for scene in fair_scenes() + unfair_scenes() if not asked.name or any(n in scene.name for n in asked.name)
    ]
    print("scene, fair, MP, verdict, area seen and told [%], edge rms and 99 % [mm], openings, seconds, MiB")
    if asked.sizes:
        across_sizes([scene for scene in scenes if scene.fair][::7])
        return
    results, tiles = [], []
    for scene in scenes:
        photo = take(scene.at(asked.mp))
        said, seconds, mib = measured(photo)
        away = off(said, photo.truth) if said.rings_px else None
        results.append((scene, said, away))
        print(row(scene.at(asked.mp), said, away, seconds, mib), flush=True)
        tiles.append(tile(scene, photo, said))
    print(*summary(results), sep="\n")
    if asked.sheet:
        sheet = Image.new("RGB", (8 * _TILE_PX[0], -(-len(tiles) // 8) * _TILE_PX[1]), "white")
        for k, small in enumerate(tiles):
            sheet.paste(small, (k % 8 * _TILE_PX[0], k // 8 * _TILE_PX[1]))
        sheet.save(asked.sheet)


if __name__ == "__main__":
    main()
