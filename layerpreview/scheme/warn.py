"""What looks wrong in a scheme though it is allowed."""

from __future__ import annotations

from collections.abc import Iterator

from layerpreview.errors import Problem
from layerpreview.scheme.coat import Burst, Coat, DyeCoat, OpaqueCoat
from layerpreview.scheme.describe import shown_strength
from layerpreview.scheme.model import Mix, Scheme
from layerpreview.scheme.part import NEAR_CENTRE, NEAR_LINE, Face
from layerpreview.scheme.report import as_path, table_told
from layerpreview.scheme.source import toml_string
from layerpreview.spray.direction import strokes_deg
from layerpreview.surface.kept import UNSAID

# Where a second look is worth it: common practice, no source.
USUAL_FILM_UM = (10.0, 120.0)
USUAL_MOST_COATS = 12
USUAL_SHORTEST_BURST_MM = 1.0
USUAL_STRENGTH = {  # dye as sold in the finished mix, of a liquid dye and of a powder sold pure
    ("mL/L", True): (1.0, 150.0),
    ("drops/L", True): (20.0, 7000.0),
    ("g/L", True): (1.0, 150.0),
    ("% by weight", True): (0.1, 15.0),
    ("g/L", False): (0.05, 20.0),
    ("% by weight", False): (0.005, 2.0),
}
HIDES_EVERYTHING = 2.0  # hiding * coats at which 1 % of what is below is still seen
MIRROR_LIKE = 0.1  # flake spread


def warnings_of(scheme: Scheme) -> list[Problem]:
    """Return what looks wrong but is allowed, each with its field (list items count from 1) and what to do."""
    found = [*_base_warnings(scheme), *_unused(scheme), *_unused_zones(scheme)]
    for name, mix in scheme.mixes.items():
        found += _mix_warnings(name, mix, scheme)
    for index, coat in enumerate(scheme.coats):
        found += _coat_warnings(str(scheme.place_of(index)), coat, scheme)
    found += _never_seen(scheme)
    found += _gun_warnings(scheme)
    file = scheme.shown_file
    return [Problem(rule, remedy, file, field=field, value=value) for field, value, rule, remedy in found]


Warned = tuple[str, str, str, str]  # field, value, rule, remedy


def _base_warnings(scheme: Scheme) -> Iterator[Warned]:
    for field, base in [
        ("base", scheme.base),
        *((as_path(("base_of", name)), own) for name, own in scheme.bases_of.items()),
    ]:
        if base.kind == "metal" and base.metal.flake_spread < MIRROR_LIKE:
            yield (
                f"{field}.flake_spread",
                f"{base.metal.flake_spread:g}",
                "this is nearly a mirror: the colour will change strongly with the view",
                "leave it out and name a silver instead: fine, medium, coarse or bright",
            )
        flashes = [name for name in ("sparkle", "additive") if getattr(base, name) is not None]
        if flashes and base.relief is None and base.height_picture is None:
            yield (
                f"{field}.{flashes[0]}",
                "",
                "flakes are shown over a relief alone",
                'use relief = "fine flake", or leave it out',
            )
        photo = base.picture_options
        if base.picture is not None and photo.neutral_patch_px is None and photo.neutral_colour is None:
            yield (
                f"{field}.picture",
                base.picture.name,
                "without a white or grey card in the photo its white and exposure are assumed",
                f"add neutral_patch = [x, y, w, h] below [{field}.picture_options]",
            )
        if (options := base.height_options if base.height_picture else base.relief_options).lamp_height_deg != 50.0:
            yield (
                f"{field}.{'height_options' if base.height_picture else 'relief_options'}.lamp_height",
                f"{options.lamp_height_deg:g}",
                "the surroundings say how high lamps stand; this is no longer used",
                "leave it out, or write your own surroundings, as in [surroundings.porch]",
            )
        if base.picture is not None and base.kind != "metal" and base.picture_options.taken is None:
            yield (
                f"{field}.picture",
                base.picture.name,
                "a dry surface grows darker and deeper under clear: this photo is taken as one under clear",
                f'add taken = "dry", or "under clear", below [{field}.picture_options]',
            )
    if not scheme.coats:
        yield "coat", "", "nothing is sprayed: the base alone will be shown", "add a [[coat]]"


def _unused(scheme: Scheme) -> Iterator[Warned]:
    sprayed = {coat.mix for coat in scheme.coats if isinstance(coat, DyeCoat)}
    for name in scheme.mixes:
        if name not in sprayed:
            remedy = f"add a [[coat]] with mix = {toml_string(name)}, or leave it out"
            yield as_path(("mix", name)), "", "no coat uses this mix", remedy
    mixed = {dye for mix in scheme.mixes.values() for dye in mix.strengths}
    for name, dye in scheme.dyes.items():
        if name not in mixed:
            yield as_path(("dye", name)), "", "no mix uses this dye", "add it to a mix, or leave it out"
        elif dye.wavelength_nm[0] > 400.0 or dye.wavelength_nm[-1] < 700.0:
            covers = f"{dye.wavelength_nm[0]:g} to {dye.wavelength_nm[-1]:g} nm"
            yield (
                as_path(("dye", name)),
                covers,
                "the spectrum does not cover 400 to 700 nm",
                "its ends are used beyond them",
            )


