"""A scheme's build maps as a gun and a hand leave them: strokes over the face, and along the edges for bursts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.landing import HARDLY_ANY, Place, place_of
from layerpreview.picture.maps import BuildMaps, FacePicture
from layerpreview.picture.scene import Scene, make_scene
from layerpreview.picture.spots import mean_bare
from layerpreview.scheme import Coat, Scheme
from layerpreview.spray.direction import LEVEL_DEG
from layerpreview.spray.passes import GUNS, Fan, Hand, Strokes, coat_shifts, lay_strokes, spans, turned
from layerpreview.surface.sample import PixelGrid, Sampler, mm_taps

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

MAP_PX = (160, 480)
POINTS_ACROSS_FAN = 16.0


@dataclass(frozen=True)
class Spraying:
    """How the gun is moved: `gun` for whole coats, `edge_gun` along the edges of bursts, `overlap` [0..0.95] of fans,
    `directions_deg` taken in turn by the coats (0 left to right; 0 and 90 crossed), `pattern` of their lines: same,
    shifted, spread or random."""

    gun: Fan = GUNS["full"]
    edge_gun: Fan = GUNS["detail"]
    overlap: float = 0.5
    directions_deg: tuple[float, ...] = (0.0,)
    pattern: str = "shifted"
    seed: int = 7


@dataclass(frozen=True, eq=False)
class UnevenFace:
    """One face on a coarse grid: the mean spectrum of its base `bare` (81,), the intended builds and what the hand
    makes of them, both (layers, P); cover (P,); `places` of the coat entries, None where one does not reach the face.
    P is the whole grid, or the points chosen by `at`."""

    name: str
    bare: F64
    grid: PixelGrid
    intended: F32
    factor: F32
    cover: F32
    places: tuple[Place | None, ...]

    @property
    def inside(self) -> NDArray[np.bool_]:
        """The points (P,) that lie on the part by more than half."""
        return self.cover > 0.5

    def at(self, points: NDArray[np.intp]) -> UnevenFace:
        """The same face looked at in only some of its points."""
        return replace(
            self,
            intended=self.intended[:, points],
            factor=self.factor[:, points],
            cover=self.cover[points],
            places=tuple(place and place.at(points) for place in self.places),
        )


class UnevenMaps(BuildMaps):
    """Build maps times the hand's factor, which is enlarged from the coarse grid."""

    def __init__(self, maps: BuildMaps, coarse: UnevenFace) -> None:
        self.grid, self.shape, self.edge = maps.grid, maps.shape, maps.edge
        self.seats, self._maps = maps.seats, maps
        rows, cols = (
            mm_taps(n_in, n_out, in_pitch_mm=coarse.grid.pixel_mm, out_pitch_mm=maps.grid.pixel_mm, kind="linear")
            for n_in, n_out in (
                (coarse.grid.n_rows, maps.grid.n_rows),
                (coarse.grid.n_cols, maps.grid.n_cols),
            )
        )
        shape = coarse.grid.n_rows, coarse.grid.n_cols
        self._factors = [Sampler(layer.reshape(shape), rows, cols) for layer in coarse.factor]

    def rows(self, y0: int, y1: int) -> tuple[F32, F32]:
        """Builds (layers, P) and cover (P,) of rows y0 to y1."""
        builds, cover = self._maps.rows(y0, y1)
        for row, factor in zip(builds, self._factors, strict=True):
            row *= factor.rows(y0, y1).ravel()
        return builds, cover


def coarse_scene(scheme: Scheme, how: Spraying, *, width_mm: float) -> Scene:
    """The scheme's faces, `width_mm` [mm] side by side, on a grid just fine enough for the narrowest fan."""
    finest = min([how.gun.width_mm, *(edge_fan(how, coat).width_mm for coat in scheme.coats if coat.bursts)])
    return make_scene(scheme, width_px=int(np.clip(width_mm * POINTS_ACROSS_FAN / finest, *MAP_PX)))


def edge_fan(how: Spraying, coat: Coat) -> Fan:
    """The edge gun held so close that its fan is no wider than the narrowest burst of the coat."""
    wide = min(how.edge_gun.width_mm, max(min(burst.width_mm for burst in coat.bursts), 4.0))
    return how.edge_gun.at(distance_mm=how.edge_gun.distance_mm * wide / how.edge_gun.width_mm)


def even_faces(scheme: Scheme, coarse: Scene) -> list[UnevenFace]:
    """Every face as it is meant, before any hand: factors of 1, and the place of each coat entry."""
    faces = []
    for placed in coarse.faces:
        picture = placed.picture
        intended, cover = picture.maps.level_rows(0, picture.grid.n_rows)
        places = tuple(
            place_of(scheme, picture, coat, build > HARDLY_ANY)
            for coat, build in zip(scheme.coats, intended, strict=True)
        )
        bare = mean_bare(placed)
        faces.append(UnevenFace(placed.name, bare, picture.grid, intended, np.ones_like(intended), cover, places))
    return faces


