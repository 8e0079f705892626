"""What workers do, what they may take, and what is left of a task whose worker was lost."""

from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

Task_contra = TypeVar("Task_contra", contravariant=True)
Result_co = TypeVar("Result_co", covariant=True)


class Reply(Protocol):
    """What becomes the answer to a question."""

    def ready(self) -> bool:
        """Whether the answer is there, so that :meth:`wait` has it at once."""

    def wait(self) -> Any:
        """Return the answer when it is there; the time until then is not the task's."""


class Ask(Protocol):
    """Puts a question about the task in hand to the main process."""

    def __call__(self, question: Any, /) -> Reply:
        """Send the question and go on.

        Raises
        ------
        RuntimeError
            If the answer to the last question of this task has not been taken.
        """


class Work(Protocol[Task_contra, Result_co]):
    """What a worker does with each task.

    It is stopped between two tasks, or in one, without notice: it must hold nothing that has to be
    put away, such as temporary files.
    """

    def __call__(self, task: Task_contra, ask: Ask, /) -> Result_co:
        """Do one task; what it raises is raised in the main process."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What one task may take."""

    seconds: float  # of time, without what is spent waiting for answers [s]
    bytes: int  # of resident memory, beyond what its process had before [bytes]


@dataclass(frozen=True, slots=True)
class Lost:
    """In place of the result of a task whose worker died or had to be stopped."""

    reason: str  # what happened, to follow the task's name: "its decoder died (signal 9)"
