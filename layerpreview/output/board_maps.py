"""What the page needs for every pixel, packed into ordinary picture files: the base, the part's shape, the builds."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from layerpreview.colour import encode_srgb
from layerpreview.output.board_looks import numbers
from layerpreview.output.png import encode_srgb8
from layerpreview.picture.faces import FaceShape
from layerpreview.picture.pools import earlier_of, wet_coats
from layerpreview.picture.scene import PlacedFace
from layerpreview.scheme import DyeCoat, Scheme
from layerpreview.surface.wear import soaked_build

F64 = NDArray[np.float64]
F32 = NDArray[np.float32]
U8 = NDArray[np.uint8]

STEPS = 4095
"""Steps of a build map, in two 8-bit channels: 8 bits alone would show as rings where a burst fades slowly."""
REDUCTIONS = (8, 4, 2)
CLOSE_ENOUGH = 0.003
"""A map is stored at the coarsest reduction that gives 99.9 % of the part's pixels back this closely
(1 = one coat), else in full."""
WIDEST_SHEET = 4096
LOSSLESS = 100
SOAK_QUALITY = 90
PATH_STEPS = 17
LEAST_SOAK = 0.05
_CONSTANT = 1e-5
_NO_SEAT = 0.5 / 255.0


@dataclass(frozen=True)
class PoolShare:
    """How the share of a layer over a relief follows the numbers of coats.

    It is `first` times what earlier layers left of the relief, `kept` (layer, share) by each of their coats, times the
    mean over its own coats, each of which leaves `own` of what it met.
    """

    first: float
    own: float
    kept: tuple[tuple[int, float], ...]


@dataclass(frozen=True, eq=False)
class Soak:
    """Where a base takes more of what is sprayed: the build of layer i is multiplied by 1 + shares[i] (most - 1).

    `most` (H, W): the multiplier of the layer that follows the base most. `pools`: how the shares follow the coats.
    """

    most: F32
    shares: tuple[float, ...]
    pools: tuple[PoolShare | None, ...] | None = None

    def times(self, layer: int) -> F32:
        """What the build of a layer is multiplied by (H, W)."""
        return np.asarray(1.0 + np.float32(self.shares[layer]) * (self.most - 1.0), dtype=np.float32)


@dataclass(frozen=True, eq=False)
class FaceMaps:
    """A face's maps at full size.

    `bare` (1 or 3, H, W): the base with no dye, linear; `cover` (H, W): share of the pixel on the part; `builds`
    (layers, H, W): local build, 1 = nominal, over an even base; `soak`: where open grain or hollows take more, None
    where nothing does; `path` (3, H, W): numerators of each pixel's curve over textured metal.
    """

    bare: F32
    cover: F32
    builds: F32
    soak: Soak | None
    path: F32 | None


@dataclass(frozen=True)
class PackedBase:
    """A base as a WebP or JPEG of sRGB codes; a code's linear value times `scale` is the base's."""

    data: bytes
    scale: float


@dataclass(frozen=True)
class PackedSoak:
    """A `Soak`'s multiplier as a grey JPEG, its codes even from `low` to `high`."""

    data: bytes
    low: float
    high: float


@dataclass(frozen=True)
class PackedBuilds:
    """All build maps on one PNG sheet: red is the high, green the low byte of a step.

    `places`: per stored map x, y, width, height on the sheet, its reduction, and the build of the topmost step;
    `of_layer`: per layer its map, or None where the build is the same everywhere; `constant`: that build.
    """

    data: bytes
    places: tuple[tuple[int, int, int, int, int, float], ...]
    of_layer: tuple[int | None, ...]
    constant: tuple[float, ...]


@dataclass(frozen=True)
class PackedSeats:
    """What masked zones keep: `share` of each pixel as an 8-bit grey PNG, `colours` by light as a PNG of sRGB codes."""

    share: bytes
    colours: Mapping[str, bytes]


