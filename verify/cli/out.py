"""Where commands print, and the exit statuses they leave with."""

import io
import os
import sys
from contextlib import suppress
from dataclasses import dataclass
from typing import IO

from rich.console import Console

from verify.report.to_file import STANDARD, write_report

ALL_WITHIN, SOME_OUT, WRONG, UNMEASURED = 0, 1, 2, 3  # exit status; 3 wins over 1
INTERRUPTED = 130  # as shells report a run that was stopped by hand
WIDE = 10_000  # columns of output to a file or another program: one line for each frame or sentence


@dataclass(frozen=True, slots=True)
class Out:
    """Where a run prints."""

    words: Console  # for people; standard error while a report goes to standard output
    problems: Console  # standard error
    quiet: bool  # only problems


class _Console(Console):
    """A console that goes on in silence when whoever read it has left: the status still counts."""

    def on_broken_pipe(self) -> None:
        """Print into nothing from here on."""
        self.quiet = True
        let_go(self.file)


def console_of(stderr: bool) -> Console:
    """Where to print; as wide as it takes where nobody says how wide it is."""
    console = _Console(stderr=stderr, highlight=False)
    if not console.is_terminal and "COLUMNS" not in os.environ:
        console.width = WIDE
    return console


def let_go(stream: IO[str]) -> None:
    """Lead an output that takes nothing any more into nothing."""
    with suppress(io.UnsupportedOperation):  # it is no file of the system
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def write(target: str, text: str) -> None:
    """A report to its file, or to standard output."""
    data = text.encode("utf-8", "backslashreplace")  # a file's name need not be UTF-8
    if target != STANDARD:
        write_report(target, data)
        return
    try:
        sys.stdout.buffer.write(data)
        sys.stdout.flush()
    except BrokenPipeError:
        let_go(sys.stdout)
