"""How worker processes come about: forked from a process that has imported what they need."""

import io
import multiprocessing
import os
import pickle
import signal
import sys
import threading
import types
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing.process import BaseProcess
from typing import Any, Literal

from verify.workers import quiet
from verify.workers.inside import serve
from verify.workers.messages import Pipe

if sys.platform != "win32":
    from multiprocessing import forkserver, resource_tracker

# Forked workers are there within milliseconds. The system libraries of macOS do not bear a fork.
METHOD: Literal["spawn", "forkserver"] = (
    "spawn" if sys.platform in {"darwin", "win32"} else "forkserver"
)
_STARTING = threading.RLock()  # for whoever changes for a moment what all threads have


def get_ready(make: bytes) -> None:
    """Have the process that workers are forked from begin to import what ``make`` needs."""
    if sys.platform != "win32" and METHOD == "forkserver":
        forkserver.set_forkserver_preload([quiet.__name__, *_modules_of(make)])
    _start_services()


def start(make: bytes) -> tuple[BaseProcess, Pipe]:
    """Start a worker process; the main process's hold on it, and the pipe to it.

    A process whose start is interrupted is in nobody's hands. It ends by itself: its pipe does.

    Raises
    ------
    OSError, EOFError
        If the system does not give a process.
    """
    context: Any = multiprocessing.get_context(METHOD)
    pipe, other_end = context.Pipe()
    try:
        process = context.Process(target=serve, args=(make, other_end), daemon=True)
        _start_services()
        # The imports before a fork may take a while, in which an interrupt is not to be held.
        with _like_this_one() if METHOD == "spawn" else _main_module_hidden():
            process.start()
    except BaseException:
        pipe.close()
        raise
    finally:
        other_end.close()  # or the pipe would not end with the worker
    return process, pipe


def _start_services() -> None:
    """Start the processes that multiprocessing keeps beside the workers, where they do not run."""
    if sys.platform != "win32":
        # One by one: having started the tracker, multiprocessing lets interrupts through again.
        with _like_this_one():
            resource_tracker.ensure_running()
        if METHOD == "forkserver":
            with _like_this_one():
                forkserver.ensure_running()


def _modules_of(pickled: bytes) -> list[str]:
    """The modules that hold the classes and functions of what was pickled."""
    modules = set()

    class Noting(pickle.Unpickler):
        def find_class(self, module: str, name: str, /) -> Any:
            modules.add(module)
            return super().find_class(module, name)

    Noting(io.BytesIO(pickled)).load()
    return sorted(modules - {"__main__"})


@contextmanager
def _like_this_one() -> Iterator[None]:
    """Let programs that are started in here import what this one does, and not be interrupted.

    A Python that is started for a line of code looks for modules in the working directory first:
    that is where the pictures are, and anything else.
    """
    wanted = {
        "PYTHONPATH": os.pathsep.join(os.path.abspath(place) for place in sys.path),
        "PYTHONSAFEPATH": "1",
    }
    with _interrupts_held(), _main_module_hidden():
        before = {name: os.environ.get(name) for name in wanted}
        try:
            os.environ.update(wanted)
            yield
        finally:
            for name, value in before.items():
                if value is None:
                    os.environ.pop(name, None)
                else:
                    os.environ[name] = value


@contextmanager
def _main_module_hidden() -> Iterator[None]:
    """Keep multiprocessing from running the main script again in each worker.

    A script that does not expect this would begin all over there, and what workers need is in
    modules.
    """
    with _STARTING:
        main = sys.modules["__main__"]
        try:
            sys.modules["__main__"] = types.ModuleType("__main__")
            yield
        finally:
            sys.modules["__main__"] = main


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Have programs that start in here see no interrupt ever, and this one see it afterwards."""
    if sys.platform == "win32":
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