def pack_seats(face: PlacedFace, lights: Sequence[str]) -> PackedSeats | None:
    """What the masked zones of a face keep, under each light; None where it has none that shows."""
    grid, seats = face.picture.grid, face.picture.maps.seats
    shares = seats.shares(0, grid.n_rows)
    if not shares.size or float(shares.max()) <= 0.0:
        return None
    black, white = np.zeros((3, shares.shape[1]), dtype=np.float32), np.ones((3, shares.shape[1]), dtype=np.float32)
    colours = {}
    for light in lights:
        kept = seats.over(black, shares, light)
        share = 1.0 - (seats.over(white, shares, light) - kept)[0]
        colour = kept / np.maximum(share, np.float32(1e-3))
        colour[:, share < _NO_SEAT] = colour[:, share >= _NO_SEAT].mean(axis=1, keepdims=True)
        codes = encode_srgb8(np.clip(colour, 0.0, 1.0).T.reshape(grid.n_rows, grid.n_cols, 3))
        colours[light] = _saved(codes, "PNG", optimize=True)
    return PackedSeats(pack_cover(share.reshape(grid.n_rows, grid.n_cols)), colours)


def face_maps(scheme: Scheme, face: PlacedFace) -> FaceMaps:
    """The maps of one face."""
    grid = face.picture.grid
    rows = face.picture.rows(0, grid.n_rows)
    shape = (grid.n_rows, grid.n_cols)
    builds = rows.builds.reshape(-1, *shape)
    soak = _soak(scheme, face)
    if soak is not None:
        # Grain and hollows are the same in every map: stored once, and the maps are smooth without them.
        builds = np.stack([build / soak.times(i) for i, build in enumerate(builds)])
    path = None if rows.path is None else rows.path.reshape(3, *shape)
    return FaceMaps(rows.bare.reshape(-1, *shape), rows.cover.reshape(shape), builds, soak, path)


def _soak(scheme: Scheme, face: PlacedFace) -> Soak | None:
    grid, openness, pools = face.picture.grid, face.picture.bare.openness, face.picture.maps.pools
    shared = None if pools is None else pools.shared()
    follow = None
    if openness is not None:
        even = np.ones((grid.n_rows, grid.n_cols), dtype=np.float32)
        most = soaked_build(even, openness.rows(0, grid.n_rows), soak=scheme.base_for(face.name).soak)
        shares = tuple(1.0 if isinstance(coat, DyeCoat) else 0.0 for coat in scheme.coats)
    elif shared is not None:
        strongest = max(shared[1])
        most = 1.0 + np.float32(strongest) * shared[0].rows(0, grid.n_rows)
        shares = tuple(times / strongest for times in shared[1])
        follow = _pool_shares(scheme, face, shared[1])
    else:
        return None
    return Soak(most, shares, follow) if float(most.min()) > LEAST_SOAK else None


def _pool_shares(scheme: Scheme, face: PlacedFace, times: Sequence[float]) -> tuple[PoolShare | None, ...]:
    """Of each layer; None where it has no pools, or some of its own that are as thin as it gets somewhere."""
    strongest = max(times)
    shares = pool_shares(scheme, face.picture.shape)
    return tuple(
        PoolShare(pool.first / strongest, pool.own, pool.kept) if follows else None
        for pool, follows in zip(shares, times, strict=True)
    )


def pool_shares(scheme: Scheme, shape: FaceShape) -> list[PoolShare]:
    """Of each layer, for each um that a place lies below the mean of the relief."""
    levelling = scheme.base_for(shape.face.name).levelling.likely
    found = []
    for coat, earlier in zip(scheme.coats, earlier_of(scheme, shape), strict=True):
        one = replace(wet_coats(scheme, coat, levelling=levelling), coats=1)
        found.append(PoolShare(one.builds_per_um[0], one.share_left(), earlier or ()))
    return found


def base_maps(face: PlacedFace) -> tuple[F32, F32 | None]:
    """The base of a face alone (1 or 3, H, W), and of a textured metal its paths (3, H, W)."""
    light, path = face.picture.bare.lit(0, face.picture.grid.n_rows)
    paths = None if path is None else path.reshape(3, *light.shape[:2])
    return np.moveaxis(light, 2, 0) if light.ndim == 3 else light[None], paths


