"""What runs in a worker process."""

import multiprocessing
import os
import pickle
import threading
import traceback
from typing import Any, NoReturn

from verify.workers.messages import Kind, Pipe, message, next_message
from verify.workers.quiet import be_quiet
from verify.workers.records import Reply, Work


def serve(make: bytes, pipe: Pipe) -> NoReturn:
    """Make the work, then do one task after the other until the main process is gone.

    Parameters
    ----------
    make : pickled, called without arguments; returns the work.
    pipe : to the main process.
    """
    be_quiet()
    # The end of the pipe shows only between tasks: in a hang, never.
    threading.Thread(target=_leave_with_main_process, daemon=True).start()
    main = _Main(pipe)
    try:
        work: Work[Any, Any] = pickle.loads(make)()
    except Exception as error:
        main.tell(_raised(error))
        _leave()
    main.tell(message(Kind.UP))
    while True:
        kind, task = main.listen()
        if kind is Kind.TASK:  # and not a notice that the last task did not wait for
            main.tell(message(Kind.BEGAN))
            main.tell(_outcome(work, task, main))


def _outcome(work: Work[Any, Any], task: memoryview, main: "_Main") -> memoryview:
    """Do a task; what came of it, as a message."""
    try:
        return message(Kind.DONE, work(pickle.loads(task), _Asking(main)))
    except Exception as error:
        return _raised(error)


def _raised(error: Exception) -> memoryview:
    """An exception as a message, with where it was raised; one in words if it does not travel."""
    words = "".join(traceback.format_exception_only(error)).strip()
    where = "in a worker process:\n" + "".join(traceback.format_exception(error))
    error.add_note(where)
    try:
        raised = message(Kind.RAISED, error)
        pickle.loads(raised[1:])  # some can be pickled and yet not made again
    except Exception:
        stand_in = RuntimeError(words)
        stand_in.add_note(where)
        raised = message(Kind.RAISED, stand_in)
    return raised


def _leave_with_main_process() -> None:
    main = multiprocessing.parent_process()
    if main is not None:
        main.join()
        _leave()


def _leave() -> NoReturn:
    """End at once: there is nobody left to work for, and nothing to put away."""
    os._exit(0)


class _Main:
    """The main process, as a worker sees it; where it is gone, the worker ends."""

    def __init__(self, pipe: Pipe) -> None:
        self._pipe = pipe

    def tell(self, said: memoryview) -> None:
        try:
            self._pipe.send_bytes(said)
        except OSError:
            _leave()

    def has_spoken(self) -> bool:
        try:
            return self._pipe.poll()
        except OSError:
            _leave()

    def listen(self) -> tuple[Kind, memoryview]:
        try:
            return next_message(self._pipe)
        except (EOFError, OSError):
            _leave()


class _Asking:
    """``Ask`` for one task."""

    def __init__(self, main: _Main) -> None:
        self._main = main
        self._last: _Awaited | None = None

    def __call__(self, question: Any, /) -> Reply:
        if self._last is not None and not self._last.taken:
            msg = "one question at a time: take the answer to the last one first"
            raise RuntimeError(msg)
        self._main.tell(message(Kind.ASKS, question))
        self._last = _Awaited(self._main)
        return self._last


class _Awaited:
    """``Reply`` to a question that was sent."""

    def __init__(self, main: _Main) -> None:
        self._main = main
        self._noticed = False  # the answer is there, in the main process
        self.taken = False  # the answer is here
        self._answer: Any = None

    def ready(self) -> bool:
        if not self._noticed and not self.taken and self._main.has_spoken():
            self._main.listen()  # a notice: nothing else is sent to a worker that does not wait
            self._noticed = True
        return self._noticed or self.taken

    def wait(self) -> Any:
        if not self.taken:
            self._main.tell(message(Kind.WAITS))
            kind, answer = self._main.listen()
            if kind is Kind.NOTICE:  # it was sent before the main process knew of the waiting
                _, answer = self._main.listen()
            self._answer = pickle.loads(answer)
            self.taken = True
        return self._answer
