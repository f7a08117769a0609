"""What threads share: exists for work that is done twice because two ask at once, or a failure that is kept."""

from __future__ import annotations

import threading

import pytest

from layerpreview.errors import NoAnswerError
from layerpreview.threads import Made, let_go, passing


def test_a_result_is_made_once_for_all_who_ask() -> None:
    made: Made[int] = Made(2)
    times: list[int] = []
    go = threading.Event()

    def make() -> int:
        go.wait(5.0)
        times.append(1)
        return 7

    found: list[int] = []
    threads = [threading.Thread(target=lambda: found.append(made.get("a", make))) for _ in range(8)]
    for thread in threads:
        thread.start()
    go.set()
    for thread in threads:
        thread.join()
    assert (found, times) == ([7] * 8, [1])

    def fail() -> int:
        raise NoAnswerError("none")

    for _ in range(2):
        with pytest.raises(NoAnswerError):
            made.get("b", fail)
    made.get("c", lambda: 1)
    made.get("d", lambda: 1)
    assert made.get("a", lambda: 8) == 8  # the oldest went


def test_what_is_kept_is_the_last() -> None:
    kept: Made[None] = Made(2)
    made: list[str] = []
    for key in ("a", "b", "a", "c", "a", "b"):
        kept.get(key, lambda key=key: made.append(key))  # type: ignore[misc]
    assert made == ["a", "b", "c", "b"]


def test_what_is_kept_on_the_way_is_made_again_once_let_go() -> None:
    asked: list[int] = []

    @passing(2)
    def twice(number: int) -> int:
        asked.append(number)
        return 2 * number

    assert [twice(3), twice(3)] == [6, 6]
    let_go()
    assert (twice(3), asked) == (6, [3, 3])


def test_only_what_was_asked_for_last_is_kept() -> None:
    made: Made[int] = Made(9)
    for number in (1, 2, 3, 1):
        made.get(number, lambda number=number: number)
    made.keep(2)
    assert [made.get(number, lambda: 0) for number in (3, 1, 2)] == [3, 1, 0]
