"""Which of today's dyes stands for which of a record's, what became of it, and how sure both are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.progress import DYE_DOUBT
from layerpreview.answers.remake_answer import DyeToday
from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.errors import InputError, Problem, SchemeError
from layerpreview.finish.layers import absorptivity_on_grid, total_load_mg_m2
from layerpreview.learn.card.model import Ground
from layerpreview.learn.fit.known_dye import known_dye_of_file, smooth_doubt
from layerpreview.learn.tell.changed import compare
from layerpreview.output.files import file_stem
from layerpreview.scheme import Dye, DyeCoat, Scheme
from layerpreview.scheme.dyefile import DyeFile, load_dye, load_dye_file

F64 = NDArray[np.float64]

ENDING = ".dye.toml"
_LEAST = 1e-3  # L/(g cm): below it a dye absorbs nothing, and its logarithm says nothing


@dataclass(frozen=True, eq=False)
class DyeOnShelf:
    """A dye of today: its file, what that holds, and the dye ready for use."""

    path: Path
    held: DyeFile
    dye: Dye

    @property
    def names(self) -> set[str]:
        """What it may be called by: the name in the file, and the file's own."""
        return {_plain(self.held.name), _plain(stem_of(self.path))}


@dataclass(frozen=True)
class Matched:
    """Today's dyes by the record's names, those of the record that none stands for, and those that are left over."""

    stands: Mapping[str, DyeOnShelf]
    missing: tuple[str, ...]
    spare: tuple[DyeOnShelf, ...]
    lines: tuple[str, ...] = field(default=())


def files_among(paths: Iterable[Path]) -> list[Path]:
    """The dye files named, and those of every folder named. Raises InputError for a folder without any."""
    found: list[Path] = []
    problems = []
    for path in paths:
        held = sorted(path.glob(f"*{ENDING}")) if path.is_dir() else [path]
        if not held:
            problems.append(Problem("there is no dye file in this folder", f"its files end in {ENDING}", str(path)))
        found += held
    if problems:
        raise InputError(problems)
    return found


def dyes_on_shelf(paths: Iterable[Path]) -> list[DyeOnShelf]:
    """Read today's dyes. Raises SchemeError with every problem of every file."""
    found: list[DyeOnShelf] = []
    problems: list[Problem] = []
    for path in dict.fromkeys(paths):
        try:
            found.append(DyeOnShelf(path, load_dye_file(path), load_dye(path)))
        except SchemeError as error:
            problems += error.problems
    if problems:
        raise SchemeError(problems)
    return found


def stands_for(said: Sequence[str]) -> dict[str, Path]:
    """What was typed after --as: "amber=today/new.dye.toml". Raises InputError for what is none, all at once."""
    pairs = [(text, *(part.strip() for part in text.partition("=")[::2])) for text in said]
    wrong = [text for text, name, file in pairs if not name or not file]
    if wrong:
        rule, remedy = "a dye of the record and the file of today's", 'write --as "amber=today/new_amber.dye.toml"'
        raise InputError([Problem(rule, remedy, field="--as", value=text) for text in wrong])
    return {name: Path(file) for _, name, file in pairs}


def sprayed_dyes(scheme: Scheme) -> list[str]:
    """The dyes of all mixes that are sprayed, in the order of the scheme."""
    mixes = dict.fromkeys(coat.mix for coat in scheme.coats if isinstance(coat, DyeCoat))
    held = {dye for mix in mixes for dye in scheme.mixes[mix].strengths}
    return [name for name in scheme.dyes if name in held]


