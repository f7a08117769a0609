"""Where care is needed, said where it applies. Never a claim that something is safe."""

from __future__ import annotations

from dataclasses import dataclass

from layerpreview.job.sprayed import Sprayed

CAUTION_ISOCYANATE = (
    "Isocyanates",
    "Most catalysts of two-pack clears and lacquers hold isocyanates. They can cause asthma for life, and have no "
    "smell that warns. Wear air-fed protection as the product's sheet and local rules say; for many of them organic "
    "vapour cartridges alone do not suffice. Skin and eyes covered. Nobody else in the room until the mist is gone.",
)
CAUTION_VAPOUR = (
    "Solvent vapour and fire",
    "Vapour burns and sinks to the floor. Extract it; no flame, heater, spark or plain switch near; gun and booth "
    "earthed. Breathing protection as the safety data sheet says, also for waterborne mist.",
)
CAUTION_VAPOUR_SHORT = (
    "Vapour and fire",
    "Extract; no flame or spark; breathing protection as the safety data sheet says.",
)
CAUTION_MIXING_SHORT = (
    "Vapour, fire, skin and eyes",
    "Extract; no flame or spark; breathing protection, goggles and gloves as the safety data sheet says.",
)
CAUTION_SKIN = (
    "Skin and eyes",
    "Goggles and gloves that the safety data sheet names for this solvent. Change gloves that are wet.",
)
CAUTION_DUST = (
    "Dust",
    "Sand wet, or with extraction and a dust mask as the safety data sheets say. Dust of a coat that is not "
    "fully cured can still react.",
)
CAUTION_WASTE = (
    "Waste and rags",
    "Rags and filters wet with oil, dye or finish can heat up by themselves and burn. Spread them out to dry outdoors "
    "or keep them under water in a closed metal can. Catalysed left-overs get hot: leave the lid off until they are "
    "hard. Nothing down the drain; hand in as local rules say.",
)
CAUTION_LAST_WORD = (
    "Who has the last word",
    "The safety data sheets, the products' own sheets, local codes and licensed practice come before this sheet. It "
    "says nothing about whether a product, a room or a mask is fit for you.",
)


@dataclass(frozen=True)
class Caution:
    """A warning and the part of the work where it applies: "mix", "spray", "sand", "waste" or "all"."""

    place: str
    title: str
    text: str


def general_cautions() -> tuple[Caution, ...]:
    """The cautions of the whole job."""
    return (Caution("all", *CAUTION_LAST_WORD),)


def may_hold_isocyanate(stage: Sprayed) -> bool:
    """Whether isocyanates must be reckoned with: stated, or a catalyst or a clear of which nothing is stated."""
    product = stage.product
    if product.isocyanate is not None:
        return product.isocyanate
    return product.catalysed or (stage.kind == "clear" and product.ratio is None)
