"""Laws kept from run to run: exists for a kept law that is another one, and for a folder or a file that is broken."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from layerpreview.film import BodyLaw, FacetLaw, Light, MetalBase
from layerpreview.finish import kept

LAW = BodyLaw(np.float32([[[0.25, 1.5, 0.125, 0.0]]]), (0.75, 1.25))
FACETS = FacetLaw(np.float32([[[1.0 / 3.0]], [[1.0e6]], [[0.1]], [[-1.0e-9]]]), (0.7, 1.3), 0.1)
SILVER = MetalBase(flake_spread=0.2)


@pytest.fixture
def cache(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[MetalBase]:
    """Laws are counted instead of solved, and kept in the test's folder."""
    solved: list[MetalBase] = []

    def solve(base: MetalBase, light: Light) -> BodyLaw:
        solved.append(base)
        return LAW

    monkeypatch.setattr(kept, "body_law", solve)
    monkeypatch.setattr("platformdirs.user_cache_path", lambda *_, **__: tmp_path)
    return solved


def test_a_law_is_solved_once(cache: list[MetalBase]) -> None:
    for _ in range(2):
        found = kept.kept_body_law(SILVER, Light())
        assert found.denominator == LAW.denominator
        assert np.array_equal(found.numbers, LAW.numbers)
        assert found.numbers.dtype == np.float32
    kept.kept_body_law(MetalBase(flake_spread=0.21), Light())
    assert len(cache) == 2


def test_a_file_that_is_not_whole_is_made_anew(cache: list[MetalBase], tmp_path: Path) -> None:
    kept.kept_body_law(SILVER, Light())
    (file,) = tmp_path.iterdir()
    whole = file.read_bytes()
    told = whole.index(b"PK\x01\x02")  # the archive's own list: how the first part is packed stands 10 bytes on
    packed_oddly = whole[: told + 10] + b"\x63" + whole[told + 11 :]
    for broken in (b"", b"not a law", whole[:90], packed_oddly):
        file.write_bytes(broken)
        assert kept.kept_body_law(SILVER, Light()).denominator == LAW.denominator
    assert len(cache) == 5
    assert [path.name for path in tmp_path.iterdir()] == [file.name]


def test_a_law_is_the_same_solved_or_kept(monkeypatch: pytest.MonkeyPatch, cache: list[MetalBase]) -> None:
    """Else the first picture is another one than the second; and a number too large for the file is no infinity."""
    wild = BodyLaw(np.float32([[[1.0 / 3.0, 1.0e6, 0.1, -1.0e6]]]), (0.75, 1.25))
    monkeypatch.setattr(kept, "body_law", lambda *_: wild)
    first, second = (kept.kept_body_law(SILVER, Light()).numbers for _ in range(2))
    assert np.array_equal(first, second)
    np.testing.assert_allclose(first, [[[1.0 / 3.0, 65504.0, 0.1, -65504.0]]], rtol=1e-3)
    monkeypatch.setattr("platformdirs.user_cache_path", _refused)
    assert np.array_equal(kept.kept_body_law(SILVER, Light()).numbers, first)


def _refused(*_: object, **__: object) -> Path:
    raise PermissionError


def test_a_folder_that_cannot_be_written_to(cache: list[MetalBase], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("platformdirs.user_cache_path", _refused)
    assert kept.kept_body_law(SILVER, Light()).denominator == LAW.denominator


def test_old_laws_go(cache: list[MetalBase], tmp_path: Path) -> None:
    for i in range(kept.MOST_FILES + 3):
        kept.kept_body_law(MetalBase(flake_spread=0.1 + 0.01 * i), Light())
    assert len(list(tmp_path.iterdir())) == kept.MOST_FILES


def test_a_law_that_is_read_stays(cache: list[MetalBase], tmp_path: Path) -> None:
    """However long ago it was solved."""
    kept.kept_body_law(SILVER, Light())
    (first,) = tmp_path.iterdir()
    for i in range(kept.MOST_FILES + 3):
        os.utime(first, (0, 0))
        kept.kept_body_law(SILVER, Light())
        kept.kept_body_law(MetalBase(flake_spread=0.3 + 0.01 * i), Light())
    assert first.exists()


@pytest.fixture
def facets(cache: list[MetalBase], monkeypatch: pytest.MonkeyPatch) -> Iterator[list[float]]:
    """Laws of facets are counted, too."""
    solved: list[float] = []

    def solve(base: MetalBase, light: Light, *, view_deg: float, view_azimuth_deg: float) -> FacetLaw:
        solved.append(view_deg)
        return FACETS

    monkeypatch.setattr(kept, "facet_law", solve)
    kept.kept_facet_law.cache_clear()
    yield solved
    kept.kept_facet_law.cache_clear()


def test_a_law_of_facets_is_the_same_solved_or_kept(facets: list[float], tmp_path: Path) -> None:
    """To the bit, for every eye its own; one that is not whole is made anew, and a body's law is none of facets."""

    def found(view_deg: float = 0.0) -> FacetLaw:
        kept.kept_facet_law.cache_clear()
        return kept.kept_facet_law(SILVER, Light(), view_deg=view_deg, view_azimuth_deg=0.0)

    for _ in range(2):
        law = found()
        assert law.numbers.tobytes() == FACETS.numbers.tobytes()
        assert (law.denominator, law.error, law.numbers.dtype) == (FACETS.denominator, FACETS.error, np.float32)
    found(30.0)
    assert facets == [0.0, 30.0]
    kept.kept_body_law(SILVER, Light())
    laws = {path.name.partition("-")[0]: path for path in tmp_path.iterdir()}
    for path in tmp_path.glob("facets-*"):
        path.write_bytes(laws["law"].read_bytes())
    assert found().error == FACETS.error
    assert facets == [0.0, 30.0, 0.0]
