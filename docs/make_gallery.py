"""Make the gallery's page and pictures, from the project's folder: python -m docs.make_gallery [NAME ...]

With names the pictures of those finishes alone, with the word page none: the page is written anew each time. The
pictures of all take some minutes. What the page says of a finish comes from its scheme: the sentence from the scheme's
first line, coats and amounts from what `check` and the mix sheet say.
"""

from __future__ import annotations

import io
import re
import sys
import tempfile
from importlib import resources
from pathlib import Path

import numpy as np
from PIL import Image, ImageOps

from layerpreview.colour import LIFELIKE
from layerpreview.finish.layers import dyes_in
from layerpreview.finish.view import SURROUNDINGS
from layerpreview.job.batches import mix_amounts
from layerpreview.job.products import details_of
from layerpreview.job.sprayed import stages_surveyed
from layerpreview.output.pictures import rendered_small
from layerpreview.output.sheet_words import plain
from layerpreview.picture.faces import shapes_of
from layerpreview.picture.lifelike import lifelike_of, looks_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import DyeCoat, Scheme, describe, load_scheme
from layerpreview.told import Told
from layerpreview.workflows.gallery import GALLERY, finish_text, finish_title
from layerpreview.workflows.ladder import ladder
from layerpreview.workflows.lifelike import write_lifelike

HERE = Path(__file__).parent
PAGE, PICTURES = HERE / "gallery.md", HERE / "pictures" / "gallery"
SCHEMES = Path(str(resources.files("layerpreview"))) / "data" / "gallery"
ROOMS = {
    "oat": "window",
    "rhubarb": "window",
    "hoarfrost": "overcast",
    "straw": "workshop",
    "shallows": "workshop",
    "apricot": "window",
    "quince": "window",
    "chestnut": "window",
    "heather": "stage",
    "embers": "window",
    "fir": "workshop",
    "slate": "window",
}
"""Where each is looked at: what becomes its base."""
SEEN = {
    "window": "by a window",
    "overcast": "under an overcast sky",
    "workshop": "in a workshop",
    "stage": "on a stage",
}
LIFELIKE_BYTES, LADDER_BYTES, SMALL_BYTES = 90_000, 40_000, 9_000
SMALL, ACROSS = "../layerpreview/data/gallery", 4
"""Where the small pictures lie, seen from the page, and how many of them are in a row."""
TALLEST_PX, WIDEST_PX, SMALL_PX, CELL_PX = 1000, 860, 240, 200
LADDER_COATS, LADDER_CELL_PX, LADDER_CELL_MM = 6, 110, 25.0
QUALITIES, SIZES = (92, 88, 84, 80, 75, 70, 65, 60), (1.0, 0.92, 0.85, 0.78, 0.7)

HEAD = """\
# The gallery

Twelve finishes of our own, from pale to black, over silver, white and wood, on invented parts. Leaf through them,
take the one that comes nearest to what you have in mind, and make it yours: one line begins a job with it, and the
scheme in it is short, with its comments, for you to change.

Pictures, colours and amounts are approximate. The dyes are generic ones of the library: they show the kind of colour,
and a sprayed card of your own makes it yours. Amounts are as on the mix sheet: what the job takes, with what misses
the part and stays in the cup, as likely and from low to high; and a batch that is easily measured, with the dye, as
sold, that goes into it. Drops differ from one dropper to the next.

Clears, lacquers and dye in solvent burn, and many hardeners hold isocyanates: the safety data sheets, the products'
own sheets, local codes and licensed practice come before anything on this page.

"""
FOOT = """\
## And then

Open `scheme.toml` of the job you began in any text editor, change a dye, a strength or a width, and make its pictures
again:

```sh
layerpreview render my-oat
layerpreview ladder my-oat
layerpreview sheet my-oat
```
"""


def page() -> str:
    """The page: every finish with its pictures, what is on it, amounts and the command that begins it."""
    cells = [f"[![{_what(name)}]({SMALL}/{name}.jpg)<br>{name.capitalize()}](#{name})" for name in GALLERY]
    rows = [cells[i : i + ACROSS] for i in range(0, len(cells), ACROSS)]
    rows.insert(1, ["---"] * ACROSS)
    index = "".join(f"| {' | '.join(row)} |\n" for row in rows)
    return "\n".join([HEAD + index, *(_section(name) for name in GALLERY), FOOT])


def _what(name: str) -> str:
    return finish_title(name).partition(": ")[2]


def _section(name: str) -> str:
    scheme = load_scheme(SCHEMES / f"{name}.toml")
    sentence = finish_text(name).splitlines()[0].removeprefix(f"# {name.capitalize()}: ").partition(" An invented")[0]
    told = list(describe(scheme))
    first = next(i for i, line in enumerate(told) if line.startswith("1. "))
    last = next(i for i, line in enumerate(told) if line.startswith("then clear"))
    part = told[0].removeprefix(f"{scheme.name}: ")
    taped = [line for line in told[2:first] if line.startswith("taped off")]
    coats = "\n".join(told[first:last])
    dyed = next(coat for coat in scheme.coats if isinstance(coat, DyeCoat))
    return f"""\
## {name.capitalize()}

![{finish_title(name)}, {SEEN[ROOMS[name]]}](pictures/gallery/{name}.jpg)

{sentence[0].upper()}{sentence[1:]} Seen {SEEN[ROOMS[name]]}.

```sh
layerpreview start my-{name} --like {name}
```

Part: {_inches(part)}. Base: {_inches("; ".join([told[1].removeprefix("base: "), *taped]))}.

{_inches(coats)}

Then {told[last].removeprefix("then ")}.

{amounts(scheme)}
The ladder of {dyed.mix}, of which there {"is 1 coat" if dyed.coats == 1 else f"are {dyed.coats} coats"} here:

![{dyed.mix}, coat by coat](pictures/gallery/{name}_ladder.jpg)
"""


