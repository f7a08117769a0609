"""The same colour again: from a record of a job, with today's dyes, base and gun."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.remake import unchanged
from layerpreview.answers.remake_answer import BaseToday, DyeToday, FilmToday, Remade, remade_answer
from layerpreview.answers.remake_booth import Booth, Wanted
from layerpreview.answers.remake_sure import Doubts, base_doubt_de00, plain_roots
from layerpreview.colour import JUST_SEEN_DE00, LIGHT_NAMES, rgb_basis
from layerpreview.errors import InputError, NoAnswerError, Problem
from layerpreview.film import diffuse_film
from layerpreview.finish.layers import base_film
from layerpreview.learn.card.model import Ground, ground_of_spectrum
from layerpreview.output.files import written_together
from layerpreview.output.landing import aside
from layerpreview.output.record_file import Record, open_record
from layerpreview.output.remake_result import SCHEME_NAME, SHOP_NAME, RemakeFiles, remake_names, remake_result
from layerpreview.output.result import Result
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import FIGURES_WIDTH_PX, Spot, SpotKind, dye_shows, mean_bare
from layerpreview.scheme import Scheme, scheme_from_text
from layerpreview.scheme.edit import Change, changed
from layerpreview.scheme.rules import file_places
from layerpreview.scheme.shop_values import load_shop_values, shop_beside
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range
from layerpreview.workflows import remake_today as t
from layerpreview.workflows.remake_dyes import (
    DyeOnShelf,
    Matched,
    beside_record,
    doubt_of,
    dyes_on_shelf,
    files_among,
    loads_of,
    matched,
    sprayed_dyes,
    stands_for,
    stem_of,
)

F64 = NDArray[np.float64]

MAIN_WEIGHT = 2.0
"""How much more the open field of a face counts than its edges: it is what is looked at first (assumed)."""
UNSEEN_DE00 = 0.3
WHITE = 0.86  # of a white card: assumed


@dataclass(frozen=True)
class Asked:
    """What is asked: today's dye files, `stand_for` as typed ("amber=new.dye.toml"), names of dyes to add `also`, the
    scheme of `today` whose base and gun are taken, and to work it out `anyway` where all is the same within doubt."""

    dyes: Sequence[Path] = ()
    stand_for: Sequence[str] = ()
    also: Sequence[str] = ()
    today: Path | None = None
    anyway: bool = False


@dataclass(frozen=True, eq=False)
class _Then:
    """The record's scheme as it was made: `text` and `scheme`, its entries by number in the record, its dye files."""

    record: Record
    text: str
    scheme: Scheme
    entries: tuple[int, ...]
    dye_files: Mapping[str, Path]


def remake_place(record: Path) -> Path:
    """Where a remake goes unasked: a job's folder of its own beside the record.

    >>> remake_place(Path("jobs/drum.record.zip")).as_posix()
    'jobs/drum_again'
    """
    return record.parent / f"{record.name.partition('.')[0]}_again"


def remake_files(record: Path, asked: Asked, *, out: Path, force: bool = False) -> Result[Remade]:
    """Work out how to make the colour of a record again, and write the scheme for it, figures and a picture to `out`.

    Raises InputError (SchemeError, PictureError), NoAnswerError or OutputError; nothing is written then.
    """
    opened = open_record(record)
    shelf, said = dyes_on_shelf(files_among(asked.dyes)), stands_for(asked.stand_for)
    inputs = [record, *(dye.path for dye in shelf), *said.values(), *([asked.today] if asked.today else [])]
    with aside() as work, _named_as_known(record, folder := t.Folder(work / "today")):
        then = _then(opened, Path(work))
        found = matched(then.scheme, then.dye_files, shelf, said)
        folder.path.mkdir()
        answer, text = _answer(then, found, asked, folder, out)
        scheme = scheme_from_text(text, folder.path / SCHEME_NAME)
        files = RemakeFiles(text, _files_of(text, folder, out))
        with written_together(out, remake_names(files), force=force, inputs=inputs, lasting=files.names) as paths:
            return remake_result(answer, _as_it_was(then), scheme, files).written(paths, out)


@contextmanager
def _named_as_known(record: Path, folder: t.Folder) -> Iterator[None]:
    """Problems with files by the names that a person knows them by, not by those of a folder for the work."""

    def known(problem: Problem) -> Problem:
        path = Path(problem.file)
        if folder.path.parent not in path.parents:
            return problem
        source = folder.files.get(path.name) if path.parent == folder.path else None
        return replace(problem, file=f"{record}, {path.name}" if source is None else str(source))

    try:
        yield
    except InputError as error:
        raise type(error)(map(known, error.problems)) from None


def _then(record: Record, work: Path) -> _Then:
    path = t.unpacked(record, work / "was")
    try:
        text, entries = t.as_made_text(record, path.read_text(encoding="utf-8"))
    except InputError as error:
        again = "the record's figures are of another scheme: ask for the record again"
        raise InputError([replace(one, file=str(record.path), remedy=again) for one in error.problems]) from None
    scheme = scheme_from_text(text, path)
    _check(record, scheme, len(entries))
    raw = tomllib.loads(text).get("dye", {})
    files = {name: path.parent / dye["file"] for name, dye in raw.items() if "file" in dye}
    return _Then(record, text, scheme, entries, files)


