"""verify/workers: processes that do not start, or not at once, and pools used in the wrong way."""

import multiprocessing
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import worker_tasks as do
from worker_tasks import Doing, Task

from verify.errors import WorkersError
from verify.workers import Limits, Lost, Workers, start, watched


def plenty(_: Task) -> Limits:
    return Limits(60.0, 10**9)


@pytest.fixture(params=["forkserver", "spawn"])
def each_method(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both ways in which processes start, wherever there are both."""
    if request.param not in multiprocessing.get_all_start_methods():
        pytest.skip(f"this system cannot start processes by {request.param}")
    monkeypatch.setattr(start, "METHOD", request.param)


def no_answer(index: int, question: Any) -> Any:
    raise AssertionError(f"task {index} asked {question}")


@pytest.mark.usefixtures("each_method")
def test_processes_that_die_in_their_start_are_not_started_for_ever(tmp_path: Path) -> None:
    tally = tmp_path / "tally"
    words = "cannot be started: a process died .exit status 7.; close other programs"
    with (
        Workers(partial(do.dying, tally, set(range(99))), 2, plenty) as workers,
        pytest.raises(WorkersError, match=words),
    ):
        next(workers.run([(do.echo, 0)] * 9, no_answer))
    assert 3 <= tally.stat().st_size <= 4


def test_starts_that_fail_now_and_then_lose_no_task(tmp_path: Path) -> None:
    make = partial(do.dying, tmp_path / "tally", {1, 2, 4, 5})
    tasks: list[Task] = [(do.echo, 0), (do.leaves, 3), *[(do.echo, at) for at in range(2, 6)]]
    lost = Lost("its decoder died (exit status 3)")
    with Workers(make, 1, plenty) as workers:
        assert list(workers.run(tasks, no_answer)) == [0, lost, 2, 3, 4, 5]


def test_what_make_raises_is_raised() -> None:
    with (
        Workers(do.refusing, 2, plenty) as workers,
        pytest.raises(FileNotFoundError, match="there is no flat frame"),
    ):
        next(workers.run([(do.echo, 0)] * 9, no_answer))


def test_a_start_that_takes_too_long_is_one_that_failed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(watched, "START_S", 0.1)
    with (
        Workers(do.never_ready, 1, plenty) as workers,
        pytest.raises(WorkersError, match=r"a process was not ready after 0.1 s"),
    ):
        next(workers.run([(do.echo, 0)], no_answer))


@pytest.mark.parametrize("given", [0, 1])
def test_a_system_that_gives_few_processes(given: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """With one, all is done by it; with none, nothing can be."""
    start_one = start.start
    left = [given]

    def scarce(make: bytes) -> Any:
        if left[0] == 0:
            raise BlockingIOError("Resource temporarily unavailable")
        left[0] -= 1
        return start_one(make)

    monkeypatch.setattr(watched, "start", scarce)
    with Workers(Doing, 3, plenty) as workers:
        run = workers.run([(do.asks, at) for at in range(8)], lambda at, _: at)
        if given:
            assert list(run) == list(range(8))
        else:
            with pytest.raises(WorkersError, match="Resource temporarily unavailable; close"):
                next(run)


def test_a_run_that_was_left_ends_with_its_tasks() -> None:
    tasks: list[Task] = [(do.echo, 0), (do.hangs,), (do.hangs,), (do.hangs,)]
    with Workers(Doing, 2, plenty) as workers:
        run = workers.run(tasks, no_answer)
        assert next(run) == 0
        with pytest.raises(RuntimeError, match="one run at a time"):
            next(workers.run(tasks, no_answer))
        run.close()
        assert list(workers.run([(do.echo, at) for at in range(5)], no_answer)) == [0, 1, 2, 3, 4]


def test_there_must_be_a_worker() -> None:
    with pytest.raises(ValueError, match="0 workers: 1 or more are needed"):
        Workers(Doing, 0, plenty)
