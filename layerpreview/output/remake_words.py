"""The same colour again, in words: what to mix, what differs and how sure, metamers, which card first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from layerpreview.answers.films import film_told
from layerpreview.answers.recipes import listed
from layerpreview.answers.remake_answer import DyeToday, FilmToday, Remade
from layerpreview.answers.remake_booth import Booth, Recipe
from layerpreview.answers.remake_sure import PART_BASE, FirstCard
from layerpreview.colour import JUST_SEEN_DE00, visibility
from layerpreview.job.cautions import CAUTION_MIXING_SHORT
from layerpreview.learn.tell.next_step import ENOUGH_DE00
from layerpreview.output.plain_json import text_table

COSTS_DE00 = 0.3
"""What a match under the first light alone must cost another light to be told: well below what is seen."""
_UNMOVED_DE00 = 0.05
_TELLS_LITTLE = 0.85  # share of the doubt left from which a card alone is no use
_ALIKE = 0.005  # share by which a strength may differ and still be told as before


def remake_lines(found: Remade) -> list[str]:
    """The whole answer, line by line."""
    lines = [found.verdict + ".", ""]
    lines += [line for dye in found.dyes for line in [dye_words(dye)]]
    lines += base_words(found)
    lines += [film_words(film, found.booth.scheme.shop.units) for film in found.films if not film.same]
    lines += ["", *mix_table(found), *coat_lines(found), ""]
    lines += [*tried_lines(found), *place_table(found)]
    lines += ["", *light_lines(found), *sure_lines(found), *card_lines(found), *offer_lines(found)]
    if found.wide_doubt:
        lines.append("To go by the figures as they are all the same: remake again with --anyway.")
    lines += [f"note: {line}" for line in found.notes]
    title, text = CAUTION_MIXING_SHORT
    return [
        *lines,
        f"{title}: {text}",
        "Approximate. CIEDE2000 is made for flat colours side by side; over effect finishes it is a guide.",
    ]


def dye_words(dye: DyeToday) -> str:
    """What became of one dye."""
    if dye.same_file:
        return f"{dye.name}: the dye file is the record's own."
    if dye.same:
        left = f"perhaps {_by(dye.strength.likely)}, {dye.hue_left_de00:.1f} CIEDE2000 of other hue"
        never = "; the record's own was never measured" if dye.never_measured else ""
        return f"{dye.name} ({dye.file}): the same as in the record, within the doubt ({left}{never})."
    most = max(dye.strength_sure, dye.hue_sure)
    sure = "surer than 99 %" if most > 0.99 else f"{100.0 * most:.0f} % sure"
    ends = sorted(100.0 * (end - 1.0) for end in (dye.strength.low, dye.strength.high))
    strength = f"{_by(dye.strength.likely)} than in the record, mL by mL ({ends[0]:+.0f} to {ends[1]:+.0f} %)"
    hue = f"; {listed(dye.hue_words)}, {dye.hue_left_de00:.1f} CIEDE2000 at equal strength" if dye.hue_words else ""
    return f"{dye.name} ({dye.file}): {strength}{hue}; {sure}."


def _by(times: float) -> str:
    percent = f"{100.0 * abs(times - 1.0):.0f}"
    return "as strong" if percent == "0" else f"{percent} % {'stronger' if times > 1.0 else 'weaker'}"


def base_words(found: Remade) -> list[str]:
    """What today's base does to the record's own recipe; nothing where it is the record's."""
    base = found.base
    if not base.other:
        return []
    moved = f"the record's own recipe comes out {base.moved_de00:.1f} away over it"
    doubt = f"a base told alike may be {max(base.doubt_de00, 0.05):.1f} off"
    if base.same:
        return [f"Base: the same within the doubt ({moved}; {doubt})."]
    return [f"Base: another one: {moved} ({doubt}). Strength mends a part of that; the rest is how the base shines."]


def film_words(film: FilmToday, units: str) -> str:
    """Another film of one entry, in the shop's `units`."""

    def told(um: float) -> str:
        return film_told(um, units)

    now, was = film.now_um, film.was_um
    return (
        f"{film.mix}: one coat now lays {told(now.likely)} ({told(now.low)} to {told(now.high)}), then "
        f"{told(was.likely)} ({told(was.low)} to {told(was.high)})."
    )


def mix_rows(found: Remade) -> list[dict[str, object]]:
    """A row for every dye of every mix: strength in the record and now, as sold in a litre of finished mix."""
    return _rows(found.booth, found.recipe)


