"""What the desk has open: a job that is read in the background, so that the page is there at once; or none yet."""

from __future__ import annotations

import threading
from concurrent.futures import Future
from pathlib import Path
from typing import TYPE_CHECKING

from layerpreview.desk.tasks import Tasks
from layerpreview.errors import InputError, LayerPreviewError, Problem

if TYPE_CHECKING:
    from layerpreview.desk.jobs import OpenJob


class Desk:
    """One desk with one job, which is named by its scheme file; `path` None: the page begins one."""

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self.tasks = Tasks(self._plain)
        self._job: Future[OpenJob] | None = None if path is None else Future()

    def prepare(self) -> None:
        """Begin to read the job, and then to make what its page will ask for first, in a thread of its own."""
        if self._job is not None:
            threading.Thread(target=self._open, args=(self._job,), name="open job", daemon=True).start()

    def _open(self, waiting: Future[OpenJob]) -> None:
        assert self.path is not None
        try:
            from layerpreview.desk.jobs import OpenJob

            job = OpenJob(self.path)
        except BaseException as error:
            waiting.set_exception(error)
            return
        waiting.set_result(job)
        try:
            from layerpreview.desk.ahead import make_ahead

            make_ahead(job)
        except LayerPreviewError:
            pass  # told when the page asks for it

    def job(self) -> OpenJob:
        """The open job, waited for while it is read. Raises InputError where there is none yet."""
        if self._job is None:
            raise InputError(Problem("no job is open yet", "begin one, or start the desk with a job's folder"))
        return self._job.result()

    def _plain(self, line: str) -> str:
        """A line with no folder of this machine in it."""
        from layerpreview.desk.tell import plain_paths

        return plain_paths(line, Path() if self.path is None else self.path.parent)

    def close(self) -> None:
        """End what still runs beside the page."""
        self.tasks.close()
