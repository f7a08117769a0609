"""One job of the shop book, as far as its scheme tells."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from layerpreview.answers.book import BookCoat, BookColour, BookDye, BookMix, Need, Worked
from layerpreview.finish.layers import dyes_in
from layerpreview.job.batches import MixAmounts
from layerpreview.job.cautions import may_hold_isocyanate
from layerpreview.job.colours import ColourFigures, dye_swatch, spot_colours
from layerpreview.job.products import details_of
from layerpreview.job.sheet import make_sheet
from layerpreview.job.time_and_cost import Time, poured
from layerpreview.picture.faces import shapes_of
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import FIGURES_WIDTH_PX, SpotKind, spots_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Scheme
from layerpreview.scheme.describe import base_words, shown_strength
from layerpreview.spray.batch import Part
from layerpreview.told import Told

WHITE_FROM_L = 85.0
"""A base of one colour is called white from this L* on: our own limit."""


def worked_of(scheme: Scheme) -> Worked:
    """What follows from a scheme: the same figures as on its mix sheet and in its figures, under its first light.

    Raises InputError or PictureError as those do.
    """
    parts = shapes_of(scheme)
    surveys = [Survey(scheme, part) for part in parts]
    sheet = make_sheet(scheme, parts=parts, surveys=surveys)
    first = scheme.model_copy(update={"lights": scheme.lights[:1]})
    spots = spots_of(first, make_scene(first, width_px=FIGURES_WIDTH_PX, shapes=parts), surveys)
    figures = spot_colours(first, spots)
    clear, details = scheme.clear, details_of(scheme)
    bases = {part.face.name: base_words(scheme.base_for(part.face.name)) for part in parts}
    return Worked(
        name=scheme.name,
        light=scheme.lights[0],
        finish=clear.finish,
        base=tuple(dict.fromkeys(bases.values())),
        colours=tuple(_colour(scheme, figure, figures) for figure in figures),
        mixes=tuple(
            BookMix(mix.name or key, tuple((dye, shown_strength(strength)) for dye, strength in mix.strengths.items()))
            for key, mix in scheme.mixes.items()
        ),
        dyes=tuple(_dyes(scheme)),
        coats=tuple(BookCoat(i, coat.label, coat.coats, coat.film_um) for i, coat in enumerate(scheme.coats, start=1)),
        clear=BookCoat(-1, clear.name or "clear coat", details.clear.coats, details.clear.film_um),
        transfer=scheme.gun.transfer,
        hands_on_h=_hours([time for time in sheet.times if time.hands_on]) or Told.of(0.0, "h"),
        waiting_h=_hours([time for time in sheet.times if not time.hands_on]),
        cost=None if sheet.cost_total is None else float(sheet.cost_total),
        unpriced=sum(cost.price is None for cost in sheet.costs),
        currency=sheet.currency,
        needs=tuple(need for mix in sheet.mixes for need in _needs(scheme, mix)),
    )


def _colour(scheme: Scheme, figure: ColourFigures, all_of_it: Sequence[ColourFigures]) -> BookColour:
    base = scheme.base_for(figure.face)
    bare = next((one.lab for one in all_of_it if one.face == figure.face and one.kind is SpotKind.BASE), figure.lab)
    white = base.kind == "solid" and bare[0] >= WHITE_FROM_L
    called = "silver " if base.kind == "metal" else "white " if white else ""
    over = called + base_words(base)
    off = max(figure.thin_de00, figure.full_de00)
    lab = (round(figure.lab[0], 2), round(figure.lab[1], 2), round(figure.lab[2], 2))
    return BookColour(figure.spot, str(figure.kind), lab, figure.srgb, round(off, 2), over)


def _dyes(scheme: Scheme) -> Iterator[BookDye]:
    """Every dye that a mix holds, once."""
    found = {part.name: part for mix in scheme.mixes.values() for part in dyes_in(scheme, mix)}
    for name, part in found.items():
        dye = scheme.dyes[name]
        yield BookDye(name, dye.kind, dye_swatch(dye), dye.concentrate_g_per_L, part.drops_per_mL)


def _hours(times: Sequence[Time]) -> Told | None:
    """Their sum [h]; None where one of them is not stated."""
    known = [time.minutes.scaled(1.0 / 60.0, "h") for time in times if time.minutes is not None]
    return Told.total(known) if known and len(known) == len(times) else None


def _needs(scheme: Scheme, mix: MixAmounts) -> Iterator[Need]:
    """Every part of a batch, in the order it is poured."""
    made = {part.name: part for part in poured(mix)}
    held = any(may_hold_isocyanate(stage) for stage in mix.stages)
    for ingredient in mix.ingredients:
        powder = ingredient.kind == "powder"
        needed = mix.needed_mL.scaled(float(ingredient.share), "g" if powder else "mL")
        drops = None
        if ingredient.kind == "dye" and isinstance(ingredient.drops_per_mL, Told):
            per_mL = ingredient.drops_per_mL.called("drops")
            drops = needed.scaled(per_mL.likely, "drops") if ingredient.counted else needed.times(per_mL, "drops")
        yield Need(
            kind=ingredient.kind,
            name=ingredient.name,
            bottle=_bottle(scheme, ingredient.name) if ingredient.kind in ("dye", "powder") else "",
            of=mix.title,
            of_kind=mix.kind,
            unit="g" if powder else "mL",
            make=round(_amount(made.get(ingredient.name)), 4),
            needed=needed,
            drops=drops,
            isocyanate=held and ingredient.kind == "catalyst",
        )


def _amount(part: Part | None) -> float:
    if part is None:
        return 0.0
    return float(part.exact_g or 0) if part.kind == "powder" else float(part.mL)


def _bottle(scheme: Scheme, name: str) -> str:
    """What tells bottles of one name apart: how strong the dye is as sold."""
    strength = scheme.dyes[name].concentrate_g_per_L
    return "powder" if strength is None else f"{strength:g} g/L"
