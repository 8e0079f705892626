"""verify/workers: order, answers, and what is lost with a worker; with real processes."""

import multiprocessing
import os
import random
import signal
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from pickle import PicklingError
from typing import Any

import pytest
import worker_tasks as do
from worker_tasks import Doing, Task

from verify.workers import Limits, Lost, Workers, start

POSIX = pytest.mark.skipif(os.name == "nt", reason="Windows has no such signals")
PLENTY = Limits(60.0, 10**9)


def plenty(_: Task) -> Limits:
    return PLENTY


def no_answer(index: int, question: Any) -> Any:
    raise AssertionError(f"task {index} asked {question}")


def results(tasks: Sequence[Task], jobs: int = 2, limits: Limits = PLENTY) -> list[Any]:
    with Workers(Doing, jobs, lambda _: limits) as workers:
        return list(workers.run(tasks, no_answer))


@pytest.fixture(params=["forkserver", "spawn"])
def each_method(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both ways in which processes start, wherever there are both."""
    if request.param not in multiprocessing.get_all_start_methods():
        pytest.skip(f"this system cannot start processes by {request.param}")
    monkeypatch.setattr(start, "METHOD", request.param)


@pytest.mark.usefixtures("each_method")
@pytest.mark.parametrize("jobs", [1, 3])
def test_results_come_in_the_order_of_the_tasks(jobs: int) -> None:
    draws = random.Random(3)
    tasks = [(do.echo, index, draws.uniform(0, 0.02)) for index in range(30)]
    assert results(tasks, jobs) == list(range(30))


def test_a_result_does_not_wait_for_later_ones(tmp_path: Path) -> None:
    file = tmp_path / "seen"
    with Workers(Doing, 2, plenty) as workers:
        run = workers.run([(do.echo, 0), (do.when_there, file)], no_answer)
        assert next(run) == 0
        file.touch()
        assert list(run) == ["seen"]


def test_few_tasks_are_taken_ahead(tmp_path: Path) -> None:
    """While the first task takes its time, the others go on, but not for ever."""
    taken: list[int] = []
    file = tmp_path / "go"

    def tasks() -> Iterator[Task]:
        yield (do.when_there, file)
        for index in range(1, 200):
            taken.append(index)
            if index == 7:
                file.touch()
            yield (do.echo, index)

    most = 0
    with Workers(Doing, 2, plenty) as workers:
        for index, result in enumerate(workers.run(tasks(), no_answer)):
            assert result == (index or "go")
            most = max(most, len(taken) - index)
    assert len(taken) == 199
    assert 7 <= most <= 8


def test_no_more_processes_than_tasks_or_jobs() -> None:
    def most(tasks: int, jobs: int) -> int:
        with Workers(Doing, jobs, plenty) as workers:
            run = workers.run([(do.echo, 0, 0.05)] * tasks, no_answer)
            return max(len(multiprocessing.active_children()) for _ in run)

    assert most(1, 4) == 1
    assert most(2, 4) == 2
    assert most(6, 2) == 2


def test_one_start_serves_many_tasks_and_runs() -> None:
    with Workers(Doing, 1, plenty) as workers:
        seen = {*workers.run([(do.process,)] * 5, no_answer)}
        seen |= {*workers.run([(do.process,)] * 5, no_answer)}
    assert len(seen) == 1
    assert os.getpid() not in seen


def test_no_tasks_no_results() -> None:
    assert results([]) == []


@POSIX
@pytest.mark.usefixtures("each_method")
def test_two_killed_of_forty_leave_thirty_eight() -> None:
    tasks: list[Task] = [(do.echo, index, 0.005) for index in range(40)]
    tasks[11] = tasks[29] = (do.dies_by, signal.SIGKILL)
    wanted: list[Any] = list(range(40))
    wanted[11] = wanted[29] = Lost("its decoder died (signal 9)")
    assert results(tasks) == wanted


@POSIX
@pytest.mark.parametrize("jobs", [1, 2])
def test_each_way_to_die_loses_its_own_task(jobs: int) -> None:
    deaths: list[tuple[Task, str]] = [
        ((do.crashes,), "signal 11"),
        ((do.dies_by, signal.SIGTERM), "signal 15"),
        ((do.dies_by, signal.SIGABRT), "signal 6"),
        ((do.leaves, 3), "exit status 3"),
        ((do.leaves, 0), "exit status 0"),
        ((do.exits, 4), "exit status 4"),
    ]
    tasks: list[Task] = []
    wanted: list[Any] = []
    for task, reason in deaths:
        tasks += [task, (do.echo, reason)]
        wanted += [Lost(f"its decoder died ({reason})"), reason]
    assert results(tasks, jobs) == wanted


@pytest.mark.parametrize("task", [(do.hangs,), (do.hangs_in_native_code,)])
def test_a_hang_is_stopped(task: Task) -> None:
    def limits(one: Task) -> Limits:
        return Limits(0.3, 10**9) if one == task else PLENTY

    lost = Lost("its decoder took longer than 0.3 s and was stopped")
    with Workers(Doing, 1, limits) as workers:
        run = workers.run([(do.echo, 0), task, (do.echo, 2)], no_answer)
        assert list(run) == [0, lost, 2]


def test_growth_is_stopped() -> None:
    lost = Lost("its decoder asked for more than 0.15 GB of memory and was stopped")
    tasks: list[Task] = [(do.echo, 0), (do.grows, 250_000_000), (do.echo, 2)]
    assert results(tasks, 1, Limits(60.0, 150_000_000)) == [0, lost, 2]


def test_memory_that_a_process_had_before_is_not_counted() -> None:
    with Workers(do.Remembering, 1, lambda _: Limits(60.0, 150_000_000)) as workers:
        assert list(workers.run([(do.echo, 1, 0.2)], no_answer)) == [1]


def test_time_away_from_the_workers_is_not_counted() -> None:
    """A caller that takes its time, or a run that is halted and goes on, costs no task."""
    slow: Task = (do.echo, 1, 1.0)

    def limits(task: Task) -> Limits:
        return Limits(0.7, 10**9) if task == slow else PLENTY

    with Workers(Doing, 1, limits) as workers:
        run = workers.run([(do.echo, 0), slow, (do.echo, 2)], no_answer)
        assert next(run) == 0
        time.sleep(0.9)
        assert list(run) == [1, 2]


def test_who_is_done_is_not_stopped_however_late_that_is_heard(tmp_path: Path) -> None:
    def limits(task: Task) -> Limits:
        return Limits(0.01, 10**9) if task[0] is do.when_there else PLENTY

    file = tmp_path / "done"
    file.touch()
    with Workers(Doing, 1, limits) as workers:
        run = workers.run([(do.echo, 0), (do.when_there, file), (do.echo, 2)], no_answer)
        assert next(run) == 0
        time.sleep(0.4)
        assert list(run) == ["done", 2]


def test_what_a_task_raises_is_raised_in_its_turn() -> None:
    tasks: list[Task] = [(do.echo, 0, 0.1), (do.raises, ValueError("no card", 7)), (do.echo, 2)]
    with Workers(Doing, 2, plenty) as workers:
        run = workers.run(tasks, no_answer)
        assert next(run) == 0
        with pytest.raises(ValueError, match="no card") as caught:
            next(run)
        assert list(run) == []
        assert caught.value.args == ("no card", 7)
        assert "in raises\n" in caught.value.__notes__[0]
        assert list(workers.run(tasks[:1], no_answer)) == [0]  # the pool goes on


@pytest.mark.parametrize(
    ("task", "error", "words"),
    [
        ((do.raises_unmakable,), RuntimeError, "worker_tasks.Unmakable: 5: of two parts"),
        ((do.gives_unpicklable,), (AttributeError, PicklingError), "local object"),
        ((do.gives_unreadable,), ValueError, "invalid literal for int"),
        ((do.asks_two_at_once,), RuntimeError, "one question at a time"),
    ],
)
def test_what_does_not_travel_is_told_of(
    task: Task, error: type[Exception] | tuple[type[Exception], ...], words: str
) -> None:
    with Workers(Doing, 1, plenty) as workers, pytest.raises(error, match=words):
        list(workers.run([task], lambda *_: None))
