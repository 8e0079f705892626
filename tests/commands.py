"""Runs of the command for the tests: inside this process, or as a person starts it."""

import hashlib
import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

import pytest

from verify.cli.main import main

ROOT = Path(__file__).resolve().parent.parent
COMMAND = [
    sys.executable,
    "-c",
    "from verify.cli.main import main; main()",
]  # as the console script
OF_TERMINALS = ("COLUMNS", "LINES", "FORCE_COLOR", "NO_COLOR", "TTY_COMPATIBLE", "TERM")
PLAN_IN_WORDS = (
    "Meter f/11 + 0.3 at ISO 100, 1 pop → camera f/13, ISO 100, 1 pop, no bellows, no filter: "
    "planned 0.03 under the meter"
)  # the demo's plan, as the command reads it back


@dataclass(frozen=True, slots=True)
class Ran:
    """A run that has ended."""

    status: int
    out: str  # standard output
    err: str  # standard error

    @property
    def report(self) -> dict[str, Any]:
        """The JSON on standard output; anything else beside it is an error."""
        report: dict[str, Any] = json.loads(self.out)
        return report

    def frames(self) -> dict[str, dict[str, Any]]:
        """Each frame of the JSON by the name of its file."""
        return {Path(frame["file"]).name: frame for frame in self.report["frames"]}


def environment(**changes: str) -> dict[str, str]:
    """This process's environment without what tells of a terminal."""
    kept = {name: value for name, value in os.environ.items() if name not in OF_TERMINALS}
    return {**kept, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1", **changes}


def run(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> Ran:
    """Run the command in this process."""
    capsys.readouterr()
    with mock.patch.dict(os.environ, environment(), clear=True), pytest.raises(SystemExit) as end:
        main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return Ran(int(end.value.code or 0), out, err)


def run_process(*arguments: str | Path, **changes: str) -> Ran:
    """Run the command in a process of its own, its output piped, its environment changed."""
    ended = subprocess.run(
        [*COMMAND, *map(str, arguments)],
        capture_output=True,
        env=environment(**changes),
        check=False,
    )
    encoding = changes.get("PYTHONIOENCODING", "utf-8")
    out, err = (data.decode(encoding, "surrogateescape") for data in (ended.stdout, ended.stderr))
    return Ran(ended.returncode, out, err)


def listing(folder: Path) -> dict[str, tuple[int, str]]:
    """Every file below a folder with the time it was last written and a hash of it."""
    return {
        str(path.relative_to(folder)): (
            path.stat().st_mtime_ns,
            hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "folder",
        )
        for path in sorted([folder, *folder.rglob("*")])
    }