def _rows(booth: Booth, recipe: Recipe) -> list[dict[str, object]]:
    return [
        {
            "mix": part.mix,
            "dye": part.dye,
            "was": round(float(booth.as_written[k]), 4),
            "now": round(float(recipe.strengths[k]), 4),
            "unit": booth.unit_of(k),
            "added": part in booth.extra,
        }
        for k, part in enumerate(booth.parts)
    ]


def mix_table(found: Remade) -> list[str]:
    """What to mix, beside what was mixed."""
    heads = ("mix", "dye", "in the record", "now, in a litre of finished mix", "")
    return text_table([heads, *(_mix_row(row) for row in mix_rows(found))])


def _mix_row(row: dict[str, object]) -> tuple[str, ...]:
    was, now, unit = float(str(row["was"])), float(str(row["now"])), str(row["unit"])
    if now <= 0.0:
        change = "left out"
    elif was <= 0.0:
        change = "new"
    elif abs(now - was) <= _ALIKE * was:
        change = "as before"
    else:
        change = f"{100.0 * (now / was - 1.0):+.0f} %"
    return str(row["mix"]), str(row["dye"]), f"{was:.3g} {unit}", f"{now:.4g} {unit}", change


def coat_lines(found: Remade) -> list[str]:
    """How many coats of what, in the order they are sprayed."""
    told = []
    scheme = found.booth.scheme
    for coat, was, now in zip(scheme.coats, found.booth.coats, found.recipe.coats, strict=True):
        before = "" if now == was else f"; in the record {was}"
        told.append(f"{now} of {coat.label} ({film_told(coat.film_um.likely, scheme.shop.units)} wet each{before})")
    return [f"Coats: {', then '.join(told)}."]


def tried_lines(found: Remade) -> list[str]:
    """The same in other coats, with mixes nearer to those that were tried; nothing where there is no such choice."""
    recipe, booth = found.as_tried, found.booth
    if recipe is None:
        return []
    coats = ", then ".join(f"{n} of {coat.label}" for n, coat in zip(recipe.coats, booth.scheme.coats, strict=True))
    mixes = []
    for mix in dict.fromkeys(part.mix for part in booth.parts):
        held = [f"{booth.parts[k].dye} {recipe.strengths[k]:.4g} {booth.unit_of(k)}" for k in booth.parts_of(mix)]
        mixes.append(f"{mix} {', '.join(held)}")
    return [
        f"Or, with mixes nearer to those that were tried: {coats}; in a litre {'; '.join(mixes)}: "
        f"{recipe.joint_de00:.1f} away.",
        "",
    ]


def place_table(found: Remade) -> list[str]:
    """How far each place will be off under each light: as computed, what may be, and if mixed as before."""
    heads = ["place", "light", "computed", "may be", "likely", "mixed as before"]
    rows = []
    for p, place in enumerate(found.booth.wanted):
        if not place.weight and max(found.recipe.de00[p].max(), found.as_before.de00[p].max()) < _UNMOVED_DE00:
            continue  # no dye, and the base shows as it did
        for n, light in enumerate(found.lights):
            may, counted = found.sure.places[p][n], place.weight > 0.0
            cells = [f"{may.low:.1f} to {may.high:.1f}", f"{may.likely:.1f}"] if counted else ["", ""]
            before = f"{found.as_before.de00[p, n]:.1f}"
            rows.append([place.spot.name if not n else "", light, f"{found.recipe.de00[p, n]:.1f}", *cells, before])
    if found.same:
        keep = [0, 1, 2]
        heads, rows = [heads[k] for k in keep], [[row[k] for k in keep] for row in rows]
    return ["Away from the record (CIEDE2000):", *text_table([heads, *rows])]


def light_lines(found: Remade) -> list[str]:
    """What a match under the first light would cost the others; nothing with one light, or where all stays the same."""
    if len(found.lights) == 1 or found.same:
        return []
    main = main_place(found)
    first = found.lights[0]
    index = ", ".join(f"{light} {found.index[main, n]:.1f}" for n, light in enumerate(found.lights) if n)
    name = found.booth.wanted[main].spot.name
    lines = []
    alone, joint = found.one_light.de00[main], found.recipe.de00[main]
    worst = max(range(1, len(found.lights)), key=lambda n: float(alone[n] - joint[n]))
    if alone[worst] - joint[worst] > COSTS_DE00:
        lines.append(
            f"Lights: matched under {first} alone the {name} would be {alone[0]:.1f} away there and {alone[worst]:.1f} "
            f"under {found.lights[worst]}; this recipe shares it out, {joint[0]:.1f} and {joint[worst]:.1f}."
        )
    else:
        lines.append(f"Lights: a match under {first} alone would cost the other lights nothing that is seen.")
    told = f"Metamers, {name}: once alike under {first}, what is left is {index}"
    return [*lines, f"{told} (CIEDE2000; after the CIE's special metamerism index, as an orientation)."]


