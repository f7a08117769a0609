"""The lifelike picture: the part as a solid in its surroundings, on a quiet backdrop, rendered in strips.

Every pixel of the solid is the film's own answer: the base's law for the way its film and its facets lie, the coats'
builds there, and over it what the clear mirrors. No figure is taken from it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.finish.layers import turned_deg
from layerpreview.finish.look import Look
from layerpreview.finish.mirror import Mirror, mirror_of
from layerpreview.finish.solid import SolidOptics, solid_look, solid_optics
from layerpreview.finish.view import Surroundings
from layerpreview.picture.backdrop import Backdrop, backdrop_of
from layerpreview.picture.bare import FLAKE_TURN_DEG
from layerpreview.picture.faces import FaceShape, shapes_of
from layerpreview.picture.scene import laid_out
from layerpreview.picture.solid_light import Facing, Spots, solid_light
from layerpreview.picture.solids import Faces, Solid, faces_together, solid_of, sparkling
from layerpreview.scheme import Base, Scheme
from layerpreview.surface.body import trace

F32 = NDArray[np.float32]

MARGIN = 0.16
MOST_TALL = 2.0
"""How much higher than wide the picture may be: beside a tube there is air."""
SHADOW_PX = 240
"""Width of the picture that the shadow is made from."""
RAYS_AT_ONCE = 60_000


@dataclass(frozen=True)
class Pose:
    """How a solid is turned [deg]: `yaw` about the upright, its right side away from the eye; `pitch` about the level,
    its top towards the eye."""

    yaw_deg: float = 0.0
    pitch_deg: float = 0.0

    def matrix(self) -> F32:
        """From the solid's coordinates to the room's."""
        yaw, pitch = math.radians(self.yaw_deg), math.radians(self.pitch_deg)
        upright = np.array([[math.cos(yaw), 0.0, math.sin(yaw)], [0.0, 1.0, 0.0], [-math.sin(yaw), 0.0, math.cos(yaw)]])
        level = np.array(
            [[1.0, 0.0, 0.0], [0.0, math.cos(pitch), math.sin(pitch)], [0.0, -math.sin(pitch), math.cos(pitch)]]
        )
        return np.asarray(level @ upright, dtype=np.float32)


PLATE_POSE, SHELL_POSE = Pose(-8.0, -5.0), Pose(0.0, 9.0)
"""How a part stands unless it is turned: towards the window, or so that one looks into it from above."""


@dataclass(frozen=True, eq=False)
class PlacedSolid:
    """A solid in a `pose` whose middle lies at (`x_mm`, `y_mm`) on the picture."""

    solid: Solid
    pose: Pose
    x_mm: float
    y_mm: float
    optics: Mapping[Base, SolidOptics]

    @property
    def towards(self) -> F32:
        """The way of the eye's rays in the solid's coordinates."""
        return np.asarray(-self.pose.matrix()[2])


@dataclass(frozen=True, eq=False)
class Lifelike:
    """Solids on a picture of `width_px` by `height_px` pixels of `pixel_mm` each."""

    solids: tuple[PlacedSolid, ...]
    width_px: int
    height_px: int
    pixel_mm: float
    around: Surroundings
    mirror: Mirror
    backdrop: Backdrop | None = None

    def strips(self, strip_px: int = 100_000, *, multiple: int = 1) -> list[tuple[int, int]]:
        """Row ranges of about `strip_px` pixels that cover the picture, each of `multiple` rows."""
        rows = multiple * max(1, strip_px // (multiple * self.width_px))
        return [(y, min(y + rows, self.height_px)) for y in range(0, self.height_px, rows)]

    def render_strip(self, looks: Sequence[Mapping[str, Look]], y0: int, y1: int) -> tuple[list[F32], F32]:
        """Linear RGB (rows, width, 3) of one strip under each light, by the names of the skins, and its cover."""
        assert self.backdrop is not None
        ground = self.backdrop.rows(y0, y1)
        out = [np.repeat(ground[:, :, None], 3, axis=2) for _ in looks]
        cover = np.zeros((y1 - y0, self.width_px), dtype=np.float32)
        for placed in self.solids:
            pixels, start = self._rays(placed, y0, y1)
            for some in np.array_split(np.arange(pixels.size), max(1, pixels.size // RAYS_AT_ONCE)):
                self._render(placed, pixels[some], start[:, some], looks, out, cover)
        return out, cover

    def cover(self) -> F32:
        """Share of every pixel on the part (rows, width)."""
        total = np.zeros((self.height_px, self.width_px), dtype=np.float32)
        for placed in self.solids:
            pixels, start = self._rays(placed, 0, self.height_px)
            _, share = trace(placed.solid.body, start, placed.towards, pixel_mm=self.pixel_mm)
            flat = total.reshape(-1)
            flat[pixels] = np.maximum(flat[pixels], share)
        return total

    def _rays(self, placed: PlacedSolid, y0: int, y1: int) -> tuple[NDArray[np.intp], F32]:
        """Pixels of a strip (numbered within it) that may show a solid, and where their rays start."""
        turn, body = placed.pose.matrix(), placed.solid.body
        # The middle stays where it is when the solid turns; an arch may stand far out of it.
        middle = np.array([[0.5 * body.width_mm], [0.5 * body.height_mm], [-0.5 * body.depth_mm]], dtype=np.float32)
        reach = np.abs(turn) @ np.abs(np.asarray(body.box_mm).T - middle).max(axis=1) + 1.0
        left, right = (math.floor((placed.x_mm + side * reach[0]) / self.pixel_mm) for side in (-1.0, 1.0))
        top, bottom = (math.floor((placed.y_mm + side * reach[1]) / self.pixel_mm) for side in (-1.0, 1.0))
        rows = np.arange(max(top, y0), min(bottom + 1, y1))
        cols = np.arange(max(left, 0), min(right + 1, self.width_px))
        x, y = np.meshgrid((cols + 0.5) * self.pixel_mm - placed.x_mm, (rows + 0.5) * self.pixel_mm - placed.y_mm)
        room = np.stack([x.ravel(), y.ravel(), np.full(x.size, reach[2])]).astype(np.float32)
        pixels = ((rows - y0)[:, None] * self.width_px + cols).ravel()
        return pixels, np.asarray(turn.T @ room + middle, dtype=np.float32)

    def _render(
        self,
        placed: PlacedSolid,
        pixels: NDArray[np.intp],
        start: F32,
        looks: Sequence[Mapping[str, Look]],
        out: list[F32],
        cover: F32,
    ) -> None:
        place, share = trace(placed.solid.body, start, placed.towards, pixel_mm=self.pixel_mm)
        seen = np.flatnonzero(share)
        if not seen.size:
            return
        met = placed.solid.body.met(place[:, seen], share[seen])
        flat_cover = cover.reshape(-1)
        flat_cover[pixels[seen]] = np.maximum(flat_cover[pixels[seen]], met.share)
        turned = placed.pose.matrix()
        facing = Facing(*(np.asarray(turned @ v, dtype=np.float32) for v in (met.normal, met.across, met.down)))
        for kind in np.unique(met.kind):
            here = np.flatnonzero(met.kind == kind)
            spots = Spots(met, facing, here, pixel_mm=self.pixel_mm)
            light = solid_light(spots, int(kind), placed.solid, placed.optics, looks, self.mirror)
            for picture, rgb in zip(out, light, strict=True):
                flat = picture.reshape(-1, 3)
                at = pixels[seen[here]]
                below = flat[at]
                flat[at] = below + met.share[here, None] * (rgb.T - below)


@dataclass(frozen=True)
class Standing:
    """Where the middles of solids lie on a picture, its size [mm], and how each stands unless it is turned."""

    middles_mm: tuple[tuple[float, float], ...]
    poses: tuple[Pose, ...]
    wide_mm: float
    tall_mm: float


def standing_of(scheme: Scheme, groups: Sequence[Faces]) -> Standing:
    """The scheme's solids side by side."""
    sizes_mm = [group.size_mm(scheme.form) for group in groups]
    layout = laid_out(sizes_mm, margin=MARGIN)
    tall_mm = max(top + high for (_, top), (_, high) in zip(layout.corners_mm, sizes_mm, strict=True))
    tall_mm += layout.border_mm
    wide_mm = max(layout.width_mm, tall_mm / MOST_TALL)
    middles_mm = tuple(
        (left + 0.5 * (wide + wide_mm - layout.width_mm), top + 0.5 * high)
        for (wide, high), (left, top) in zip(sizes_mm, layout.corners_mm, strict=True)
    )
    poses = tuple(SHELL_POSE if group.front.outline.wraps else PLATE_POSE for group in groups)
    return Standing(middles_mm, poses, wide_mm, tall_mm)


