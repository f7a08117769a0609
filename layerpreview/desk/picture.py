"""The picture of the open job: data and textures for the page's shader, or whole frames where it has none."""

from __future__ import annotations

import io
import json
import threading
from collections import OrderedDict
from collections.abc import Collection, Hashable, Mapping

from PIL import Image

from layerpreview.colour import LIFELIKE, LIGHT_NAMES
from layerpreview.desk.jobs import Read
from layerpreview.desk.memory import give_back
from layerpreview.errors import InputError, Problem
from layerpreview.finish.view import surroundings_of
from layerpreview.output.live import live_picture
from layerpreview.output.live_kept import Data, keep_picture, kept_picture, read_once
from layerpreview.output.pictures import rendered_small
from layerpreview.picture.lifelike import Lifelike, Pose, lifelike_of, looks_of
from layerpreview.scheme import Scheme
from layerpreview.threads import Made

USUAL_AROUND = "window"
MOST_TEXTURE_BYTES = 64_000_000
"""Of textures in memory; those that lie in files count an eighth."""
FRAME_QUALITY = 85
FRAME_PX = (64, 1600)
MOST_PITCH_DEG = 85.0


class Textures:
    """The texture files of the last pictures by their hash; the longest unasked go once they are too much."""

    def __init__(self, most_bytes: int = MOST_TEXTURE_BYTES) -> None:
        self._most, self._bytes, self._lock = most_bytes, 0, threading.Lock()
        self._files: OrderedDict[str, Data] = OrderedDict()

    def add(self, files: Mapping[str, Data]) -> None:
        """Keep the files of one picture."""
        with self._lock:
            for name, data in files.items():
                if name not in self._files:
                    self._files[name] = data
                    self._bytes += _weight(data)
                self._files.move_to_end(name)
            while self._bytes > self._most and len(self._files) > len(files):
                self._bytes -= _weight(self._files.popitem(last=False)[1])

    def have(self, names: Collection[str]) -> bool:
        """Whether all of these are still kept; they count as asked for."""
        with self._lock:
            there = [name for name in names if name in self._files]
            for name in there:
                self._files.move_to_end(name)
            return len(there) == len(set(names))

    def get(self, name: str) -> bytes | None:
        """The bytes of a texture; None where it is no longer kept, so that the picture is asked for anew."""
        with self._lock:
            found = self._files.get(name)
        return None if found is None else read_once(found)


def _weight(data: Data) -> int:
    return len(data) if isinstance(data, bytes) else len(data) // 8


textures = Textures()
_data: Made[tuple[bytes, frozenset[str]]] = Made(4)
_scenes: Made[Lifelike] = Made(2)


def live(read: Read, *, around: str, light: str | None = None) -> bytes:
    """The live picture as JSON, ready to send; its big parts are kept by their hash.

    Raises InputError for surroundings or a light that there are not, and PictureError.
    """
    lights = _lights(read.scheme, light)

    def make() -> tuple[bytes, frozenset[str]]:
        kept_as = repr((read.version, read.scheme, read.stamps, around, lights))
        found = kept_picture(kept_as)
        if found is None:
            picture = live_picture(read.scheme, surroundings_of(read.scheme, around), lights=lights)
            told = json.dumps({"version": read.version, "files": read.files, **picture.data}, allow_nan=False).encode()
            keep_picture(kept_as, told, picture.textures)
            found = told, picture.textures
            give_back()
        textures.add(found[1])
        return found[0], frozenset(found[1])

    key: Hashable = (read.version, read.shapes, around, lights)
    told, names = _data.get(key, make)
    if not textures.have(names):  # other pictures have pushed some out since
        _data.forget(key)
        told, _ = _data.get(key, make)
    return told


def _lights(scheme: Scheme, light: str | None) -> tuple[str, ...]:
    """The scheme's lights, and the one that is asked for if it is another."""
    if light is not None and light not in LIGHT_NAMES:
        raise InputError(Problem("no such light", f"use one of {', '.join(LIGHT_NAMES)}", field="light", value=light))
    return tuple(dict.fromkeys((*scheme.lights, *([light] if light else []))))


def frame(
    read: Read, *, around: str, light: str | None, width_px: int, yaw_deg: float | None, pitch_deg: float | None
) -> bytes:
    """One frame of the lifelike picture as JPEG, for a browser that cannot draw it; as it stands where not turned."""
    width_px = min(max(width_px, FRAME_PX[0]), FRAME_PX[1])
    pose = None
    if yaw_deg is not None or pitch_deg is not None:
        pitch = min(max(pitch_deg or 0.0, -MOST_PITCH_DEG), MOST_PITCH_DEG)
        pose = Pose((yaw_deg or 0.0) % 360.0, pitch)
    room = surroundings_of(read.scheme, around)
    key: Hashable = (read.version, read.shapes, around, width_px, pose)
    scene = _scenes.get(key, lambda: lifelike_of(read.scheme, room, width_px=width_px, pose=pose, shapes=read.shapes))
    looks = looks_of(read.scheme, scene, _lights(read.scheme, light)[-1 if light else 0])
    out = io.BytesIO()
    shown = rendered_small(scene, looks, rolled_from=LIFELIKE)
    Image.fromarray(shown).save(out, "JPEG", quality=FRAME_QUALITY)
    return out.getvalue()
