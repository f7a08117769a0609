"""Make dyes/NAME.dye.toml, twelve generic dyes: run by hand, the results are committed.

    python layerpreview/data/make_dyes.py

They are nobody's product: sums of a few Gaussian bands of our own making, in the shape that dyes of each hue have
(a main band with a shoulder on its short side, a weaker band towards the violet, and a tail). Their peaks, 45 to 80
L/(g cm), are assumed: the careful end of the 50 to 200 that pure strong dyes have, since metal-complex dyes for
solvents carry much that does not colour.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

HERE = Path(__file__).parent / "dyes"
WAVELENGTHS_NM = np.arange(380, 781, 10)
PROVENANCE = "generic {name}, a sum of Gaussian bands of our own making; shape and strength assumed, not measured"

# name: (pure dye in the dye as sold [g/L], bands as (height [L/(g cm)], centre [nm], standard deviation [nm]))
DYES: dict[str, tuple[int, tuple[tuple[float, float, float], ...]]] = {
    "yellow": (40, ((50, 440, 26), (36, 400, 30), (4.0, 492, 26))),
    "amber": (40, ((48, 418, 34), (26, 460, 32), (9.0, 516, 34), (4.5, 572, 34), (1.0, 635, 45))),
    "orange": (40, ((48, 494, 27), (38, 452, 32), (14, 390, 40), (3.0, 552, 26), (0.6, 600, 40))),
    "red": (40, ((46, 532, 24), (40, 496, 28), (22, 446, 42), (12, 390, 40), (4.0, 580, 26), (0.8, 640, 40))),
    "magenta": (35, ((50, 556, 20), (34, 522, 26), (9, 480, 35), (10, 385, 30), (0.6, 620, 40))),
    "violet": (35, ((44, 590, 24), (40, 552, 28), (12, 510, 32), (8, 385, 35), (1.0, 660, 40))),
    "blue": (40, ((42, 640, 27), (40, 598, 30), (16, 552, 32), (3.0, 500, 30), (10, 385, 26), (1.5, 705, 40))),
    "turquoise": (40, ((62, 674, 24), (32, 624, 30), (4, 570, 40), (16, 380, 30), (3.0, 720, 40))),
    "green": (45, ((46, 664, 27), (26, 618, 32), (44, 415, 28), (22, 450, 24), (4, 540, 60), (2.0, 720, 40))),
    "brown": (45, ((42, 400, 50), (28, 470, 48), (18, 540, 50), (9, 610, 55), (3.0, 700, 60))),
    "black": (50, ((40, 588, 52), (18, 500, 45), (36, 420, 50), (16, 670, 45), (5.0, 740, 50))),
    "cherry": (40, ((48, 540, 26), (40, 504, 32), (20, 450, 45), (14, 395, 40), (5.0, 595, 35), (0.8, 660, 40))),
}


def dye_file(name: str) -> str:
    """The text of one dye file, its absorptivity every 10 nm rounded to 0.01 L/(g cm)."""
    concentrate, bands = DYES[name]
    absorptivity = sum(
        height * np.exp(-0.5 * ((WAVELENGTHS_NM - centre) / width) ** 2) for height, centre, width in bands
    )
    pairs = [f"[{nm}, {value:.2f}]" for nm, value in zip(WAVELENGTHS_NM, np.atleast_1d(absorptivity), strict=True)]
    rows = "".join("    " + ", ".join(pairs[k : k + 6]) + ",\n" for k in range(0, len(pairs), 6))
    return (
        "layerpreview_dye = 1\n"
        f'name = "{name}"\n'
        'kind = "generic"\n'
        f'provenance = "{PROVENANCE.format(name=name)}"\n'
        f'concentrate = "{concentrate} g/L"\n'
        f"absorptivity_L_per_g_cm = [\n{rows}]\n"
    )


def main() -> None:
    HERE.mkdir(exist_ok=True)
    for name in DYES:
        (HERE / f"{name}.dye.toml").write_text(dye_file(name), encoding="ascii", newline="\n")


if __name__ == "__main__":
    main()
