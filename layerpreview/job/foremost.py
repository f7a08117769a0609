"""The cautions of a job in the order of their weight: three for the wall, and each told once with its stages."""

from __future__ import annotations

from dataclasses import dataclass

from layerpreview.job.cautions import (
    CAUTION_DUST,
    CAUTION_ISOCYANATE,
    CAUTION_LAST_WORD,
    CAUTION_SKIN,
    CAUTION_VAPOUR,
    CAUTION_WASTE,
    Caution,
)
from layerpreview.job.sheet import MixSheet

FOREMOST = 3
ISOCYANATE_IN_SHORT = (
    "Air-fed protection as product sheet and local rules say; cartridges alone often do not suffice. Skin and eyes "
    "covered. Nobody else in the room until the mist is gone. Asthma for life; no smell warns."
)
VAPOUR_IN_SHORT = "Extract; no flame, heater or spark; gun earthed. Breathing protection, also for waterborne mist."
SKIN_IN_SHORT = "Goggles and gloves that the safety data sheet names; change gloves that are wet."
DUST_IN_SHORT = "Sand wet, or with extraction and a mask. Dust of a coat that is not fully cured can still react."
WASTE_IN_SHORT = "Wet rags can heat up and burn: spread them outdoors, or under water in a closed can."
WASTE_CATALYSED = " Catalysed left-overs get hot: lid off until hard."
LAST_WORD_IN_SHORT = "The products' safety data sheets decide, not this sheet."


@dataclass(frozen=True)
class Staged:
    """A caution in full, and the numbers of the stages where it applies; none: to all of the work."""

    caution: Caution
    stages: tuple[int, ...]


def foremost_cautions(sheet: MixSheet) -> tuple[Caution, ...]:
    """The three that weigh most for what is sprayed, in short: what kills or maims before what burns, then the rest."""
    catalysed = any(mix.product.catalysed for mix in sheet.mixes)
    waste = WASTE_IN_SHORT + (WASTE_CATALYSED if catalysed else "")
    short = {
        CAUTION_ISOCYANATE[0]: ("spray", ISOCYANATE_IN_SHORT),
        CAUTION_VAPOUR[0]: ("spray", VAPOUR_IN_SHORT),
        CAUTION_WASTE[0]: ("waste", waste),
        CAUTION_DUST[0]: ("sand", DUST_IN_SHORT),
        CAUTION_SKIN[0]: ("mix", SKIN_IN_SHORT),
    }
    there = {staged.caution.title for staged in staged_cautions(sheet)}
    found = [Caution(place, title, text) for title, (place, text) in short.items() if title in there]
    return tuple(found[:FOREMOST])


def staged_cautions(sheet: MixSheet) -> tuple[Staged, ...]:
    """Every caution of the job once, in full, with the stages where it applies."""

    def stages(title: str) -> tuple[int, ...]:
        return tuple(s.number for s in sheet.stages if any(caution.title == title for caution in s.cautions))

    sprayed = tuple(stage.number for stage in sheet.stages if stage.sprayed)
    found = [
        Staged(Caution("spray", *CAUTION_ISOCYANATE), stages(CAUTION_ISOCYANATE[0])),
        # Whatever is mixed and sprayed is vapour and mist, and gets on hands.
        Staged(Caution("spray", *CAUTION_VAPOUR), sprayed),
        Staged(Caution("mix", *CAUTION_SKIN), sprayed),
        Staged(Caution("sand", *CAUTION_DUST), stages(CAUTION_DUST[0])),
        Staged(Caution("waste", *CAUTION_WASTE), stages(CAUTION_WASTE[0])),
    ]
    last_word = Staged(Caution("all", *CAUTION_LAST_WORD), ())
    return (last_word, *(staged for staged in found if staged.stages))
