"""A job begun from a photo: the part's outline as a drawing, the same photo as its base, and how sure both are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from layerpreview.output.files import write_text, written_together
from layerpreview.output.outline_svg import drawn_id, write_outline_svg
from layerpreview.output.photo_copy import write_photo_copy
from layerpreview.output.pictures import write_picture
from layerpreview.surface.outline import make_outline
from layerpreview.workflows.photo_options import MIRRORED, Wanted
from layerpreview.workflows.photo_scheme import TRACED_NAMES, bases_text, faces_text
from layerpreview.workflows.photo_sides import Sides, of_back, sides_of
from layerpreview.workflows.photo_words import LIMITS, base_said, burnt_out, seen_said
from layerpreview.workflows.photographed import OwnBase, Photographed, own_base, photographed, to_look_at
from layerpreview.workflows.places import SCHEME_NAME
from layerpreview.workflows.starter import (
    ANOTHER_JOB,
    FIRST_JOB,
    FIRST_NAME,
    SCHEMA_NAME,
    Started,
    first_picture,
    starter,
    write_scheme,
)

NOTES_NAME = "photo_notes.txt"


def start_from_photo(folder: Path, photo: Path, wanted: Wanted, *, force: bool) -> Started:
    """Begin a job from one photo of the part, and one of its back where wanted.

    Where an outline is not usable, only the pictures of what was traced are written. Raises InputError, PictureError
    or OutputError; nothing is written then.
    """
    seen = {"front": photographed(photo, wanted)}
    if wanted.back is not None and wanted.back != MIRRORED:
        seen["back"] = photographed(Path(wanted.back), of_back(wanted, seen["front"]))
    return start_from_seen(folder, seen, wanted, force=force)


def start_from_seen(
    folder: Path,
    seen: Mapping[str, Photographed],
    wanted: Wanted,
    *,
    force: bool,
    base: str | None = None,
    name: str = FIRST_JOB,
) -> Started:
    """Begin a job called `name` from parts that were seen; `base`: the text of a base instead of their own photos."""
    if any(one.sureness.verdict == "not usable" for one in seen.values()):
        return not_usable(folder, seen, said=seen_said(seen), force=force)
    sides = sides_of(seen["front"], seen["back"]) if "back" in seen else None
    bases = {side: own_base(one) for side, one in seen.items()} if base is None else {}
    said = list(seen_said(seen)) + ([sides.said] if sides else [])
    said += [base_said(side, own) for side, own in bases.items()]
    base = bases_text(seen, bases, wanted) if base is None else base
    text = starter(name, faces(seen, wanted, sides), rim="outline", base=base)
    cavities = sides.cavities if sides is not None and sides.one_body else {}
    drawn = [f"{side}.svg" for side in seen if side == "front" or not (sides and sides.one_body)]
    traced = [TRACED_NAMES[side] for side in seen]
    lasting = [SCHEME_NAME, *drawn, *cavities, *(f"{side}.jpg" for side in bases)]
    names = [*lasting, FIRST_NAME, *traced, NOTES_NAME]
    writing = written_together(
        folder, [*names, SCHEMA_NAME], force=force, inputs=_photos(seen), lasting=lasting, elsewhere=ANOTHER_JOB
    )
    with writing as paths:
        write_scheme(paths, text)
        write_text(paths[NOTES_NAME], notes(said, seen, wanted, tilts=not bases))
        for file in drawn:
            write_outline_svg(seen[Path(file).stem].part.outline, paths[file])
        for file, ring in cavities.items():
            write_outline_svg(make_outline(ring), paths[file])
        for side, own in bases.items():
            write_photo_copy(own.whole.picture, paths[f"{side}.jpg"])
        _write_traced(paths, seen, bases)
        first_picture(paths)
    doubtful = any(one.sureness.verdict != "good" for one in seen.values()) or any(map(burnt_out, bases.values()))
    look_at = (*traced, FIRST_NAME)
    return Started(folder, tuple(names), folder / SCHEME_NAME, tuple(said), look_at=look_at, doubtful=doubtful)


def not_usable(
    folder: Path, seen: Mapping[str, Photographed], *, said: Sequence[str], force: bool, more: Sequence[Path] = ()
) -> Started:
    """Write no more than the pictures of what was traced: there is nothing to go on with."""
    names = [TRACED_NAMES[name] for name in seen]
    inputs = [*_photos(seen), *more]
    with written_together(folder, names, force=force, inputs=inputs, elsewhere=ANOTHER_JOB) as paths:
        _write_traced(paths, seen)
    return Started(folder, tuple(names), folder / SCHEME_NAME, tuple(said), usable=False, look_at=tuple(names))


def notes(said: Sequence[str], seen: Mapping[str, Photographed], wanted: Wanted, *, tilts: bool = False) -> str:
    """All that is to be said of the photos, for a file: what was told, and what bounds it; `tilts`: the base is not a
    photo that stays as it was taken."""
    lines = [*said, *(note for one in seen.values() for note in one.notes)]
    if wanted.kind == "metal" and not tilts:
        lines.append(LIMITS)
    return "\n".join(lines) + "\n"


def faces(seen: Mapping[str, Photographed], wanted: Wanted, sides: Sides | None = None) -> str:
    """The faces of the scheme; `sides`: how the back goes with the front, where it has a photo of its own."""
    if sides is not None and sides.one_body:
        return faces_text(seen, wanted, through=sides.through, cavities=sides.cavities)
    # What shows the ground goes right through.
    through = tuple(map(drawn_id, seen["front"].part.outline.openings))
    return faces_text(seen, wanted, through=through if wanted.back == MIRRORED else None)


def _photos(seen: Mapping[str, Photographed]) -> list[Path]:
    return [one.file for one in seen.values()]


def _write_traced(
    paths: Mapping[str, Path], seen: Mapping[str, Photographed], bases: Mapping[str, OwnBase] | None = None
) -> None:
    for name, one in seen.items():
        write_picture(to_look_at(one, (bases or {}).get(name)), paths[TRACED_NAMES[name]])
