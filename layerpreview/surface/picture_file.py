"""Reading a picture file: every kind a shop has, or one clear line why not."""

from __future__ import annotations

import importlib.util
import io
import struct
import warnings
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

from layerpreview.errors import PictureError, Problem

LEAST_PHOTO_PX, SLIMMEST_PHOTO = 24, 20
LIMIT_PIXELS = 100_000_000  # with transparency that takes 1.2 GB to decode
_LONGEST_PX = 50_000  # of one side
_STRIP_ROWS = 512
_PHONE_SUFFIXES = (".heic", ".heif", ".hif")
_RAW_SUFFIX = ".dng"
_ORIENTATION = 0x0112
_SMALLER = "save it smaller; 24 megapixels are plenty"
_BROKEN = (OSError, ValueError, SyntaxError, EOFError, struct.error, LookupError, TypeError, ArithmeticError)
_SAVE_AGAIN = "save it as an 8-bit sRGB PNG or JPEG"


@dataclass(frozen=True, eq=False)
class PictureData:
    """A decoded picture, upright, in sRGB numbers.

    `pixels` is uint8 or uint16, (h, w) for a grey picture or (h, w, 3); `alpha` (h, w) of the same type, or None when
    the file has none. `notes` say in plain words what was done to it on reading. `straight`: no camera's tone curve
    has been at it, its numbers stand for light as sRGB says.
    """

    pixels: NDArray[Any]
    alpha: NDArray[Any] | None = None
    file: str = ""
    notes: tuple[str, ...] = ()
    straight: bool = False

    @property
    def height_px(self) -> int:
        """Rows."""
        return int(self.pixels.shape[0])

    @property
    def width_px(self) -> int:
        """Columns."""
        return int(self.pixels.shape[1])


def read_picture(path: str | Path) -> PictureData:
    """Return the picture in the file at `path` (JPEG, PNG, TIFF, WebP, BMP, GIF; extras: `phone` HEIC, `raw` DNG).

    EXIF orientation is applied and an embedded ICC profile is converted to sRGB (relative colorimetric with black point
    compensation). 16-bit TIFF is read as such; 16-bit colour PNG and CMYK are refused. Of several frames the first is
    taken. Raises PictureError with one line for everything that cannot be read, and for more
    than 100 megapixels; size and frames are told by the header, before anything is decoded.
    """
    path = Path(path)
    data = _bytes(path)
    if path.suffix.lower() == _RAW_SUFFIX:
        return _raw(data, path)
    if path.suffix.lower() in _PHONE_SUFFIXES:
        _register_phone(path)
    try:
        with warnings.catch_warnings():
            # our own limit, checked from the header, takes the place of Pillow's; its other warnings (odd EXIF) say
            # nothing a person could act on
            warnings.simplefilter("ignore")
            picture = Image.open(io.BytesIO(data))
            _check_size(picture, path)
            if _is_16_bit_png(data):
                return _png_16(picture, path)
            if picture.format == "TIFF" and _tiff_bits(picture) > 8:
                return _tiff(data, picture, path)
            return _decoded(picture, path)
    except PictureError:
        raise
    except UnidentifiedImageError:
        _refuse(path, "not a picture this program can read", f"check the file, or {_SAVE_AGAIN}")
    except Image.DecompressionBombError:
        _refuse(path, f"larger than {LIMIT_PIXELS / 1e6:.0f} megapixels", _SMALLER)
    except _BROKEN:  # what the decoder says of it is nothing that a person could act on
        _refuse(path, "broken or cut short", f"copy it again from its source, or {_SAVE_AGAIN}")


def read_camera_photo(path: str | Path) -> PictureData:
    """Return a photo that something is to be found in, as `read_picture` does.

    Raises PictureError as that, and for one narrower than 24 pixels or more than 20 times as long as wide: it has no
    room for what is sought, and would have none at all once it is reduced.
    """
    picture = read_picture(path)
    short, long = sorted((picture.height_px, picture.width_px))
    if short < LEAST_PHOTO_PX or long > SLIMMEST_PHOTO * short:
        size = f"{picture.width_px} x {picture.height_px} pixels is no photo that anything can be found in"
        _refuse(Path(path), size, f"take one with {LEAST_PHOTO_PX} pixels a side at least, not cut to a strip")
    return picture


