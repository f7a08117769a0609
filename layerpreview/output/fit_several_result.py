"""What several cards taught, with its ways out: a dye file and a picture of each dye, the photos, figures and words."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from layerpreview.learn.tell.fitted_several import CardTold, FittedSeveral
from layerpreview.output.files import file_stem, write_text
from layerpreview.output.fit_picture import found_picture
from layerpreview.output.fit_result import DYE_ENDING, document_of, dye_file_of, dye_files, picture_of, row_of
from layerpreview.output.fit_words import fitted_words, next_words
from layerpreview.output.pictures import write_picture
from layerpreview.output.result import U8, Paths, Result


def several_names(dyes: Sequence[str], photos: Sequence[str]) -> tuple[str, ...]:
    """The files of `dyes` learnt together: each dye and its picture, the figures of all, each photo as it was read."""
    stems = _stems(dyes, "dye")
    of_dyes = [f"{stem}{ending}" for stem in stems for ending in (DYE_ENDING, "_fit.png")]
    of_photos = [f"{stem}_found.png" for stem in _stems([Path(photo).stem for photo in photos], "card")]
    return (*of_dyes, f"{stems[0]}_fit.json", *of_photos)


def _stems(names: Sequence[str], otherwise: str) -> list[str]:
    """A file name's beginning for each name; what would be one name twice is numbered."""
    stems: list[str] = []
    for name in names:
        stem, number = file_stem(name, otherwise=otherwise), 2
        while stem in stems:
            stem, number = f"{file_stem(name, otherwise=otherwise)}_{number}", number + 1
        stems.append(stem)
    return stems


def several_result(several: FittedSeveral, *, inputs: tuple[Path, ...]) -> Result[FittedSeveral]:
    """What was learnt with its ways out; the table has a row for every window of every card."""
    dyes, count = several.dyes, len(several.dyes)
    names = several_names([dye.name for dye in dyes], tuple(several.found))

    def picture() -> U8:
        return picture_of(dyes[0])

    def write(paths: Paths) -> None:
        for n, dye in enumerate(dyes):
            write_text(paths[names[2 * n]], dye_file_of(dye))
            write_picture(picture_of(dye), paths[names[2 * n + 1]])
        for name, found in zip(names[2 * count + 1 :], several.found.values(), strict=True):
            drawn = found_picture(found.pixels, found.areas, notes=found.notes or ("nothing odd",))
            write_picture(drawn, paths[name])

    words = ", ".join(dye.name for dye in dyes)
    return Result(
        found=several,
        line=f"Fit {words} on {len(several.cards)} cards",
        document=lambda folder: _document(several, names, folder),
        rows=lambda: [{"dye": dye.name, **row_of(pair)} for dye in dyes for pair in dye.steps],
        text=lambda: several_text(several),
        names=names,
        lasting=dye_files(names),
        write=write,
        json_name=names[2 * count],
        picture=picture,
        inputs=inputs,
    )


def _document(several: FittedSeveral, names: tuple[str, ...], folder: Path | None) -> dict[str, object]:
    """Of one dye the keys that it has on one card; of several a list of them. Beside it the cards."""
    documents = [document_of(dye, names[2 * n : 2 * n + 2], folder) for n, dye in enumerate(several.dyes)]
    where = {} if folder is None else {"folder": folder, "files": names}
    alone = documents[0] if len(documents) == 1 else {"dyes": documents, "notes": several.notes}
    return {**alone, **where, "cards": several.cards}


def several_text(several: FittedSeveral) -> str:
    """What to show a person: each card beside the others, then each dye."""
    lines = [f"{len(several.cards)} cards fitted together:"]
    for card in several.cards:
        lines.append(f"  {card.name}: {_card_words(card)}")
    for dye in several.dyes:
        lines += [*fitted_words(dye), *next_words(dye)]
    lines += [f"note: {note}" for note in several.notes]
    return "\n".join([*lines, ""])


def _card_words(card: CardTold) -> str:
    held = [
        f"{name} {100 * likely:.0f} % of what is stated ({100 * low:.0f} to {100 * high:.0f})"
        for name, (low, likely, high) in card.strength.items()
    ]
    away = "" if card.left_out_de00 is None else f"; {card.left_out_de00:.1f} CIEDE2000 from the other cards' dye"
    scatter = f"scatter {card.misfit:.1f} times what readings of this kind have"
    return f"{len(card.steps)} steps, {scatter}; {', '.join(held)}{away}{'; ODD' if card.odd else ''}"
