"""A scheme, its log and its photos as they go into a record: every file beside it under a plain name, and nothing that
says whose they are (no folders of this computer, no camera, no drawing program's notes).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import Any
from xml.etree import ElementTree

import numpy as np
from PIL import Image

from layerpreview.errors import InputError, Problem
from layerpreview.job.done import Done
from layerpreview.output.files import file_stem, is_inside, utf8
from layerpreview.output.joblog import JobLog
from layerpreview.output.landing import aside
from layerpreview.output.photo_copy import write_photo_copy
from layerpreview.output.plain_json import json_line
from layerpreview.scheme import Scheme
from layerpreview.scheme.dyefile import library_dye_text
from layerpreview.scheme.report import as_path
from layerpreview.scheme.rules import file_places
from layerpreview.scheme.shop_values import shop_beside
from layerpreview.scheme.source import open_toml, plain_line_ends
from layerpreview.scheme.written import Text, as_written
from layerpreview.surface.picture_file import read_picture
from layerpreview.surface.svg import check_drawing

SCHEME_NAME, SHOP_NAME = "scheme.toml", "shop.toml"
_SHOP_TABLES = ("film", "transfer", "drops_per_mL")
_JPEG = (".jpg", ".jpeg")
_ELSEWHERE = re.compile(r"\.\.[\\/]|/[^/\s]+/|[A-Za-z]:[\\/]|\\\\[^\\\s]")
"""How a path begins that leads out of the job's folder."""
_HOMES = re.compile(r"(?<!\w)(?:/home|/Users|[A-Za-z]:[\\/]+Users)[\\/]+[^\\/\n\"']+")
_PROGRAMS = ("inkscape", "sodipodi")
_SCHEMA_LINE = re.compile(r"\A#:schema [^\n]*\n")
"""Names a file for editors that lies beside a scheme, and not in a record."""


def scheme_files(scheme: Scheme) -> dict[str, bytes]:
    """The scheme as scheme.toml and every file that it names, by names without a folder; its remarks are kept.

    Also the shop's values that stand beside it or above it, or a file that says that there were none: what is read
    later must not take another shop's. Raises InputError (PictureError) for a picture that cannot be read.
    """
    names = copy_names(scheme)
    text, taken = _SCHEMA_LINE.sub("", scheme.text), {SCHEME_NAME, SHOP_NAME, *names.values()}
    files = {name: _copied(source, name, scheme.folder) for source, name in names.items()}
    for place, value in file_places(tomllib.loads(scheme.text)):
        text = Text(text).with_value(place, names[_source(scheme, value)])
    for name, library in _library_dyes(scheme.text):
        file = _free(f"{file_stem(library, otherwise='dye')}.dye.toml", taken)
        files[file] = library_dye_text(library).encode("utf-8")
        text = Text(Text(text).with_value(("dye", name, "file"), file)).without(("dye", name, "library"))
    files[SHOP_NAME] = _shop_text(shop_beside(scheme.file)).encode("utf-8")
    return {**files, SCHEME_NAME: without_places(text, scheme.folder).encode("utf-8")}


def copy_names(scheme: Scheme) -> dict[Path, str]:
    """The files that a scheme names, each with its name in the record."""
    names, taken = dict[Path, str](), {SCHEME_NAME, SHOP_NAME}
    for _, value in file_places(tomllib.loads(scheme.text)):
        source = _source(scheme, value)
        if source not in names:
            names[source] = _free(_copy_name(source), taken)
    return names


def _source(scheme: Scheme, value: str) -> Path:
    return scheme.folder / value.strip().replace("\\", "/")


@contextmanager
def told_of_own(scheme: Scheme, folder: Path) -> Iterator[None]:
    """Tell what is wrong with a copy in `folder` (`staged`) of the person's own file that it was made from."""
    own = {str(folder / name): str(source) for source, name in copy_names(scheme).items()}
    own[str(folder / SCHEME_NAME)] = scheme.shown_file
    try:
        yield
    except InputError as error:
        problems = [replace(one, file=own.get(one.file, one.file)) for one in error.problems]
        raise type(error)(problems) from None


def _shop_text(shop: Path | None) -> str:
    """The values of a shop's file, without what it says of the jobs that they come from."""
    lines = ["layerpreview_shop = 1"]
    held = {} if shop is None else open_toml(shop, what="shop").raw
    for table, (name, values) in ((t, item) for t in _SHOP_TABLES for item in _tables(held.get(t)).items()):
        lines.append(f"[{as_path((table, name), plain=True)}]")
        lines += [f"{as_path((key,))} = {as_written(value)}" for key, value in _tables(values).items()]
    return "# The shop's own values when this record was made; none where nothing follows.\n" + "\n".join([*lines, ""])


