"""The shop's card: its name, the address that a client's mail goes to, its telephone."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated

from pydantic import PlainValidator

from layerpreview.scheme import fields as f
from layerpreview.scheme.fields import Frozen
from layerpreview.scheme.taken import TEXT, takes

if TYPE_CHECKING:
    from layerpreview.scheme.model import Scheme

_LONGEST_MAIL, _LONGEST_LOCAL, _LONGEST_PHONE = 254, 64, 40
"""What an address may be long: RFC 5321, 4.5.3.1."""
_ATOM = r"[\w!#$%&'*+/=?^`{|}~-]+"
_LABEL = r"[^\W_](?:[\w-]*[^\W_])?"
_MAIL = re.compile(rf"(?P<local>{_ATOM}(?:\.{_ATOM})*)@{_LABEL}(?:\.{_LABEL})+")
"""A plain address (dot-atom of RFC 5322 with the letters of RFC 6531), without quotes and names around it."""
_PHONE = re.compile(r"\+?[\d(][\d ()/.-]*")


@takes("one mail address", TEXT)
def mail(value: object) -> str:
    """Check one plain mail address."""
    found = f.text(value)
    match = _MAIL.fullmatch(found)
    if match is None or len(found) > _LONGEST_MAIL or len(match["local"]) > _LONGEST_LOCAL:
        raise f.FieldError("this is no mail address", 'write one alone, for example "shop@example.com"')
    return found


@takes("telephone number", TEXT)
def phone(value: object) -> str:
    """Check a telephone number as people write it."""
    found = f.text(value)
    digits = sum(sign.isdecimal() for sign in found)
    if not _PHONE.fullmatch(found) or not digits >= 3 or len(found) > _LONGEST_PHONE:
        raise f.FieldError("this is no telephone number", 'write for example "+1 555 0100"')
    return found


Mail = Annotated[str, PlainValidator(mail)]
Phone = Annotated[str, PlainValidator(phone)]


class ShopCard(Frozen):
    """What a client sees of the shop; None where it is not said. It is also the table [shop] of a shop's own file."""

    name: f.Text | None = None
    mail: Mail | None = None
    phone: Phone | None = None

    @property
    def said(self) -> dict[str, str]:
        """What is said of it."""
        return {key: value for key, value in self.model_dump().items() if value is not None}


def shop_card(scheme: Scheme) -> ShopCard:
    """The card as the scheme has it, and where it does not say, as the shop's own values do."""
    stated = ShopCard(name=scheme.shop.name, mail=scheme.shop.mail, phone=scheme.shop.phone)
    return stated if scheme.own is None else ShopCard(**{**scheme.own.card.said, **stated.said})


def first_card(schemes: Iterable[Scheme]) -> ShopCard:
    """The card of several schemes: that of the first which says anything of one."""
    return next((card for card in map(shop_card, schemes) if card.said), ShopCard())
