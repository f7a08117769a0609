"""Work beside the page: exists for a stop that is not heeded, two workers of one kind at once, an answer of an earlier
version that passes for one of now, and tasks that pile up."""

from __future__ import annotations

import threading
import time

import pytest

from layerpreview.desk.tasks import MOST_KEPT, Stopped, Task, Tasks
from layerpreview.errors import InputError, NoAnswerError


def until(task: Task, *states: str, within_s: float = 5.0) -> dict[str, object]:
    end = time.monotonic() + within_s
    while task.state not in states and time.monotonic() < end:
        time.sleep(0.005)
    assert task.state in states
    return task.told("v1", whole=True)


def test_it_tells_how_far_it_is_and_then_the_answer() -> None:
    go = threading.Event()

    def work(task: Task) -> str:
        task.say("half of it", {"best": 2.5})
        go.wait(5.0)
        return "the answer"

    tasks = Tasks()
    task = tasks.begin("reach", "v1", work, command="layerpreview reach")
    while task.result is None:
        time.sleep(0.005)
    told = task.told("v1", whole=True)
    assert (told["state"], told["words"], told["result"]) == ("running", "half of it", {"best": 2.5})
    go.set()
    done = until(task, "done")
    assert (done["result"], done["earlier"], done["command"]) == ("the answer", False, "layerpreview reach")
    assert int(str(done["count"])) > int(str(told["count"]))
    assert task.told("v2")["earlier"] is True
    assert "result" not in tasks.told("v1")[0]
    assert tasks.get(task.id) is task
    with pytest.raises(InputError, match="no longer kept"):
        tasks.get("t99")


def test_a_stop_is_heeded_at_once_and_keeps_the_best_so_far() -> None:
    ended, called = threading.Event(), list[str]()

    def work(task: Task) -> None:
        task.when_stopped(lambda: called.append("end"))
        try:
            for n in range(10_000):
                task.say(f"{n}", {"n": n})
                time.sleep(0.01)
        except Stopped:
            ended.set()
            raise

    task = Tasks().begin("reach", "v1", work)
    while task.result is None:
        time.sleep(0.005)
    begun = time.monotonic()
    task.stop()
    assert task.state == "stopped"
    assert ended.wait(0.3)
    assert time.monotonic() - begun < 0.3
    best = task.told("v1", whole=True)
    time.sleep(0.05)
    assert task.told("v1", whole=True) == best
    assert best["result"] is not None
    task.stop()
    assert called == ["end"]


def test_one_at_a_time_of_each_kind() -> None:
    running, most, lock = 0, 0, threading.Lock()

    def work(task: Task) -> int:
        nonlocal running, most
        with lock:
            running += 1
            most = max(most, running)
        try:
            for _ in range(3):
                task.say()
                time.sleep(0.01)
        finally:
            with lock:
                running -= 1
        return 7

    tasks = Tasks()
    begun = [tasks.begin("reach", "v1", work) for _ in range(12)]
    until(begun[-1], "done")
    assert most == 1
    assert {task.state for task in begun[:-1]} == {"stopped"}


def test_kinds_do_not_wait_for_each_other() -> None:
    meet = threading.Barrier(2, timeout=5.0)
    tasks = Tasks()
    both = [tasks.begin(kind, "v1", lambda _: meet.wait()) for kind in ("reach", "twins")]
    for task in both:
        until(task, "done")


def test_why_there_is_no_answer(capsys: pytest.CaptureFixture[str]) -> None:
    def no_answer(_: Task) -> None:
        raise NoAnswerError("no dye shows anywhere")

    def fault(_: Task) -> None:
        raise ZeroDivisionError("secret of ours")

    tasks = Tasks()
    assert until(tasks.begin("twins", "v1", no_answer), "failed")["problems"] == ["no dye shows anywhere"]
    told = until(tasks.begin("fit", "v1", fault), "failed")
    assert "secret" not in str(told)
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_a_hundred_leave_no_more_than_the_last() -> None:
    tasks, before = Tasks(), threading.active_count()
    for n in range(100):
        until(tasks.begin(("reach", "twins", "fit")[n % 3], "v1", lambda _: bytearray(10_000)), "done")
    assert len(tasks.told("v1")) == MOST_KEPT
    time.sleep(0.05)
    assert threading.active_count() <= before + 1


def test_the_end_of_the_desk_ends_them() -> None:
    def work(task: Task) -> None:
        while True:
            task.say()
            time.sleep(0.01)

    tasks = Tasks()
    running = [tasks.begin(kind, "v1", work) for kind in ("reach", "twins")]
    begun = time.monotonic()
    tasks.close()
    assert time.monotonic() - begun < 0.5
    assert {task.state for task in running} == {"stopped"}
    assert tasks.begin("reach", "v1", work).state == "stopped"
