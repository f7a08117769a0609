"""What the desk has open: a job that is read in the background, so that the page is there at once; or none yet."""

from __future__ import annotations

import sys
import threading
from concurrent.futures import Future
from pathlib import Path
from typing import TYPE_CHECKING

from layerpreview.desk.loading import LOADING
from layerpreview.desk.tasks import Tasks
from layerpreview.errors import InputError, Problem

if TYPE_CHECKING:
    from layerpreview.desk.begin import Beginning
    from layerpreview.desk.jobs import OpenJob
    from layerpreview.desk.phone import Phone
    from layerpreview.desk.uploads import Uploads

OPENING = "open job"
"""The name of the thread that reads a job and makes ahead what its page will ask for."""


class OtherJobError(InputError):
    """What was asked is meant for a job that is no longer the open one; `job` is called so now."""

    def __init__(self, job: str) -> None:
        self.job = job
        rule = f"another job is open at this desk now, {job}"
        super().__init__(Problem(rule, "load the page again to go on with that one; nothing was changed"))


class Desk:
    """One desk with one job, which is named by its scheme file; `path` None: the page begins one.

    `home`: the folder that new jobs are made in and earlier ones are looked for in.
    """

    def __init__(self, path: Path | None, home: Path | None = None) -> None:
        self.path, self.home = path, Path.cwd() if home is None else home
        self.tasks = Tasks(self._plain)
        self.making = threading.Lock()
        self._lock = threading.Lock()
        self._beginning: Beginning | None = None
        self.phone: Phone | None = None
        self._job: Future[OpenJob] | None = None if path is None else Future()

    def prepare(self) -> None:
        """Begin to read the job, and then to make what its page will ask for first, in a thread of its own."""
        if self._job is not None:
            threading.Thread(target=self._open, args=(self.path, self._job), name=OPENING, daemon=True).start()

    def open(self, path: Path) -> None:
        """Open another job; whoever still asks for the one before is told so (`job`)."""
        self.path, self._job = path, Future()
        self.tasks.forget()
        self.prepare()

    @property
    def beginning(self) -> Beginning:
        """The job that is being begun, and what was handed over for it."""
        with self._lock:
            if self._beginning is None:
                with LOADING:
                    from layerpreview.desk.begin import Beginning
                    from layerpreview.desk.uploads import Uploads

                self._beginning = Beginning(Uploads())
            return self._beginning

    @property
    def uploads(self) -> Uploads:
        """What was handed over."""
        return self.beginning.uploads

    def let_phones_in(self) -> None:
        """Open the phone's door; it stays open until it is shut. Raises InputError in no local network."""
        with LOADING:
            from layerpreview.desk.phone import Phone

        self.phone = self.phone or Phone(self)
        self.phone.open()

    def phone_lines(self) -> list[str]:
        """What the terminal shows for a phone: its code and the same as an address."""
        address = None if self.phone is None else self.phone.address()
        if address is None:
            return []
        with LOADING:
            from layerpreview.desk.phone import code_lines, code_rows

        where = "Point the phone's camera at this, once and within ten minutes; the desk's page has another then:"
        return [where, *code_lines(code_rows(address), coloured=sys.stderr.isatty()), address]

    def close(self) -> None:
        """Shut the phone's door, end what still runs beside the page, and remove what was handed over and not made into
        a job."""
        if self.phone is not None:
            self.phone.shut()
        self.tasks.close()
        with self._lock:
            if self._beginning is not None:
                self._beginning.uploads.close()

    @staticmethod
    def _open(path: Path, waiting: Future[OpenJob]) -> None:
        try:
            with LOADING:
                from layerpreview.desk.jobs import OpenJob

            job = OpenJob(path)
        except BaseException as error:
            waiting.set_exception(error)
            return
        waiting.set_result(job)
        try:
            with LOADING:
                from layerpreview.desk.ahead import make_ahead

            make_ahead(job)
        except Exception:  # told when the page asks for it; at the desk's end there is nobody to tell
            pass

    def job(self, opening: object = None) -> OpenJob:
        """The open job, waited for while it is read; `opening`: which one it was that whoever asks has seen.

        Raises InputError where there is none yet, and OtherJobError where it is another by now.
        """
        if self._job is None:
            raise InputError(Problem("no job is open yet", "begin one, or start the desk with a job's folder"))
        job = self._job.result()
        if opening and opening != job.opening:
            raise OtherJobError(job.folder.resolve().name)
        return job

    def _plain(self, line: str) -> str:
        """A line as the page says it."""
        with LOADING:
            from layerpreview.desk.page_words import page_words

        return page_words(line, Path() if self.path is None else self.path.parent)
