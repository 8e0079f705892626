"""A studio to calibrate in, for the tests of the command: small raw files, a plan, a store."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from commands import Ran, run
from small_shoots import BODY, Make, writer

from verify.offsets.store import OffsetStore
from verify.simulate.camera import CameraModel

Capture = pytest.CaptureFixture[str]

OFF = -0.37  # stop, of the simulated camera
CAMERA = replace(BODY, speed_error_stops=OFF)
# Marked f-numbers round f/11, and by how much each frame is off: the sum is 0.
BRACKET = ((8.0, 0.05), (9.0, -0.05), (10.0, 0.0), (11.0, 0.0), (13.0, 0.04), (16.0, -0.04))
CARD = '[card]\nname = "studio card"\nbox = [0.3, 0.3, 0.4, 0.4]\n[uncertainty]\ncard = 0.04\n'
METERED = '[reading]\naperture = "f/11"\nmeter = "bench meter"\n'
NEAR = 0.01  # stop, wanted of frames that are checked with the offset fitted to them
SIGNAL = 0.11937  # of an 18 % card at the metered setting: check-values 2.5


class Studio:
    """A folder with a plan, frames of a set, and a store."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.store = OffsetStore(folder / "kept.sqlite3")
        self.make: Make = writer(folder)
        self.plan = self.planned("plan.toml", METERED)

    def planned(self, name: str, text: str) -> Path:
        path = self.folder / name
        path.write_text(text + CARD, encoding="utf-8")
        return path

    def bracket(self, prefix: str = "set", camera: CameraModel = CAMERA, **more: Any) -> list[Path]:
        """Frames round f/11 as metered."""
        return [
            self.make(f"{prefix}_{n:04d}.dng", off, camera=camera, f_number=f_number, **more)
            for n, (f_number, off) in enumerate(BRACKET, 1)
        ]

    def readings(self, *rows: str, header: str = "frame,aperture") -> Path:
        path = self.folder / "readings.csv"
        path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
        return path


def calibrate(capsys: Capture, *arguments: str | Path) -> Ran:
    return run(capsys, "calibrate", "--jobs", "1", *arguments)


def check(capsys: Capture, *arguments: str | Path) -> Ran:
    return run(capsys, "check", "--jobs", "1", *arguments, "--json", "-")


def errors(ran: Ran) -> list[float]:
    return [frame["error_stops"] for frame in ran.frames().values()]


def rests(ran: Ran) -> list[float]:
    """The errors of bracketed frames, but for the bracket itself: that is their settings part."""
    return [frame["rest_stops"] for frame in ran.frames().values()]


def refused(ran: Ran) -> str:
    """The one line of a refusal."""
    assert (ran.status, ran.out) == (2, "")
    (line,) = ran.err.splitlines()
    return line.removeprefix("greyproof: ")