def lifelike_of(
    scheme: Scheme,
    around: Surroundings,
    *,
    width_px: int,
    pose: Pose | None = None,
    shapes: Sequence[FaceShape] | None = None,
) -> Lifelike:
    """Put the scheme's solids side by side on a picture `width_px` wide [px], each as it stands or all in one `pose`.

    Raises InputError and PictureError.
    """
    groups = faces_together(shapes_of(scheme) if shapes is None else shapes)
    standing = standing_of(scheme, groups)
    pixel_mm = standing.wide_mm / width_px
    turned = turned_deg(scheme.base)
    even = around.light().even
    solids = []
    for group, (x_mm, y_mm), stands in zip(groups, standing.middles_mm, standing.poses, strict=True):
        solid = solid_of(scheme, group, even=even, pixel_mm=pixel_mm)
        optics = {skin.base: solid_optics(skin.base, around, turned_deg=turned) for skin in solid.skins.values()}
        solids.append(PlacedSolid(solid, pose or stands, x_mm, y_mm, optics))
    height_px = round(standing.tall_mm / pixel_mm)
    mirror = mirror_of(around, scheme.clear.finish, turned)
    scene = Lifelike(tuple(solids), width_px, height_px, pixel_mm, around, mirror)
    return with_backdrop(scene)


