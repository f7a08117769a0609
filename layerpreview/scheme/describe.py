"""A scheme told in plain words, and what looks wrong in it though it is allowed."""

from __future__ import annotations

from collections.abc import Iterator

from layerpreview.errors import Problem
from layerpreview.scheme import model as m
from layerpreview.units import Range, Strength

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


def describe(scheme: m.Scheme) -> list[str]:
    """Return what will be sprayed over what, in order, one line each: part, base, numbered coats, clear, lights."""
    lines = [f"{scheme.name}: {_faces(scheme)}", f"base: {_base(scheme.base)}"]
    for number, coat in enumerate(scheme.coats, start=1):
        what = _mix(scheme.mix_of(coat)) if isinstance(coat, m.DyeCoat) else _opaque(coat)
        lines.append(f"{number}. {what}: {_coats(coat)} {_where(coat)}, {_film(coat)}")
    lines.append(f"then clear, {scheme.clear.finish}")
    lines.append(f"looked at under {_joined(scheme.lights)}, {scheme.observer_deg} degree observer")
    return lines


def warnings_of(scheme: m.Scheme) -> list[Problem]:
    """Return what looks wrong but is allowed, each with its field (list items count from 1) and what to do."""
    found = [*_base_warnings(scheme), *_unused(scheme)]
    for name, mix in scheme.mixes.items():
        found += _mix_warnings(name, mix, scheme)
    for number, coat in enumerate(scheme.coats, start=1):
        found += _coat_warnings(f"coat[{number}]", coat, scheme)
    found += _never_seen(scheme)
    file = str(scheme.file)
    return [Problem(rule, remedy, file, field=field, value=value) for field, value, rule, remedy in found]


Warned = tuple[str, str, str, str]  # field, value, rule, remedy


def _faces(scheme: m.Scheme) -> str:
    return _joined([f"{face.name} ({_size(face)})" for face in scheme.faces])


def _size(face: m.Face) -> str:
    sizes = [
        f"{value:g} mm {word}"
        for value, word in (
            (face.diameter_mm, "across"),
            (face.width_mm, "wide"),
            (face.height_mm, "high"),
            (face.depth_mm, "deep"),
            (face.length_mm, "long"),
        )
        if value is not None
    ]
    source = face.picture or face.drawing
    shape = f"{face.shape} {source.name}" if source else face.shape
    holes = len(face.openings)
    opening = [f"{holes} opening{'s' if holes > 1 else ''}"] if holes else []
    return ", ".join([shape, *sizes, *opening])


def _base(base: m.Base) -> str:
    if base.relief:
        look = f"{base.relief} relief, cells {base.relief_options.cell_mm:g} mm"
    elif base.picture:
        look = f"photo {base.picture.name}"
    else:
        look = f"flat colour {base.colour}"
    return f"{base.kind}, {look}" + (f", flake spread {base.flake_spread:g}" if base.kind == "metal" else "")


def _mix(mix: m.Mix) -> str:
    dyes = ", ".join(f"{name} {_strength(strength)}" for name, strength in mix.strengths.items())
    return f"{mix.name} ({dyes} in {mix.carrier})"


def _strength(strength: Strength) -> str:
    return strength.written or f"{strength.amount:g} {strength.unit}"


def _opaque(coat: m.OpaqueCoat) -> str:
    through = 10.0 ** (-coat.hiding * coat.coats)
    return f"opaque {coat.colour} (where it is full, {100 * through:.2g} % of what is below is seen)"


def _coats(coat: m.AnyCoat) -> str:
    word = coat.film_basis.removeprefix("assumed (").removesuffix(")") + " " if coat.film_basis != "stated" else ""
    return f"{coat.coats} {word}coat{'s' if coat.coats > 1 else ''}"


def _where(coat: m.AnyCoat) -> str:
    if not coat.bursts:
        return "over the whole face" if coat.zone == m.WHOLE_FACE else f"over {coat.zone}"
    return "as a burst " + _joined([_burst(burst) for burst in coat.bursts])


def _burst(burst: m.Burst) -> str:
    edge = {m.NEAR_OUTLINE: "the outline", m.NEAR_OPENINGS: "every opening"}.get(burst.source, burst.source)
    end = "gone" if burst.centre == 0.0 else f"down to {100 * burst.centre:g} %"
    return f"from {edge}, {end} {burst.width_mm:g} mm away ({burst.fall_off})"


