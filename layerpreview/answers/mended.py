"""A scene with a repair in it: builds as a hand leaves them along the feather, and a base that is made anew there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.fade import Fading
from layerpreview.answers.feather import Strays, kept_share, shares
from layerpreview.picture.bare import Bare
from layerpreview.picture.maps import BuildMaps, FacePicture
from layerpreview.picture.scene import Scene
from layerpreview.surface.damage import Damage
from layerpreview.surface.sample import PixelGrid

F32 = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Mending:
    """What is done to a place: `feather_mm` [mm] beyond `core_mm` round the damage, and as which attempt.

    `strays` of one attempt; None for a place that is sanded only. `touched`: whether any coat but the clear is.
    """

    damage: Damage
    feather_mm: float
    core_mm: float
    fading: Fading
    strays: Strays | None
    touched: bool = True

    def rows(self, grid: PixelGrid, builds: F32, y0: int, y1: int) -> F32:
        """Builds (layers, P) of the fading's layers, of coats that were sprayed to `builds` (coats, P)."""
        old = self.fading.builds(builds)
        if not self.touched:
            return old
        away_mm = self.damage.away_rows(grid, y0, y1).ravel().astype(np.float64) - self.core_mm
        if self.strays is None:
            return np.asarray(old * kept_share(away_mm, feather_mm=self.feather_mm), dtype=np.float32)
        left, new = (values[0] for values in shares(away_mm, self.strays, feather_mm=self.feather_mm))
        again = new[self.fading.of_coat] * self.strays.dye[0][:, None] * builds[self.fading.of_coat]
        return np.asarray(old * left + again, dtype=np.float32)


class MendedMaps(BuildMaps):
    """Build maps with a repair in them, a layer for every dye of every coat."""

    def __init__(self, maps: BuildMaps, mending: Mending) -> None:
        self.grid, self.shape, self.edge = maps.grid, maps.shape, maps.edge
        self.seats, self._maps, self._mending = maps.seats, maps, mending

    def rows(self, y0: int, y1: int) -> tuple[F32, F32]:
        """Builds (layers, P) and cover (P,) of rows y0 to y1."""
        builds, cover = self._maps.rows(y0, y1)
        return self._mending.rows(self.grid, builds, y0, y1), cover


@dataclass(frozen=True)
class MendedBare(Bare):
    """A base that is made anew where `share` is 1: from elsewhere on the same face, `over_px` columns aside, or flat.

    What is made again has the same kind of texture, but no facet is where it was. `level`: of a flat spot its light
    (channels,) and path (3,).
    """

    damage: Damage | None = None
    grid: PixelGrid | None = None
    margin_mm: float = 0.0
    over_px: int | None = None
    level: tuple[F32, F32 | None] | None = None

    def lit(self, y0: int, y1: int) -> tuple[F32, F32 | None]:
        """As `Bare.lit`."""
        assert self.damage is not None
        assert self.grid is not None
        light, path = super().lit(y0, y1)
        away_mm = self.damage.away_rows(self.grid, y0, y1)
        share = np.clip((self.margin_mm - away_mm) / np.float32(max(self.margin_mm, self.grid.pixel_mm)), 0.0, 1.0)
        if not share.any():
            return light, path
        new_light, new_path = self._new(light, path)
        wide = share if light.ndim == 2 else share[:, :, None]
        mixed = np.asarray(light + wide * (new_light - light), dtype=np.float32)
        if path is None or new_path is None:
            return mixed, path
        return mixed, np.asarray(path + share.ravel() * (new_path - path), dtype=np.float32)

    def _new(self, light: F32, path: F32 | None) -> tuple[F32, F32 | None]:
        if self.over_px is None:
            assert self.level is not None
            flat, flat_path = self.level
            return np.broadcast_to(flat, light.shape), None if flat_path is None else flat_path[:, None]
        moved = np.roll(light, -self.over_px, axis=1)
        if path is None:
            return moved, None
        return moved, np.roll(path.reshape(3, *light.shape[:2]), -self.over_px, axis=2).reshape(path.shape)


def mended_scene(scene: Scene, mending: Mending, *, texture: str | None, margin_mm: float) -> Scene:
    """The scene of one face with the repair in it; it needs looks of `Fading.stack`.

    `texture`: "again" or "flat" where the base is made anew up to `margin_mm` [mm] beyond the damage, None where not.
    """
    (face,) = scene.faces
    bare, maps = face.picture.bare, MendedMaps(face.picture.maps, mending)
    if texture is not None:
        bare = _made_anew(bare, mending.damage, face.picture.grid, texture, margin_mm)
    return replace(scene, faces=(replace(face, picture=FacePicture(bare, maps)),))


def base_gains(picture: FacePicture, *, most: int = 4000) -> NDArray[np.float64]:
    """How bright places of a base are against its mean (N,), from rows all over the face."""
    found = []
    rows = picture.grid.n_rows
    for y in range(rows // 40, rows, max(1, rows // 20)):
        light, _ = picture.bare.lit(y, y + 1)
        cover = picture.maps.edge.rows(y, y + 1)[0] > 0.0
        found.append((light[0] if light.ndim == 2 else light[0].mean(axis=1))[cover])
    gains = np.concatenate(found).astype(np.float64) if found else np.ones(1)
    gains = gains[:: max(1, gains.size // most)] if gains.size else np.ones(1)
    return np.asarray(gains / max(float(gains.mean()), 1e-9))


def _made_anew(bare: Bare, damage: Damage, grid: PixelGrid, texture: str, margin_mm: float) -> MendedBare:
    plain = MendedBare(bare.source, bare.tint_rgb, bare.openness, damage, grid, margin_mm)
    if texture == "again":
        return replace(plain, over_px=_aside_px(damage, grid, margin_mm))
    rows = [bare.lit(y, y + 1) for y in range(grid.n_rows // 8, grid.n_rows, max(1, grid.n_rows // 8))]
    light = np.mean([row[0].reshape(-1, *row[0].shape[2:]).mean(axis=0) for row in rows], axis=0)
    paths = [row[1].mean(axis=1) for row in rows if row[1] is not None]
    path = np.mean(paths, axis=0).astype(np.float32) if paths else None
    return replace(plain, level=(np.asarray(light, dtype=np.float32), path))


def _aside_px(damage: Damage, grid: PixelGrid, margin_mm: float) -> int:
    """How many columns aside the new texture is taken from: half the face, or as far as there is room for all of it."""
    left, _, right, _ = damage.shape.bounds
    first, last = (left - margin_mm) / grid.pixel_mm, (right + margin_mm) / grid.pixel_mm
    half = grid.n_cols // 2
    to_right, to_left = grid.n_cols - last, first
    return int(min(half, max(to_right, 1))) if to_right >= to_left else -int(min(half, max(to_left, 1)))
