"""A record of version 1 of the format, which every later version opens. Neither this file nor the record may ever be
changed: whoever has a record of today will want it opened in ten years. A new version gets its own record and tests.

`tests/reference/record_v1.record.zip`: the job of `tests/workflows/kept_job.py` as it was when version 1 was made.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from layerpreview.output.record_file import open_record
from layerpreview.scheme import load_scheme
from layerpreview.workflows.record_check import check_record

RECORD = Path(__file__).parents[1] / "reference" / "record_v1.record.zip"
SHA256 = "3488338b9f0db37677df35e0a739e8636b6b1d9321d3cfc8639b4768d143ac64"


def test_the_record_itself_is_the_same() -> None:
    assert hashlib.sha256(RECORD.read_bytes()).hexdigest() == SHA256


def test_it_opens_and_says_what_it_said() -> None:
    record = open_record(RECORD)
    assert record.name == "Test part"
    assert record.made == "2026-03-02T18:30:00+00:00"
    assert record.observer_deg == 2
    assert record.lights == ("D65", "A", "LED-B3")
    assert record.software["layerpreview"] == "0.1.0"
    honey, sea = record.mixes
    assert (honey.name, honey.as_made, honey.lots["yellow"]) == ("honey", True, "Y-7")
    assert honey.strengths_as_made == {"yellow": "12.5 mL/L", "blue": "2.5 mL/L"}
    assert sea.strengths_as_made == {"blue": "30 mL/L"}
    assert [(coat.entry, coat.mix, coat.planned, coat.done) for coat in record.coats] == [
        (1, "honey", 3, 3),
        (2, "sea", 2, 1),
        (3, "opaque #221814", 2, 2),
    ]
    assert record.coats[0].film_um == (32.84, 39.0, 45.16)
    assert record.coats[0].film_basis == "measured (n = 3)"
    (clear,) = record.plain_coats
    assert (clear.entry, clear.mix, clear.planned, clear.done) == (-1, "clear", 3, 1)
    assert (record.base["kind"], record.base["flake_spread"]) == ("metal", 0.3)
    assert [place.name for place in record.places] == ["base", "field", "edge", "burst"]
    burst = record.places[3]
    assert burst.lab["D65"] == pytest.approx((64.697, -28.514, 40.238), abs=0.001)
    assert burst.de00["A"] == pytest.approx(7.356, abs=0.001)
    assert burst.share == pytest.approx((1.0, 0.69924, 0.00375))
    assert record.reflectance(burst)[[0, 40, 80]] == pytest.approx([0.1070987, 0.3292343, 0.318649], abs=1e-6)


def test_its_scheme_still_loads(tmp_path: Path) -> None:
    scheme = load_scheme(open_record(RECORD).scheme_in(tmp_path / "again"))
    assert [coat.label for coat in scheme.coats] == ["honey", "sea", "opaque #221814"]
    assert scheme.dyes["yellow"].concentrate_g_per_L == 40.0


def test_it_passes_the_check() -> None:
    """Colours may move with tables and formulas: that is told, never refused."""
    found = check_record(RECORD)
    assert found.files == 16
    assert len(found.colours) == 12