def pack_base(bare: F32, cover: F32, *, quality: int) -> PackedBase:
    """The base as a picture; where there is no part it is one even tone, which costs nothing.

    `quality`: of a JPEG, or LOSSLESS for a WebP that keeps every code.
    """
    part = cover > 0.0
    scale = max(float(bare[:, part].max()), 1e-3)
    codes = _thirds(bare[0] / scale) if len(bare) == 1 else encode_srgb8(np.moveaxis(bare, 0, 2) / np.float32(scale))
    codes[~_blocks(part)] = codes[part].mean(axis=0).astype(np.uint8)
    if quality == LOSSLESS:
        return PackedBase(_saved(codes, "WEBP", lossless=True, quality=40, method=4), scale)
    return PackedBase(_saved(codes, "JPEG", quality=quality, subsampling=0, optimize=True), scale)


def paths_by_gain(gain: F32, path: F32, cover: F32) -> list[list[float]]:
    """Numerators of the path curves (PATH_STEPS, 3) by the root of a pixel's gain as a share of the brightest.

    In even light a facet that is as bright as another leans as much, so that the gain tells its path: straight lines
    between the steps, found by least squares, are within 0.1 CIEDE2000 on average, 0.2 straight on at the 99th of 100.
    """
    part = cover > 0.0
    light, paths = gain[part].astype(np.float64), path[:, part].astype(np.float64)
    share = np.sqrt(light / light.max()) * (PATH_STEPS - 1)
    low = np.minimum(share.astype(np.intp), PATH_STEPS - 2)
    ends = ((low, 1.0 - share + low), (low + 1, share - low))
    normal, wanted = np.zeros((PATH_STEPS, PATH_STEPS)), np.zeros((PATH_STEPS, 3))
    for at, weight in ends:
        for other, other_weight in ends:
            np.add.at(normal, (at, other), light * weight * other_weight)
        for k in range(3):
            np.add.at(wanted[:, k], at, light * weight * paths[k])
    # Steps that no pixel has go on from their neighbours.
    bend = 2.0 * np.eye(PATH_STEPS) - np.eye(PATH_STEPS, k=1) - np.eye(PATH_STEPS, k=-1)
    bend[[0, -1], [0, -1]] = 1.0
    normal += 1e-6 * np.trace(normal) * bend
    table: list[list[float]] = numbers(np.linalg.solve(normal, wanted))
    return table


def _thirds(grey: F32) -> U8:
    """One channel as three whose mean is right to a third of a code: dark facets need more than 8 bits."""
    code = 255.0 * encode_srgb(np.clip(grey, 0.0, 1.0))
    return np.asarray(np.floor(code[..., None] + np.array([1.0, 3.0, 5.0]) / 6.0), dtype=np.uint8)


def pack_soak(soak: F32, cover: F32) -> PackedSoak:
    """What grain or hollows take in 8 bits; they are rough themselves, so that no rings can show."""
    part = cover > 0.0
    low, high = float(soak[part].min()), max(float(soak[part].max()), float(soak[part].min()) + 1e-3)
    share = np.clip((soak - np.float32(low)) / np.float32(high - low), 0.0, 1.0)
    share[~_blocks(part)] = share[part].mean()
    codes = np.asarray(np.rint(255.0 * share), dtype=np.uint8)[:, :, None]
    return PackedSoak(_saved(codes, "JPEG", quality=SOAK_QUALITY, optimize=True), low, high)


def pack_cover(cover: F32) -> bytes:
    """The part's shape as an 8-bit grey PNG."""
    return _saved(np.asarray(np.rint(255.0 * cover), dtype=np.uint8)[:, :, None], "PNG", optimize=True)


def pack_builds(builds: F32, cover: F32) -> PackedBuilds:
    """The build maps, each once, as coarse as it may be, side by side and below each other on one sheet."""
    part = cover > 0.0
    maps: list[tuple[U8, int, float]] = []
    known: dict[bytes, int] = {}
    of_layer: list[int | None] = []
    constant = []
    for build in builds:
        on_part = build[part]
        constant.append(float(on_part.mean()))
        if float(np.ptp(on_part)) <= _CONSTANT * max(1.0, float(on_part.max())):
            of_layer.append(None)
            continue
        key = build.tobytes()
        if key not in known:
            known[key] = len(maps)
            maps.append(_stored(build, part))
        of_layer.append(known[key])
    sheet, places = _sheet(maps)
    return PackedBuilds(_saved(sheet, "PNG", optimize=True), places, tuple(of_layer), tuple(constant))