def _unused_zones(scheme: Scheme) -> Iterator[Warned]:
    used = {name for coat in scheme.coats for name in (*coat.zones, *(burst.source for burst in coat.bursts))}
    for number, face in enumerate(scheme.faces, start=1):
        for place, zone in enumerate(face.zones, start=1):
            field = f"face[{number}].zone[{place}]"
            if zone.under is None and scheme.kept_by(zone, face) is not None:
                yield (
                    field,
                    zone.name,
                    f"what this seat keeps is not said: a grey {UNSAID} is assumed",
                    'add under = "maple", or spruce, ash, mahogany, rosewood, ebony, or a colour as "#c8b08a"',
                )
            if not zone.masked and zone.name not in used:
                yield (
                    field,
                    zone.name,
                    "no coat uses this zone",
                    f"add zone = {toml_string(zone.name)} to a coat, or leave it out",
                )


def _mix_warnings(name: str, mix: Mix, scheme: Scheme) -> Iterator[Warned]:
    for dye_name, strength in mix.strengths.items():
        field, written = as_path(("mix", name, "dyes", dye_name)), shown_strength(strength)
        dye = scheme.dyes[dye_name]
        low, high = USUAL_STRENGTH[strength.unit, dye.concentrate_g_per_L is not None]
        if strength.amount == 0.0:
            yield field, written, "there is none of this dye in the mix", "leave it out, or give its strength"
        elif not low <= strength.amount <= high:
            how = "weak" if strength.amount < low else "strong"
            usual = f"{low:g} to {high:g} {strength.unit} is usual"
            yield field, written, f"this is far outside the usual, very {how}", f"{usual}; check number and unit"
        if strength.unit == "drops/L" and dye.drops_per_mL is None:
            yield (
                field,
                written,
                "the size of a drop is assumed: 44 to 53 of a solvent, but 20 of water, make a millilitre",
                f'count your own and add drops_per_mL = "44 to 53" below {table_told("dye", dye_name)}',
            )
    sprayed = any(isinstance(coat, DyeCoat) and coat.mix == name for coat in scheme.coats)
    if mix.solids is None and sprayed:
        yield (
            as_path(("mix", name)),
            "",
            "without its solids the dry film is not known",
            'add solids = "22 %" (by volume)',
        )


def _coat_warnings(field: str, coat: Coat, scheme: Scheme) -> Iterator[Warned]:
    low, high = USUAL_FILM_UM
    if coat.film_um.low < low or coat.film_um.high > high:
        shown = f"{coat.film_um.low:g} to {coat.film_um.high:g} um"
        usual = f"{low:g} to {high:g} um wet per coat is usual"
        yield f"{field}.film", shown, "this is outside the usual, it would spray dry or run", usual
    if coat.coats > USUAL_MOST_COATS:
        yield (
            f"{field}.coats",
            str(coat.coats),
            "these are many coats: film and time add up",
            "is a stronger mix meant?",
        )
    for number, burst in enumerate(coat.bursts, start=1):
        where = f"{field}.burst" + (f"[{number}]" if len(coat.bursts) > 1 else "")
        yield from _burst_warnings(where, burst, coat, scheme)


def _burst_warnings(field: str, burst: Burst, coat: Coat, scheme: Scheme) -> Iterator[Warned]:
    faces = [face for face in scheme.faces if scheme.zones_of(coat, face) != () and burst.face in (None, face.name)]
    if not any(face.traced or burst in scheme.bursts_on(coat, face) for face in faces):
        rule = f"nothing of this burst is seen: the coat goes over {coat.zone}, which does not have this edge"
        yield f"{field}.from", burst.source, rule, "name the zone or face of this edge in the coat's zone"
    shown = f"{burst.width_mm:g} mm"
    narrow = min((size for face in faces if (size := _smaller_side_mm(face))), default=None)
    from_edge = burst.source not in (NEAR_LINE, NEAR_CENTRE)
    if from_edge and narrow is not None and burst.width_mm > narrow / 2:
        rule = f"this is wider than half of the smallest face ({narrow:g} mm): the middle is coloured too"
        yield f"{field}.width", shown, rule, "is a narrower burst meant?"
    elif burst.width_mm < USUAL_SHORTEST_BURST_MM:
        yield f"{field}.width", shown, "a gun cannot fade over so short a way", "1 mm and more can be sprayed"


def _smaller_side_mm(face: Face) -> float | None:
    """Return the smaller side as far as the scheme states it; pictures and drawings are not opened here."""
    if face.traced:
        return None
    around = (
        3.14159 * face.diameter_mm if face.diameter_mm and face.shape in ("drum shell", "tube") else face.diameter_mm
    )
    sizes = [size for size in (face.width_mm, face.height_mm, around, face.depth_mm, face.length_mm) if size]
    return min(sizes, default=None)


def _gun_warnings(scheme: Scheme) -> Iterator[Warned]:
    text = scheme.gun.direction
    # Whether a way is understood does not depend on the size of the face.
    if text is not None and strokes_deg(text, width_mm=1.0, height_mm=1.0) is None:
        yield (
            "gun.direction",
            toml_string(text),
            "this is not understood as a way of the strokes: left to right is assumed",
            'write for example direction = "lengthwise, then across"',
        )


def _never_seen(scheme: Scheme) -> Iterator[Warned]:
    """Find the last opaque coat that covers everything: what was sprayed before it is never seen."""
    for last in range(len(scheme.coats) - 1, 0, -1):
        cover = scheme.coats[last]
        if not isinstance(cover, OpaqueCoat) or cover.bursts or cover.cut_back or not cover.everywhere:
            continue
        if cover.hiding * cover.coats < HIDES_EVERYTHING:
            continue
        for index in range(last):
            rule = f"this will not be seen: coat {last + 1} covers all of it"
            yield str(scheme.place_of(index)), "", rule, "spray the opaque coat first, or make it a burst"
        return
