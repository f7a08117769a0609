"""A photo taken on the day, judged: which coat it is about, whether it is of this job at all, how even the coat is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.progress import PHOTO_NOISE, Standing, State
from layerpreview.colour import JUST_SEEN_DE00, NOT_ACCEPTED_DE00, delta_e_2000
from layerpreview.job.done import BASE_COAT, CLEAR_COAT, CoatDone, Done, PhotoRead
from layerpreview.scheme import DyeCoat, OpaqueCoat, Scheme

F64 = NDArray[np.float64]

OTHER_JOB_DE00 = 8.0
"""CIEDE2000 from every state of a job's ladder beyond which a photo is of something else: twice what is believed."""
_HARDLY = 1.6
"""Times as much, or as little, as so many coats hold: no hand sprays like that (common practice, no source)."""


@dataclass(frozen=True)
class PhotoJudged:
    """A photo as the diary has it, where the part stands by it (None where it cannot be judged), and that in words.

    One that is read and is not believed keeps its `standing`, to be looked at. `logged`: the reading counts; `known`:
    the diary had this very photo with these touches already.
    """

    photo: PhotoRead
    standing: Standing | None
    words: tuple[str, ...]
    notes: tuple[str, ...]
    logged: bool
    known: bool = False

    @property
    def judged(self) -> bool:
        """Whether it says where the part stands."""
        return not self.photo.refused


@dataclass(frozen=True)
class About:
    """What a photo is compared with: entry of the coats (from 0), how many are on, and whether the clear is on."""

    entry: int
    coats: int
    under_clear: bool


def last_coat(done: Done) -> tuple[int, int]:
    """Entry and number of the coat that was laid last; the base coat where none was."""
    if not done.coats:
        return BASE_COAT, 1
    last: CoatDone = done.coats[-1]
    return last.entry, last.number


def about(scheme: Scheme, entry: int, number: int, done: Done) -> About | str:
    """What a photo after coat `number` of `entry` (as the diary counts) is compared with; why not, in words.

    Under the clear it is as many coats of the last dye as the diary has `done`, as planned where it has none.
    """
    dyed = [index for index, coat in enumerate(scheme.coats) if isinstance(coat, DyeCoat)]
    if not dyed:
        return "the scheme has no coat of dye: there is nothing to judge"
    if entry == BASE_COAT:
        return About(dyed[0], 0, under_clear=False)
    if entry == CLEAR_COAT:
        return About(dyed[-1], done.coats_of(dyed[-1] + 1) or scheme.coats[dyed[-1]].coats, under_clear=True)
    if not 1 <= entry <= len(scheme.coats):
        return f"the scheme has no coat {entry}: it has {len(scheme.coats)}"
    coat = scheme.coats[entry - 1]
    if isinstance(coat, OpaqueCoat):
        return f"coat {entry} is {coat.label}, an opaque one: there is no dye to judge"
    return About(entry - 1, number, under_clear=False)


def of_another_job(state: State | None) -> str:
    """Why a colour is of no state of this job, in words; nothing where it may be."""
    if state is None or state.away_de00 <= OTHER_JOB_DE00:
        return ""
    return (
        f"this is no colour of this job: it is {state.away_de00:.0f} CIEDE2000 from every state of its ladder, "
        "whichever coat; is it the right photo, the right part, and the paint that was touched?"
    )


def elsewhere(scheme: Scheme, standing: Standing, state: State | None) -> list[str]:
    """What else a colour that does not fit is like."""
    if state is None or state.away_de00 > standing.off_ladder - 1.0:
        return []
    coat = scheme.coats[state.entry]
    return [f"it looks more like {state.coats:.0f} coats of {coat.label} (coat {state.entry + 1}): is that the one?"]


def another_count(standing: Standing) -> list[str]:
    """What is said where a colour fits the ladder but hardly so many coats: likely the photo is of another coat."""
    on, done = standing.build.likely, standing.coats_done
    if not standing.believed or abs(on - done) < 1.0 or 1.0 / _HARDLY < (on + 0.1) / (done + 0.1) < _HARDLY:
        return []
    coats = f"{done} coat" if done == 1 else f"{done} coats"
    much = "much" if on > done else "little"
    return [f"that is {much} for {coats}: is the diary right about how many are on?"]


def spread_de00(labs: F64) -> float:
    """How uneven a coat is (CIEDE2000): half of it is nearer to its mean than this, its texture left out.

    labs: (spots, 6, 6, 3), the pieces of every spot. Pieces of a texture alone differ less the larger they are: four
    together by half as much as one. What four pieces differ by beyond that is not texture.
    """
    fours = labs.reshape(len(labs), 3, 2, 3, 2, 3).swapaxes(2, 3)
    means = fours.mean(axis=(3, 4))
    texture = np.square(delta_e_2000(fours, means[:, :, :, None, None])).mean() * (4.0 / 3.0) / 4.0
    away = delta_e_2000(means, means.mean(axis=(0, 1, 2)))
    whole = float(np.square(away).mean())
    return float(np.median(away) * np.sqrt(max(0.0, whole - float(texture)) / max(whole, 1e-9)))


def mean_noise(labs: F64) -> tuple[float, float, float]:
    """Standard deviation of L*, a* and b* of a reading from a photo: the camera's, and what its spots differ by.

    labs: (spots, 6, 6, 3), as above.
    """
    fours = labs.reshape(len(labs), 3, 2, 3, 2, 3).mean(axis=(2, 4)).reshape(-1, 3)
    light, a, b = np.hypot(PHOTO_NOISE, fours.std(axis=0) / np.sqrt(len(fours)))
    return float(light), float(a), float(b)


def even_words(spread: float, n_spots: int) -> str:
    """How even a coat is, in words; with one spot alone only that place is told of."""
    if spread < JUST_SEEN_DE00:
        told = "even"
    elif spread <= NOT_ACCEPTED_DE00:
        told = "nearly even"
    elif spread <= 2.0 * NOT_ACCEPTED_DE00:
        told = "uneven"
    else:
        told = "blotchy, or light plays on it"
    where = "where it was touched" if n_spots == 1 else f"over {n_spots} spots"
    return f"{told} {where}: half of it is within {spread:.1f} CIEDE2000 of the mean"


def judged_words(standing: Standing, spread: float, n_spots: int) -> tuple[str, ...]:
    """Where the part stands by a photo, in words."""
    build = standing.build
    return (
        f"on it: {build.likely:.1f} coats' worth of {standing.mix} ({build.low:.1f} to {build.high:.1f}), "
        f"{standing.to_agreed:.1f} CIEDE2000 from the planned colour",
        *standing.advice,
        even_words(spread, n_spots),
    )