def _bytes(path: Path) -> bytes:
    if path.is_dir():
        _refuse(path, "is a folder, not a picture", "name the picture file in it")
    if path.exists() and not path.is_file():
        _refuse(path, "is not a plain file", "name a picture file")
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        _refuse(path, "no such file", "check the name and the folder it stands in")
    except (OSError, ValueError) as error:
        _refuse(
            path,
            f"cannot be opened ({getattr(error, 'strerror', None) or error})",
            "check the name and its access rights",
        )
    if not data:
        _refuse(path, "the file is empty", "copy it again from its source")
    return data


def _check_size(picture: Image.Image, path: Path) -> None:
    width, height = picture.size
    if width * height > LIMIT_PIXELS:
        _refuse(
            path,
            f"{width} x {height} is {width * height / 1e6:.0f} megapixels; the limit is {LIMIT_PIXELS / 1e6:.0f}",
            _SMALLER,
        )
    if max(width, height) > _LONGEST_PX:
        _refuse(path, f"{width} x {height}: a side may have at most {_LONGEST_PX:,} pixels", _SMALLER)


def _decoded(picture: Image.Image, path: Path) -> PictureData:
    if picture.mode in ("CMYK", "YCCK"):
        _refuse(path, "a CMYK picture, made for a printing press", _SAVE_AGAIN)
    if picture.mode in ("I", "F", "I;16", "I;16B", "I;16L"):
        _refuse(path, f"a picture of numbers (Pillow mode {picture.mode}), not of colours", _SAVE_AGAIN)
    notes = []
    if getattr(picture, "n_frames", 1) > 1 and picture.format != "MPO":  # MPO: a phone's photo with its preview
        notes.append("only the first of several frames is used")
    picture.load()
    profile = picture.info.get("icc_profile")
    ImageOps.exif_transpose(picture, in_place=True)
    alpha = None
    if picture.mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in picture.info:
        picture = picture.convert("LA" if picture.mode in ("LA", "La", "L", "1") else "RGBA")
        alpha = _array(picture.getchannel("A"))
        picture = picture.convert(picture.mode[:-1])
    if picture.mode not in ("L", "RGB", "LAB"):
        picture = picture.convert("L" if picture.mode == "1" else "RGB")
    if profile or picture.mode == "LAB":
        picture, note = _to_srgb(picture, profile)
        notes.append(note)
    return PictureData(_array(picture), alpha, str(path), tuple(note for note in notes if note))


def _array(picture: Image.Image) -> NDArray[np.uint8]:
    """The numbers of a picture, by strips: all at once they would lie in memory three times."""
    width, height = picture.size
    pixels = np.empty((height, width, 3) if picture.mode == "RGB" else (height, width), np.uint8)
    for top in range(0, height, _STRIP_ROWS):
        bottom = min(top + _STRIP_ROWS, height)
        pixels[top:bottom] = np.asarray(picture.crop((0, top, width, bottom)))
    return pixels


