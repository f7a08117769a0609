"""What takes long, beside the page: tasks in threads of their own, one at a time of each kind.

A task says how far it is and what is best so far, is of the version of the job that it was begun for, and can be
stopped. What cannot be interrupted runs in a process of its own (`apart`), which a stop ends. `told` is what the page
is told of a task.
"""

from __future__ import annotations

import sys
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from typing import Any

from layerpreview.errors import InputError, LayerPreviewError, Problem

MOST_KEPT = 24
END_S = 1.0
"""How long the desk's end waits for what is still being stopped."""
ENDED = ("done", "stopped", "failed")


class Stopped(Exception):  # noqa: N818 - no error: somebody asked for it
    """Raised in a task's own work once it was stopped."""


class Task:
    """One piece of work; every method may be called from any thread."""

    def __init__(self, number: int, kind: str, version: str, command: str, asked: Mapping[str, Any]) -> None:
        self.id, self.kind, self.version, self.command = f"t{number}", kind, version, command
        self.asked = dict(asked)
        self._lock = threading.Lock()
        self._state, self._words, self._result, self._problems = "waiting", "", None, list[str]()
        self._count, self._begun, self._ended = 0, time.monotonic(), 0.0
        self._when: float | None = None
        self._end: Callable[[], None] | None = None

    @property
    def state(self) -> str:
        """waiting, running, done, stopped or failed."""
        return self._state

    @property
    def result(self) -> Any:
        """The best so far, or the answer; None before there is any."""
        return self._result

    def say(self, words: str | None = None, result: Any = None) -> None:
        """Tell how far it is, and what is best so far. Raises Stopped where nobody wants to know any more."""
        with self._lock:
            if self._state in ENDED:
                raise Stopped
            self._state = "running"
            self._words = self._words if words is None else words
            self._result = self._result if result is None else result
            self._count += 1

    def when_stopped(self, end: Callable[[], None]) -> None:
        """Have `end` called at a stop. Raises Stopped where that has come already."""
        with self._lock:
            if self._state not in ENDED:
                self._end = end
                return
        end()
        raise Stopped

    def stop(self) -> None:
        """Stop it: from now on it is stopped for whoever asks, whatever its thread still has to put away."""
        end = self._finish("stopped")
        if end is not None:
            end()

    def done(self, result: Any) -> None:
        """Take the answer."""
        self._finish("done", result=result)

    def fail(self, problems: list[str]) -> None:
        """Take why there is none."""
        self._finish("failed", problems=problems)

    def _finish(
        self, state: str, *, result: Any = None, problems: list[str] | None = None
    ) -> Callable[[], None] | None:
        with self._lock:
            if self._state in ENDED:
                return None
            self._state, self._ended, self._count = state, time.monotonic(), self._count + 1
            self._when = round(time.time(), 3)
            self._result = self._result if result is None else result
            self._problems = problems or []
            end, self._end = self._end, None
            return end

    def told(self, version: str, *, whole: bool = False) -> dict[str, Any]:
        """What the page is told of it, with its result where that is asked for; `version`: of the job now."""
        with self._lock:
            return {
                "id": self.id,
                "kind": self.kind,
                "state": self._state,
                "words": self._words,
                "count": self._count,
                "version": self.version,
                "earlier": self.version != version,
                "seconds": round((self._ended or time.monotonic()) - self._begun, 2),
                "ended": self._when,
                "command": self.command,
                "asked": self.asked,
                "problems": list(self._problems),
                **({"result": self._result} if whole else {}),
            }


class Tasks:
    """The tasks of a desk: those that run, and the last that did. `plain` makes a line of a refusal fit to be shown."""

    def __init__(self, plain: Callable[[str], str] = str) -> None:
        self._plain = plain
        self._lock, self._number = threading.Lock(), 0
        self._kept: OrderedDict[str, Task] = OrderedDict()
        self._workers: dict[str, threading.Thread] = {}
        self._closed = False

    def begin(
        self,
        kind: str,
        version: str,
        work: Callable[[Task], Any],
        *,
        command: str = "",
        asked: Mapping[str, Any] | None = None,
    ) -> Task:
        """Have `work` done; one of its kind that still runs is stopped first, and waited for.

        `asked` is told with it, so that a page which is loaded anew knows what it is about.
        """
        with self._lock:
            for other in self._kept.values():
                if other.kind == kind:
                    other.stop()
            self._number += 1
            task = self._kept[f"t{self._number}"] = Task(self._number, kind, version, command, asked or {})
            while len(self._kept) > MOST_KEPT:
                oldest = next((one for one in self._kept.values() if one.state in ENDED), None)
                if oldest is None:
                    break
                del self._kept[oldest.id]
            if self._closed:
                task.stop()
                return task
            before = self._workers.get(kind)
            worker = threading.Thread(target=self._work, args=(task, work, before), name=f"task {kind}", daemon=True)
            self._workers[kind] = worker
        worker.start()
        return task

    def get(self, name: str) -> Task:
        """The task of this id. Raises InputError where it is no longer kept."""
        task = self._kept.get(name)
        if task is None:
            raise InputError(Problem("this is no longer kept", "start it again"))
        return task

    def told(self, version: str) -> list[dict[str, Any]]:
        """All that are kept, the newest first, without their results."""
        with self._lock:
            kept = list(self._kept.values())
        return [task.told(version) for task in reversed(kept)]

    def stop(self) -> None:
        """Stop everything that runs."""
        with self._lock:
            kept = list(self._kept.values())
        for task in kept:
            task.stop()

    def forget(self) -> None:
        """Stop everything and keep nothing of it: another job is open."""
        self.stop()
        with self._lock:
            self._kept.clear()

    def close(self) -> None:
        """Stop everything, and begin nothing more."""
        with self._lock:
            self._closed = True
            workers = list(self._workers.values())
        self.stop()
        until = time.monotonic() + END_S
        for worker in workers:
            worker.join(max(0.0, until - time.monotonic()))

    def _work(self, task: Task, work: Callable[[Task], Any], before: threading.Thread | None) -> None:
        try:
            if before is not None:
                before.join()
            task.say()
            task.done(work(task))
        except Stopped:
            pass
        except LayerPreviewError as error:
            task.fail([self._plain(line) for line in str(error).splitlines()])
        except Exception as error:
            if task.state in ENDED:
                return  # stopped, or the desk itself ends beneath it
            # A fault of ours: told where the desk was started.
            print(f"fault: {type(error).__name__}: {error}", file=sys.stderr)
            task.fail(["this did not work, and it is a fault of the program; nothing was changed"])
