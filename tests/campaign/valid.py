"""Changes after which a file is still a good one: other numbers, units, words and orders, and names that are markup."""

from __future__ import annotations

import re
from collections.abc import Callable
from random import Random

Change = Callable[[Random, str], str]
_AMOUNT = re.compile(r'(?<=")(\d+(?:\.\d+)?)(?: to (\d+(?:\.\d+)?))? (um|mm|mL/L|g/L|g/mL|mL|%|min|h)(?=")')
_TEXT = re.compile(
    r'(?<=\n)((?:name|carrier|title|note|nozzle|pressure|direction|mail|phone|web|flash) = )"[^"\n]*"'
    r"(?! *\n *(?:shape|mix) )"
)
_NAMED = re.compile(r"(?:^|\n)\[(?:dye|mix)\.(\w+)\]")
_COUNT = re.compile(r"(?<=\ncoats = )\d+")
_COLOUR = re.compile(r'"#[0-9a-fA-F]{6}"')
_HEADS = re.compile(r"(?m)^(?=\[)")
SHOWN = (
    *("<img src=x onerror=zz>", "</script><script>zz()</script>", "]]><zz>", "&zz;&#60;zz&#62;", "'-zz-'", "${zz}"),
    *("=1+1", "+1+1", "@SUM(1)", "-2+3", "%s %d %n", "{0} {x!r}", "{{ 7*7 }}", "#panic()", "$x^2$", "*_b_* `c`"),
    *("\\\\u0041 \\\\n", "../up", "a/b", "CON", "Ωμέγα", "日本の楽器", "مرحبا", "👩‍🎨", "e\u0301" * 20, "ﬁ ½ ²", "no"),
    *(
        "W" * 60,
        "wordy " * 12 + "end",
        "i",
        "12",
        "nan",
        "front",
        "D65",
        "0 mm",
        "// x",
        "/* x",
        "= x",
        "- x",
        "~ @x <x>",
    ),
)
"""Texts that a person may call a thing by, and that some format takes for something else."""
_INCH = {"mm": (25.4, "in"), "um": (25.4, "mil"), "mL": (29.5735, "fl oz")}


def _amount(rng: Random, text: str) -> str:
    found = list(_AMOUNT.finditer(text))
    if not found:
        return text
    one = rng.choice(found)
    low, high, unit = float(one[1]), float(one[2] or one[1]), one[3]
    share = unit == "%"
    factor = rng.choice((0.3, 0.8, 1.0, 1.1, 1.7, 4.0, 12.0)) if not share else rng.choice((0.2, 0.9, 1.0, 1.1))
    low, high = low * factor, high * factor
    if unit in _INCH and rng.random() < 0.5:
        (to, unit), given = _INCH[unit], unit
        low, high = low / to, high / to
        assert given != unit
    said = f"{low:.3g}" if rng.random() < 0.5 else f"{low:.3g} to {high * rng.choice((1, 1.2, 3)):.3g}"
    if rng.random() < 0.2:
        said = said.replace(".", ",")
    return text[: one.start()] + f"{said} {unit}" + text[one.end() :]


def _word(rng: Random, text: str) -> str:
    found = list(_TEXT.finditer(text))
    if not found:
        return text
    one = rng.choice(found)
    return text[: one.start()] + f'{one[1]}"{rng.choice(SHOWN)}"' + text[one.end() :]


def _renamed(rng: Random, text: str) -> str:
    """A dye or mix under another name wherever it is named; rings are left, which name theirs without quotes."""
    found = [name for name in _NAMED.findall(text) if not re.search(rf'rings = "[^"]*\b{name}\b', text)]
    if not found:
        return text
    name, other = rng.choice(found), f'"{rng.choice(SHOWN)}"'
    for pattern, new in (
        (rf"(?m)^\[(dye|mix)\.{name}\]", rf"[\1.{_kept(other)}]"),
        (rf'"{name}"', _kept(other)),
        (rf"(?<=[{{,] ){name}(?= =)", _kept(other)),
    ):
        text = re.sub(pattern, new, text)
    return text


def _kept(new: str) -> str:
    return new.replace("\\", "\\\\")


def _counted(rng: Random, text: str) -> str:
    found = list(_COUNT.finditer(text))
    if not found:
        return text
    one = rng.choice(found)
    return text[: one.start()] + str(rng.choice((1, 2, 5, 9))) + text[one.end() :]


def _coloured(rng: Random, text: str) -> str:
    found = list(_COLOUR.finditer(text))
    if not found:
        return text
    one = rng.choice(found)
    new = rng.choice(("#000000", "#ffffff", "#ff0000", "#0000ff", f"#{rng.randrange(1 << 24):06x}"))
    return text[: one.start()] + f'"{new}"' + text[one.end() :]


def _tables_moved(rng: Random, text: str) -> str:
    """Whole tables in another order, each with its sub-tables; the top of the file stays."""
    top, *tables = _HEADS.split(text)
    whole: list[str] = []
    for table in tables:
        if whole and re.match(r"\[\[?(?:face|base)\.", table):
            whole[-1] += table
        else:
            whole.append(table)
    rng.shuffle(whole)
    return top + "\n".join(whole)


def _coat_again(rng: Random, text: str) -> str:
    found = re.findall(r"(?ms)^\[\[coat\]\]\n.*?(?=^\s*\[|\Z)", text)
    return text + "\n" + rng.choice(found) * rng.choice((1, 1, 3)) if found else text


def _added(rng: Random, text: str) -> str:
    """One more thing that a scheme may say, where it does not say it yet."""
    table, lines = rng.choice(MORE)
    if f"[{table}]" not in text:
        return f"{text}\n[{table}]\n{lines}\n" if table else f"{lines}\n{text}"
    return re.sub(rf"(?m)^\[{re.escape(table)}\]\n", lambda found: f"{found[0]}{lines}\n", text, count=1)


MORE = (
    ("", 'observer = "10"'),
    ("", "# a remark: ] \" ' = [coat]"),
    ("mix.honey", 'ratio = "4:1:1 clear:hardener:reducer"\npot_life = "40 min to 1 h"\nisocyanate = true'),
    ("mix.sea", 'flash = "5 to 10 min"\ndry = "1 to 2 days"\ncarrier_price = "64 per gal"'),
    ("dye.yellow", 'light_fastness = "2 to 5"\nprice = "18 per 50 mL"'),
    ("dye.blue", "light_fastness = 8"),
    ("clear", 'solids = "42 to 48 %"\nratio = "10:1 clear:water"\nflash = "45 min to 1 h"'),
    ("gun", 'fan = "8 in"\ndistance = "150 to 180 mm"\noverlap = "60 %"\ndirection = "lengthwise, then across"'),
    ("sanding", 'grits = ["P800", "P2000"]\nkeep = "30 um"'),
    ("shop", 'units = "US"\nspare = "25 %"\ncurrency = "USD"\nhour = 40\nscale = "0.1 g"'),
    ("form", 'edge_radius = "6 mm"\nbelly = "4 mm"'),
)
VALID: tuple[Change, ...] = (
    *(_amount, _amount, _amount, _word, _word, _renamed, _renamed, _counted, _coloured, _added, _added, _added),
    *(_tables_moved, _coat_again),
)


def still_valid(rng: Random, text: str) -> bytes:
    """A scheme with several things changed and, if all goes well, nothing wrong with it."""
    for _ in range(rng.choice((1, 2, 3, 5))):
        text = rng.choice(VALID)(rng, text)
    return text.encode("utf-8")