def uneven_faces(
    scheme: Scheme,
    faces: Sequence[UnevenFace],
    how: Spraying,
    hand: Hand,
    *,
    attempt: int = 0,
    coats: Mapping[int, int] | None = None,
) -> tuple[list[UnevenFace], list[list[Strokes]]]:
    """The faces with the hand's factors where an entry has a place, and the strokes by coat entry (of all faces).

    `attempt`: the same hand another time; `coats`: other numbers of coats than the scheme's, by entry from 0. The
    strokes do not depend on the points at which the faces are looked at.
    """
    uneven, strokes = [], [list[Strokes]() for _ in scheme.coats]
    for number, face in enumerate(faces):
        factor = face.factor.copy()
        for i, (coat, place) in enumerate(zip(scheme.coats, face.places, strict=True)):
            if place is None:
                continue
            # A seed of its own for each entry and face: adding a coat leaves the others' strokes where they were.
            rng = np.random.default_rng([how.seed, attempt, number, i])
            count = (coats or {}).get(i, coat.coats)
            factor[i], laid = _lay(place, coat, count, how, hand, rng)
            strokes[i] += laid
        uneven.append(replace(face, factor=factor))
    return uneven, strokes


def uneven_scene(scene: Scene, faces: Sequence[UnevenFace]) -> Scene:
    """The scene as the hand leaves it; any size."""
    placed = [
        replace(face, picture=FacePicture(face.picture.bare, UnevenMaps(face.picture.maps, map_)))
        for face, map_ in zip(scene.faces, faces, strict=True)
    ]
    return replace(scene, faces=tuple(placed))


def coats_over(
    x_mm: F64,
    y_mm: F64,
    *,
    width_mm: float,
    height_mm: float,
    coats: int,
    how: Spraying,
    hand: Hand,
    rng: np.random.Generator,
    wraps: bool = False,
) -> tuple[F64, list[Strokes]]:
    """Mean build of `coats` whole coats at points of a face of this box (1 = nominal), and their strokes; on
    a tube that `wraps` the level ones run round."""
    total, laid = np.zeros(np.shape(x_mm)), []
    ways = how.directions_deg
    shifts = coat_shifts(-(-coats // len(ways)), how.pattern, rng)
    for k in range(coats):
        angle = ways[k % len(ways)]
        across, along = spans(width_mm, height_mm, angle_deg=angle)
        strokes = lay_strokes(
            across_mm=across,
            along_mm=along,
            fan=how.gun,
            overlap=how.overlap,
            hand=hand,
            rng=rng,
            angle_deg=angle,
            shift=shifts[k // len(ways)],
            turns=wraps and angle % 180.0 == 0.0,
        )
        total += strokes.build(*turned(x_mm, y_mm, angle_deg=angle))
        laid.append(strokes)
    return total / coats, laid


def one_coat_cv(how: Spraying, hand: Hand, *, width_mm: float = 300.0, height_mm: float = 300.0) -> float:
    """Standard deviation of one coat's build over a face of this box, as a share of its mean; mean of eight coats."""
    found = []
    for run in range(8):
        rng = np.random.default_rng([how.seed, run])
        x, y = rng.uniform(0.0, width_mm, 1500), rng.uniform(0.0, height_mm, 1500)
        once = replace(how, pattern="random")
        build, _ = coats_over(x, y, width_mm=width_mm, height_mm=height_mm, coats=1, how=once, hand=hand, rng=rng)
        found.append(float(build.std() / build.mean()))
    return float(np.mean(found))


def gun_for(how: Spraying, coat: Coat, *, width_mm: float, height_mm: float) -> Spraying:
    """The gun and directions for a piece of this size: the edge gun for bursts and for what is narrower than half a
    fan, there along its length."""
    if coat.bursts:
        return replace(how, gun=edge_fan(how, coat))
    if min(width_mm, height_mm) < 0.5 * how.gun.width_mm:
        return replace(how, gun=how.edge_gun, directions_deg=(0.0 if width_mm >= height_mm else 90.0,))
    return how


def _lay(
    place: Place, coat: Coat, count: int, how: Spraying, hand: Hand, rng: np.random.Generator
) -> tuple[F64, list[Strokes]]:
    """Mean build (P,) of `count` coats at a place's points (1 = nominal), and their strokes."""
    x, y, wide, high = place.x_mm, place.y_mm, place.width_mm, place.height_mm
    own, wraps = gun_for(how, coat, width_mm=wide, height_mm=high), place.wraps
    if place.along_edge:
        # Unrolled, the edge runs level and meets itself.
        x, y, wide, high, own, wraps = y, x, high, wide, replace(own, directions_deg=(LEVEL_DEG,)), True
    return coats_over(x, y, width_mm=wide, height_mm=high, coats=count, how=own, hand=hand, rng=rng, wraps=wraps)
