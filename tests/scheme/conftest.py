"""A scheme that is right in every line, for tests to spoil."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

GOOD = """\
layerpreview = 1
name = "Octave mandolin, honey to plum"
lights = ["D65", "A"]
observer = "10 deg"

[[face]]
name = "front"
shape = "ellipse"
width = "300 mm"
height = "15 in"
  [[face.opening]]
  name = "sound hole"
  shape = "ellipse"
  width = "90 mm"
  height = "60 mm"
  centre = ["150 mm", "155 mm"]
  turn = 12

[base]
kind = "metal"
relief = "lifted"
flake_spread = 0.25
  [base.relief_options]
  seed = 9
  cell = "12 mm"

[dye.amber]
absorptivity = [[380, 82.0], [450, 60.0], [720, 0.5]]
concentrate = "40 g/L"
[dye.plum]
absorptivity = [[380, 22.0], [540, 70.5], [720, 0.0]]
concentrate = "30 g/L"
drops_per_mL = "44 to 53"
density = "0,95 g/mL"

[mix.honey]
dyes = { amber = "12,5 mL/L", plum = "20 drops per 100 mL" }
carrier = "clear solvent basecoat"
density = "0.96 g/mL"
solids = "22 %"

[[coat]]
mix = "honey"
coats = 3
film = "medium"

[[coat]]
opaque = "#120D0B"
hiding = 1.2
coats = 2
film = "35 to 50 um"
burst = { from = "outline", width = "12 mm", fall_off = "fan" }

[clear]
finish = "satin"

[[coat]]
mix = "honey"
film = "light"
  [[coat.burst]]
  from = "openings"
  width = "5 mm"
  [[coat.burst]]
  from = "sound hole"
  width = "1/2 in"
  centre = 0.1

[gun]
kind = "HVLP"
residue = "20 mL"
"""


@pytest.fixture
def good() -> str:
    """The text of a scheme without a fault."""
    return GOOD


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    """Write a text (or bytes) into the test's folder and return its path."""

    def put(text: str | bytes, name: str = "job.toml") -> Path:
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return put


@pytest.fixture
def spoiled(good: str, write: Callable[..., Path]) -> Callable[..., Path]:
    """Write the good scheme with one piece replaced; the piece must be there exactly once."""

    def put(old: str, new: str) -> Path:
        assert good.count(old) == 1, old
        return write(good.replace(old, new))

    return put
