"""What all rooms' tests share: colour-science without its notice, and hypothesis without a stopwatch."""

from __future__ import annotations

import importlib
import os
import signal
import sys
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from hypothesis import settings

from layerpreview import cli

# What a shell starts in the background is deaf to Ctrl-C, and so are the processes that tests start and stop.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
# Shared machines are slow at times, and a failing example must fail again: no deadline, no chance.
settings.register_profile("layerpreview", deadline=None, derandomize=True)
settings.load_profile("layerpreview")


@pytest.fixture(scope="session")
def colour_science() -> ModuleType:
    """The package colour-science, which when imported warns that it cannot draw charts without matplotlib."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message='"Matplotlib" related API features are not available')
        return importlib.import_module("colour")


@pytest.fixture(scope="session", autouse=True)
def _laws_are_kept_for_this_run_alone(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What takes seconds to solve is solved once a run, and never read from or left in the user's cache folder."""
    own = tmp_path_factory.getbasetemp()
    # Runners beside each other, each with a folder in that of the run, share what they solve.
    home = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "cache"
    folder = home / "layerpreview"
    folder.mkdir(parents=True, exist_ok=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("platformdirs.user_cache_path", lambda *_, **__: folder)
        patch.setenv("XDG_CACHE_HOME", str(home))  # of a command in a process of its own
        yield


@pytest.fixture(scope="session", autouse=True)
def _nothing_is_made_beside_this_process() -> Iterator[None]:
    """The runners have all cores, and what a test changes is to count in all of the work."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("layerpreview.processes.thread_count", lambda: 1)
        yield


@pytest.fixture(scope="session", autouse=True)
def _what_users_keep_is_left_alone(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What a person keeps from one day to the next is never read from or left in the user's data folder."""
    home = tmp_path_factory.mktemp("data")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("platformdirs.user_data_path", lambda *_, **__: home / "layerpreview")
        patch.setenv("XDG_DATA_HOME", str(home))  # of a command in a process of its own
        yield


@pytest.fixture
def rng() -> np.random.Generator:
    """Random numbers that are the same in every run."""
    return np.random.default_rng(20261)


@pytest.fixture
def save_scheme(tmp_path: Path) -> Callable[..., Path]:
    """Save a scheme's text (see schemes.py) in the test's folder and return its path."""

    def save(text: str, name: str = "job.toml") -> Path:
        path = tmp_path / name
        path.write_bytes(text.encode("utf-8"))
        return path

    return save


@pytest.fixture
def run(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> Callable[..., tuple[int, str, str]]:
    """Run the command line as the shell would, in the test's folder; gives exit code, stdout and stderr."""

    def command(*arguments: object) -> tuple[int, str, str]:
        monkeypatch.chdir(tmp_path)
        monkeypatch.setenv("OPENBLAS_NUM_THREADS", "1")
        monkeypatch.setattr(sys, "argv", ["layerpreview", *map(str, arguments)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            cli.main()
        out, err = capsys.readouterr()
        return int(ended.value.code or 0), out, err

    return command
