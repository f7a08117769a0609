"""How evenly the coats will lie under each hand: the figures, the work, and what would help."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from layerpreview.answers.advice import Advice, advice_of
from layerpreview.answers.evenness import Part, Stripes, lay, part_of, stripes_of
from layerpreview.answers.gun import GunSet
from layerpreview.answers.uneven import UnevenFace, coarse_scene, uneven_faces
from layerpreview.picture.scene import Scene
from layerpreview.scheme import Scheme
from layerpreview.spray.passes import HANDS, Strokes, travel


@dataclass(frozen=True)
class Pass:
    """What one coat entry asks of the hand: strokes, metres and minutes for one coat and in all, drying apart."""

    order: int
    what: str
    coats: int
    strokes: int
    metres: float
    minutes: float
    fan_mm: float
    spacing_mm: float


@dataclass(frozen=True, eq=False)
class Evenness:
    """The figures by hand, the work by coat entry, and what would stop the stripes showing.

    `advised_hand`: whose figures the advice is for. `gun`: how the gun is set and where that comes from. `part` as it
    is meant, and `usual` by hand: its faces as the attempt leaves them that comes nearest to the hand's figure.
    """

    light: str
    stripes: tuple[Stripes, ...]
    passes: tuple[Pass, ...]
    advice: Advice | None
    advised_hand: str
    gun: GunSet
    part: Part = field(repr=False)
    usual: Mapping[str, list[UnevenFace]] = field(repr=False)


def evenness_of(scheme: Scheme, scene: Scene, gun: GunSet, *, hands: Sequence[str], advised_hand: str) -> Evenness:
    """Let each of `hands` lay the scheme's coats on the part in `scene`, and try what would help one of them.

    The passes are those of the last hand.
    """
    whole = part_of(scheme, coarse_scene(scheme, gun.how, width_mm=scene.width_px * scene.pixel_mm))
    part = whole.sample()
    laid = {hand: lay(part, gun.how, HANDS[hand]) for hand in dict.fromkeys((*hands, advised_hand))}
    figures = {hand: stripes_of(scheme, laid[hand], hand) for hand in laid}
    usual = {hand: uneven_faces(scheme, whole.faces, gun.how, HANDS[hand], attempt=laid[hand].usual) for hand in hands}
    return Evenness(
        light=scheme.lights[0],
        stripes=tuple(figures[hand] for hand in hands),
        passes=tuple(_passes(scheme, usual[hands[-1]][1])),
        advice=advice_of(part, gun.how, HANDS[advised_hand], laid[advised_hand], figures[advised_hand]),
        advised_hand=advised_hand,
        gun=gun,
        part=whole,
        usual={hand: faces for hand, (faces, _) in usual.items()},
    )


def _passes(scheme: Scheme, strokes: list[list[Strokes]]) -> list[Pass]:
    out = []
    for i, (coat, laid) in enumerate(zip(scheme.coats, strokes, strict=True)):
        if laid:
            way, fan, spacing = travel(laid), laid[0].fan, laid[0].spacing_mm
            minutes = way.seconds / 60.0
            out.append(Pass(i + 1, coat.label, coat.coats, way.strokes, way.metres, minutes, fan.width_mm, spacing))
    return out