def _inches(text: str) -> str:
    """The same text with inches behind every length in mm, neither finer than a hand measures."""
    return re.sub(
        r"(\d+(?:\.\d+)?) mm", lambda found: f"{float(found[1]):.3g} mm ({float(found[1]) / 25.4:.2g} in)", text
    )


def amounts(scheme: Scheme) -> str:
    """What the job takes of all that is sprayed, and what goes into the batch of it, as on the mix sheet: a table."""
    shapes, details = shapes_of(scheme), details_of(scheme)
    stages = stages_surveyed(scheme, details, shapes, [Survey(scheme, shape) for shape in shapes])
    rows = ["| mix | the job takes | make | dye in it | mL | drops |", "| --- | --- | --- | --- | --- | --- |"]
    for mix in mix_amounts(scheme, details, stages):
        head = f"{mix.title} | {_range(mix.needed_mL)} mL | {plain(mix.make_mL)} mL"
        if mix.kind != "dye":
            rows.append(f"| {head} | | | |")
            continue
        measured = {part.name: part.mL for part in mix.batch.parts}
        for dye in dyes_in(scheme, scheme.mixes[mix.title]):
            mL = measured[dye.name]
            assert mL is not None
            rows.append(f"| {head} | {dye.name} | {plain(mL)} | {_drops(dye.drops_per_mL.scaled(float(mL)))} |")
            head = " | | "
    return "\n".join([*rows, ""])


def _range(told: Told) -> str:
    return f"{_short(told.likely)} ({_short(told.low)} to {_short(told.high)})"


def _drops(told: Told) -> str:
    """As whole drops are counted."""
    return f"{told.likely:.0f} ({told.low:.0f} to {told.high:.0f})"


def _short(value: float) -> str:
    """To two digits, which is more than these are known to."""
    return f"{value:.2g}" if value < 100 else f"{float(f'{value:.2g}'):.0f}"


def draw(name: str) -> None:
    """The lifelike picture, its small copy for the desk, and the ladder of the mix that is sprayed first."""
    scheme = load_scheme(SCHEMES / f"{name}.toml")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "seen.png"
        width_px = WIDEST_PX
        write_lifelike(scheme, SURROUNDINGS[ROOMS[name]], path, width_px=width_px)
        if (height_px := _size(path)[1]) > TALLEST_PX:
            # Drawn anew, not made smaller, so that its words stay readable.
            write_lifelike(
                scheme, SURROUNDINGS[ROOMS[name]], path, width_px=max(400, width_px * TALLEST_PX // height_px)
            )
        with Image.open(path) as seen:
            profile = seen.info.get("icc_profile")
            keep(seen.convert("RGB"), PICTURES / f"{name}.jpg", most_bytes=LIFELIKE_BYTES, profile=profile)
    small = lifelike_of(scheme, SURROUNDINGS[ROOMS[name]], width_px=SMALL_PX)
    pixels = rendered_small(small, looks_of(scheme, small, scheme.lights[0]), rolled_from=LIFELIKE)
    keep(Image.fromarray(pixels), SCHEMES / f"{name}.jpg", most_bytes=SMALL_BYTES, profile=None)
    strip = ladder(
        scheme,
        lights=["D65"],
        most_coats=LADDER_COATS,
        cell_mm=LADDER_CELL_MM,
        cell_px=LADDER_CELL_PX,
    )
    assert strip.picture is not None
    keep(Image.fromarray(strip.picture()), PICTURES / f"{name}_ladder.jpg", most_bytes=LADDER_BYTES, profile=profile)


def _size(path: Path) -> tuple[int, int]:
    with Image.open(path) as picture:
        return picture.size


def keep(picture: Image.Image, path: Path, *, most_bytes: int, profile: bytes | None = None) -> None:
    """Write a JPEG file at the best quality that keeps it small enough, made smaller where none is good enough."""
    for size in SIZES:
        shape = (round(picture.width * size), round(picture.height * size))
        shown = picture if size == 1.0 else picture.resize(shape, Image.Resampling.LANCZOS)
        for quality in QUALITIES:
            made = io.BytesIO()
            shown.save(made, "JPEG", quality=quality, optimize=True, icc_profile=profile)
            if made.tell() <= most_bytes:
                path.write_bytes(made.getvalue())
                return
    sys.exit(f"{path.name} is too large at any quality")


def side_by_side() -> Image.Image:
    """All twelve in two rows, each on its own picture's ground: what README shows of the gallery."""
    across = len(GALLERY) // 2
    sheet = Image.new("RGB", (across * CELL_PX, 2 * CELL_PX))
    for i, name in enumerate(GALLERY):
        with Image.open(SCHEMES / f"{name}.jpg") as small:
            shown = ImageOps.contain(small.convert("RGB"), (CELL_PX, CELL_PX), Image.Resampling.LANCZOS)
        # The ground is carried on from the picture's borders.
        wide, high = CELL_PX - shown.width, CELL_PX - shown.height
        around = ((high // 2, high - high // 2), (wide // 2, wide - wide // 2), (0, 0))
        ground = Image.fromarray(np.pad(np.asarray(shown), around, mode="edge"))
        sheet.paste(ground, (i % across * CELL_PX, i // across * CELL_PX))
    return sheet


def main(names: list[str]) -> None:
    PICTURES.mkdir(parents=True, exist_ok=True)
    for name in [name for name in GALLERY if not names or name in names]:
        draw(name)
    keep(side_by_side(), PICTURES.parent / "gallery.jpg", most_bytes=LIFELIKE_BYTES)
    PAGE.write_text(page(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(sys.argv[1:])
