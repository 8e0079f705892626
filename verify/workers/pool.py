"""Tasks done by watched worker processes, with results in the order of the tasks.

What holds at every moment of a run:

- The results of the tasks before ``turn`` have been handed over, that of ``turn`` has not.
- A task taken and not handed over is one of: to do, with one worker, ended. These are few.
- A task that a worker has begun is never given to another: it ends done, raised or lost.
- The task ``turn`` waits for no other: it is given before them, and its questions are answered.
"""

import bisect
import pickle
import time
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from itertools import islice
from multiprocessing.connection import wait
from types import TracebackType
from typing import Any, Generic, Self, TypeVar

from verify.errors import WorkersError
from verify.workers.messages import Kind
from verify.workers.records import Ask, Limits, Lost, Reply, Work
from verify.workers.start import get_ready
from verify.workers.watched import Job, Watched

Task = TypeVar("Task")
Result = TypeVar("Result")

AHEAD = 4  # tasks per worker that may be taken before the first of them is handed over
WATCH_S = 0.05  # from one look at the workers' time and memory to the next
STARTS = 3  # in a row that may fail


class Workers(Generic[Task, Result]):
    """Processes that do tasks, each replaced when it is lost; a context manager.

    The main process needs no thread for them. So they are watched while the caller waits for a
    result, and not while it does something with the last one.
    """

    def __init__(
        self,
        make: Callable[[], Work[Task, Result]],
        jobs: int,
        limits: Callable[[Task], Limits],
    ) -> None:
        """Take what is needed; a worker is started when there is a task for it.

        Parameters
        ----------
        make : called once in each process; can be pickled, and comes from a module.
        jobs : workers at the same time, 1 or more.
        limits : what a task may take before its worker is stopped.
        """
        if jobs < 1:
            msg = f"{jobs} workers: 1 or more are needed"
            raise ValueError(msg)
        self._make = pickle.dumps(make, protocol=5)
        self._jobs = jobs
        self._limits = limits
        self._workers: list[Watched[Task]] = []
        self._todo: list[Job[Task]] = []  # in the order of the tasks
        self._ended: dict[int, Lost | tuple[Kind, memoryview]] = {}
        self._running = False
        self._failed = 0  # starts in a row that came to nothing
        self._failure = ""  # what became of the last of them
        self._looked_s = 0.0  # when the workers were last looked at
        get_ready(self._make)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        where: TracebackType | None,
    ) -> None:
        self._end(self._workers)

    def run(
        self, tasks: Iterable[Task], answer: Callable[[int, Any], Any]
    ) -> Generator[Result | Lost, None, None]:
        """Do tasks, one run at a time.

        Parameters
        ----------
        tasks : taken as they are needed.
        answer : called with the index of a task and its question once the results of all tasks
            before it have been taken. So it can go by them, whatever the number of workers.

        Yields
        ------
        The results in the order of the tasks, each as soon as it and those before it are there;
        ``Lost`` for a task that was lost with its worker.

        Raises
        ------
        WorkersError
            If processes cannot be started.
        Exception
            What a task raised, when its turn comes; what ``make`` raised, at once.
        """
        if self._running:
            msg = "one run at a time: take the results of the last one, or close it, first"
            raise RuntimeError(msg)
        self._running = True
        jobs = (Job(index, task, self._limits(task)) for index, task in enumerate(tasks))
        turn = 0
        self._failed = 0
        self._looked_s = time.monotonic()
        try:
            while True:
                # First of all the workers get something to do: the caller may take its time.
                self._take(jobs)
                self._start()
                self._give()
                if turn in self._ended:
                    yield _result(self._ended.pop(turn))
                    turn += 1
                    continue
                if not self._taken():
                    return
                self._answer(turn, answer)
                if self._failed >= STARTS and all(worker.waits for worker in self._workers):
                    msg = (
                        f"the worker processes cannot be started: {self._failure}; close other "
                        "programs, or let fewer of them work at a time"
                    )
                    raise WorkersError(msg)
                self._hear()
                self._look()
        finally:
            self._todo.clear()
            self._ended.clear()
            self._running = False
            self._end([worker for worker in self._workers if worker.job is not None])

    def _taken(self) -> int:
        """Number of tasks that were taken and have not ended."""
        return len(self._todo) + sum(worker.job is not None for worker in self._workers)

    def _take(self, jobs: Iterator[Job[Task]]) -> None:
        """Take as many tasks as can be begun, if the results that are kept are not too many."""
        taken = self._taken()
        room = min(self._jobs, AHEAD * self._jobs - len(self._ended)) - taken
        self._todo += islice(jobs, max(0, room))

    def _start(self) -> None:
        """Start workers while there are tasks for more of them."""
        wanted = min(self._jobs, self._taken())
        while len(self._workers) < wanted and self._failed < STARTS:
            try:
                self._workers.append(Watched(self._make))
            except (OSError, EOFError) as error:
                self._failed += 1
                self._failure = str(error)

    def _give(self) -> None:
        """Give the first of the tasks to do to those who are idle."""
        for worker in self._workers:
            if worker.idle and self._todo:
                worker.give(self._todo.pop(0))

    def _answer(self, turn: int, answer: Callable[[int, Any], Any]) -> None:
        """Answer the question of the task whose turn it is, if it has one."""
        for worker in self._workers:
            job = worker.job
            if job is not None and job.index == turn and job.question is not None:
                worker.answer(answer(turn, pickle.loads(job.question)))

    def _hear(self) -> None:
        """Wait until a worker says something or ends, but not for long, and take that in."""
        ready = wait([one for w in self._workers for one in (w.pipe, w.sentinel)], WATCH_S)
        for worker in [w for w in self._workers if w.pipe in ready or w.sentinel in ready]:
            proven, job = worker.proven, worker.job
            try:
                kind, value = worker.hear()
            except (EOFError, OSError):
                self._lose(worker, _death(worker.end()))
                continue
            if worker.proven and not proven:
                self._failed = 0
            if kind in {Kind.DONE, Kind.RAISED}:
                if job is None:
                    raise pickle.loads(value)
                self._ended[job.index] = kind, value
                worker.job = None

    def _look(self) -> None:
        """Stop the workers that have taken too much."""
        now = time.monotonic()
        passed_s = now - self._looked_s
        if passed_s < WATCH_S:
            return
        self._looked_s = now
        # Where this process was held up itself, by its caller or by a person, so may have been the
        # workers, and what they have said meanwhile is still to be heard.
        passed_s = min(passed_s, 2 * WATCH_S)
        for worker in list(self._workers):
            reason = worker.excess(passed_s)
            if reason is not None:
                worker.kill()
                worker.end()
                self._lose(worker, reason)

    def _lose(self, worker: Watched[Task], happened: str) -> None:
        """Let go of a worker that is gone. Its task is lost if it has begun, and kept if not."""
        self._workers.remove(worker)
        job = worker.job
        if job is not None and job.begun:
            self._ended[job.index] = Lost(f"its decoder {happened}")
            return
        if not worker.proven:
            self._failed += 1
            self._failure = f"a process {happened}"
        if job is not None:
            bisect.insort(self._todo, job, key=lambda one: one.index)

    def _end(self, workers: Sequence[Watched[Task]]) -> None:
        """End workers at once, wherever they are."""
        workers = list(workers)
        for worker in workers:  # all of them before any is waited for
            worker.kill()
        for worker in workers:
            self._workers.remove(worker)
            worker.end()