def matched(scheme: Scheme, held: Mapping[str, Path], shelf: Sequence[DyeOnShelf], said: Mapping[str, Path]) -> Matched:
    """Find which dye of the `shelf` stands for each one sprayed of the record's `scheme`.

    By what was `said`, else by name: of the dye, or of the file, `held` being the record's own files. Raises InputError
    for a name that the record has not, or where two of today's have one name.
    """
    wanted = sprayed_dyes(scheme)
    shelf = [*shelf, *dyes_on_shelf(path for path in said.values() if path not in {dye.path for dye in shelf})]
    by_path = {dye.path: dye for dye in shelf}
    there = f"the record's dyes are {', '.join(wanted)}"
    problems = [
        Problem("the record has no dye of this name", there, field="--as", value=name)
        for name in said
        if name not in wanted
    ]
    stands = {name: by_path[path] for name, path in said.items() if name in wanted}
    for name in wanted:
        if name in stands:
            continue
        own = {_plain(name), _plain(scheme.dyes[name].name)} | ({_names_in(held[name])} if name in held else set())
        alike = [dye for dye in shelf if dye.names & own]
        if len(alike) > 1:
            files = " and ".join(dye.path.name for dye in alike)
            remedy = f'say which: --as "{name}={alike[0].path}"'
            problems.append(Problem(f"{files} have one name", remedy, field="--dyes", value=name))
        elif alike:
            stands[name] = alike[0]
    if problems:
        raise InputError(problems)
    missing = tuple(name for name in wanted if name not in stands)
    spare = tuple(dye for dye in shelf if dye not in stands.values())
    return Matched(stands, missing, spare, tuple(_lines(missing, spare, any_asked=bool(shelf))))


def _lines(missing: Sequence[str], spare: Sequence[DyeOnShelf], *, any_asked: bool) -> Iterable[str]:
    for name in missing if any_asked else ():
        begins = [dye.path for dye in spare if any(one.startswith(_plain(name)) for one in dye.names)]
        hint = f'; is it {begins[0].name}? then add --as "{name}={begins[0]}"' if begins else ""
        yield f"{name}: none of today's dyes has this name; the record's own is taken as it was{hint}"
    for dye in spare:
        yield f"{dye.path.name} ({dye.held.name}): not needed for the mixes as they were"


def beside_record(
    name: str,
    was: Dye,
    was_file: Path | None,
    now: DyeOnShelf,
    *,
    load_mg_m2: float,
    grounds: Sequence[Ground],
) -> DyeToday:
    """Compare a record's dye with today's as sold, mL by mL, at the load the finish holds of it [mg/m2]."""
    if was_file is not None and was_file.read_bytes() == now.path.read_bytes():
        return DyeToday(name, now.path.name, True, same_file=True)
    scale = 1.0
    if was.concentrate_g_per_L and now.dye.concentrate_g_per_L:
        scale = now.dye.concentrate_g_per_L / was.concentrate_g_per_L
    first, second = (1e-4 * load_mg_m2 * _absorptivity(dye) for dye in (was, now.dye))
    doubts = [doubt_of(was, was_file), doubt_of(now.dye, now.path)]
    changed = compare(first, scale * second, doubts, grounds=grounds, loads=(0.5, 1.0))
    return DyeToday(
        name=name,
        file=now.path.name,
        same=not (changed.stronger_or_weaker or changed.other_hue),
        strength=changed.strength,
        strength_sure=changed.strength_sure,
        hue_sure=changed.hue_sure,
        hue_left_de00=changed.mean_left_de00,
        hue_words=changed.hue_words,
        never_measured=was.kind == "generic",
    )


def loads_of(scheme: Scheme) -> dict[str, float]:
    """Load of each sprayed dye that all coats lay over each other [mg/m2]; at least a little of each."""
    return {name: max(total_load_mg_m2(scheme, name), 1e-3) for name in sprayed_dyes(scheme)}


def doubt_of(dye: Dye, file: Path | None) -> F64:
    """Roots (81, K) of what is not known of the logarithm of a dye: as its file has it, else by its kind (assumed)."""
    if file is not None:
        held = load_dye_file(file)
        if held.doubt_of_log or dye.learnt_with_doubt:
            return known_dye_of_file(held, load_mg_m2=1.0).doubt
    return smooth_doubt(np.full(WAVELENGTHS_NM.size, DYE_DOUBT[dye.kind]))


def stem_of(path: Path) -> str:
    """The file's name without what all dye files end in."""
    return path.name.removesuffix(ENDING) if path.name.endswith(ENDING) else path.stem


def _absorptivity(dye: Dye) -> F64:
    return np.maximum(absorptivity_on_grid(dye), _LEAST)


def _names_in(path: Path) -> str:
    return _plain(load_dye_file(path).name)


def _plain(name: str) -> str:
    return file_stem(name, otherwise="")
