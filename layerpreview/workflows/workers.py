"""Who does the work of many: processes of this machine, or an engine that is there already, by its address."""

from __future__ import annotations

import importlib.util
import logging
import re
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from layerpreview import __version__
from layerpreview.errors import InputError, Problem
from layerpreview.processes import Opened, worker_pool
from layerpreview.threads import thread_count

MOST_WORKERS, ANSWERS_S = 256, 10.0
_ADDRESS = re.compile(r"(tcp|tls|ws|wss|ucx)://[^\s/]+:\d{1,5}")
EXTRA = 'pip install "layerpreview[cluster]"'


@dataclass(frozen=True)
class Workers:
    """An executor that can be `opened`, again where it broke, and how many pieces may be under way in it."""

    opened: Opened
    waiting: int


def workers_from(on: str | None = None, workers: int | None = None) -> Workers:
    """So many processes of this machine, one a core where nothing is said, or the engine `on` tcp://HOST:PORT.

    Raises InputError where that is no address, does not answer, has no workers, or those have another version.
    """
    if on is None:
        count = workers or thread_count()
        return Workers(lambda: worker_pool(count), 2 * count if count > 1 else 1)
    if not _ADDRESS.fullmatch(on):
        raise InputError(
            Problem("an address is wanted", "write for example tcp://10.0.0.5:8786", field="--on", value=on)
        )
    if importlib.util.find_spec("distributed") is None:
        raise InputError(Problem("working on others' machines needs an extra", EXTRA, field="--on", value=on))
    with _client(on) as client:
        count = sum(client.nthreads().values())
        if not count:
            raise InputError(Problem("no worker is there yet", "start one, then again", field="--on", value=on))
        _check_versions(client, on)

    @contextmanager
    def opened() -> Iterator[Executor]:
        with _client(on) as client, client.get_executor() as pool:
            yield pool

    return Workers(opened, 2 * count)


@contextmanager
def _client(on: str) -> Iterator[Any]:
    """A connection to the engine. Raises InputError where it does not answer."""
    distributed = import_module("distributed")
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what is to be told is told here
    try:
        client = distributed.Client(on, timeout=ANSWERS_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError):
        rule = "nobody answers there"
        raise InputError(Problem(rule, "start the scheduler, or mend the address", field="--on", value=on)) from None
    with client:
        yield client


def version_here() -> str:
    """The version of this program where it is asked."""
    return __version__


def _check_versions(client: Any, on: str) -> None:
    try:
        there = set(client.run(version_here).values())
    except Exception:  # whatever keeps the package from being read there
        there = {"none"}
    if there != {__version__}:
        rule = f"its workers have layerpreview {', '.join(sorted(there))}, this is {__version__}"
        raise InputError(Problem(rule, "install the same there, with its extra atlas", field="--on", value=on))
