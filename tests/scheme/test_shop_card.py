"""The shop's card: exists for a client's answer that goes to a wrong address, and for a card that is lost when the
shop's own values are written anew."""

from __future__ import annotations

from pathlib import Path

import pytest

from layerpreview.errors import SchemeError
from layerpreview.output.shop_result import shop_text
from layerpreview.scheme import ShopCard, describe, load_scheme, shop_card
from layerpreview.scheme.shop_card import first_card
from layerpreview.scheme.shop_values import ShopValues, load_shop_values

from ..schemes import FULL

CARD = '[shop]\nname = "Our finishing shop"\nmail = "paint@shop.example"\n'
# Addresses by RFC 5322, 3.4.1 (dot-atom), RFC 5321, 4.5.3.1 (lengths) and RFC 6531 (letters of all languages);
# names that end in example are kept for such use (RFC 2606).
GOOD = ["a@b.example", "first.last+board@sub-domain.example", "lack.für@werkstatt.example", "o'neil@b.example"]
BAD = [
    "paint",
    "paint@shop",
    "a b@c.example",
    "a@b.example, c@d.example",
    "Us <a@b.example>",
    ".a@b.example",
    "a..b@c.example",
    "a@-b.example",
    f"{'a' * 65}@b.example",
    "a@b.example\\nBcc: c@d.example",
    "a@b.example?bcc=c@d.example",
]


def scheme(folder: Path, more: str) -> Path:
    path = folder / "scheme.toml"
    path.write_text(FULL + more, encoding="utf-8")
    return path


@pytest.mark.parametrize("mail", GOOD)
def test_a_mail_address_is_taken(tmp_path: Path, mail: str) -> None:
    assert shop_card(load_scheme(scheme(tmp_path, f'[shop]\nmail = "{mail}"\n'))).mail == mail


@pytest.mark.parametrize("mail", BAD)
def test_what_is_no_mail_address_is_told_in_one_line(tmp_path: Path, mail: str) -> None:
    with pytest.raises(SchemeError) as caught:
        load_scheme(scheme(tmp_path, f'[shop]\nmail = "{mail}"\n'))
    (problem,) = caught.value.problems
    assert problem.field == "shop.mail"
    assert len(str(problem).splitlines()) == 1


@pytest.mark.parametrize(("phone", "good"), [("+49 2266 / 555-01", True), ("(555) 0100", True), ("call me", False)])
def test_a_telephone_number(tmp_path: Path, phone: str, good: bool) -> None:
    path = scheme(tmp_path, f'[shop]\nphone = "{phone}"\n')
    if good:
        assert shop_card(load_scheme(path)).phone == phone
        return
    with pytest.raises(SchemeError, match=r'shop\.phone = "call me": this is no telephone number'):
        load_scheme(path)


def test_the_scheme_says_it_and_else_the_shop_does(tmp_path: Path) -> None:
    assert shop_card(load_scheme(scheme(tmp_path, ""))) == ShopCard()
    (tmp_path / "shop.toml").write_text(f'layerpreview_shop = 1\n{CARD}phone = "555 0100"\n', encoding="utf-8")
    found = load_scheme(scheme(tmp_path, '[shop]\nmail = "mine@shop.example"\n'))
    assert shop_card(found) == ShopCard(name="Our finishing shop", mail="mine@shop.example", phone="555 0100")
    assert "shop: Our finishing shop, mine@shop.example, 555 0100" in list(describe(found))
    (tmp_path / "shop.toml").write_text("layerpreview_shop = 1\n[shop]\nmial = 1\nmail = 2\n", encoding="utf-8")
    with pytest.raises(SchemeError) as caught:
        load_scheme(tmp_path / "scheme.toml")
    assert [problem.field for problem in caught.value.problems] == ["shop.mial", "shop.mail"]


def test_the_card_stays_when_the_shop_s_values_are_written_anew(tmp_path: Path) -> None:
    file = tmp_path / "shop.toml"
    file.write_text(f"layerpreview_shop = 1\n{CARD}", encoding="utf-8")
    values = load_shop_values(file)
    file.write_text(shop_text(values), encoding="utf-8")
    assert load_shop_values(file).card == values.card != ShopCard()
    assert "[shop]" not in shop_text(ShopValues())


def test_of_several_schemes_the_first_that_says_one(tmp_path: Path) -> None:
    silent = load_scheme(scheme(tmp_path, ""))
    says = load_scheme(scheme(tmp_path, CARD))
    assert first_card([silent, says]) == shop_card(says)
    assert first_card([silent]) == ShopCard()
