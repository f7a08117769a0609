"""What nobody means to write: numbers, words and bytes that programs stumble over, and ways to put them into a file."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path
from random import Random

from PIL import Image

MARK = "<img src=x onerror=zz>"
"""A name that is markup: no page may hold it as it is."""
NUMBERS = (
    *("nan", "inf", "-inf", "NaN", "0", "-0.0", "-1", "1e308", "1e309", "-1e308", "5e-324", "1e-320", "1e17", "1e9"),
    *(
        "999999999999999999999999",
        "1" * 400,
        "0.1" + "0" * 300 + "1",
        "1e-9",
        "0x10",
        "1_000",
        "1,5",
        "1e",
        "++1",
        ".",
        "-",
    ),
    *("²", "½", "١٢", "１２", "−3", "1 2", "3.5", "7", "100", "1000", "65536", "2147483648", "0.5", "1.5", "true"),
)
WORDS = (
    *(
        "",
        " ",
        "\t",
        "x" * 300,
        "a" * 20_000,
        MARK,
        "</script><script>zz()</script>",
        '"; DROP',
        "'",
        '"',
        "\\",
        "`$(zz)`",
    ),
    *(
        "=cmd|' /C calc'!A0",
        "+1+1",
        "@SUM(1)",
        "-2+3",
        "%s%n",
        "{0}{x!r}",
        "{{ 7*7 }}",
        "#panic()",
        "$x^2$",
        "*_b_*",
        "\\u0041",
    ),
    *(
        "../../up",
        "/etc/passwd",
        "C:\\con",
        "CON",
        "nul.txt",
        "trailing.",
        "a/b",
        "a\nb",
        "a\rb",
        "a\x00b",
        "\x1b[31mred",
        "\x07",
    ),
    *(
        "‮gnp",
        "e\u0301\u0301\u0301" * 50,
        "👩‍🎨🎨",
        "مرحبا",
        "日本",
        "\ud800",
        "\ufeff",
        "\u2028",
        "ﬁ",
        "Ω" * 100,
        "no",
        "true",
    ),
    *(
        "12 mL/L",
        "40 um",
        "1e400 um",
        "-3 mm",
        "0 mm",
        "nan mm",
        "3 parsec",
        "1/0 in",
        "5 to 3 um",
        "0.0001 mm",
        "20 m",
        "99 %",
    ),
    *(
        "D65",
        "D50",
        "A",
        "FL2",
        "outline",
        "front",
        "hole",
        "honey",
        "sea",
        "#fff",
        "#ffffffff",
        "rgb(1,2,3)",
        "black",
        "D65,",
    ),
)
VALUES = (
    "[]",
    "{}",
    "[[]]",
    "[1, 2",
    "true",
    "''",
    '""',
    "1979-05-27",
    "[nan, inf]",
    "[" * 200 + "]" * 200,
    "{ a = 1 }",
    "0",
    "-1",
)
PATHS = (
    "",
    ".",
    "part.svg",
    "part.svg/x",
    "x" * 300,
    "ö ü é",
    "CON",
    "a'b",
    "🎨",
    "new/deep/down",
    "mask.png",
    "job",
    "nowhere.toml",
)
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e-?\d+)?")
_QUOTED = re.compile(r'"[^"\n]*"')
_VALUE = re.compile(r"(?<== )[^\n#]+")
Change = Callable[[Random, str], str]


def _instead(pattern: re.Pattern[str], new: Callable[[Random], str]) -> Change:
    def change(rng: Random, text: str) -> str:
        found = list(pattern.finditer(text[:200_000]))
        if not found:
            return text + new(rng)
        one = rng.choice(found)
        return text[: one.start()] + new(rng) + text[one.end() :]

    return change


def _quoted(rng: Random) -> str:
    word = rng.choice(WORDS)
    escaped = "".join(f"\\u{ord(c):04x}" if ord(c) < 32 else c for c in word.replace("\\", "\\\\").replace('"', '\\"'))
    return f'"{rng.choice((word, escaped, escaped, escaped))}"'


def _one_line_gone(rng: Random, text: str) -> str:
    lines = text.splitlines(keepends=True)
    if lines:
        del lines[rng.randrange(len(lines))]
    return "".join(lines)


def _lines_again(rng: Random, text: str) -> str:
    lines = text.splitlines(keepends=True) or [""]
    start = rng.randrange(len(lines))
    end = min(len(lines), start + rng.choice((1, 1, 2, 5, 12)))
    times = rng.choice((1, 1, 2, 20, 300))
    return "".join(lines[:end] + lines[start:end] * times + lines[end:])


def _swapped(rng: Random, text: str) -> str:
    found = list(_VALUE.finditer(text))
    if len(found) < 2:
        return text[::-1]
    a, b = sorted(rng.sample(found, 2), key=lambda one: one.start())
    return text[: a.start()] + b[0] + text[a.end() : b.start()] + a[0] + text[b.end() :]


def _put_in(rng: Random, text: str) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] + rng.choice((rng.choice(NUMBERS), rng.choice(WORDS), rng.choice(VALUES))) + text[at:]


def _many(rng: Random, text: str) -> str:
    at = rng.randrange(len(text) + 1)
    return (
        text[:at]
        + rng.choice((" ", "0", "9", "(", "[", "-", ",", "\n", ";", "a.")) * rng.choice((40, 5_000, 100_000))
        + text[at:]
    )


CHANGES: tuple[Change, ...] = (
    _instead(_NUMBER, lambda rng: rng.choice(NUMBERS)),
    _instead(_NUMBER, lambda rng: rng.choice(NUMBERS)),
    _instead(_NUMBER, lambda rng: f"{rng.uniform(-3, 300):.3g}"),
    _instead(_QUOTED, _quoted),
    _instead(_QUOTED, _quoted),
    _instead(_VALUE, lambda rng: rng.choice(VALUES)),
    _one_line_gone,
    _one_line_gone,
    _lines_again,
    _swapped,
    _put_in,
    _many,
)


def changed_text(rng: Random, text: str) -> bytes:
    """A text with one to three things changed, now and then in another encoding."""
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        text = rng.choice(CHANGES)(rng, text)
    if rng.random() < 0.05:
        odd = rng.choice(("utf-16", "utf-8-sig", "latin-1", "utf-16-be", "cp1252"))
        return text.encode(odd, "replace")
    if rng.random() < 0.04:
        return text.replace("\n", rng.choice(("\r\n", "\r", "\n\n", "\u2028"))).encode("utf-8", "surrogatepass")
    return text.encode("utf-8", "surrogatepass")


def changed_bytes(rng: Random, data: bytes) -> bytes:
    """Bytes with some flipped, cut off, doubled or gone."""
    kind = rng.randrange(5)
    if kind == 0:
        return data[: rng.randrange(len(data) + 1)]
    if kind == 1:
        return b""
    out = bytearray(data)
    reach = len(out) if kind == 2 else min(len(out), 300)  # headers are short
    for _ in range(rng.choice((1, 1, 3, 20))):
        if reach:
            out[rng.randrange(reach)] = rng.choice((0, 1, 127, 128, 255, rng.randrange(256)))
    return bytes(out)


def changed_picture(rng: Random, path: Path) -> bytes:
    """A picture in another size or mode under the same name, or with bytes changed."""
    if rng.random() < 0.5:
        return changed_bytes(rng, path.read_bytes())
    sizes = ((1, 1), (1, 900), (900, 1), (2, 2), (64, 48), (3, 5000), (300, 200), (20_000, 2), (0, 0))
    size = rng.choice(sizes[:-1])
    mode = rng.choice(("1", "L", "LA", "P", "RGB", "RGBA", "CMYK", "I;16", "I", "F", "LAB", "YCbCr"))
    with Image.open(path) as opened:
        pixels = opened.convert("RGB").resize(size)
    try:
        odd = pixels.convert("L").convert(mode) if mode in ("1", "L", "LA", "I;16", "I", "F") else pixels.convert(mode)
    except ValueError:
        odd = pixels
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = rng.choice((0, 1, 6, 9, 255))
    for kind in rng.sample(("PNG", "TIFF", "JPEG", "GIF", "BMP", "WEBP"), 6):
        try:
            odd.save(out, kind, **({"exif": exif} if kind in ("JPEG", "PNG", "TIFF", "WEBP") else {}))
        except (OSError, ValueError, KeyError):
            out = io.BytesIO()
            continue
        break
    return out.getvalue()


def changed_zip(rng: Random, data: bytes) -> bytes:
    """A record with one file in it changed, added or named otherwise."""
    if rng.random() < 0.3:
        return changed_bytes(rng, data)
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
        warnings.catch_warnings(),
    ):
        warnings.simplefilter("ignore")  # that a name stands twice is meant
        names = old.namelist()
        picked = rng.choice(names)
        for name in names:
            held = old.read(name)
            if name == picked:
                kind = rng.randrange(4)
                if kind == 0:
                    continue
                if kind == 1:
                    name = rng.choice(("../up.json", "/etc/x", "a\\b", "CON", "x" * 300, "é", names[0]))
                elif name.endswith((".json", ".toml", ".csv", ".txt", ".svg", ".html")):
                    held = changed_text(rng, held.decode("utf-8"))
                else:
                    held = changed_bytes(rng, held)
            new.writestr(name, held)
        if rng.random() < 0.2:
            new.writestr(rng.choice(("big.bin", "../out.txt", "record.json")), b"0" * rng.choice((10, 5_000_000)))
    return out.getvalue()


def changed_file(rng: Random, path: Path) -> bytes:
    """What a file could hold instead."""
    data = path.read_bytes()
    if rng.random() < 0.02:
        return rng.choice(
            (b"", b"\0" * 5000, b"\xff\xfe", b"\n" * 9000, bytes(rng.randbytes(2000)), b"PK\x03\x04", b"GIF89a")
        )
    if path.suffix in (".png", ".jpg", ".tif"):
        return changed_picture(rng, path)
    if path.suffix == ".zip":
        return changed_zip(rng, data)
    return changed_bytes(rng, data) if rng.random() < 0.06 else changed_text(rng, data.decode("utf-8"))