def _to_srgb(picture: Image.Image, profile: bytes | None) -> tuple[Image.Image, str]:
    """Convert by the embedded profile; a profile that cannot be used is passed over with a note."""
    from PIL import ImageCms

    srgb = ImageCms.createProfile("sRGB")
    try:
        source: Any = ImageCms.createProfile("LAB") if not profile else ImageCms.ImageCmsProfile(io.BytesIO(profile))
        name = "Lab" if not profile else ImageCms.getProfileDescription(source).strip()
        if profile and source.profile.xcolor_space.strip() == "GRAY" and picture.mode != "L":
            picture = picture.convert("L")
        if "srgb" in name.lower() and picture.mode == "RGB":
            return picture, ""
        if profile and source.profile.xcolor_space.strip() == "RGB" and picture.mode == "L":
            picture = picture.convert("RGB")
        converted = ImageCms.profileToProfile(
            picture,
            source,
            srgb,
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            outputMode="RGB",
            flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        return picture.convert("RGB"), "its colour profile cannot be used; taken as sRGB"
    return (converted or picture), f"converted from its colour profile ({name}) to sRGB"


def _is_16_bit_png(data: bytes) -> bool:
    """The bit depth stands at byte 24 of a PNG (its IHDR chunk: ISO/IEC 15948, 11.2.2)."""
    return data[:8] == b"\x89PNG\r\n\x1a\n" and len(data) > 25 and data[24] == 16


def _png_16(picture: Image.Image, path: Path) -> PictureData:
    if not picture.mode.startswith("I"):
        _refuse(
            path,
            "a 16-bit PNG in colour or with transparency, which would be cut to 8 bits unseen",
            "save it as a 16-bit TIFF or an 8-bit PNG",
        )
    grey = np.asarray(picture).astype(np.uint16)
    return PictureData(grey, None, str(path), ("16-bit grey",))


def _tiff_bits(picture: Any) -> int:
    bits = picture.tag_v2.get(258, (1,))  # BitsPerSample
    return int(max(bits)) if isinstance(bits, tuple) else int(bits)


def _tiff(data: bytes, picture: Image.Image, path: Path) -> PictureData:
    """Read a TIFF of more than 8 bits through tifffile; Pillow would cut it to 8 bits."""
    try:
        import tifffile
    except ImportError:
        _refuse(path, "a 16-bit TIFF needs tifffile", "pip install tifffile, or save it as an 8-bit PNG")
    with tifffile.TiffFile(io.BytesIO(data)) as file:
        page: Any = file.pages[0]
        kind = getattr(page.photometric, "name", "")
        if page.nbytes > 8 * LIMIT_PIXELS or page.size > 4 * LIMIT_PIXELS:  # planes and depths that no picture has
            _refuse(path, "a TIFF of too many planes or pixels", _SAVE_AGAIN)
        try:
            values = np.asarray(page.asarray())
        except Exception:  # tifffile raises what its codecs raise
            _refuse(path, "a TIFF that cannot be unpacked", _SAVE_AGAIN)
        planes_first = int(page.planarconfig or 1) == 2 and values.ndim == 3
    if planes_first:
        values = np.moveaxis(values, 0, -1)
    if (
        kind not in ("RGB", "MINISBLACK", "MINISWHITE")
        or values.dtype not in (np.uint8, np.uint16)
        or values.ndim not in (2, 3)
    ):
        _refuse(path, f"a TIFF of another kind ({kind.lower() or 'unknown'}, {values.dtype})", _SAVE_AGAIN)
    if kind == "MINISWHITE":
        values = np.iinfo(values.dtype).max - values
    values = _turned(values, int(picture.getexif().get(_ORIENTATION, 1)))
    alpha = None
    if values.ndim == 3:
        colours = 3 if values.shape[2] >= 3 else 1
        alpha = values[:, :, colours] if values.shape[2] > colours else None
        values = values[:, :, :3] if colours == 3 else values[:, :, 0]
    result = PictureData(np.ascontiguousarray(values), alpha, str(path), (f"{8 * values.itemsize}-bit TIFF",))
    profile = picture.info.get("icc_profile")
    return _profiled_16(result, profile) if profile else result


def _profiled_16(picture: PictureData, profile: bytes) -> PictureData:
    """Pass an sRGB picture through; the colour engine at hand would cut any other to 8 bits, so that is refused."""
    from PIL import ImageCms

    try:
        name = ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(profile))).strip()
    except (ImageCms.PyCMSError, OSError):
        return replace(picture, notes=(*picture.notes, "its colour profile cannot be used; taken as sRGB"))
    if "srgb" not in name.lower():
        _refuse(
            Path(picture.file),
            f"a 16-bit picture in the colour profile {name!r}",
            "save it with the sRGB profile, or in 8 bits",
        )
    return picture


def _turned(values: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Apply an EXIF orientation 1..8 to an array (h, w, ...): Exif 2.3, 4.6.4 A, tag 0x0112."""
    if orientation in (5, 6, 7, 8):
        values = values.swapaxes(0, 1)
    if orientation in (2, 3, 6, 7):
        values = values[:, ::-1]
    if orientation in (3, 4, 7, 8):
        values = values[::-1]
    return values


def _register_phone(path: Path) -> None:
    if importlib.util.find_spec("pi_heif") is None:
        _refuse(path, "a HEIC picture needs an extra", 'pip install "layerpreview[phone]", or save it as JPEG')
    import pi_heif

    pi_heif.register_heif_opener()


def _raw(data: bytes, path: Path) -> PictureData:
    if importlib.util.find_spec("rawpy") is None:
        _refuse(path, "a camera raw picture needs an extra", 'pip install "layerpreview[raw]", or save it as JPEG')
    import rawpy

    from layerpreview.surface.raw_file import develop

    try:
        pixels = develop(data, most_px=LIMIT_PIXELS)
    except (rawpy.LibRawError, ValueError, np.linalg.LinAlgError) as error:
        said = error.args[0] if error.args else ""
        reason = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
        _refuse(path, f"a raw picture that cannot be developed ({reason})", f"copy it again, or {_SAVE_AGAIN}")
    return PictureData(pixels, None, str(path), ("camera raw: developed without a tone curve",), straight=True)


def _refuse(path: Path, rule: str, remedy: str) -> NoReturn:
    raise PictureError(Problem(file=str(path), rule=rule, remedy=remedy)) from None
