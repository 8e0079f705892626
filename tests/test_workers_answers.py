"""verify/workers: questions of tasks, answered from the results of those before."""

import random
import signal
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
import worker_tasks as do
from worker_tasks import Doing, Task

from verify.workers import Limits, Lost, Workers, directly

PLENTY = Limits(60.0, 10**9)


def plenty(_: Task) -> Limits:
    return PLENTY


def by_workers(jobs: int) -> Callable[..., Iterator[Any]]:
    def run(tasks: Sequence[Task], answer: Callable[[int, Any], Any]) -> Iterator[Any]:
        with Workers(Doing, jobs, plenty) as workers:
            yield from workers.run(tasks, answer)

    return run


def in_this_process(tasks: Sequence[Task], answer: Callable[[int, Any], Any]) -> Iterator[Any]:
    return directly(Doing, tasks, answer)


@pytest.mark.parametrize("run", [in_this_process, by_workers(1), by_workers(2), by_workers(4)])
def test_answers_go_by_all_results_before_and_by_no_other(
    run: Callable[..., Iterator[Any]],
) -> None:
    draws = random.Random(4)
    tasks: list[Task] = [(do.asks, f"question {i}", draws.uniform(0, 0.01)) for i in range(20)]
    tasks[6] = (do.echo, "no question")
    seen: list[Any] = []

    def answer(index: int, question: Any) -> Any:
        assert len(seen) == index
        assert question == f"question {index}"
        return [len(seen), str(seen[-1:])]

    for result in run(tasks, answer):
        seen.append(result)
    assert len(seen) == 20
    assert seen[6] == "no question"
    for index, result in enumerate(seen):
        assert index == 6 or result == [index, str(seen[:index][-1:])]


@pytest.mark.parametrize("run", [in_this_process, by_workers(2)])
def test_a_task_can_ask_again_and_again(run: Callable[..., Iterator[Any]]) -> None:
    tasks = [(do.asks_in_turn, 1, 2, 3), (do.asks_in_turn,), (do.asks_in_turn, 4)]
    assert list(run(tasks, lambda at, question: 10 * at + question)) == [[1, 2, 3], [], [24]]


def test_one_can_see_the_answer_come(tmp_path: Path) -> None:
    """The second task has its answer when the first is done, which waits for the second."""
    file = tmp_path / "asked"
    tasks: list[Task] = [(do.when_there, file), (do.sees_the_answer_come, file)]
    assert list(by_workers(2)(tasks, lambda *_: "here")) == ["asked", (False, "here")]


@pytest.mark.parametrize("jobs", [1, 2])
def test_long_questions_answers_and_results_do_not_block_each_other(jobs: int) -> None:
    size = 3_000_000  # much more than any pipe holds
    tasks: list[Task] = [(do.asks_between_zeros, size)] * 4
    wanted = [(size, bytes(size))] * 4
    assert list(by_workers(jobs)(tasks, lambda _, question: question)) == wanted


def test_an_answer_nobody_took_is_not_given_to_the_next_task(tmp_path: Path) -> None:
    file = tmp_path / "answered"

    def answer(index: int, question: Any) -> Any:
        file.touch()
        return f"for {index}: {question}"

    tasks: list[Task] = [(do.asks_and_goes_on, file), (do.asks, "whose?"), (do.echo, 2)]
    assert list(by_workers(1)(tasks, answer)) == [None, "for 1: whose?", 2]


def test_time_spent_waiting_for_answers_is_not_counted() -> None:
    def limits(task: Task) -> Limits:
        return PLENTY if task[0] is do.echo else Limits(0.5, 10**9)

    tasks: list[Task] = [(do.echo, "slow", 1.2), (do.asks, "?"), (do.asks_and_hangs,)]
    with Workers(Doing, 2, limits) as workers:
        assert list(workers.run(tasks, lambda *_: "!")) == [
            "slow",
            "!",
            Lost("its decoder took longer than 0.5 s and was stopped"),
        ]


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="Windows has no such signal")
@pytest.mark.parametrize("first", [(do.echo, 0), (do.echo, 0, 0.1)])
def test_who_asks_and_dies_is_lost_and_holds_up_nobody(first: Task) -> None:
    """It dies before its question is read, or long after, while it waits for its turn."""
    tasks: list[Task] = [first, (do.asks_and_dies,), (do.asks, "?"), (do.asks, "?")]
    lost = Lost("its decoder died (signal 9)")
    assert list(by_workers(2)(tasks, lambda at, _: at)) == [0, lost, 2, 3]


def test_what_the_answer_raises_ends_the_run() -> None:
    def answer(index: int, question: Any) -> Any:
        msg = f"{question} cannot be said"
        raise LookupError(msg)

    with Workers(Doing, 2, plenty) as workers:
        run = workers.run([(do.echo, 0), (do.asks, "this"), (do.hangs,)], answer)
        assert next(run) == 0
        with pytest.raises(LookupError, match="this cannot be said"):
            next(run)
        assert list(workers.run([(do.echo, 1)] * 3, answer)) == [1, 1, 1]


def test_directly_loses_nothing_and_hides_nothing() -> None:
    run = directly(Doing, [(do.echo, 0), (do.raises, ValueError("no card"))], lambda *_: None)
    assert next(run) == 0
    with pytest.raises(ValueError, match="no card"):
        next(run)