def _result(outcome: Lost | tuple[Kind, memoryview]) -> Any:
    """Hand over what came of a task: return it, or raise it."""
    if isinstance(outcome, Lost):
        return outcome
    kind, value = outcome
    if kind is Kind.RAISED:
        raise pickle.loads(value)
    return pickle.loads(value)


def _death(status: int | None) -> str:
    """How a process died, in words."""
    if status is None:
        return "died"
    return f"died (signal {-status})" if status < 0 else f"died (exit status {status})"


class _Answered:
    """``Reply`` that has its answer."""

    def __init__(self, answer: Any) -> None:
        self._answer = answer

    def ready(self) -> bool:
        return True

    def wait(self) -> Any:
        return self._answer


def directly(
    make: Callable[[], Work[Task, Result]],
    tasks: Iterable[Task],
    answer: Callable[[int, Any], Any],
) -> Iterator[Result]:
    """Do tasks one after the other in this process, with nothing to guard it from them.

    The same as :meth:`Workers.run`, but that a question is answered when it is asked.
    """
    work = make()
    for index, task in enumerate(tasks):
        yield work(task, _asking(index, answer))


def _asking(index: int, answer: Callable[[int, Any], Any]) -> Ask:
    def ask(question: Any, /) -> Reply:
        return _Answered(answer(index, question))

    return ask