def unpack_map(codes: U8, *, reduction: int, top: float, shape: tuple[int, int]) -> F32:
    """The build of every pixel from a stored map (h, w, 2 or 3), as the page's shader reads it: bilinear."""
    steps = codes[:, :, 0].astype(np.float32) * 256.0 + codes[:, :, 1].astype(np.float32)
    values = steps * np.float32(top / STEPS)
    (r0, r1, fr), (c0, c1, fc) = (_taps(shape[i], steps.shape[i], reduction) for i in (0, 1))
    rows = values[r0] * (1 - fr)[:, None] + values[r1] * fr[:, None]
    return np.asarray(rows[:, c0] * (1 - fc) + rows[:, c1] * fc, dtype=np.float32)


def _taps(pixels: int, stored: int, reduction: int) -> tuple[NDArray[np.intp], NDArray[np.intp], F32]:
    q = np.clip((np.arange(pixels) + 0.5) / reduction - 0.5, 0, stored - 1)
    low = np.floor(q).astype(np.intp)
    return low, np.minimum(low + 1, stored - 1), np.asarray(q - low, dtype=np.float32)


def _stored(build: F32, part: NDArray[np.bool_]) -> tuple[U8, int, float]:
    top = max(float(build[part].max()), 1e-6)
    for reduction in REDUCTIONS:
        codes = _codes(_reduced(build, reduction) / top)
        back = unpack_map(codes, reduction=reduction, top=top, shape=(build.shape[0], build.shape[1]))
        if float(np.percentile(np.abs(back - build)[part], 99.9)) <= CLOSE_ENOUGH:
            return codes, reduction, top
    across = np.abs(np.diff(build, axis=1))[part[:, 1:]]
    # A rough map (rubbed through, say) shows no rings and needs no fine steps, which would only fill the file.
    rough = across.size > 0 and float(np.median(across)) > 1.0 / 512.0
    return _codes(build / top, coarse=16 if rough else 1), 1, top


def _codes(share: F32, *, coarse: int = 1) -> U8:
    steps = np.asarray(np.minimum(np.rint(np.clip(share, 0.0, 1.0) * STEPS / coarse) * coarse, STEPS), dtype=np.uint16)
    return np.stack([steps >> 8, steps & 255], axis=2).astype(np.uint8)


def _reduced(build: F32, reduction: int) -> F32:
    """Means over squares of pixels; the last ones are filled up with the edge."""
    pad = [(0, -size % reduction) for size in build.shape]
    full = np.pad(build, pad, mode="edge")
    rows, cols = (size // reduction for size in full.shape)
    return np.asarray(full.reshape(rows, reduction, cols, reduction).mean(axis=(1, 3)), dtype=np.float32)


def _sheet(maps: list[tuple[U8, int, float]]) -> tuple[U8, tuple[tuple[int, int, int, int, int, float], ...]]:
    """Maps stacked in columns no higher than every graphics chip takes."""
    x = y = right = 0
    places = []
    for codes, reduction, top in maps:
        height, width, _ = codes.shape
        if y and y + height > WIDEST_SHEET:
            x, y = right, 0
        places.append((x, y, width, height, reduction, float(f"{top:.7g}")))
        y, right = y + height, max(right, x + width)
    sheet = np.zeros((max((p[1] + p[3] for p in places), default=1), max(right, 1), 3), dtype=np.uint8)
    for (codes, _, _), (left, up, width, height, _, _) in zip(maps, places, strict=True):
        sheet[up : up + height, left : left + width, :2] = codes
    return sheet, tuple(places)


def _blocks(part: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The part grown to whole squares of 16 pixels, the blocks that JPEG codes and small copies are averaged from."""
    size = 16
    full = np.pad(part, [(0, -n % size) for n in part.shape])
    rows, cols = (n // size for n in full.shape)
    touched = full.reshape(rows, size, cols, size).any(axis=(1, 3))
    grown = np.repeat(np.repeat(touched, size, axis=0), size, axis=1)
    return np.asarray(grown[: part.shape[0], : part.shape[1]])


def _saved(pixels: U8, kind: str, **options: object) -> bytes:
    image = Image.fromarray(pixels[:, :, 0] if pixels.shape[2] == 1 else pixels)
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()
