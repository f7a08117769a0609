"""What is typed to begin the same job without the page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from layerpreview.desk.begin_told import one_of, options_asked, pulls_asked
from layerpreview.desk.chips import WORDS, base_text
from layerpreview.desk.uploads import Uploads
from layerpreview.errors import typed
from layerpreview.scheme.source import toml_string
from layerpreview.workflows.start import SHAPES, size_names


def command_of(folder: str, uploads: Uploads, body: Mapping[str, Any]) -> str:
    """The command that begins the job that `body` asks for in `folder`, and in words what no command does.

    Raises InputError for what cannot be read.
    """
    start = f"layerpreview start {typed(folder)}"
    lines: list[str] = []
    mended = False
    source = body.get("from", "photo")
    if source == "photo":
        start += _photo_words(uploads, body)
        mended = bool(pulls_asked(body)) or body.get("keep") is not None
    elif source == "shape" and (shape := one_of(body, "shape", SHAPES)):
        start += f" --shape {typed(shape)}"
        given = body.get("sizes")
        sizes = given if isinstance(given, dict) else {}
        lines += [f"{name} = {toml_string(str(sizes.get(name, '')))}" for name in size_names(shape)]
    elif source == "drawing":
        drawing = uploads.get(body.get("drawing")).name
        lines += ['shape = "drawing"', f"drawing = {toml_string(drawing)}"]
    if base := one_of(body, "base", WORDS):
        kind, made, *_ = (line.partition("  ")[0] for line in base_text(base).splitlines())
        lines += [kind, made]
    then = [f"in scheme.toml: {', '.join(lines)}"] if lines else []
    return "; then ".join([start, *(["mend front.svg"] if mended else []), *then])


def _photo_words(uploads: Uploads, body: Mapping[str, Any]) -> str:
    lamps = body.get("lamps")
    if isinstance(lamps, dict) and lamps:
        photos = [uploads.get(key).name for key in lamps.values()]
        more = {"--lamp-sides": ",".join(str(side) for side in lamps)}
    else:
        photos, more = [uploads.get(body.get("photo")).name], {}
    words = "".join(f" --photo {typed(name)}" for name in photos)
    return words + "".join(f" {name} {typed(value)}" for name, value in {**more, **options_asked(body).told()}.items())
