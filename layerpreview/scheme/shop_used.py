"""A scheme with the shop's own values where it states none itself."""

from __future__ import annotations

from pathlib import Path

from layerpreview.scheme.base import Base
from layerpreview.scheme.coat import Coat
from layerpreview.scheme.fields import film_word
from layerpreview.scheme.model import Dye, Scheme
from layerpreview.scheme.shop_values import ShopValues
from layerpreview.scheme.work import BASE_FILM, CLEAR_FILM, PlainEntry
from layerpreview.told import Told


def with_shop_values(scheme: Scheme, own: ShopValues) -> Scheme:
    """Return the scheme with what the shop measured of itself: films told in a word, transfer, drops.

    What the scheme or a dye file states stays.
    """
    clear = scheme.clear.model_copy(update={"stated_film_um": _plain_film(scheme.clear, CLEAR_FILM, own)})
    transfer = scheme.gun.stated_transfer or own.transfer_of(scheme.gun.kind)
    return scheme.model_copy(
        update={
            "coats": tuple(_coat(coat, own) for coat in scheme.coats),
            "base": _base(scheme.base, own),
            "bases_of": {name: _base(base, own) for name, base in scheme.bases_of.items()},
            "clear": clear,
            "gun": scheme.gun.model_copy(update={"stated_transfer": transfer}),
            "dyes": {name: _dye(dye, name, own) for name, dye in scheme.dyes.items()},
            "own": own,
            "inputs": (*scheme.inputs, *([own.file] if own.file != Path() else [])),
        }
    )


def _coat(coat: Coat, own: ShopValues) -> Coat:
    return coat.model_copy(update={"film_um": _film(coat.film_um, own)})


def _film(film_um: Told, own: ShopValues) -> Told:
    word = film_word(film_um)
    return film_um if word is None else own.film_of_word(word)


def _plain_film(entry: PlainEntry, usual: str, own: ShopValues) -> Told | None:
    """Film of coats without dye; what is usual and not measured here stays unsaid."""
    if entry.stated_film_um is not None:
        return _film(entry.stated_film_um, own)
    return own.film_of_word(usual) if usual in own.film_um else None


def _base(base: Base, own: ShopValues) -> Base:
    if base.coat is None:
        return base
    coat = base.coat.model_copy(update={"stated_film_um": _plain_film(base.coat, BASE_FILM, own)})
    return base.model_copy(update={"coat": coat})


def _dye(dye: Dye, name: str, own: ShopValues) -> Dye:
    drops = own.drops_of(name)
    return dye if drops is None or dye.drops_per_mL is not None else dye.model_copy(update={"drops_per_mL": drops})
