"""Work for the tests of workers. Imports little, so that processes start quickly.

A task is one of the functions below with its arguments. All take ``ask`` first.
"""

import ctypes
import os
import re
import signal
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from verify.workers import Ask

Task = tuple[Any, ...]


class Doing:
    """Does what its task says."""

    def __call__(self, task: Task, ask: Ask, /) -> Any:
        function, *arguments = task
        return function(ask, *arguments)


class Remembering(Doing):
    """The same, in a process that has taken much memory before."""

    def __init__(self) -> None:
        self.much = b"\1" * 300_000_000


def dying(tally: Path, starts: set[int]) -> Doing:
    """Make work, but end the process in the starts of these numbers; each one is tallied."""
    with tally.open("a", encoding="ascii") as file:
        file.write("x")
    if tally.stat().st_size in starts:
        os._exit(7)
    return Doing()


def refusing() -> Doing:
    msg = "there is no flat frame"
    raise FileNotFoundError(msg)


def never_ready() -> Doing:
    time.sleep(3600)
    return Doing()


class Unmakable(Exception):
    """Can be pickled, and not made again."""

    def __init__(self, code: int, reason: str) -> None:
        super().__init__(f"{code}: {reason}")


class Unreadable:
    """Can be pickled, and not made again."""

    def __reduce__(self) -> tuple[Callable[..., Any], tuple[str]]:
        return int, ("no number",)


# What goes well.


def echo(_: Ask, value: Any, after_s: float = 0.0) -> Any:
    time.sleep(after_s)
    return value


def process(_: Ask) -> int:
    return os.getpid()


def when_there(_: Ask, file: Path) -> str:
    while not file.exists():
        time.sleep(0.005)
    return file.name


def zeros(_: Ask, size: int) -> bytes:
    return bytes(size)


# Questions.


def asks(ask: Ask, question: Any, after_s: float = 0.0) -> Any:
    time.sleep(after_s)
    reply = ask(question)
    time.sleep(after_s)
    return reply.wait()


def asks_in_turn(ask: Ask, *questions: Any) -> list[Any]:
    return [ask(question).wait() for question in questions]


def asks_two_at_once(ask: Ask) -> Any:
    ask("the first")
    return ask("the second").wait()


def asks_and_goes_on(ask: Ask, gone: Path) -> None:
    """Ask, and have the answer sent without ever looking at it."""
    ask("?")
    when_there(ask, gone)


def asks_between_zeros(ask: Ask, size: int) -> tuple[int, bytes]:
    """Ask with much, go on, take what was answered, and return much."""
    reply = ask(bytes(size))
    time.sleep(0.05)
    return len(reply.wait()), bytes(size)


def sees_the_answer_come(ask: Ask, file: Path) -> tuple[bool, Any]:
    """Ask, let the task before go on, and look whether the answer is there until it is."""
    reply = ask("?")
    before = reply.ready()
    file.touch()
    while not reply.ready():
        time.sleep(0.001)
    return before, reply.wait()


def asks_and_dies(ask: Ask) -> None:
    ask("?")
    os.kill(os.getpid(), signal.SIGKILL)


def asks_and_hangs(ask: Ask) -> None:
    ask("?").wait()
    time.sleep(3600)


# What goes wrong.


def raises(_: Ask, error: BaseException) -> None:
    raise error


def raises_unmakable(_: Ask) -> None:
    raise Unmakable(5, "of two parts")


def gives_unpicklable(_: Ask) -> Any:
    return lambda: 1


def gives_unreadable(_: Ask) -> Unreadable:
    return Unreadable()


def dies_by(_: Ask, number: int) -> None:
    os.kill(os.getpid(), number)


def crashes(_: Ask) -> None:
    ctypes.string_at(0)


def leaves(_: Ask, status: int) -> None:
    os._exit(status)


def exits(_: Ask, status: int) -> None:
    sys.exit(status)


def hangs(_: Ask) -> None:
    time.sleep(3600)


def hangs_in_native_code(_: Ask) -> None:
    """Keep the interpreter to itself, so that no other thread and no handler has a turn."""
    re.match(r"(a+)+$", "a" * 60 + "b")


def grows(_: Ask, size: int) -> None:
    kept = b"\1" * size
    time.sleep(3600)
    del kept


def dies_soon(_: Ask, tally: Path, size: int) -> bytes:
    """Return some data, and die in or after the sending of it; each try is tallied."""
    with tally.open("a", encoding="ascii") as file:
        file.write("x")
    threading.Timer(0.1, os.kill, (os.getpid(), signal.SIGKILL)).start()
    return bytes(size)


def prints(_: Ask) -> None:
    print("a print", flush=True)
    print("a print", file=sys.stderr, flush=True)
    os.write(1, b"native output\n")
    os.write(2, b"native output\n")
