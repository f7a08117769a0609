"""The tables of a record: everything that its colours are made of as CSV, for a person with a spreadsheet.

Numbers have a point and no unit; the unit stands in the heading. Spectra go from 380 to 780 nm, every 5 nm.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from layerpreview.answers.as_made import AsMade, CoatMade
from layerpreview.colour import WAVELENGTHS_NM, light_spd, observer_cmf
from layerpreview.film import DiffuseFilm, diffuse_film
from layerpreview.film.curves import PathCurve
from layerpreview.finish.layers import absorptivity_on_grid, base_film, colour_spectrum, dyes_in
from layerpreview.finish.stack import VEIL
from layerpreview.finish.view import STRAIGHT_ON
from layerpreview.job.done import BASE_COAT, Done, Poured
from layerpreview.job.finished import FinishedPlace
from layerpreview.output.csv_table import csv_rows
from layerpreview.scheme import Coat, DyeCoat, OpaqueCoat, Scheme

BARE, MADE, AGREED, OPAQUE = "{}: base alone", "{}: as made", "{}: as agreed", "opaque coat {}"


def table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """A CSV table with plain line ends: numbers to seven digits."""
    return csv_rows(head, rows, line_end="\n", digits=7).encode("utf-8")


def _spectral(columns: dict[str, Iterable[float]]) -> bytes:
    rows = zip(WAVELENGTHS_NM, *columns.values(), strict=True)
    return table(["wavelength_nm", *columns], [[float(value) for value in row] for row in rows])


def spectra_csv(scheme: Scheme, places: Sequence[FinishedPlace]) -> bytes:
    """Reflectance [0..1] of every place, bare, as made and as agreed, and of every opaque coat."""
    columns: dict[str, Iterable[float]] = {}
    for place in places:
        columns[BARE.format(place.name)] = place.bare
        columns[MADE.format(place.name)] = place.made
        if place.agreed is not None:
            columns[AGREED.format(place.name)] = place.agreed
    for number, coat in enumerate(scheme.coats, start=1):
        if isinstance(coat, OpaqueCoat):
            columns[OPAQUE.format(number)] = colour_spectrum(coat.colour)
    return _spectral(columns)


def dyes_csv(scheme: Scheme) -> bytes:
    """Decadic absorptivity of every pure dye [L/(g cm)], with the ends of its range."""
    columns: dict[str, Iterable[float]] = {}
    for name, dye in scheme.dyes.items():
        for end in ("likely", "low", "high"):
            columns[f"{name}: {end} [L/(g cm)]"] = absorptivity_on_grid(dye, end)
    return _spectral(columns)


def lights_csv(lights: Sequence[str], *, observer_deg: int) -> bytes:
    """Relative power of every light, and the observer's colour-matching functions."""
    columns: dict[str, Iterable[float]] = {light: light_spd(light) for light in lights}
    names = (f"{letter}-bar, {observer_deg} deg" for letter in "xyz")
    return _spectral(columns | dict(zip(names, observer_cmf(observer_deg).T, strict=True)))


def mixes_csv(made: AsMade, planned: Scheme) -> bytes:
    """A row of each dye of each mix: its strength as sold, as planned and as made, and as pure dye [g/L]."""
    head = ["mix", "dye", "planned", "made_low", "made_likely", "made_high", "unit"]
    head += ["pure_g_per_L_low", "pure_g_per_L_likely", "pure_g_per_L_high", "concentrate_g_per_L"]
    head += ["as_made", "batches", "lot", "rests_on"]
    rows: list[list[object]] = []
    for mix in made.mixes:
        was = {part.name: part.strength for part in dyes_in(planned, planned.mixes[mix.name])}
        for part in dyes_in(made.scheme, made.scheme.mixes[mix.name]):
            told, pure, name = mix.strengths[part.name], part.pure_g_per_L, part.name
            before = f"{was[name].amount:g} {was[name].unit}" if name in was else ""
            rows.append([mix.name, name, before, told.low, told.likely, told.high, told.unit])
            rows[-1] += [pure.low, pure.likely, pure.high, made.scheme.dyes[name].concentrate_g_per_L]
            rows[-1] += [_yes(mix.as_made), mix.batches, mix.lots.get(name, ""), told.basis]
    return table(head, rows)


