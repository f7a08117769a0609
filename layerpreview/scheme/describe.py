"""A scheme told in plain words; of products, gun, sanding and shop only what it says."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from layerpreview.scheme import part as p
from layerpreview.scheme.base import USUAL_SILVER, Base
from layerpreview.scheme.coat import Burst, Coat, DyeCoat, OpaqueCoat
from layerpreview.scheme.fields import film_word
from layerpreview.scheme.model import Mix, Scheme
from layerpreview.scheme.shop_card import shop_card
from layerpreview.scheme.work import PlainEntry, ProductEntry
from layerpreview.told import Basis, Told
from layerpreview.units import Range, Strength


def clear_and_base_coats(entry: PlainEntry) -> str:
    """Name, coats and film of coats without dye, as far as stated, to put behind "clear": empty where nothing is."""
    parts = [entry.name] if entry.name else []
    if entry.stated_coats is not None:
        parts.append(f"{entry.stated_coats} coat{'s' if entry.stated_coats > 1 else ''}")
    if entry.stated_film_um is not None:
        film = entry.stated_film_um
        parts.append(f"{ends(film)} um wet each, {film.basis}")
    return ", ".join(parts)


def work_lines(scheme: Scheme) -> Iterator[str]:
    """Yield a line for each product of which something is stated, then gun, sanding, light fastness and shop."""
    products: list[tuple[str, ProductEntry]] = [
        *([("base coat", scheme.base.coat)] if scheme.base.coat else []),
        *((f"base coat of {name}", base.coat) for name, base in scheme.bases_of.items() if base.coat),
        *scheme.mixes.items(),
        *scheme.paints.items(),
        ("clear", scheme.clear),
    ]
    for name, product in products:
        if told := _product(product):
            yield f"product {name}: {told}"
    gun = scheme.gun
    settings = [
        f"{what} {value}"
        for what, value in (
            ("nozzle", gun.nozzle),
            ("pressure", gun.pressure),
            ("fan", gun.fan_mm and gun.fan_mm.written),
            ("distance", gun.distance_mm and gun.distance_mm.written),
            ("overlap", gun.overlap and gun.overlap.written),
            ("direction", gun.direction),
        )
        if value
    ]
    if settings:
        yield f"gun: {'; '.join(settings)}"
    yield from _own_values(scheme)
    if scheme.sanding.grits:
        yield f"sanded with {', '.join(f'P{grit}' for grit in scheme.sanding.grits)}"
    fast = [f"{name} {ends(dye.light_fastness)}" for name, dye in scheme.dyes.items() if dye.light_fastness]
    if fast:
        yield f"light fastness, blue wool step (stated): {', '.join(fast)}"
    yield from _shop(scheme)


def _own_values(scheme: Scheme) -> Iterator[str]:
    """What of the shop's own values the scheme is read with, beside the films that are told with their coats."""
    if scheme.own is None:
        return
    told = []
    if isinstance(transfer := scheme.gun.stated_transfer, Told):
        told.append(f"{ends(transfer.scaled(100.0))} % of what is sprayed lands ({transfer.basis})")
    for name, dye in scheme.dyes.items():
        if isinstance(drops := dye.drops_per_mL, Told):
            told.append(f"{name} {ends(drops)} drops in a mL ({drops.basis})")
    if not told and not scheme.own.film_um:
        return
    used = "; ".join(told) or "wet films told in a word"
    yield f"with this shop's own values ({scheme.own.file.name}): {used}"


def ends(value: Range) -> str:
    """A range by its ends, a single figure as that."""
    return f"{value.low:g}" if value.low == value.high else f"{value.low:g} to {value.high:g}"


def _product(product: ProductEntry) -> str:
    parts = [f"ratio {product.ratio.written}"] if product.ratio else []
    for what, time in (("pot life", product.pot_life_min), ("flash", product.flash_min), ("dry", product.dry_min)):
        if time is not None:
            parts.append(f"{what} {_time(time)}")
    if product.isocyanate is not None:
        parts.append("holds isocyanates" if product.isocyanate else "stated free of isocyanates")
    return ", ".join(parts)


def _time(time: Range) -> str:
    factor, unit = (60.0, "h") if time.low >= 60.0 else (1.0, "min")
    return f"{ends(time.scaled(1.0 / factor))} {unit}"


