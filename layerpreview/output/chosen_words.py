"""What there is to choose at a job, a line or two each: how the steps look, how even, how sure, how near."""

from __future__ import annotations

from layerpreview.answers.advice import Evenness
from layerpreview.answers.ladder import Ladder
from layerpreview.answers.recipes import Reached
from layerpreview.answers.tolerance import Tolerance
from layerpreview.colour import NOT_ACCEPTED_DE00
from layerpreview.output.evenness_result import advice_lines, hand_words, stripes_words


def steps_lines(ladder: Ladder) -> list[str]:
    """What each further coat changes, at the scheme's own strength or the one nearest to it."""
    row = min(ladder.rows, key=lambda rungs: abs(rungs[0].strength - 1.0))
    light = ladder.lights[0]
    steps = [f"coat {rung.coats + 1} {rung.next_de00[light]:.1f}" for rung in row[:-1]]
    last = next((rung.coats for rung in row if rung.next_de00[light] < NOT_ACCEPTED_DE00), None)
    lines = [f"{ladder.mix} under {light}, what one coat more changes (CIEDE2000): {', '.join(steps)}."]
    if last is not None:
        coats = f"{last} coat{'' if last == 1 else 's'}"
        lines.append(f"From {coats} on, one more changes little (under {NOT_ACCEPTED_DE00:g}).")
    return lines


def even_lines(found: Evenness) -> list[str]:
    """Stripes by hand, and what would help most."""
    hands = [f"{hand_words(s.hand)} {stripes_words(s.stripes_de00)} ({s.verdict})" for s in found.stripes]
    lines = [f"Stripes with {'; with '.join(hands)}."]
    if found.advice:
        lines += advice_lines(found.advice, hand_words(found.advised_hand))[1:]
    return lines


def sure_lines(found: Tolerance) -> list[str]:
    """The place that is least sure, and what to measure for it."""
    worst = min(found.spreads, key=lambda spread: spread.share_within)
    lines = [
        f"Least sure is {worst.spot}: {100 * worst.share_within:.0f} of 100 tries stay within {worst.within_de00:g} "
        f"(CIEDE2000) of the likely colour, nine in ten within {worst.p90_de00:.1f}."
    ]
    if worst.shares:
        top = worst.shares[0]
        known = f"if it were known, {100 * top.within_if_known:.0f} of 100 would stay within"
        lines.append(f"Measure first: {top.source.name}; {known}.")
    return lines


def near_lines(found: Reached) -> list[str]:
    """The verdict, the closest mix, and what would bring it nearer."""
    closest = min(found.alternatives, key=lambda recipe: recipe.worst_de00)
    mix = ", ".join(f"{name} {amount:g} {closest.units[name]}" for name, amount in closest.strengths.items())
    coats = f"{closest.coats} coat{'' if closest.coats == 1 else 's'} of {closest.film_um:g} um"
    return [f"{found.verdict}.", f"Closest: {mix}, {coats}, {closest.worst_de00:.1f} away.", *found.advice]
