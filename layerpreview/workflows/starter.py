"""What every beginning of a job shares: the starter scheme, its first picture, and what is never written over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from layerpreview.errors import OutputError
from layerpreview.finish.view import SURROUNDINGS
from layerpreview.output.files import write_text
from layerpreview.scheme import load_scheme
from layerpreview.scheme.source import toml_string
from layerpreview.workflows.lifelike import USUAL_ROOM, lifelike_name, write_lifelike
from layerpreview.workflows.places import SCHEME_NAME

FIRST_ROOM = SURROUNDINGS[USUAL_ROOM]
FIRST_NAME, FIRST_PX = lifelike_name(FIRST_ROOM), 800
ANOTHER_JOB = "start another folder"
FIRST_JOB = "First preview"
SCHEMA_NAME = ".scheme.schema.json"
"""What an editor completes and checks a scheme by. It lies beside the scheme, hidden, so that the scheme's first line
finds it without a network and wherever the job's folder goes; a path of this installation would do neither."""

MADE_BASE = """\
kind = "metal"                     # metal, solid (white or a colour), wood
relief = "lifted"                  # or fine flake, coarse flake, brushed, hammered; or colour = "#c8cacc"
silver = "bright"                  # metal only: the flakes are fine, medium, coarse or bright

  [base.relief_options]
  seed = 3                         # another number, another pattern

# A photo of your own base instead: picture = "my-base.jpg" in place of relief, and below
#
#   [base.picture_options]
#   width = "480 mm"               # true width of what the picture shows
#   tile = true                    # carry its texture on where the face is larger
#   even_out = true                # take out fall-off, a soft reflection and glare; 0.5 is half of it
"""


@dataclass(frozen=True)
class Started:
    """What was written, and the scheme to go on with; of a photo what is `said` of it, whether it is usable, and
    whether something speaks against it.

    `look_at`: files to open next.
    """

    folder: Path
    files: tuple[str, ...]
    scheme: Path
    said: tuple[str, ...] = ()
    usable: bool = True
    doubtful: bool = False
    look_at: tuple[str, ...] = (FIRST_NAME,)


def starter(name: str, face: str, *, rim: str, base: str = MADE_BASE) -> str:
    """The text of a starter scheme: `face` its faces, `rim` the edge that its dark line follows, `base` its base."""
    text = (resources.files("layerpreview") / "data" / "starter.toml").read_text(encoding="utf-8")
    # A name that a person typed comes last, so that no mark in it is filled in, and as one line of a text in quotes.
    told = toml_string(name)[1:-1]
    for mark, words in (("{face}", face), ("{rim}", rim), ("{base}", base), ("{name}", told)):
        text = text.replace(mark, words)
    return text


def write_scheme(paths: Mapping[str, Path], text: str) -> None:
    """Write a starter scheme, and beside it what its first line names."""
    write_text(paths[SCHEME_NAME], text)
    schema = resources.files("layerpreview") / "data" / "scheme.schema.json"
    write_text(paths[SCHEMA_NAME], schema.read_text(encoding="utf-8"))


def first_picture(paths: Mapping[str, Path]) -> None:
    """Draw the scheme just written: a job that cannot be read or drawn is no beginning, and nothing is kept then."""
    write_lifelike(load_scheme(paths[SCHEME_NAME]), FIRST_ROOM, paths[FIRST_NAME], width_px=FIRST_PX)


def spare_scheme(folder: Path, elsewhere: str, *, unless: str | None = None) -> None:
    """Refuse a folder that has a scheme, but for one whose text is still `unless`."""
    there = folder / SCHEME_NAME
    if there.is_file() and (unless is None or there.read_bytes() != unless.encode("utf-8")):
        rule = f"{folder}: already there: {SCHEME_NAME}; a scheme is never written over; nothing was written"
        raise OutputError(f"{rule}; {elsewhere}")