def _shop(scheme: Scheme) -> Iterator[str]:
    shop = scheme.shop
    parts = list(shop_card(scheme).said.values())
    parts += [f"{shop.units} units"] if "units" in shop.model_fields_set else []
    if shop.spare is not None:
        parts.append(f"{100 * shop.spare:g} % to spare")
    if shop.hour_price is not None:
        parts.append(f"an hour of work {float(shop.hour_price):g} {shop.currency}".rstrip())
    if parts:
        yield f"shop: {', '.join(parts)}"


def describe(scheme: Scheme) -> list[str]:
    """Return what will be sprayed over what, in order, one line each.

    Part, bases, zones, numbered coats, clear, form, lights, and what is said about the work.
    """
    lines = [f"{scheme.name}: {_faces(scheme)}", f"base: {base_words(scheme.base)}"]
    lines += [f"base of {name}: {base_words(base)}" for name, base in scheme.bases_of.items()]
    for face in scheme.faces:
        lines += [_zone(zone, face) for zone in face.zones]
    for number, coat in enumerate(scheme.coats, start=1):
        what = _mix(scheme.mix_of(coat)) if isinstance(coat, DyeCoat) else _opaque(coat)
        lines.append(f"{number}. {what}: {_coats(coat)} {_where(coat, scheme)}, {_film(coat)}{_cut_back(coat)}")
    clear = clear_and_base_coats(scheme.clear)
    lines.append(f"then clear, {scheme.clear.finish}" + (f": {clear}" if clear else ""))
    lines += _form(scheme.form)
    lines.append(f"looked at under {_joined(scheme.lights)}, {scheme.observer_deg} degree observer")
    return [*lines, *work_lines(scheme)]


def shown_strength(strength: Strength) -> str:
    """Return a strength as it was written, else in its base unit."""
    return strength.written or f"{strength.amount:g} {strength.unit}"


def _faces(scheme: Scheme) -> str:
    return _joined([f"{face.name} ({_face(face)})" for face in scheme.faces])


def _face(face: p.Face) -> str:
    holes = len(face.openings) + len(face.through)
    opening = [f"{holes} opening{'s' if holes > 1 else ''}"] if holes else []
    return ", ".join([_size(face), *opening])


def _size(item: p.Face | p.Zone) -> str:
    words = {
        "diameter_mm": "across",
        "width_mm": "wide",
        "part_width_mm": "wide",
        "height_mm": "high",
        "part_height_mm": "high",
        "depth_mm": "deep",
        "length_mm": "long",
    }
    sizes = [f"{size:g} mm {word}" for name, word in words.items() if (size := getattr(item, name, None)) is not None]
    source = item.picture or item.drawing
    shape = f"{item.shape} {source.name}" if source else f"{item.shape}"
    if isinstance(item, p.Face) and item.side_of:
        shape = f"side of {item.side_of}, unrolled"
    elif isinstance(item, p.Face) and item.mirror_of:
        shape = f"mirror image of {item.mirror_of}"
    return ", ".join([shape, *sizes])


def base_words(base: Base) -> str:
    """Return what a base is, in words."""
    coat = clear_and_base_coats(base.coat) if base.coat else ""
    high = f", texture {ends(base.relief_um)} um high (stated)" if base.relief_um else ""
    if base.stated_levelling is not None:
        high += f", wet coats level {ends(base.stated_levelling.scaled(100.0))} % of it (stated)"
    return _look(base) + high + (f"; sprayed with {coat}" if coat else "")


def _look(base: Base) -> str:
    if base.relief:
        size = base.relief_options.cell_mm
        look = f"{base.relief} relief" + (f", features {size:g} mm" if size else "")
    elif base.grain:
        look = f"{base.grain} grain"
    elif base.picture:
        look = f"photo {base.picture.name}"
    elif base.height_picture:
        look = f"relief from {base.height_picture.name}"
    else:
        look = f"flat colour {base.colour}"
    if base.kind == "metal":
        return f"metal, {look}, {_flakes(base)}"
    soak = f", open grain takes {100 * base.soak:g} % more dye ({base.soak_rests_on})" if base.soak else ""
    return f"{base.kind}, {look}{soak}"


def _flakes(base: Base) -> str:
    if base.flake_spread is None:
        return f"{base.silver or USUAL_SILVER} silver"
    return f"flake spread {base.flake_spread:g}"


def _zone(zone: p.Zone, face: p.Face) -> str:
    edge = "hard edge" if zone.hard else f"soft edge {zone.edge_mm:g} mm wide"
    ridge = f" with a ridge of {zone.ridge_mm:g} mm" if zone.ridge_mm is not None else ""
    keeps = f", keeps {zone.under}" if zone.under else ""
    start = f"taped off on {face.name}, no paint{keeps}" if zone.masked else f"zone on {face.name}"
    return f"{start}: {zone.name} ({_region(zone)}, {edge}{ridge})"