def main_place(found: Remade) -> int:
    """The number of the place that stands for the finish."""
    return int(np.argmax(found.booth.weights))


def sure_lines(found: Remade) -> list[str]:
    """What may come out, with all that is not known of dyes, films, amounts and base."""
    if found.same:
        return []
    sure = found.sure.joint_de00
    return [
        f"How sure: as computed {found.de00:.1f}. With what is not known of dyes, films, amounts and base half of such "
        f"jobs come out within {sure.likely:.1f} of the record, nineteen of twenty within {sure.high:.1f}."
    ]


def card_lines(found: Remade) -> list[str]:
    """Which one card to spray first."""
    card = found.card
    if card is None:
        return []
    if found.wide_doubt:
        return [f"Spray one card of {card.mix} first and learn it: only then can a difference be told."]
    if found.same:
        return [
            f"Spray one card of {card.mix} all the same, and hold it beside the part: within doubt does not mean equal."
        ]
    if card.before_de00 < ENOUGH_DE00:
        return ["Card: what is not known is less than anyone sees; one card of the first mix is enough to be sure."]
    over = "over the same base as the part" if card.over == PART_BASE else f"over {card.over}"
    if card.after_de00 > _TELLS_LITTLE * card.before_de00:
        return [
            f"Spray one card first: {card.mix} as now mixed, steps of 1 to {card.coats} coats, over the same base as "
            f"the part, and hold it beside the part itself: of what is not known ({card.before_de00:.1f}) most lies in "
            "the record's own dyes, of which no card of today's tells."
        ]
    return [
        f"Spray one card first: {card.mix} as now mixed, steps of 1 to {card.coats} coats, {over}. It takes what is "
        f"not known from {card.before_de00:.1f} to {card.after_de00:.1f} (CIEDE2000), more than any other one card"
        f"{_rest(card)}. Use the same batch for the part."
    ]


def _rest(card: FirstCard) -> str:
    """What keeps even the best card from halving the doubt."""
    return "" if card.after_de00 <= 0.5 * card.before_de00 else "; what is left lies in other mixes and in the record"


def offer_lines(found: Remade) -> list[str]:
    """A dye more that would bring it clearly closer."""
    if found.offer is None:
        if found.same or found.de00 < JUST_SEEN_DE00:
            return []
        return [
            f"Closer than {found.de00:.1f} ({visibility(found.de00)}) does not go with these dyes over this base: "
            "the dyes are of another hue, or the base shines another way. A further dye may help: name its file, too."
        ]
    booth, recipe = found.offer
    parts = [
        f"{recipe.strengths[k]:.3g} {booth.unit_of(k)} of {part.dye} in {part.mix}"
        for k, part in enumerate(booth.parts)
        if part in booth.extra and part not in found.booth.extra
    ]
    names = " ".join(f'--also "{name}"' for name in dict.fromkeys(p.dye for p in booth.extra))
    return [
        f"Closer still: with {listed(parts)} it would be {recipe.joint_de00:.1f} away instead of {found.de00:.1f}: "
        f"add {names}."
    ]


def told_rows(found: Remade) -> Sequence[dict[str, object]]:
    """A row for every place and light: what is left, its range, and if mixed as before."""
    return [
        {
            "place": place.spot.name,
            "face": place.spot.face,
            "light": light,
            "counts": place.weight,
            "left_de00": float(found.recipe.de00[p, n]),
            "low_de00": found.sure.places[p][n].low,
            "median_de00": found.sure.places[p][n].likely,
            "high_de00": found.sure.places[p][n].high,
            "as_before_de00": float(found.as_before.de00[p, n]),
            "first_light_alone_de00": float(found.one_light.de00[p, n]),
            "metamerism_index": float(found.index[p, n]),
        }
        for p, place in enumerate(found.booth.wanted)
        for n, light in enumerate(found.lights)
    ]