def with_backdrop(scene: Lifelike) -> Lifelike:
    """The scene before a backdrop that its solids shade."""
    small = max(1, scene.width_px // SHADOW_PX)
    coarse = replace(
        scene,
        width_px=math.ceil(scene.width_px / small),
        height_px=math.ceil(scene.height_px / small),
        pixel_mm=scene.pixel_mm * small,
    )
    backdrop = backdrop_of(
        coarse.cover(),
        size_mm=max(max(placed.solid.body.width_mm, placed.solid.body.height_mm) for placed in scene.solids),
        pixel_mm=coarse.pixel_mm,
        out_mm=scene.pixel_mm,
        width_px=scene.width_px,
        height_px=scene.height_px,
    )
    return replace(scene, backdrop=backdrop)


def looks_of(scheme: Scheme, scene: Lifelike, light: str) -> dict[str, Look]:
    """The look of every face of the scene under a light."""
    return {
        skin.name: solid_look(scheme, skin.base, placed.optics[skin.base], light=light, tint_rgb=skin.tint_rgb)
        for placed in scene.solids
        for skin in placed.solid.skins.values()
    }


def posed(scene: Lifelike, yaw_deg: float) -> Lifelike:
    """The same solids turned about the upright; a turn of some degrees lights up other flakes."""
    even = scene.around.light().even
    solids = tuple(
        replace(
            placed,
            solid=sparkling(placed.solid, even=even, phase=yaw_deg / FLAKE_TURN_DEG),
            pose=replace(placed.pose, yaw_deg=yaw_deg),
        )
        for placed in scene.solids
    )
    return with_backdrop(replace(scene, solids=solids))