def _region(zone: p.Zone) -> str:
    if zone.side is not None:
        return f"all to the right of the line {_line(zone.side.at_mm, zone.side.angle_deg)}"
    if zone.band is not None:
        return f"within {zone.band.width_mm:g} mm of {_edge(zone.band.source)}"
    if zone.points_mm is not None:
        return f"the area between {len(zone.points_mm)} points"
    if zone.drawn_id is not None:
        return f"line {zone.drawn_id} of the drawing"
    return _size(zone)


def _line(at_mm: tuple[float, float], angle_deg: float) -> str:
    return f"through {_point(at_mm)} that heads {angle_deg:g} degrees from the top"


def _point(at_mm: tuple[float, float]) -> str:
    return f"{at_mm[0]:g} mm across, {at_mm[1]:g} mm down"


def _edge(source: str) -> str:
    return {p.NEAR_OUTLINE: "the outline", p.NEAR_OPENINGS: "every opening"}.get(source, source)


def _mix(mix: Mix) -> str:
    dyes = ", ".join(f"{name} {shown_strength(strength)}" for name, strength in mix.strengths.items())
    return f"{mix.name} ({dyes} in {mix.carrier})"


def _opaque(coat: OpaqueCoat) -> str:
    through = 10.0 ** (-coat.hiding * coat.coats)
    colour = f"{coat.name}, opaque {coat.colour}" if coat.name else coat.label
    return f"{colour} (where it is full, {100 * through:.2g} % of what is below is seen)"


def _coats(coat: Coat) -> str:
    word = film_word(coat.film_um)
    return " ".join(filter(None, (str(coat.coats), word, "coats" if coat.coats > 1 else "coat")))


def _where(coat: Coat, scheme: Scheme) -> str:
    faces = [face.name for face in scheme.faces]
    places = _joined([f"the whole of {name}" if name in faces else name for name in coat.zones])
    if not coat.bursts:
        return "over the whole face" if coat.everywhere else f"over {places}"
    zones = [zone.name for face in scheme.faces for zone in face.zones]
    burst = "as a burst " + _joined([_burst(burst, zones) for burst in coat.bursts])
    return burst if coat.everywhere else f"{burst}, over {places}"


def _burst(burst: Burst, zones: Sequence[str]) -> str:
    if burst.source == p.NEAR_LINE and burst.at_mm is not None and burst.angle_deg is not None:
        start = f"the line {_line(burst.at_mm, burst.angle_deg)}"
    elif burst.source == p.NEAR_CENTRE and burst.at_mm is not None:
        start = f"the point {_point(burst.at_mm)}"
    else:
        start = f"the edge of {burst.source} inwards" if burst.source in zones else _edge(burst.source)
    face = f" on {burst.face}" if burst.face else ""
    end = "gone" if burst.centre == 0.0 else f"down to {100 * burst.centre:g} %"
    return f"from {start}{face}, {end} {burst.width_mm:g} mm away ({burst.fall_off})"


def _film(coat: Coat) -> str:
    um, basis = coat.film_um, _grounds(coat.film_um)
    if um.low == um.high:
        return f"{um.likely:g} um wet each ({basis})"
    return f"{um.likely:g} um wet each ({um.low:g} to {um.high:g}, {basis})"


def _grounds(film_um: Told) -> str:
    """What a film rests on, in a word; of the shop's own also how many readings."""
    rest = film_um.rests_on[0] if film_um.rests_on else None
    own = rest is not None and rest.basis is Basis.MEASURED and film_word(film_um) is not None
    return rest.note.partition(", ")[2] if own and rest else str(film_um.weakest)


def _cut_back(coat: Coat) -> str:
    return f", then cut back by {100 * coat.cut_back:g} % on average" if coat.cut_back else ""


def _form(form: p.Form) -> Iterator[str]:
    sizes = (
        ("edges rounded by", form.edge_radius_mm),
        ("a middle that stands out", form.belly_mm),
        ("a thickness of", form.thickness_mm),
    )
    parts = [f"{what} {size:g} mm" for what, size in sizes if size]
    if parts:
        yield f"drawn with {_joined(parts)} (pictures only, not figures)"


def _joined(parts: Sequence[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else "".join(parts)