def _tables(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else {}


def _library_dyes(text: str) -> list[tuple[str, str]]:
    """The dyes that a scheme takes from the library, with their names there: another version may have others."""
    dyes = tomllib.loads(text).get("dye", {})
    return [
        (name, str(dye["library"]).strip()) for name, dye in dyes.items() if isinstance(dye, dict) and "library" in dye
    ]


def log_lines(log: JobLog, folder: Path, photos: Mapping[str, str]) -> bytes:
    """The log's entries, each on the line it has, with no path of this computer; `photos`: their names in the record.

    Lines that a crash tore are left empty.
    """
    last = max((entry.line for entry in log.entries), default=0)
    lines = [""] * last
    for entry in log.entries:
        values = dict(entry.values)
        if isinstance(values.get("file"), str) and values["file"] in photos:
            values["file"] = photos[values["file"]]
        lines[entry.line - 1] = json_line(_impersonal(values, folder))
    return "".join(f"{line}\n" for line in lines).encode("utf-8")


def photo_files(done: Done, folder: Path) -> tuple[dict[str, bytes], dict[str, str], list[str]]:
    """Copies of the diary's photos by their names in the record, these names by what the log calls them, and words on
    those that are not there or cannot be read."""
    files, names, words, taken = dict[str, bytes](), dict[str, str](), list[str](), set[str]()
    for photo in done.photos:
        if photo.file in names:
            continue
        source = folder / photo.file.strip().replace("\\", "/")
        name = _free(f"{file_stem(PurePosixPath(photo.file.replace(chr(92), '/')).stem, otherwise='photo')}.jpg", taken)
        try:
            if not is_inside(source, folder):
                raise InputError(Problem("it is not in the job's folder"))
            files[f"photos/{name}"] = _copied(source, name, folder)
        except InputError:
            shown = "".join(sign if sign.isprintable() else " " for sign in source.name)
            words.append(f"the photo {shown} is not there any more, or cannot be read: left out")
            continue
        names[photo.file] = f"photos/{name}"
    return files, names, words


def without_places(text: str, folder: Path) -> str:
    """A text without the folders of a computer: the job's own becomes a point, a person's own (this one's, or what
    looks like one of any system) a ~."""
    for place, instead in ((str(folder.resolve()), "."), (str(Path.home()), "~")):
        if len(place) > 3:  # the root of a drive says nothing
            for form in {place, place.replace("\\", "/"), place.replace("\\", "\\\\")}:
                text = re.sub(rf"(?<!\w){re.escape(form)}(?![\w-])", instead, text)
    return _HOMES.sub("~", text)


def _impersonal(value: Any, folder: Path) -> Any:
    """A value of the log with every path out of the job's folder cut to the file's name, as deep as it goes."""
    if isinstance(value, Mapping):
        return {key: _impersonal(item, folder) for key, item in value.items()}
    if isinstance(value, list):
        return [_impersonal(item, folder) for item in value]
    if not isinstance(value, str):
        return value
    value = utf8(value).decode("utf-8")  # a half of a sign, which a program that cuts texts may leave, is a ?
    if _ELSEWHERE.match(value) and "\n" not in value:
        return re.split(r"[\\/]", value.rstrip("\\/"))[-1]
    if "\n" in value:
        value = _offered(value)
    return without_places(value, folder)


def _offered(text: str) -> str:
    """The text of a scheme that a board offered, with paths out of its folder cut to the files' names."""
    try:
        places = file_places(tomllib.loads(text))
    except (ValueError, AttributeError, TypeError):
        return text
    for place, value in places:
        if _ELSEWHERE.match(value):
            text = Text(text).with_value(place, re.split(r"[\\/]", value)[-1])
    return text


def _copy_name(source: Path) -> str:
    """The name of a file in the record: text files and drawings keep their kind, pictures become JPEG or PNG."""
    name = source.name
    ending = next((end for end in (".dye.toml", ".toml", ".svg") if name.lower().endswith(end)), None)
    stem = name[: -len(ending)] if ending else source.stem
    kept = ending or (".jpg" if source.suffix.lower() in _JPEG else ".png")
    return file_stem(stem, otherwise="file") + kept


def _free(name: str, taken: set[str]) -> str:
    stem, dot, ending = name.partition(".")
    found, number = name, 1
    while found in taken:
        number += 1
        found = f"{stem}_{number}{dot}{ending}"
    taken.add(found)
    return found


def _copied(source: Path, name: str, folder: Path) -> bytes:
    """A file as it goes into the record under a name; `folder`: the job's."""
    if name.endswith(".toml"):
        return _plain(source, folder)
    if name.endswith(".svg"):
        return _drawing(source)
    picture = read_picture(source)
    with aside() as work:
        path = work / name
        if picture.pixels.dtype == np.uint16 and picture.pixels.ndim == 2 and picture.alpha is None:
            Image.fromarray(picture.pixels).save(path, "PNG")  # a height map needs all its steps
        else:
            write_photo_copy(picture, path)
        return path.read_bytes()


def _plain(source: Path, folder: Path) -> bytes:
    text = plain_line_ends(source.read_bytes().decode("utf-8-sig"))
    return without_places(text, folder).encode("utf-8")


def _drawing(source: Path) -> bytes:
    """A drawing without remarks, metadata and what its program wrote for itself."""
    check_drawing(source)
    root = ElementTree.fromstring(source.read_bytes())
    for element in root.iter():
        element[:] = [
            child for child in element if child.tag.rpartition("}")[2] != "metadata" and not _of_program(child.tag)
        ]
        for key in [key for key in element.attrib if _of_program(key)]:
            del element.attrib[key]
    text: bytes = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    return text


def _of_program(name: object) -> bool:
    return isinstance(name, str) and any(word in name.partition("}")[0] for word in _PROGRAMS)


def staged(files: Mapping[str, bytes], folder: Path) -> Path:
    """Write the files of a scheme into an empty folder; the path of the scheme there."""
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return folder / SCHEME_NAME
