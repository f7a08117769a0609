"""What a taped-off place keeps: the colours of bare woods and of a primer, for pictures."""

from __future__ import annotations

KEPT = {
    "maple": "#dcc49a",
    "spruce": "#e2cda0",
    "ash": "#d6c3a1",
    "mahogany": "#8e5a3c",
    "rosewood": "#563527",
    "ebony": "#2b2523",
    "primer": "#b8b9ba",
}
"""Colour under daylight (sRGB) of a sanded surface, by name: plausible, set by eye, no source."""
UNSAID = "primer"
"""What a seat on a metallic base keeps where that is not said: assumed."""