def _check(record: Record, scheme: Scheme, entries: int) -> None:
    """Raises InputError where the record's figures are not of its own scheme: it was put together by hand."""
    faces = {face.name for face in scheme.faces}
    problems = [
        Problem("the record's scheme has no such face", field=f"places[{n}].face", value=place.face)
        for n, place in enumerate(record.places, start=1)
        if place.face not in faces
    ]
    if len(scheme.coats) != entries:
        rule = f"the record's scheme has {len(scheme.coats)} coats that were sprayed, its figures {entries}"
        problems.append(Problem(rule, field="coats"))
    problems += [Problem("no such light", field="lights", value=n) for n in record.lights if n not in LIGHT_NAMES]
    if problems:
        remedy = "ask for the record again"
        raise InputError([replace(problem, remedy=remedy, file=str(record.path)) for problem in problems])


def _as_it_was(then: _Then) -> Scheme:
    """The record's scheme with the films that were laid."""
    coats = []
    for coat, entry in zip(then.scheme.coats, then.entries, strict=True):
        film = Told.of(Range(*then.record.coats[entry].film_um), "um", Rest(Basis.STATED))
        coats.append(coat.model_copy(update={"film_um": film}))
    return _in_lights(then.scheme.model_copy(update={"coats": tuple(coats)}), then.record)


def _in_lights(scheme: Scheme, record: Record) -> Scheme:
    return scheme.model_copy(update={"lights": record.lights, "observer_deg": record.observer_deg})


def _answer(then: _Then, found: Matched, asked: Asked, folder: t.Folder, out: Path) -> tuple[Remade, str]:
    """The answer, and the text of the scheme for it."""
    record = then.record
    text, spare, lines = _todays_text(then, found, asked, folder, out)
    scheme = _in_lights(folder.write(text), record)
    wanted = _wanted(then, scheme, own_base=asked.today is None)
    booth = Booth(scheme, wanted)
    was = _as_it_was(then)
    told, films, base = _dyes(then, found, wanted), _films(then, scheme), _base(was, scheme, wanted)
    answer = remade_answer(
        booth,
        _doubts(then, found, spare, told, same_films=all(film.same for film in films), same_base=not base.other),
        name=record.name,
        made=record.made,
        dyes=told,
        base=base,
        films=films,
        spare={name: dye.dye for name, dye in spare.items()},
        also=asked.also,
        anyway=asked.anyway,
        notes=[*found.lines, *lines, *_moved_law(was, wanted)],
    )
    if answer.same:
        return answer, _head(record, same=True) + changed(then.text, _measured_films(then, asked, out))
    added = {part.dye: spare[part.dye] for part in answer.booth.extra}
    text = t.with_more_dyes(text, added, folder)
    return answer, _head(record, same=False) + t.with_recipe(text, answer.booth, answer.recipe)


def _doubts(
    then: _Then,
    found: Matched,
    spare: Mapping[str, DyeOnShelf],
    told: Sequence[DyeToday],
    *,
    same_films: bool,
    same_base: bool,
) -> Doubts:
    """What is not known of today's dyes and of those they stand for; of the very same dye nothing parts the jobs."""
    other = {dye.name for dye in told if not dye.same_file}
    nothing = plain_roots(0.0)
    today = {
        name: doubt_of(found.stands[name].dye, found.stands[name].path) if name in other else nothing
        for name in sprayed_dyes(then.scheme)
    }
    today |= {name: doubt_of(dye.dye, dye.path) for name, dye in spare.items()}
    was = {name: doubt_of(then.scheme.dyes[name], then.dye_files.get(name)) for name in sorted(other)}
    return Doubts(today, was, same_films, same_base)


def _todays_text(
    then: _Then, found: Matched, asked: Asked, folder: t.Folder, out: Path
) -> tuple[str, dict[str, DyeOnShelf], list[str]]:
    """The record's text with today's things, strengths and coats as they were; further dyes by name; what is said."""
    t.flat_files(then.text, then.scheme.file, folder)
    text, lines = t.with_dyes(then.text, found.stands, folder)
    text = t.in_todays_units(text, then.scheme, found.stands)
    shop = shop_beside(asked.today or out / SCHEME_NAME)
    if asked.today is not None:
        text, more = t.with_things_of(text, asked.today, folder, [face.name for face in then.scheme.faces])
        lines += more
    text = changed(text, _measured_films(then, asked, out))
    source = shop or then.scheme.file.parent / SHOP_NAME
    if source.is_file():
        shutil.copyfile(source, folder.path / SHOP_NAME)
    spare = {stem_of(dye.path): dye for dye in found.spare if stem_of(dye.path) not in then.scheme.dyes}
    unknown = [name for name in asked.also if name not in spare]
    if unknown:
        there = f"left over of today's dyes are: {', '.join(spare) or 'none'}"
        raise InputError(
            [Problem("there is no such dye to add", there, field="--also", value=name) for name in unknown]
        )
    return text, spare, lines


