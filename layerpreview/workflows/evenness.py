"""How evenly the coats will lie: the finish under three hands, the build and what shows of it, and what to change."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from layerpreview.answers.advice import Evenness, evenness_of
from layerpreview.answers.gun import GunOptions, gun_set
from layerpreview.errors import InputError, Problem
from layerpreview.output.evenness_result import evenness_names, evenness_result
from layerpreview.output.files import written_together
from layerpreview.output.result import Result
from layerpreview.picture.faces import shapes_of
from layerpreview.picture.scene import make_scene
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.spray.passes import HANDS
from layerpreview.workflows.choices import MARGIN, with_lights

ALL_HANDS = ("flat", "good", "hurried")


def evenness(
    scheme: Scheme,
    *,
    options: GunOptions | None = None,
    hands: Sequence[str] = ALL_HANDS,
    advise_hand: str = "good",
    light: str | None = None,
    width_px: int = 1600,
) -> Result[Evenness]:
    """See how the scheme's coats lie under each of `hands`: "flat" (perfectly steady), "good" or "hurried".

    `options`: what is said of the gun besides the scheme; `width_px` [px]: of the pictures. Raises InputError or
    PictureError.
    """
    _check(hands, advise_hand)
    scheme = with_lights(scheme, [light] if light else None)
    shapes = shapes_of(scheme)
    gun = gun_set(scheme, shapes[0].outline, options)
    scene = make_scene(scheme, width_px=width_px, margin=MARGIN, shapes=shapes)
    found = evenness_of(scheme, scene, gun, hands=hands, advised_hand=advise_hand)
    return evenness_result(scheme, scene, found)


def evenness_files(
    scheme_path: Path,
    *,
    out: Path,
    force: bool = False,
    options: GunOptions | None = None,
    hands: Sequence[str] = ALL_HANDS,
    advise_hand: str = "good",
    light: str | None = None,
    width_px: int = 1600,
) -> Result[Evenness]:
    """Write the finish under each of `hands`, a sheet of them, maps of the build and of what shows, and the figures.

    The choices are those of `evenness`. Raises SchemeError, InputError, PictureError or OutputError; nothing is written
    then.
    """
    scheme = with_lights(load_scheme(scheme_path), [light] if light else None)
    with written_together(out, evenness_names(hands), force=force, inputs=scheme.inputs) as paths:
        found = evenness(scheme, options=options, hands=hands, advise_hand=advise_hand, width_px=width_px)
        return found.written(paths, out)


def _check(hands: Sequence[str], advise_hand: str) -> None:
    remedy = f"use one of {', '.join(HANDS)}"
    wrong = [hand for hand in (*hands, advise_hand) if hand not in HANDS]
    problems = [Problem("no such hand", remedy, field="hands", value=repr(hand)) for hand in wrong]
    if not hands:
        problems.append(Problem("a hand is wanted", remedy, field="hands"))
    if problems:
        raise InputError(problems)
