"""Makers of fuzzing cases that take their process down; importable by worker processes."""

import multiprocessing
import os
import signal
import time
from dataclasses import dataclass
from pathlib import Path

from fuzzing.cases import Case, Maker


@dataclass(frozen=True, slots=True)
class Deadly(Maker):
    """Case 1 kills the worker that makes it, case 2 keeps it longer than a case may take."""

    def case(self, number: int, folder: Path) -> Case | None:
        """As the cases of any maker, but for those two in a worker process."""
        if multiprocessing.parent_process() is not None:
            if number == 1:
                os.kill(os.getpid(), signal.SIGKILL)
            if number == 2:
                time.sleep(60)
        return Maker.case(self, number, folder)
