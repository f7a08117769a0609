"""What a process beside the desk makes: one line of JSON says what, one answers; it ends when nobody listens."""

from __future__ import annotations

import _thread
import json
import os
import shutil
import signal
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from layerpreview.errors import LayerPreviewError
from layerpreview.output.landing import aside

Asked = Mapping[str, Any]
Made = dict[str, Any]


def board(out: Path, asked: Asked) -> Made:
    """The client's board."""
    from layerpreview.workflows.board import board_file

    made = board_file([Path(asked["scheme"])], out=out, force=asked["force"], **asked["options"])
    return {"files": list(made.files), "words": f"{made.size_bytes / 1e6:.1f} MB; send board.html to the client"}


def sheet(out: Path, asked: Asked) -> Made:
    """The mix sheet, with or without its templates."""
    from layerpreview.workflows.sheet import USUAL_FORMS, left_out, sheet_files

    options = asked["options"]
    made = sheet_files(Path(asked["scheme"]), out=out, force=asked["force"], **options)
    missing = left_out(made, options.get("forms", USUAL_FORMS), templates=options.get("templates", False))
    words = "read the cautions, hang the first page by the booth, and spray a card first"
    return {"files": list(made.files), "words": f"{words}; {missing}" if missing else words}


def pictures(out: Path, asked: Asked) -> Made:
    """The pictures."""
    from layerpreview.workflows.render import render_files

    made = render_files(Path(asked["scheme"]), out=out, force=asked["force"], **asked["options"])
    return {"files": list(made.files), "words": "lifelike as one would see it; the flat ones to judge colour by"}


def turn(out: Path, asked: Asked) -> Made:
    """The part turning."""
    from layerpreview.workflows.lifelike import turn_file

    made = turn_file(Path(asked["scheme"]), out=out, force=asked["force"], **asked["options"])
    return {"files": [made.file.name], "words": f"{made.size_bytes / 1e6:.1f} MB, {len(made.views_deg)} pictures"}


def record(out: Path, asked: Asked) -> Made:
    """The sealed record of the job."""
    from layerpreview.workflows.record import record_file

    made = record_file(Path(asked["scheme"]), out=out, force=asked["force"], **asked["options"])
    words = [f"{made.size_bytes / 1e6:.1f} MB; keep it with your papers, and give a copy to whoever keeps the part"]
    words += [f"it does without: {missing}" for missing in made.missing]
    return {"files": [made.file], "words": "; ".join(words)}


def fit(out: Path, asked: Asked) -> Made:
    """A dye learnt from its card."""
    from layerpreview.workflows.fit import fit_files
    from layerpreview.workflows.fit_options import FitOptions

    options = FitOptions(**asked["options"])
    with aside() as folder:
        card = folder / asked["called"]  # what a dye was learnt from is told by its name
        shutil.copyfile(asked["card"], card)
        made = fit_files(card, out=out, options=options, force=asked["force"])
    dye, picture, *_ = made.files
    return {"files": list(made.files), "dye_file": dye, "picture": picture, "lines": made.text().splitlines()}


def book(out: Path, asked: Asked) -> Made:
    """The shop book of a folder of jobs."""
    from layerpreview.workflows.book import book_files

    made = book_files(Path(asked["folder"]), out=out, force=asked["force"])
    return {"files": list(made.files), "jobs": len(made.found.jobs)}


def _named(folder: Path, files: Sequence[Sequence[str]]) -> list[Path]:
    """Copies of files by the names they were handed over with: a dye is known by its file's name."""
    paths = []
    for k, (name, path) in enumerate(files):
        paths.append(folder / str(k) / name)
        paths[-1].parent.mkdir()
        shutil.copyfile(path, paths[-1])
    return paths


def remake(out: Path, asked: Asked) -> Made:
    """The scheme that makes the colour of a record with today's dyes."""
    from layerpreview.workflows.remake import Asked as Wanted
    from layerpreview.workflows.remake import remake_files

    today, stand_for = asked["today"], asked["stand_for"]
    with aside() as folder:
        named = _named(Path(folder), [*stand_for.values(), *asked["more"]])
        wanted = Wanted(
            dyes=named[len(stand_for) :],
            stand_for=[f"{name}={path}" for name, path in zip(stand_for, named, strict=False)],
            also=asked["also"],
            today=None if today is None else Path(today),
            anyway=asked["anyway"],
        )
        made = remake_files(Path(asked["record"]), wanted, out=out, force=False)
    found = made.found
    lines = [line for line in made.lines if line != f"{found.verdict}."]
    return {"files": list(made.files), "verdict": found.verdict, "same": found.same, "lines": lines}


def touch_up(out: Path, asked: Asked) -> Made:
    """The repair of a damaged place."""
    from layerpreview.workflows.fade import exposure_from
    from layerpreview.workflows.touch_up import touch_up_files

    exposure = exposure_from(years={"room": asked["years"]}) if asked["years"] else None
    made = touch_up_files(Path(asked["scheme"]), out=out, force=asked["force"], exposure=exposure, **asked["options"])
    return {"files": list(made.files), "told": made.to_dict()}


WORK: dict[str, Callable[[Path, Asked], Made]] = {
    "board": board,
    "sheet": sheet,
    "templates": sheet,
    "pictures": pictures,
    "turn": turn,
    "record": record,
    "fit": fit,
    "book": book,
    "remake": remake,
    "touch-up": touch_up,
}


def main() -> None:
    """Read what is asked, make it, and answer."""
    asked = json.loads(sys.stdin.buffer.readline() or b"{}")
    if not asked:
        return
    try:
        threading.Thread(target=_listen, name="listen", daemon=True).start()
        answer: dict[str, Any] = {"made": WORK[asked["what"]](Path(asked["out"]), asked)}
    except LayerPreviewError as error:
        answer = {"problems": str(error).splitlines()}
    except KeyboardInterrupt:
        os._exit(1)
    print(json.dumps(answer), flush=True)
    os._exit(0)  # whoever asked need not wait for what is put away now


def _listen() -> None:
    """Once nobody is there to answer, stop as a person at a prompt would: what was being written is put away."""
    sys.stdin.buffer.read()
    if sys.platform == "win32":
        _thread.interrupt_main()
    else:
        signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGINT)


if __name__ == "__main__":
    main()
