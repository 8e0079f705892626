"""Runs the command on a case: in this process with its streams caught, or as a person starts it."""

import faulthandler
import io
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TextIO
from unittest import mock

from fuzzing.cases import Case, Maker
from fuzzing.oracle import Measured, Oracle, Outcome, measured
from verify.cli import inputs
from verify.cli.main import main
from verify.shoot import Options, check_shoot

ROOT = Path(__file__).resolve().parents[2]
COMMAND_S = 120.0  # for the command on a busy machine; its workers' limits are what ends a decoder
STACK_S = 8.0  # after which the place is written down, for a run that may have to be stopped
COMMAND = (sys.executable, "-c", "from verify.cli.main import main; main()")
OF_USERS = ("XDG_DATA_HOME", "LOCALAPPDATA", "HOME")  # where a user's data are
OF_TERMINALS = ("COLUMNS", "LINES", "FORCE_COLOR", "NO_COLOR", "TTY_COMPATIBLE", "TERM")


@dataclass(frozen=True, slots=True)
class Told:
    """What came of a case."""

    number: int
    kind: str = ""  # empty: its input is not here
    what: str = ""
    status: int = 0
    compared: bool = False  # the signal was held against that of the file undamaged
    seconds: float = 0.0  # of processor time [s]
    faults: tuple[str, ...] = ()


def stack_of(number: int, room: Path) -> Path:
    """Where a run that takes long writes down its place in the program."""
    return room / f"stack_{number}.txt"


@dataclass(slots=True)
class Runner:
    """Runs cases in this process, one after the other."""

    maker: Maker
    room: Path  # folder for files while they are needed; whoever ends this process deletes it
    keep: Path | None = None  # folder for the files of cases with faults
    _oracle: Oracle = field(default_factory=Oracle)
    _before: dict[str, Measured] = field(default_factory=dict)  # by the name of the input

    def __call__(self, number: int, ask: object = None) -> Told:
        """Make a case, run it, judge it."""
        with tempfile.TemporaryDirectory(dir=self.room) as place:
            folder = Path(place) / "case"
            folder.mkdir()
            case = self.maker.case(number, folder)
            if case is None:
                return Told(number)
            with _noted(stack_of(number, self.room)):
                outcome = run_here(case, Path(place))
            before = self._undamaged(case, Path(place))
            faults = tuple(self._oracle.faults(case, outcome, before))
            if faults and self.keep is not None:
                shutil.copytree(folder, self.keep / str(number), dirs_exist_ok=True)
        return Told(
            number,
            case.kind,
            case.what,
            outcome.status,
            before is not None,
            outcome.seconds,
            faults,
        )

    def _undamaged(self, case: Case, place: Path) -> Measured | None:
        """What the input of a case gives as it is, where the case is to be held against it."""
        given = case.compared
        if given is None:
            return None
        if given.name not in self._before:
            damaged = str(case.frames[0])
            arguments = tuple(str(given.path) if a == damaged else a for a in case.arguments)
            outcome = run_here(replace(case, arguments=arguments), place)
            self._before[given.name] = measured(outcome)
        return self._before[given.name]


def run_here(case: Case, place: Path) -> Outcome:
    """Run a case in this process; what native code writes is caught too.

    Frames are measured in this process: whoever runs cases watches it as the command watches its
    workers.
    """
    reports = _Reports(case, place)
    used = time.process_time()
    environment = {k: v for k, v in os.environ.items() if k not in OF_TERMINALS}
    environment |= dict.fromkeys(OF_USERS, str(place))  # offsets that somebody keeps count for none
    with (
        _caught(place) as streams,
        mock.patch.dict(os.environ, environment, clear=True),
        mock.patch.object(inputs, "check_shoot", _check_in_this_process),
    ):
        try:
            main([*case.arguments, *reports.arguments])
            status = 0
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else int(end.code is not None)
        except BaseException:
            sys.excepthook(*sys.exc_info())
            status = -1
    return reports.outcome(status, streams, time.process_time() - used)


def run_as_command(case: Case, place: Path) -> Outcome:
    """Run a case in a process of its own, as a person does.

    Raises
    ------
    subprocess.TimeoutExpired
        If it does not end by itself.
    """
    reports = _Reports(case, place)
    kept = {k: v for k, v in os.environ.items() if k not in OF_TERMINALS}
    environment = {**kept, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"}
    environment |= dict.fromkeys(OF_USERS, str(place))
    ended = subprocess.run(
        [*COMMAND, *case.arguments, *reports.arguments],
        capture_output=True,
        env=environment,
        check=False,
        timeout=COMMAND_S,
    )
    return reports.outcome(ended.returncode, [ended.stdout, ended.stderr], 0.0)


def _check_in_this_process(plan: Any, files: Any, options: Options, *rest: Any) -> Any:
    """``check_shoot`` without workers."""
    return check_shoot(plan, files, replace(options, jobs=0), *rest)


class _Reports:
    """The reports of one run."""

    def __init__(self, case: Case, place: Path) -> None:
        self._json, self._csv = place / "report.json", place / "report.csv"
        for path in (self._json, self._csv):
            path.unlink(missing_ok=True)
        self.arguments: tuple[str, ...] = ("--json", str(self._json))
        if case.arguments[0] == "check":
            self.arguments += ("--csv", str(self._csv))

    def outcome(self, status: int, streams: list[bytes], seconds: float) -> Outcome:
        """What came of it."""
        found = [p.read_bytes() if p.exists() else None for p in (self._json, self._csv)]
        return Outcome(status, streams[0], streams[1], found[0], found[1], seconds)


@contextmanager
def _caught(place: Path) -> Iterator[list[bytes]]:
    """Standard output and error of this process, native code's too, into the list at the end."""
    caught: list[bytes] = []
    streams = sys.stdout, sys.stderr
    held = [os.dup(number) for number in (1, 2)]
    files = [(place / name).open("w+b") for name in ("out", "err")]
    try:
        for number, file in enumerate(files, 1):
            os.dup2(file.fileno(), number)
        sys.stdout, sys.stderr = (_text_stream(number) for number in (1, 2))
        yield caught
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
        for file in files:
            file.seek(0)
            caught.append(file.read())
    finally:
        sys.stdout, sys.stderr = streams
        for number, copy in enumerate(held, 1):
            os.dup2(copy, number)
            os.close(copy)
        for file in files:
            file.close()


def _text_stream(number: int) -> TextIO:
    """A stream of text on a file descriptor, which stays open when it goes."""
    return io.TextIOWrapper(io.FileIO(number, "w", closefd=False), encoding="utf-8")


@contextmanager
def _noted(path: Path) -> Iterator[None]:
    """Write down where this process is when it takes long; nothing stays where it does not."""
    with path.open("w") as file:
        faulthandler.dump_traceback_later(STACK_S, file=file)
        try:
            yield
        finally:
            faulthandler.cancel_dump_traceback_later()
    path.unlink()
