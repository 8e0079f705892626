"""One worker process as the main process sees it: started, given tasks, watched, ended."""

from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import psutil

from verify.workers.messages import Kind, message, next_message
from verify.workers.records import Limits
from verify.workers.start import start

Task = TypeVar("Task")

START_S = 60.0  # for a process to be ready for tasks; imports from a cold disk take seconds
PATIENCE_S = 1.0  # for a process to be gone that has ended its pipe or was killed


@dataclass(slots=True)
class Job(Generic[Task]):
    """A task of a run, and how far its worker is with it."""

    index: int  # its place among the tasks
    task: Task
    limits: Limits
    base: int = 0  # resident memory of the worker before it [bytes]
    begun: bool = False  # the worker has it in hand
    question: memoryview | None = None  # asked and not answered yet; pickled
    answer: memoryview | None = None  # message for a worker that has had only the notice of it
    waits: bool = False  # the worker does nothing until it has the answer


class Watched(Generic[Task]):
    """A worker process. Making one starts it, and :meth:`end` sees it gone."""

    def __init__(self, make: bytes) -> None:
        """Start a process; its first message will say that it is ready.

        Raises
        ------
        OSError, EOFError
            If the system does not give one.
        """
        self.job: Job[Task] | None = None
        self.up = False  # it is ready for tasks
        self.proven = False  # it has begun a task
        self._worked_s = 0.0  # on its task, or on getting ready for one
        self._process, self.pipe = start(make)
        self.sentinel = self._process.sentinel
        # Not the bare number of the process, which may soon be another's.
        self._system: psutil.Process | None = None
        with suppress(psutil.NoSuchProcess):
            self._system = psutil.Process(self._process.pid)

    @property
    def idle(self) -> bool:
        """Whether it can be given a task."""
        return self.up and self.job is None

    @property
    def waits(self) -> bool:
        """Whether it can do nothing before a question is answered."""
        return self.job is not None and self.job.waits

    def give(self, job: Job[Task]) -> None:
        """Give a task to a worker that is idle; one that has died never begins it."""
        job.base = self._memory()
        self.job, self._worked_s = job, 0.0
        self._tell(message(Kind.TASK, job.task))

    def answer(self, value: Any) -> None:
        """Answer its question."""
        assert self.job is not None
        self.job.question = None
        self.job.answer = message(Kind.ANSWER, value)
        if self.job.waits:
            self._hand_over()
        else:
            self._tell(message(Kind.NOTICE))

    def hear(self) -> tuple[Kind, memoryview]:
        """Take in its next message.

        Raises
        ------
        EOFError, OSError
            If it has left nothing to read and is gone.
        """
        # Its end can be seen before what it said last. So the end counts when nothing is left.
        if not self.pipe.poll():
            raise EOFError
        kind, value = next_message(self.pipe)
        if kind is Kind.UP:
            self.up = True
        elif self.job is not None:
            self._note(self.job, kind, value)
        return kind, value

    def _note(self, job: Job[Task], kind: Kind, value: memoryview) -> None:
        if kind is Kind.BEGAN:
            job.begun = self.proven = True
            self._worked_s = 0.0
        elif kind is Kind.ASKS:
            job.question = value
        elif kind is Kind.WAITS:
            job.waits = True
            if job.answer is not None:
                self._hand_over()

    def _hand_over(self) -> None:
        """Send the answer to a worker that waits for it."""
        assert self.job is not None
        assert self.job.answer is not None
        self._tell(self.job.answer)
        self.job.answer, self.job.waits = None, False

    def _tell(self, said: memoryview) -> None:
        with suppress(OSError):  # it is gone: that will be heard
            self.pipe.send_bytes(said)

    def excess(self, passed_s: float) -> str | None:
        """What the worker has taken too much of, in words, when that much more time has passed.

        What it has said already is to be heard first: it may be done.
        """
        if self.idle or self.waits:
            return None
        self._worked_s += passed_s
        reason = self._reason()
        return None if reason is not None and self._has_spoken() else reason

    def _reason(self) -> str | None:
        if self.job is None or not self.job.begun:
            return f"was not ready after {START_S:g} s" if self._worked_s > START_S else None
        limits = self.job.limits
        if self._worked_s > limits.seconds:
            return f"took longer than {limits.seconds:g} s and was stopped"
        if self._memory() - self.job.base > limits.bytes:
            return f"asked for more than {limits.bytes / 1e9:.3g} GB of memory and was stopped"
        return None

    def _has_spoken(self) -> bool:
        try:
            return self.pipe.poll()
        except OSError:  # as some systems say that the pipe has ended
            return True

    def _memory(self) -> int:
        """Resident memory; 0 of a process that is gone."""
        try:
            return 0 if self._system is None else int(self._system.memory_info().rss)
        except psutil.Error:
            return 0

    def kill(self) -> None:
        """Stop it wherever it is."""
        with suppress(psutil.Error):
            if self._system is not None:
                self._system.kill()

    def end(self) -> int | None:
        """See it gone, and let go of what it took here.

        Returns
        -------
        Its exit status, the negative number of a signal; None if the system does not let it go.
        """
        self.pipe.close()
        self._process.join(PATIENCE_S)
        self.kill()  # that it has ended its pipe need not mean that it has ended
        self._process.join(PATIENCE_S)
        status = self._process.exitcode
        if status is not None:
            self._process.close()
        return status
