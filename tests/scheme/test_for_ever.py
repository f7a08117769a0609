"""Schemes of version 1 of the format, one of each shape it has had, which every later version reads and understands
alike.

`for_ever/` holds texts that were right when they were put there; none of them may ever be changed. `numbers.json` says
what they came to then. A colour may move with better optics by `COLOUR_DE00`, an area or a volume with a finer lattice
by `AMOUNT`; a film, a load and what is read of each key not at all. More than that is another meaning: it needs
another version of the format. To keep one more scheme, put it there and run

    python -m tests.scheme.test_for_ever        adds numbers of what is new, and leaves all others as they are
"""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path
from typing import Any

import pytest

from layerpreview.colour import delta_e_2000
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.workflows.check import figures

KEPT = Path(__file__).parent / "for_ever"
NUMBERS = KEPT / "numbers.json"
NAMES = sorted(path.stem for path in KEPT.glob("*.toml"))

READ = {"faces", "base", "base_of", "coats", "clear", "gun", "form", "sanding", "shop", "mixes", "paints"}

EXACT = 1e-6  # of films, strengths and loads, relative
AMOUNT = 5e-3  # of areas and volumes, relative: they are summed over cells
COLOUR_DE00 = 0.5  # half of what an eye can tell under good light (common practice, no source)


def main_numbers(name: str) -> dict[str, Any]:
    """What the scheme called `name` comes to, without the words and ranges that may get better."""
    found = figures(load_scheme(KEPT / f"{name}.toml", shop=False)).to_dict()
    text = (KEPT / f"{name}.toml").read_text(encoding="utf-8")  # with plain line ends, whatever the system's own
    return {
        "sha256": hashlib.sha256(text.encode()).hexdigest(),
        "name": found["scheme"],
        "observer_deg": found["observer_deg"],
        "faces_m2": found["faces"],
        "coats": [_coat_numbers(coat) for coat in found["coats"]],
        "as_read": _as_read(load_scheme(KEPT / f"{name}.toml", shop=False)),
        "colours": [
            [seen["light"], seen["spot"], [round(value, 4) for value in seen["lab"]]] for seen in found["colours"]
        ],
    }


def _as_read(scheme: Scheme) -> dict[str, Any]:
    """Every value of the text in base units, and the usual one of each key that it leaves out."""
    parts = scheme.model_dump(mode="json", exclude_none=True, include=READ, warnings=False)
    here = json.dumps(str(KEPT / "x"))[1:-2]  # files are told by their own names
    read: dict[str, Any] = json.loads(json.dumps(parts).replace(here, ""))
    return read


def _same(then: Any, now: Any, place: str) -> None:
    """What was read is read alike today; keys may have been added."""
    if isinstance(then, dict):
        for key, value in then.items():
            assert key in now, f"{place}.{key} is gone"
            _same(value, now[key], f"{place}.{key}")
    elif isinstance(then, list):
        assert len(then) == len(now), place
        for k, (value, other) in enumerate(zip(then, now, strict=True)):
            _same(value, other, f"{place}[{k}]")
    else:
        assert now == (pytest.approx(then, rel=EXACT) if isinstance(then, float) else then), place


def _coat_numbers(coat: dict[str, Any]) -> dict[str, Any]:
    """`plain` comes from the text by arithmetic alone, `summed` over the cells of the part."""
    dry, hidden = coat["dry_um_all_coats"], coat["hidden_at_edge"]
    return {
        "what": coat["what"],
        "coats": coat["coats"],
        "plain": {
            "wet_um": coat["wet_um_per_coat"]["likely"],
            **({} if dry is None else {"dry_um": dry["likely"]}),
            **({} if hidden is None else {"hidden_at_edge": hidden}),
            **{f"{dye['name']} mg/m2": dye["load_per_coat_mg_m2"]["likely"] for dye in coat["dyes"]},
        },
        "summed": {
            "mean_build": coat["mean_build"],
            "landed_mL": coat["mix_landed_mL"]["likely"],
            "needed_mL": coat["mix_needed_mL"]["likely"],
        },
    }


@pytest.fixture(scope="module")
def kept() -> dict[str, Any]:
    numbers: dict[str, Any] = json.loads(NUMBERS.read_text(encoding="utf-8"))
    return numbers


def test_every_kept_scheme_has_its_numbers(kept: dict[str, Any]) -> None:
    assert sorted(kept) == NAMES
    assert len(NAMES) >= 10


@pytest.mark.parametrize("name", NAMES)
def test_it_means_today_what_it_meant(kept: dict[str, Any], name: str) -> None:
    then, now = kept[name], main_numbers(name)
    for same in ("sha256", "name", "observer_deg"):
        assert now[same] == then[same], f"{same} of a kept scheme"
    assert now["faces_m2"] == pytest.approx(then["faces_m2"], rel=AMOUNT)
    assert [(coat["what"], coat["coats"]) for coat in now["coats"]] == [(c["what"], c["coats"]) for c in then["coats"]]
    for coat, before in zip(now["coats"], then["coats"], strict=True):
        assert coat["plain"] == pytest.approx(before["plain"], rel=EXACT)
        assert coat["summed"] == pytest.approx(before["summed"], rel=AMOUNT)
    _same(then["as_read"], now["as_read"], name)
    seen = {(light, spot): lab for light, spot, lab in now["colours"]}
    for light, spot, lab in then["colours"]:
        assert (light, spot) in seen, f"{spot} under {light} is told no more"
        assert float(delta_e_2000(seen[light, spot], lab)) < COLOUR_DE00, (
            f"{spot} under {light}: {seen[light, spot]}, was {lab}"
        )


def test_the_numbers_were_right_by_hand(kept: dict[str, Any]) -> None:
    """An inch is 25.4 mm (international yard and pound agreement, 1959), a mil a thousandth of it; a load in mg/m2 is
    the dye in g/L times the wet film in um. What is kept must be a truth, not only a habit."""
    lid = kept["in_a_room"]
    assert lid["faces_m2"]["lid"] == pytest.approx(math.pi / 4 * (3.25 * 0.0254) ** 2, rel=1e-3)
    assert lid["coats"][1]["plain"]["wet_um"] == pytest.approx(25.4)
    assert lid["coats"][1]["plain"]["powder mg/m2"] == pytest.approx(1.5 * 25.4)
    honey = kept["own_dyes"]["coats"][0]["plain"]
    assert honey["yellow mg/m2"] == pytest.approx(0.012 * 40.0 * 40.0)
    assert honey["blue mg/m2"] == pytest.approx(0.002 * 25.0 * 40.0)
    panel = kept["panel_in_inches"]
    assert panel["faces_m2"]["panel"] == pytest.approx(12 * 6.5 * 0.0254**2, rel=1e-3)
    assert panel["coats"][0]["plain"]["wet_um"] == pytest.approx(1.5 * 25.4)


if __name__ == "__main__":
    numbers = json.loads(NUMBERS.read_text(encoding="utf-8")) if NUMBERS.exists() else {}
    numbers = {name: numbers.get(name) or main_numbers(name) for name in NAMES}
    NUMBERS.write_text(json.dumps(numbers, indent=1, sort_keys=True) + "\n", encoding="utf-8")
