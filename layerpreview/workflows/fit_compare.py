"""A dye just learnt beside what it was before: an earlier bottle's dye file, or the same card without its clear."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from layerpreview.errors import InputError
from layerpreview.learn.card.setting import CardSetting, card_of_readings, stated_of
from layerpreview.learn.fit.known_dye import known_dye_of_file
from layerpreview.learn.fit.mirror import find_mirror, told
from layerpreview.learn.fit.one_card import fit_dye
from layerpreview.learn.read.readings import Readings
from layerpreview.learn.tell.changed import Drift, compare
from layerpreview.learn.tell.fitted import Fitted
from layerpreview.learn.tell.same_card import read_again
from layerpreview.scheme.dyefile import load_dye_file
from layerpreview.units import Range, Strength, UnitError, parse_strength

_BY_VOLUME = ("mL/L", "drops/L")
_ALIKE = 0.005  # share by which labels differ in their rounding


def concentrate_of(earlier: Path | None, strength: str | None) -> dict[str, str]:
    """The remark "concentrate" as the earlier dye's file has it, for a card that does not say it; none for a powder."""
    if earlier is None or strength is None:
        return {}
    try:
        by_volume = parse_strength(strength).unit in _BY_VOLUME
    except UnitError:
        return {}  # told with all else that is wrong with what was said of the card
    known = load_dye_file(earlier).concentrate_g_per_L
    return {"concentrate": f"{known:g} g/L"} if by_volume and known else {}


def beside_earlier(fitted: Fitted, earlier: Path | None, strength: str | None) -> Fitted:
    """The same with its `drift` from the dye file `earlier`; `strength` is the card's, as written.

    Raises SchemeError for a file that is no dye.
    """
    if earlier is None or strength is None:
        return fitted
    file, sprayed = load_dye_file(earlier), parse_strength(strength)
    scale, notes = _as_sold(sprayed, file.concentrate_g_per_L, fitted.concentrate_g_per_L)
    known = known_dye_of_file(file, load_mg_m2=fitted.load_per_coat_mg_m2 * scale)
    if not file.doubt_of_log:
        notes.append(
            "the earlier file holds a range and not how it hangs together: only large differences can be told; files "
            "written from now on hold it"
        )
    fit = fitted.fit
    changed = compare(
        known.absorbance10,
        fit.absorbance10,
        [known.doubt, fit.doubt],
        grounds=fit.card.grounds,
        loads=(1.0, 0.5 * fit.heaviest_load, fit.heaviest_load),
    )
    notes.append("a thicker or thinner wet film on either card looks like strength: spray both alike")
    times, amount = changed.strength, sprayed.amount
    use = Range(amount / times.high, amount / times.likely, amount / times.low)
    drift = Drift(f"{file.name} ({earlier.name})", changed, amount, use, sprayed.unit, tuple(notes))
    return replace(fitted, drift=drift)


def _as_sold(sprayed: Strength, earlier_g_per_L: float | None, now_g_per_L: float | None) -> tuple[float, list[str]]:
    """Pure dye in the earlier bottle over that in as much of the new one, and what is to be said of it."""
    if sprayed.unit not in _BY_VOLUME:
        return 1.0, []
    if earlier_g_per_L is None or now_g_per_L is None:
        return 1.0, ["the earlier dye was weighed, this one is counted by volume: compared by pure dye"]
    scale = earlier_g_per_L / now_g_per_L
    if abs(scale - 1.0) < _ALIKE:
        return scale, []
    labels = f"{now_g_per_L:g} g/L beside {earlier_g_per_L:g} g/L"
    return scale, [f"the bottles are stated to hold {labels}: compared as sold, mL by mL"]


def beside_before(fitted: Fitted, before: Readings, setting: CardSetting) -> Fitted:
    """The same, whose card was read after its clear, with what changed since `before`; `setting` as the card was said.

    Raises InputError where the two readings cannot be compared.
    """
    setting = replace(setting, flake_spread=fitted.flake_spread)
    stated = stated_of(setting.geometry)
    first = fit_dye(card_of_readings(before, setting))
    # A coat that is matt until the clear is on holds some mirror image of its own.
    share, found = find_mirror(
        lambda tried: card_of_readings(before, replace(setting, mirror_share=tried)), first, stated
    )
    try:
        again = read_again(found.card, fitted.fit.card)
    except InputError as error:
        raise InputError(replace(problem, file=before.file) for problem in error.problems) from None
    notes = [f"before the clear: {line}" for line in told(share, found, first, stated)]
    return replace(fitted, read_again=again, notes=(*fitted.notes, *notes))