def _measured_films(then: _Then, asked: Asked, out: Path) -> list[Change]:
    """The films that were laid then, where nothing tells those of today: neither a scheme nor the shop's own values."""
    if asked.today is not None or shop_beside(out / SCHEME_NAME) is not None:
        return []
    return t.measured_films(then.record, then.entries, then.scheme)


def _wanted(then: _Then, scheme: Scheme, *, own_base: bool) -> tuple[Wanted, ...]:
    """The record's places over today's base. Raises NoAnswerError where no dye shows at any of them."""
    told = own_base and all(place.bare in then.record.spectra for place in then.record.places)
    bare = {} if told else {f.name: mean_bare(f) for f in make_scene(scheme, width_px=FIGURES_WIDTH_PX).faces}
    found = []
    for place in then.record.places:
        share = np.array([place.share[entry] for entry in then.entries])
        kind = SpotKind(place.kind) if place.kind in set(SpotKind) else SpotKind.FIELD
        shows = bare.get(place.face, then.record.spectra.get(place.bare))
        assert shows is not None
        base = scheme.base_for(place.face)
        spot = Spot(place.name, place.name, kind, place.face, (0.0, 0.0), base, shows, share, share)
        weight = (MAIN_WEIGHT if kind is SpotKind.FIELD else 1.0) * dye_shows(scheme, spot)
        found.append(Wanted(spot, then.record.reflectance(place), weight))
    if not any(place.weight for place in found):
        raise NoAnswerError(f"{then.record.name}: no dye shows anywhere, so there is nothing to remake")
    return tuple(found)


def _dyes(then: _Then, found: Matched, wanted: Sequence[Wanted]) -> list[DyeToday]:
    main = max(wanted, key=lambda place: place.weight).spot
    white = np.full(3, WHITE) @ rgb_basis()
    grounds: list[Ground] = [
        ground_of_spectrum("the base", base_film(main.base), main.bare, spread=0.0),
        ground_of_spectrum("white", diffuse_film(), white, spread=0.0),
    ]
    loads = loads_of(then.scheme)
    return [
        beside_record(
            name, then.scheme.dyes[name], then.dye_files.get(name), now, load_mg_m2=loads[name], grounds=grounds
        )
        for name, now in found.stands.items()
    ]


def _base(was: Scheme, scheme: Scheme, wanted: Sequence[Wanted]) -> BaseToday:
    """Today's base beside the record's, by what the record's own recipe becomes over it."""
    if all(was.base_for(face.name) == scheme.base_for(face.name) for face in was.faces):
        return BaseToday(same=True)
    over = was.model_copy(update={"base": scheme.base, "bases_of": scheme.bases_of})
    booth = Booth(over, tuple(Wanted(place.spot, place.reflectance) for place in wanted))
    before = unchanged(booth)
    doubt = base_doubt_de00(booth, before)
    return BaseToday(before.joint_de00 <= max(doubt, UNSEEN_DE00), True, before.joint_de00, doubt)


def _films(then: _Then, scheme: Scheme) -> list[FilmToday]:
    found = []
    for i, (coat, entry) in enumerate(zip(scheme.coats, then.entries, strict=True)):
        was, now = Range(*then.record.coats[entry].film_um), coat.film_um.range
        same = was.low <= now.likely <= was.high or now.low <= was.likely <= now.high
        found.append(FilmToday(i + 1, coat.label, was, now, same))
    return found


def _moved_law(was: Scheme, wanted: Sequence[Wanted]) -> list[str]:
    """A line where this version computes another colour for the record's own recipe than the record holds."""
    own = tuple(w for w in wanted if was.base_for(w.spot.face) == w.spot.base)
    if not own:
        return []
    moved = unchanged(Booth(was, own)).joint_de00 if any(w.weight for w in own) else 0.0
    if moved < UNSEEN_DE00:
        return []
    seen = "seen" if moved >= JUST_SEEN_DE00 else "hardly seen"
    return [
        f"this version works out the record's own recipe {moved:.1f} (CIEDE2000, {seen}) away from what the record "
        "holds; what the record holds is aimed at"
    ]


def _files_of(text: str, folder: t.Folder, out: Path) -> dict[str, Path]:
    """The files that the scheme names, and the shop's own values where `out` would find none or others."""
    named = {value for _, value in file_places(tomllib.loads(text))}
    files = {name: folder.path / name for name in sorted(folder.files) if name in named}
    shop, there = folder.path / SHOP_NAME, shop_beside(out / SCHEME_NAME)
    if shop.is_file() and _says_anything(shop) and (there is None or there.read_bytes() != shop.read_bytes()):
        files[SHOP_NAME] = shop
    return files


def _says_anything(shop: Path) -> bool:
    values = load_shop_values(shop)
    return bool(values.film_um or values.transfer or values.drops_per_mL)


def _head(record: Record, *, same: bool) -> str:
    day = record.made[:10]
    how = "as in the record, today's dyes being the same within doubt" if same else "strengths for today's dyes"
    return f"# After the record of {day}: {how}. Spray a card first.\n"
