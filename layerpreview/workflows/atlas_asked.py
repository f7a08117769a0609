"""Asking an atlas: read once, held to the base and dyes that it is asked for, and refused where it is of others."""

from __future__ import annotations

import os
from collections.abc import Hashable, Sequence
from functools import partial
from pathlib import Path

from layerpreview.answers.atlas_near import FITS_DE00, Atlas, of_some
from layerpreview.doing import doing
from layerpreview.errors import InputError, Problem
from layerpreview.finish.patches import Patches
from layerpreview.output.atlas_file import ATLAS_JSON, LoadedAtlas, load_atlas
from layerpreview.threads import Made
from layerpreview.workflows.places import results_place

ANEW = "make it for this job: layerpreview atlas JOB"
_read: Made[LoadedAtlas] = Made(2)
_narrowed: Made[Atlas | None] = Made(4)


def atlas_in(folder: Path) -> LoadedAtlas:
    """The atlas in a folder, read once for as long as it stays as it is. Raises InputError."""
    return _read.get(_key(folder), partial(_loaded, folder))


def atlas_beside(scheme: Path) -> Path | None:
    """The folder of the atlas that lies with a job, where there is one."""
    folder = results_place(scheme, "atlas").folder
    return folder if (folder / ATLAS_JSON).is_file() else None


def atlas_over(folder: Path, patches: Patches, dyes: Sequence[str], most_dyes: int) -> Atlas:
    """Of an atlas what has these dyes alone, over the very base of `patches`, in their lights, ready to be asked.

    `patches`: the base under the dyes, in their order. Raises InputError where the atlas is of another base, of other
    dyes or lights, not finished or damaged.
    """
    loaded, lights = atlas_in(folder), patches.lights
    said, place = loaded.said, str(folder / ATLAS_JSON)
    for word, wanted, there in (("dye", dyes, said.dyes), ("light", lights, said.lights)):
        if lacking := [name for name in wanted if name not in there]:
            rule = f"this atlas has no {word} {', '.join(lacking)}: its own are {', '.join(there)}"
            raise InputError(Problem(rule, ANEW, place, field="--atlas"))
    away = []
    for base, atlas in enumerate(loaded.bases):
        key = (_key(folder), base, tuple(dyes), lights, most_dyes)
        found = _narrowed.get(key, partial(of_some, atlas, tuple(dyes), lights, most_dyes))
        if found is not None:
            away.append(found.away_de00(patches))
            if away[-1] <= FITS_DE00:
                found.ready()
                return found
    rule = f"this atlas is of another base or other dyes: its colours are {min(away, default=100.0):.1f} CIEDE2000 off"
    raise InputError(Problem(rule, ANEW, place, field="--atlas"))


def _loaded(folder: Path) -> LoadedAtlas:
    doing("reading the atlas")
    return load_atlas(folder)


def _key(folder: Path) -> Hashable:
    try:
        held = (folder / ATLAS_JSON).stat()
        return os.path.realpath(folder), held.st_mtime_ns, held.st_size
    except OSError:
        return os.path.realpath(folder)
