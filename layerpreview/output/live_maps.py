"""The skins of the live picture: what each face has at every place, as channels that a shader makes builds of.

A build is where its coat goes, times what its bursts leave, times how it gathers in hollows: so that widths, coats and
strengths can be pulled without asking for another map.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.finish.texture import clear_lean, is_textured
from layerpreview.finish.view import STRAIGHT_ON
from layerpreview.output.live_textures import Texture, half
from layerpreview.picture.bare import Bare, bare_of, cast_of, on_lattice
from layerpreview.picture.faces import FaceShape
from layerpreview.picture.maps import BuildMaps
from layerpreview.picture.pools import depth_of, earlier_of, follows_depth, wet_coats, wet_coats_of
from layerpreview.picture.seats import kept_zones, seen_as
from layerpreview.scheme import Burst, Coat, Scheme
from layerpreview.spray.pooling import WetCoats, pooled_build
from layerpreview.surface.sample import PixelGrid
from layerpreview.threads import Made, thread_pool

F16 = NDArray[np.float16]
F32 = NDArray[np.float32]

_SAME = 1e-6
_ROWS_AT_ONCE = 64
_SPARE = 8
_channels: Made[NDArray[Any]] = Made(1000)
_textures: Made[Texture] = Made(12)
_depths: Made[tuple[float, F16, F16] | None] = Made(3)
_bares: Made[Bare] = Made(4)


@dataclass(frozen=True)
class PoolShare:
    """How the share of a layer over a relief follows the numbers of coats.

    It is `first` times what earlier layers left of the relief, `kept` (layer, share) by each of their coats, times the
    mean over its own coats, each of which leaves `own` of what it met.
    """

    first: float
    own: float
    kept: tuple[tuple[int, float], ...]


class SkinMaps:
    """The channels of one face on a grid, `known` telling the face and all that it is read from.

    Where coats go is the same over every relief that is made: such a base is told by what gathers in its hollows alone.
    """

    def __init__(self, scheme: Scheme, shape: FaceShape, grid: PixelGrid, known: Hashable) -> None:
        self._scheme, self._shape, self._grid = scheme, shape, grid
        self._base = scheme.base_for(shape.face.name)
        self.textured = is_textured(self._base)
        self._known = (known, shape.face.name, None if self._base.relief else self._base, grid)
        self._maps: BuildMaps | None = None
        self.channels: list[tuple[Hashable, NDArray[np.float16]]] = []
        self._at: dict[bytes, int] = {}
        self.asked: set[Hashable] = set()

    def told(self, textures: dict[str, Texture]) -> dict[str, Any]:
        """The skin as JSON values; its textures go to `textures`."""
        grid, textured = self._grid, self.textured
        layers, kept = self._layers()
        told = {
            "name": self._shape.face.name,
            "size_mm": [self._shape.outline.width_mm, self._shape.outline.height_mm],
            "grid": {"width": grid.n_cols, "height": grid.n_rows, "pixel_mm": grid.pixel_mm},
            "clear_lean": clear_lean(self._scheme, self._base),
            "textured": textured,
            "photo": self._base.picture is not None,
            "bare": None if textured else self._bare_json(textures),
            "layers": layers,
            "kept": kept,
        }
        return {**told, "groups": self._groups(textures)}

    @property
    def tint_rgb(self) -> tuple[float, float, float] | None:
        """Linear RGB of a base of one channel."""
        return cast_of(self._base) if self.textured else self._bare().tint_rgb

    def seat_colours(self, light: str) -> list[list[float]]:
        """What each masked zone shows under a light, linear RGB."""
        observer_deg = self._scheme.observer_deg
        zones = kept_zones(self._scheme, self._shape.face)
        return [[float(v) for v in seen_as(colour, light, observer_deg=observer_deg)] for _, colour in zones]

    def _made(self) -> BuildMaps:
        if self._maps is None:
            openness = None if self.textured else self._bare().openness
            self._maps = BuildMaps(self._scheme, self._shape, self._grid, openness=openness)
        return self._maps

    def _bare(self) -> Bare:
        return _bares.get(self._known, lambda: bare_of(self._base, self._shape, self._grid, STRAIGHT_ON))

    def _layers(self) -> tuple[list[dict[str, Any]], list[int]]:
        """Per coat: where it goes, a number or a channel; its bursts; how it gathers. And the channels of the masked
        zones that show. What changes with the coats comes last, so that the other textures stay."""
        wheres = self._wheres()
        bursts = [self._bursts(coat) for coat in self._scheme.coats]
        kept = self._kept()
        layers = [
            {"where": where, **told, "pool": pool}
            for where, told, pool in zip(wheres, bursts, self._pools(), strict=True)
        ]
        return layers, kept

    def _bursts(self, coat: Coat) -> dict[str, Any]:
        """The bursts of a coat that start on this face: their number in the coat, the channel of their distances."""

        def away(burst: Burst) -> F32:
            return self._rows(partial(self._made().away_mm, burst))

        bursts = self._shape.bursts_of(self._scheme, coat)
        told = [
            {
                "number": coat.bursts.index(burst),
                "channel": self._channel(("away", burst.source, burst.at_mm, burst.angle_deg), partial(away, burst)),
                "width_mm": burst.width_mm,
                "fall_off": burst.fall_off,
            }
            for burst in bursts
        ]
        return {"bursts": told, "centre": max((burst.centre for burst in bursts), default=0.0)}

    def _wheres(self) -> list[dict[str, Any]]:
        scheme, shape = self._scheme, self._shape
        keys = [("where", *_where_key(scheme, shape, coat)) for coat in scheme.coats]
        # One look at the face makes all that are missing.
        together: list[F32] = []

        def make(i: int) -> F32:
            if not together:
                together.append(self._rows(self._made().where_rows))
            return np.asarray(together[0][i])

        return [self._place(key, partial(make, i)) for i, key in enumerate(keys)]

    def _pools(self) -> list[dict[str, Any] | None]:
        scheme, shape = self._scheme, self._shape
        depth = _depths.get((self._known[:2], self._base), lambda: _depth(scheme, shape))
        if depth is None:
            return [None] * len(scheme.coats)
        step, depth_um, weight = depth
        least_um = float(depth_um.min())

        def own(wet: WetCoats) -> F32:
            gathered = pooled_build(depth_um.astype(np.float32), wet, weight=weight.astype(np.float32))
            return self._on_grid(gathered - np.float32(1.0), step)

        found: list[dict[str, Any] | None] = []
        for wet, share in zip(wet_coats_of(scheme, shape), pool_shares(scheme, shape), strict=True):
            if wet is None or not wet.levelling:
                found.append(None)
            elif follows_depth(wet, least_um):
                channel = self._channel(("depth", self._base), lambda: self._on_grid(depth_um.astype(np.float32), step))
                found.append({"channel": channel, "share": asdict(share)})
            else:
                found.append({"channel": self._channel(("pool", self._base, wet), partial(own, wet)), "share": None})
        return found

    def _on_grid(self, lattice: F32, step_mm: float) -> F32:
        return self._rows(on_lattice(lattice, step_mm, self._grid).rows)

    def _kept(self) -> list[int]:
        """The channels of the masked zones that show."""
        names = [zone.name for zone, _ in kept_zones(self._scheme, self._shape.face)]

        def make(i: int) -> F32:
            seats = self._made().seats
            return self._rows(lambda y0, y1: seats.shares(y0, y1)[i])

        return [self._channel(("kept", name), partial(make, i)) for i, name in enumerate(names)]

    def _place(self, key: Hashable, make: Callable[[], F32]) -> dict[str, Any]:
        """A channel, or a number where it is the same everywhere."""
        found = self._numbers(key, make)
        if float(np.ptp(found)) <= _SAME:
            return {"channel": None, "number": float(found.flat[0])}
        return {"channel": self._channel(key, make), "number": 1.0}

    def _channel(self, key: Hashable, make: Callable[[], F32]) -> int:
        found = self._numbers(key, make)
        same = found.tobytes()
        if same not in self._at:
            self._at[same] = len(self.channels)
            self.channels.append(((self._known, key), found))
        return self._at[same]

    def _numbers(self, key: Hashable, make: Callable[[], F32]) -> NDArray[np.float16]:
        self.asked.add(key)
        return _channels.get((self._known, key), lambda: make().astype(np.float16))

    def _groups(self, textures: dict[str, Texture]) -> list[dict[str, Any]]:
        """Four channels a texture."""
        found = []
        for first in range(0, len(self.channels), 4):
            four = self.channels[first : first + 4]
            key = tuple(name for name, _ in four)
            made = _textures.get(key, partial(_four, [n for _, n in four], self._grid))
            textures[made.name] = made
            found.append(made.told())
        return found

    def _bare_json(self, textures: dict[str, Texture]) -> dict[str, Any]:
        """The light of a photo, wood or colour straight on in even light."""

        def make() -> F32:
            bare = self._bare()
            return self._rows(lambda y0, y1: np.moveaxis(np.atleast_3d(bare.lit(y0, y1)[0]), 2, 0))

        self.asked.add("bare")
        light = _channels.get((self._known, "bare"), make)
        if float(np.ptp(light.reshape(len(light), -1), axis=1).max()) <= _SAME:
            return {"texture": None, "light": [float(v) for v in light[:, 0, 0]]}
        made = _textures.get((self._known, "bare"), lambda: _four([*light], self._grid))
        textures[made.name] = made
        return {"texture": made.told(), "light": None}

    def _rows(self, rows: Callable[[int, int], F32]) -> F32:
        """(..., rows, cols) of what `rows` gives for strips, (..., P) or (..., rows, cols)."""
        grid = self._grid
        strips = [(y, min(y + _ROWS_AT_ONCE, grid.n_rows)) for y in range(0, grid.n_rows, _ROWS_AT_ONCE)]

        def shaped(strip: tuple[int, int]) -> F32:
            part, shape = rows(*strip), (strip[1] - strip[0], grid.n_cols)
            lead = part.shape[:-2] if part.shape[-2:] == shape else part.shape[:-1]
            return part.reshape(*lead, *shape)

        with thread_pool() as pool:
            return np.concatenate(list(pool.map(shaped, strips)), axis=-2)


def keep_channels(used: int) -> None:
    """Forget the channels of earlier pictures, but for a few; `used`: how many the last one asked for."""
    _channels.keep(used + _SPARE)


def _four(channels: Sequence[NDArray[Any]], grid: PixelGrid) -> Texture:
    """Up to four channels side by side."""
    out = np.zeros((grid.n_rows, grid.n_cols, 4), dtype=np.float32)
    for i, channel in enumerate(channels):
        out[..., i] = channel
    return half(out)


def _depth(scheme: Scheme, shape: FaceShape) -> tuple[float, F16, F16] | None:
    """As `depth_of`, in the halves that channels have: large, and asked for again after every change."""
    if (found := depth_of(scheme, shape)) is None:
        return None
    step, depth_um, weight = found
    return step, depth_um.astype(np.float16), weight.astype(np.float16)


def _where_key(scheme: Scheme, shape: FaceShape, coat: Coat) -> tuple[Hashable, ...]:
    """What it depends on where a coat goes."""
    return type(coat).__name__, shape.zones_of(scheme, coat), coat.cut_back, coat.cut_back and coat.cut_back_seed


def pool_shares(scheme: Scheme, shape: FaceShape) -> list[PoolShare]:
    """Of each layer, for each um that a place lies below the mean of the relief."""
    levelling = scheme.base_for(shape.face.name).levelling.likely
    found = []
    for coat, earlier in zip(scheme.coats, earlier_of(scheme, shape), strict=True):
        one = replace(wet_coats(scheme, coat, levelling=levelling), coats=1)
        found.append(PoolShare(one.builds_per_um[0], one.share_left(), earlier or ()))
    return found
