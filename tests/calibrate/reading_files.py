"""Readings files with frames beside them, for the tests of what reads them."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from verify.calibrate.readings import Readings, read_readings

HEADER = "frame,aperture\n"
NAMES = [f"{letter}.dng" for letter in "abcdef"]


def folder_of_frames(folder: Path, names: Sequence[str] = NAMES) -> Path:
    """The folder with empty files of these names: nothing opens them while readings are read."""
    for name in names:
        (folder / name).touch()
    return folder


def readings_of(
    folder: Path,
    text: str | bytes,
    plan: str | None = None,
    typed: Mapping[str, Any] | None = None,
) -> Readings:
    """Readings of a file in ``folder``, with a plan beside it where one is given."""
    path = folder / "readings.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    plan_path = None if plan is None else folder / "plan.toml"
    if plan_path is not None and plan is not None:
        plan_path.write_text(plan, encoding="utf-8")
    return read_readings(path, plan_path, typed)
