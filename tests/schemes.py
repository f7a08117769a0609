"""Small schemes for tests: one string to save, put together from pieces with sizes and amounts that all differ."""

from __future__ import annotations

HEAD = 'layerpreview = 1\nname = "Test part"\nlights = ["D65"]\n'
# 64 x 48 mm: at --width 64 a pixel is a millimetre wherever there is no margin.
PANEL = '[[face]]\nname = "front"\nshape = "panel"\nwidth = "64 mm"\nheight = "48 mm"\n'
HOLE = '[[face.opening]]\nname = "hole"\nshape = "disc"\ndiameter = "16 mm"\ncentre = ["20 mm", "24 mm"]\n'
SILVER = '[base]\nkind = "metal"\ncolour = "#b9bcc0"\nflake_spread = 0.3\n'
RELIEF = '[base]\nkind = "metal"\nrelief = "lifted"\nflake_spread = 0.25\n'
WHITE = '[base]\nkind = "solid"\ncolour = "#f2f0ec"\n'
MAPLE = '[base]\nkind = "wood"\ncolour = "#d9b98a"\n'

# Two dyes of flat bands: what they absorb can be said by hand.
DYES = """\
[dye.yellow]
absorptivity = [[380, 50.0], [480, 50.0], [520, 2.0], [780, 2.0]]
concentrate = "40 g/L"
drops_per_mL = "40 to 60"
density = "0.9 g/mL"
[dye.blue]
absorptivity = [[380, 1.0], [560, 5.0], [620, 70.0], [780, 30.0]]
concentrate = "25 g/L"
"""
MIXES = """\
[mix.honey]
dyes = { yellow = "12 mL/L", blue = "2 mL/L" }
solids = "20 %"
[mix.sea]
dyes = { blue = "30 mL/L" }
"""
HONEY = '[[coat]]\nmix = "honey"\ncoats = 3\nfilm = "35 to 45 um"\n'
SEA_BURST = (
    '[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "30 um"\n'
    'burst = { from = "outline", width = "15 mm", fall_off = "soft", centre = 0.1 }\n'
)
RIM = (
    '[[coat]]\nopaque = "#221814"\nhiding = 0.9\ncoats = 2\nfilm = "20 um"\n'
    'burst = { from = "outline", width = "6 mm", fall_off = "fan" }\n'
)
GUN = '[gun]\nkind = "HVLP"\ntransfer = "40 to 60 %"\nresidue = "10 mL"\n'

FULL = HEAD + PANEL + HOLE + SILVER + DYES + MIXES + HONEY + SEA_BURST + RIM + GUN


def bare_scheme(base: str, *, face: str = PANEL, coats: str = "") -> str:
    """A scheme of one base, with the dyes and mixes above only where there are coats."""
    return HEAD + face + base + (DYES + MIXES + coats if coats else "")
