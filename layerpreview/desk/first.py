"""The first picture: what the page drew of this very job when it was open before, there until the live one stands.

It is found by the bytes of the scheme's file and the stamps of all files that it names, before anything else is loaded.
"""

from __future__ import annotations

import binascii
import hashlib
import io
import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from layerpreview.held import usable_json
from layerpreview.output.live_kept import keep, kept

if TYPE_CHECKING:
    from layerpreview.desk.jobs import OpenJob

KIND = "first"


def first_picture(path: Path | None) -> bytes | None:
    """The JPEG of the job as it stands; None where there is none."""
    try:
        found = None if path is None else kept(KIND, _key(path))
        head, jpeg = (found or b"").split(b"\n", 1)
        known = usable_json(head)
        return jpeg if known == [[name, *_stamp(name)] for name, *_ in known] else None
    except (OSError, ValueError, TypeError):
        return None


def keep_first(job: OpenJob, body: Mapping[str, Any]) -> bool:
    """Keep what the page drew: `picture` (a data URL of a JPEG) of a `version` with its `files`. Gives
    whether it is of the job as it stands, and was kept."""
    from PIL import Image

    from layerpreview.desk.keep import text_of
    from layerpreview.desk.steps import version_of

    text = text_of(job.path)
    if job.read is None or text is None or version_of(text[0]) != job.version:
        return False
    if (body.get("version"), body.get("files")) != (job.read.version, job.read.files):
        return False
    try:
        jpeg = binascii.a2b_base64(str(body.get("picture")).partition(",")[2])
        Image.open(io.BytesIO(jpeg), formats=("JPEG",)).verify()
        head = json.dumps([[str(name), *_stamp(str(name))] for name, _ in job.read.stamps]).encode()
        keep(KIND, _key(job.path), head + b"\n" + jpeg)
    except (OSError, ValueError, SyntaxError):
        return False
    return True


def _key(path: Path) -> str:
    return repr((str(path.resolve()), hashlib.sha256(path.read_bytes()).hexdigest()))


def _stamp(name: str) -> tuple[int, int, int]:
    try:
        found = Path(name).stat()
    except FileNotFoundError:
        return 0, 0, 0  # where the shop's own values would stand
    return found.st_mtime_ns, found.st_size, found.st_ino
