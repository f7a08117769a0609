"""What a process beside the desk makes: one line of JSON says what, one answers; it ends when nobody listens."""

from __future__ import annotations

import _thread
import json
import os
import shutil
import signal
import sys
import tempfile
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from layerpreview.errors import LayerPreviewError

Asked = Mapping[str, Any]
Made = dict[str, Any]


def board(out: Path, asked: Asked) -> Made:
    """The client's board."""
    from layerpreview.workflows.board import board_file

    made = board_file([Path(asked["scheme"])], out=out, force=asked["force"], **asked["options"])
    return {"files": list(made.files), "words": f"{made.size_bytes / 1e6:.1f} MB; send board.html to the client"}


def sheet(out: Path, asked: Asked) -> Made:
    """The mix sheet, with or without its templates."""
    from layerpreview.workflows.sheet import sheet_files

    made = sheet_files(Path(asked["scheme"]), out=out, force=asked["force"], **asked["options"])
    return {"files": list(made.files), "words": "read the cautions, hang it by the booth, and spray a card first"}


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


def fit(out: Path, asked: Asked) -> Made:
    """A dye learnt from its card."""
    from layerpreview.workflows.fit import fit_files
    from layerpreview.workflows.fit_options import FitOptions

    options = FitOptions(**asked["options"])
    with tempfile.TemporaryDirectory(prefix="layerpreview-card-") as folder:
        card = Path(folder, asked["called"])  # what a dye was learnt from is told by its name
        shutil.copyfile(asked["card"], card)
        made = fit_files(card, out=out, options=options, force=asked["force"])
    dye, picture, *_ = made.files
    return {"files": list(made.files), "dye_file": dye, "picture": picture, "lines": made.text().splitlines()}


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
    "fit": fit,
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
