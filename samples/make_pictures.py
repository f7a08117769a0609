"""Make the pictures of the README from the samples, from the project's folder: python -m samples.make_pictures

The photo of silver on a bench is none: it is made, with a known outline, as the photos that tracing is tested on are.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from PIL import Image
from pypdfium2 import PdfDocument

from layerpreview.job.done import BASE_COAT, CLEAR_COAT, BatchMade, CoatDone, Deed, FilmRead, Poured
from layerpreview.output.diary_entries import entry_of
from layerpreview.output.plain_json import json_line
from layerpreview.output.record_file import open_record
from layerpreview.workflows.evenness import evenness_files
from layerpreview.workflows.fit import fit_files
from layerpreview.workflows.fit_options import FitOptions
from layerpreview.workflows.ladder import ladder_files
from layerpreview.workflows.lifelike import turn_file
from layerpreview.workflows.photo_options import PhotoOptions
from layerpreview.workflows.reach import reach_files
from layerpreview.workflows.record import record_file
from layerpreview.workflows.render import render_files
from layerpreview.workflows.sheet import sheet_files
from layerpreview.workflows.start import start_job
from layerpreview.workflows.touch_up import touch_up_files
from tests.surface.part_photos import take
from tests.surface.part_truth import Scene

HERE = Path(__file__).parent
PICTURES = HERE / "pictures"
WIDTH_PX = 1200
ROW_PX = 330
BENCH = HERE / "silver_on_bench.jpg"
ON_A_BENCH = Scene(
    "silver on a bench", "mandolin", "silver", "grey", seed=72, sheet="A4", tilt_deg=14, hole=True, mp=4.0,
    view_mm=720.0, shift_mm=(-10.0, -115.0), lamp_mm=(-330.0, -300.0, 620.0), sky=0.55, lift_mm=20.0, spots=0.25,
    broad=0.15,
)  # fmt: skip


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        for name in ("octave_mandolin", "drum_shell"):
            render_files(HERE / f"{name}.toml", out=work / name)
            keep(work / name / "side_by_side.png", f"{name}.jpg")
        keep(work / "octave_mandolin" / "lifelike_window.png", "octave_mandolin_window.jpg")
        mandolin = HERE / "octave_mandolin.toml"
        ladder_files(mandolin, out=work, lights=["D65"], strengths=[0.25, 0.5, 1.0, 2.0], agreed=(1.0, 3))
        keep(work / "ladder_D65.png", "ladder.jpg")
        evenness_files(mandolin, out=work)
        keep(work / "evenness.png", "evenness.jpg")
        touch_up_files(mandolin, out=work, damage="100,150 130,148 128,170 104,172 mm", depth="base", lights=["D65"])
        keep(work / "touch_up.png", "touch_up.jpg")
        reach_files(mandolin, "#74561f", out=work)
        (work / "reach.png").replace(PICTURES / "reach.png")
        fit_files(HERE / "spray_out.csv", out=work, options=FitOptions(name="house amber"))
        (work / "house_amber_fit.png").replace(PICTURES / "fit.png")
        turn_file(mandolin, out=work)
        the_wall(mandolin, work / "sheet")
        from_a_photo(work / "photo")
        a_record(work / "job")
        in_a_row(work / "turn.webp", (0, 4, 18, 31), "octave_mandolin_turned.jpg")


def the_wall(scheme: Path, work: Path) -> None:
    """The first page of the mix sheet."""
    sheet_files(scheme, out=work, forms=["pdf"])
    page = PdfDocument(work / "mix_sheet.pdf")[0]
    page.render(scale=1.05).to_pil().convert("RGB").save(PICTURES / "mix_sheet.jpg", quality=70)


def from_a_photo(work: Path) -> None:
    """A photo, what was traced in it, and the part in colour."""
    BENCH.write_bytes(take(ON_A_BENCH).jpeg)
    start_job(work, photo=BENCH, options=PhotoOptions(depth="40 mm"))
    names = ("traced_edge.png", "front.jpg", "lifelike_window.png")
    shown = [Image.open(work / name).convert("RGB") for name in names]
    shown[2] = shown[2].crop((0, 0, shown[2].width, int(0.86 * shown[2].height)))
    row = [one.resize((round(one.width * ROW_PX / one.height), ROW_PX), Image.Resampling.LANCZOS) for one in shown]
    beside(row).save(PICTURES / "from_a_photo.jpg", quality=86)


def a_record(work: Path) -> None:
    """The cover of a mandolin that was sprayed nearly as planned."""
    work.mkdir()
    shutil.copy(HERE / "octave_mandolin.toml", work / "scheme.toml")
    poured = {"honey": (("amber", 2.9), ("red", 0.25)), "plum": (("red", 4.6), ("violet", 4.2))}
    total_mL, lots = {"honey": 200.0, "plum": 300.0}, {"amber": "A-31", "red": "R-08", "violet": "V-12"}
    films = {1: (39.0, 42.0, 44.0), 2: (34.0, 37.0, 38.0), 4: (19.0, 22.0), CLEAR_COAT: (52.0, 56.0)}
    coats = {BASE_COAT: 2, 1: 3, 2: 3, 3: 3, 4: 2, 5: 2, 6: 1, CLEAR_COAT: 4}
    start, deeds = datetime(2026, 3, 2, 8, tzinfo=UTC), list[Deed]()
    for name, dyes in poured.items():
        parts = tuple(Poured(dye, mL, "mL", lots[dye]) for dye, mL in dyes)
        deeds.append(BatchMade(id=name, time=start, batch=name, poured=parts, total_mL=total_mL[name]))
    for entry, count in coats.items():
        deeds += [CoatDone(id=f"{entry}-{n}", time=start, entry=entry, number=n + 1) for n in range(count)]
    for entry, readings_um in films.items():
        deeds.append(FilmRead(id=f"film-{entry}", time=start, entry=entry, number=1, readings_um=readings_um))
    (work / "job-log.jsonl").write_bytes("".join(f"{json_line(entry_of(deed))}\n" for deed in deeds).encode())
    made = record_file(work, out=work, now=start)
    page = PdfDocument(open_record(work / made.file).read("cover.pdf"))[0]
    page.render(scale=1.4).to_pil().convert("RGB").save(PICTURES / "record.jpg", quality=86)


def in_a_row(moving: Path, frames: Sequence[int], name: str) -> None:
    """Some frames of a moving picture side by side, each without its caption."""
    with Image.open(moving) as picture:
        shown = []
        for frame in frames:
            picture.seek(frame)
            shown.append(picture.convert("RGB").crop((0, 0, picture.width, int(0.8 * picture.height))))
    beside(shown).save(PICTURES / name, quality=86)


def beside(shown: Sequence[Image.Image]) -> Image.Image:
    """Pictures of one height in a row."""
    row = Image.new("RGB", (sum(one.width for one in shown), shown[0].height))
    left = 0
    for one in shown:
        row.paste(one, (left, 0))
        left += one.width
    return row


def keep(source: Path, name: str) -> None:
    """Reduce a sheet to the README's width; the sRGB profile stays in the file."""
    with Image.open(source) as picture:
        size = (WIDTH_PX, round(picture.height * WIDTH_PX / picture.width))
        profile = picture.info.get("icc_profile")
        picture.resize(size, Image.Resampling.LANCZOS).save(PICTURES / name, quality=86, icc_profile=profile)


if __name__ == "__main__":
    main()