def batches_csv(done: Done) -> bytes:
    """A row of everything that was poured."""
    head = ["time", "batch", "poured", "amount", "unit", "lot", "batch_total_mL", "card", "note"]
    rows = [
        [f"{one.time:%Y-%m-%dT%H:%M:%SZ}", one.batch, *_poured(part), one.total_mL, one.card, one.note]
        for one in done.batches
        for part in one.poured
    ]
    return table(head, rows)


def _poured(part: Poured) -> tuple[str, float, str, str]:
    return part.name, part.amount, part.unit, part.lot


def films_csv(made: AsMade, done: Done) -> bytes:
    """A row of each entry of the coats: how many are on, the wet film of one [um], and every reading."""
    head = ["entry", "what", "mix_or_colour", "planned_coats", "coats_on", "counted", "film_um_low", "film_um_likely"]
    head += ["film_um_high", "rests_on", "readings_um", "hiding_per_coat"]
    rows = []
    for one in (*(c for c in made.plain if c.entry == BASE_COAT), *made.coats, *(c for c in made.plain if c.entry < 0)):
        read = [film for film in done.films if film.entry == one.entry]
        said = "; ".join(f"coat {film.number}: {' '.join(f'{um:g}' for um in film.readings_um)}" for film in read)
        coat = made.scheme.coats[one.entry - 1] if one.entry > 0 else None
        what, which, hiding = _kind(one, coat)
        film = one.film_um
        on = (one.entry, what, which, one.planned, one.done, _yes(one.said))
        rows.append([*on, film.low, film.likely, film.high, film.basis, said, hiding])
    return table(head, rows)


def _kind(one: CoatMade, coat: Coat | None) -> tuple[str, str, float | None]:
    """What kind of coat it is, of which mix, colour or product, and what one of it hides."""
    if isinstance(coat, DyeCoat):
        return "dye", coat.mix, None
    if isinstance(coat, OpaqueCoat):
        return "opaque", coat.colour, coat.hiding
    return "base coat" if one.entry == BASE_COAT else "clear", one.what, None


def colours_csv(places: Sequence[FinishedPlace], lights: Sequence[str]) -> bytes:
    """A row of each place under each light: L*a*b* as made and as agreed, dE00 between, and the colour on a screen."""
    head = ["place", "face", "stands_for", "light", "L", "a", "b", "agreed_L", "agreed_a", "agreed_b", "dE00", "screen"]
    rows = []
    for place in places:
        for light in lights:
            asked = place.lab_agreed.get(light, (None, None, None))
            told = [*place.lab[light], *asked, place.de00(light)]
            values = [None if value is None else round(value, 3) for value in told]
            rows.append([place.name, place.face, place.kind, light, *values, place.srgb[light]])
    return table(head, rows)


def places_csv(made: AsMade, places: Sequence[FinishedPlace]) -> bytes:
    """A row of each place: where it lies on its face [mm], and the share of each entry's full build that is there."""
    head = ["place", "face", "across_mm", "down_mm", *(f"share_of_entry_{coat.entry}" for coat in made.coats)]
    rows = [[place.name, place.face, *place.at_mm, *(round(share, 5) for share in place.share)] for place in places]
    return table(head, rows)


def face_csv(scheme: Scheme) -> bytes:
    """The film's face over every base: start * 2^-D(x), D(x) = x (n0 + n1 x + n2 x^2) / (1 + q1 x + q2 x^2)."""
    rows: list[list[object]] = []
    for face in scheme.faces:
        film = base_film(scheme.base_for(face.name))
        if isinstance(film, DiffuseFilm):
            rows += [_curve(face.name, "C", film.c), _curve(face.name, "K", film.k)]
        else:
            rows.append(_curve(face.name, "T", film.tau))
    over = diffuse_film(STRAIGHT_ON.light())
    rows += [_curve("over an opaque coat", "C", over.c), _curve("over an opaque coat", "K", over.k)]
    rows.append(["veil of the clear", "V", VEIL[scheme.clear.finish], *[None] * 6])
    return table(["over", "curve", "start", "n0", "n1", "n2", "q1", "q2", "largest_error"], rows)


def _curve(over: str, name: str, curve: PathCurve) -> list[object]:
    return [over, name, curve.start, *curve.numerator, *curve.denominator, curve.error]


def _yes(said: bool) -> str:
    return "yes" if said else "no"
