"""What record.json says, put together from the scheme, what was done and the places as they came out."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from importlib import metadata, resources
from importlib.resources.abc import Traversable
from typing import Any

from layerpreview.answers.as_made import AsMade, CoatMade, MixMade
from layerpreview.finish.layers import dyes_in
from layerpreview.finish.stack import VEIL
from layerpreview.job.finished import FinishedPlace
from layerpreview.output.record_model import RecordedCoat, RecordedMix, RecordedPlace, RecordFile
from layerpreview.output.record_scheme import SCHEME_NAME
from layerpreview.output.record_tables import AGREED, BARE, MADE
from layerpreview.scheme import Base, OpaqueCoat, Scheme
from layerpreview.scheme.describe import base_words

_PACKAGES = ("numpy", "scipy", "pillow")


def content_of(
    scheme: Scheme,
    made: AsMade,
    places: Sequence[FinishedPlace],
    *,
    lights: Sequence[str],
    agreed: str,
    notes: Sequence[str],
    version: str,
    now: datetime,
) -> RecordFile:
    """All of record.json; `scheme`: as planned, `agreed`: which scheme the agreed colours are of, in words.

    `version`: of this package.
    """
    return RecordFile(
        layerpreview_record=1,
        name=scheme.name,
        made=now.astimezone(UTC).isoformat(timespec="seconds"),
        observer_deg=10 if scheme.observer_deg == 10 else 2,
        lights=tuple(lights),
        software={"layerpreview": version, **{name: metadata.version(name) for name in _PACKAGES}},
        tables=tables(),
        scheme=f"scheme/{SCHEME_NAME}",
        mixes=tuple(_mix(scheme, mix) for mix in made.mixes),
        coats=tuple(_coat(scheme, coat) for coat in made.coats),
        plain_coats=tuple(_coat(scheme, coat) for coat in made.plain),
        base=_bases(scheme),
        places=tuple(_place(place, lights) for place in places),
        agreed=agreed,
        notes=tuple(notes),
    )


def tables() -> dict[str, str]:
    """SHA-256 of each shipped table and library dye."""
    data = resources.files("layerpreview") / "data"
    found: list[tuple[str, Traversable]] = [(file.name, file) for file in data.iterdir() if file.name.endswith(".csv")]
    found += [(f"dyes/{file.name}", file) for file in (data / "dyes").iterdir() if file.name.endswith(".toml")]
    return {name: hashlib.sha256(file.read_bytes()).hexdigest() for name, file in sorted(found)}


def _mix(scheme: Scheme, mix: MixMade) -> RecordedMix:
    planned = {
        part.name: f"{part.as_sold_per_L.likely:.4g} {part.as_sold_per_L.unit}"
        for part in dyes_in(scheme, scheme.mixes[mix.name])
    }
    return RecordedMix(
        name=mix.name,
        strengths_as_made={dye: f"{told.likely:.4g} {told.unit}" for dye, told in mix.strengths.items()},
        as_made=mix.as_made,
        strengths_planned=planned,
        batches=mix.batches,
        lots=dict(mix.lots),
        words=mix.words,
    )


def _coat(scheme: Scheme, coat: CoatMade) -> RecordedCoat:
    return RecordedCoat(
        entry=coat.entry,
        mix=coat.what,
        planned=coat.planned,
        done=coat.done,
        film_um=(round(coat.film_um.low, 3), round(coat.film_um.likely, 3), round(coat.film_um.high, 3)),
        film_basis=coat.film_um.basis,
        counted=coat.said,
        opaque=coat.entry > 0 and isinstance(scheme.coats[coat.entry - 1], OpaqueCoat),
    )


def _bases(scheme: Scheme) -> dict[str, Any]:
    first = _base(scheme.base)
    own = {name: _base(base) for name, base in scheme.bases_of.items()}
    clear = {"finish": scheme.clear.finish, "veil": VEIL[scheme.clear.finish]}
    return {**first, "clear": clear, **({"of_faces": own} if own else {})}


def _base(base: Base) -> dict[str, Any]:
    source = next(
        (name for name in ("relief", "grain", "picture", "colour", "height_picture") if getattr(base, name)), ""
    )
    found: dict[str, Any] = {"kind": base.kind, "words": base_words(base), "source": source, "soak": base.soak}
    if base.kind == "metal":
        metal = base.metal
        found |= {"silver": base.silver, "flake_spread": metal.flake_spread, "broad_spread": metal.broad_spread}
        found |= {"broad_share": metal.broad_share, "brightness": metal.scale, "sparkle": base.sparkle}
    if base.relief_um is not None:
        found["relief_um"] = [base.relief_um.low, base.relief_um.likely, base.relief_um.high]
    return found


def _place(place: FinishedPlace, lights: Sequence[str]) -> RecordedPlace:
    asked = place.agreed is not None
    differences = {light: place.de00(light) for light in lights}
    return RecordedPlace(
        name=place.name,
        face=place.face,
        share=tuple(round(share, 5) for share in place.share),
        reflectance=MADE.format(place.name),
        lab=_rounded(place.lab),
        kind=place.kind,
        bare=BARE.format(place.name),
        at_mm=(round(place.at_mm[0], 3), round(place.at_mm[1], 3)),
        agreed=AGREED.format(place.name) if asked else "",
        lab_agreed=_rounded(place.lab_agreed),
        de00={light: round(value, 4) for light, value in differences.items() if value is not None},
    )


def _rounded(labs: Mapping[str, tuple[float, float, float]]) -> dict[str, tuple[float, float, float]]:
    return {light: (round(lab[0], 4), round(lab[1], 4), round(lab[2], 4)) for light, lab in labs.items()}
