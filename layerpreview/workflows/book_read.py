"""One job of the shop book: taken from the index where nothing changed, else worked out anew and kept."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from layerpreview.answers.book import BookJob, Faulty, State, Story
from layerpreview.answers.book_story import Logged, story_of
from layerpreview.errors import LayerPreviewError
from layerpreview.output.book_index import BookPicture, Index, Kept, stamp_of
from layerpreview.output.book_picture import picture_from, sources_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.workflows.book_find import Found, first_line, logged_of


@dataclass(frozen=True)
class Read:
    """What was read of one job, and what of its log cannot be."""

    job: BookJob
    picture: BookPicture | None
    inputs: tuple[Path, ...]
    faulty: Faulty | None = None


def read_job(found: Found, index: Index, tell: Callable[[str], None]) -> Read:
    """The job with its picture; `tell` is given its name before it is worked out.

    Raises SchemeError, PictureError or InputError for a scheme that cannot be used.
    """
    path = Path(os.path.realpath(found.scheme))
    before = stamp_of(path, whole=True)
    kept, scheme = index.kept(path), None
    held = kept
    if kept is None:
        scheme = load_scheme(path)
        tell(found.place)
        kept = _worked(scheme, path)
    story, faulty, logged = _story(found, kept)
    job = BookJob(found.place, found.scheme.name, kept.worked, story)
    for source in sources_of(job, path, kept.inputs, logged.done.photos):
        if source.stamp == kept.picture_from:
            break
        if source.file is None and scheme is None:
            tell(found.place)
            scheme = load_scheme(path)
        picture = picture_from(source, scheme)
        if picture is not None or source.file is None:
            kept = replace(kept, picture=picture, picture_from=source.stamp)
            break
    if kept is not held:
        index.keep(path, before, kept)
    return Read(job, kept.picture, (path, *kept.inputs), faulty)


def _worked(scheme: Scheme, path: Path) -> Kept:
    from layerpreview.answers.book_job import worked_of  # brings the rooms that draw: only where something is new

    return Kept(worked_of(scheme), tuple(one for one in scheme.inputs if one != path))


def _story(found: Found, kept: Kept) -> tuple[Story, Faulty | None, Logged]:
    """What the log tells; a log that cannot be read leaves the rest of the job as it is."""
    if found.faulty is not None:
        return Story(state=State.UNKNOWN), None, Logged()
    try:
        logged = logged_of(found)
    except LayerPreviewError as error:
        return Story(state=State.UNKNOWN), Faulty(found.place, first_line(error)), Logged()
    return story_of(kept.worked, logged), None, logged