def _film(coat: m.AnyCoat) -> str:
    um: Range = coat.film_um
    basis = "stated" if coat.film_basis == "stated" else "assumed"
    if um.low == um.high:
        return f"{um.likely:g} um wet each ({basis})"
    return f"{um.likely:g} um wet each ({um.low:g} to {um.high:g}, {basis})"


def _joined(parts: list[str] | tuple[str, ...]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else "".join(parts)


def _base_warnings(scheme: m.Scheme) -> Iterator[Warned]:
    base = scheme.base
    if base.kind == "metal" and base.flake_spread < MIRROR_LIKE:
        yield (
            "base.flake_spread",
            f"{base.flake_spread:g}",
            "this is nearly a mirror: the colour will change strongly with the view",
            "0.2 to 0.4 is usual for a metallic coat",
        )
    if base.picture is not None and base.picture_options.neutral_patch_px is None:
        yield (
            "base.picture",
            base.picture.name,
            "without a white or grey card in the photo its white and exposure are assumed",
            "add neutral_patch = [x, y, w, h] below [base.picture_options]",
        )
    if not scheme.coats:
        yield "coat", "", "nothing is sprayed: the base alone will be shown", "add a [[coat]]"


def _unused(scheme: m.Scheme) -> Iterator[Warned]:
    sprayed = {coat.mix for coat in scheme.coats if isinstance(coat, m.DyeCoat)}
    for name in scheme.mixes:
        if name not in sprayed:
            yield f"mix.{name}", "", "no coat uses this mix", f'add a [[coat]] with mix = "{name}", or leave it out'
    mixed = {dye for mix in scheme.mixes.values() for dye in mix.strengths}
    for name, dye in scheme.dyes.items():
        if name not in mixed:
            yield f"dye.{name}", "", "no mix uses this dye", "add it to a mix, or leave it out"
        elif dye.wavelength_nm[0] > 400.0 or dye.wavelength_nm[-1] < 700.0:
            covers = f"{dye.wavelength_nm[0]:g} to {dye.wavelength_nm[-1]:g} nm"
            yield f"dye.{name}", covers, "the spectrum does not cover 400 to 700 nm", "its ends are used beyond them"


def _mix_warnings(name: str, mix: m.Mix, scheme: m.Scheme) -> Iterator[Warned]:
    for dye_name, strength in mix.strengths.items():
        field, written = f"mix.{name}.dyes.{dye_name}", _strength(strength)
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
                f'count your own and add drops_per_mL = "44 to 53" below [dye.{dye_name}]',
            )
    if mix.solids is None:
        yield f"mix.{name}", "", "without its solids the dry film is not known", 'add solids = "22 %" (by volume)'


def _coat_warnings(field: str, coat: m.AnyCoat, scheme: m.Scheme) -> Iterator[Warned]:
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
    narrow = min((size for face in scheme.faces if (size := _smaller_side_mm(face))), default=None)
    for number, burst in enumerate(coat.bursts, start=1):
        where = f"{field}.burst" + (f"[{number}]" if len(coat.bursts) > 1 else "") + ".width"
        shown = f"{burst.width_mm:g} mm"
        if narrow is not None and burst.width_mm > narrow / 2:
            rule = f"this is wider than half of the smallest face ({narrow:g} mm): the middle is coloured too"
            yield where, shown, rule, "is a narrower burst meant?"
        elif burst.width_mm < USUAL_SHORTEST_BURST_MM:
            yield where, shown, "a gun cannot fade over so short a way", "1 mm and more can be sprayed"


def _smaller_side_mm(face: m.Face) -> float | None:
    """Return the smaller side as far as the scheme states it; pictures and drawings are not opened here."""
    if face.picture is not None or face.drawing is not None:
        return None
    around = (
        3.14159 * face.diameter_mm if face.diameter_mm and face.shape in ("drum shell", "tube") else face.diameter_mm
    )
    sizes = [size for size in (face.width_mm, face.height_mm, around, face.depth_mm, face.length_mm) if size]
    return min(sizes, default=None)


def _never_seen(scheme: m.Scheme) -> Iterator[Warned]:
    """Find the last opaque coat that covers everything: what was sprayed before it is never seen."""
    for last in range(len(scheme.coats) - 1, 0, -1):
        cover = scheme.coats[last]
        if not isinstance(cover, m.OpaqueCoat) or cover.bursts or cover.zone != m.WHOLE_FACE:
            continue
        if cover.hiding * cover.coats < HIDES_EVERYTHING:
            continue
        for number in range(1, last + 1):
            rule = f"this will not be seen: coat {last + 1} covers all of it"
            yield f"coat[{number}]", "", rule, "spray the opaque coat first, or make it a burst"
        return
