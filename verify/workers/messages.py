"""What a worker and the main process say to each other, and the rules that keep them from waiting.

- What a worker sent before it died counts, in its order; then its pipe ends. A message that was
  cut short counts as the end.
- A message is whole before its first byte is sent, so that reading the rest of one that has begun
  takes no longer than copying it.
- A worker may write at any time: the main process always comes back to read.
- The main process writes only to a worker that reads: a task to one that has none, an answer to
  one that says it waits. A busy one gets a notice of a few bytes, and at most one of these lies
  unread, because a task takes the answer to one question before it asks the next.
- A notice that nobody read lies in the pipe before the next task, and is skipped there.
- A worker says that it has begun before it so much as unpickles its task. When it dies without
  having said so, nothing was done, and the task can be given to another.
"""

import io
import pickle
from enum import IntEnum, auto
from multiprocessing.connection import Connection
from typing import Any, TypeAlias

Pipe: TypeAlias = "Connection[Any, Any]"


class Kind(IntEnum):
    """The first byte of a message. Some carry a value, pickled, after it."""

    TASK = auto()  # to a worker: the task
    NOTICE = auto()  # to a worker: the answer is there
    ANSWER = auto()  # to a worker: the answer
    UP = auto()  # from a worker: ready for tasks
    BEGAN = auto()  # from a worker: the task is in hand
    ASKS = auto()  # from a worker: a question
    WAITS = auto()  # from a worker: nothing is done until the answer comes
    DONE = auto()  # from a worker: the result, and the last about its task
    RAISED = auto()  # from a worker: the exception, and the last about its task


def message(kind: Kind, *value: object) -> memoryview:
    """A message with one value or none; the value is pickled in its place, not copied there."""
    data = io.BytesIO()
    data.write(bytes([kind]))
    for one in value:
        pickle.Pickler(data, protocol=5).dump(one)
    return data.getbuffer()


def next_message(pipe: Pipe) -> tuple[Kind, memoryview]:
    """Read one message: its kind and its value, still pickled.

    Raises
    ------
    EOFError, OSError
        If the other side is gone.
    """
    data = memoryview(pipe.recv_bytes())
    return Kind(data[0]), data[1:]
