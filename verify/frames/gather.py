"""What was named on the command line to a list of picture files."""

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from verify.errors import PlanError, in_one_line
from verify.frames.open import PICTURE_ENDINGS


@dataclass(frozen=True, slots=True)
class Gathered:
    """Picture files of what was named, each once however it is written."""

    files: tuple[Path, ...]  # in the order given; of a folder by the numbers in their names
    skipped: int  # other files in the folders, left out for their ending
    empty: tuple[str, ...]  # a line for each folder without a picture


def gather(named: Sequence[Path]) -> Gathered:
    """Picture files of the files and folders named.

    A file that was named itself is kept whatever its ending. What is not there stays in the list:
    it gets its own line later.

    Raises
    ------
    PlanError
        If a folder cannot be read.
    """
    files: dict[str, Path] = {}
    skipped = 0
    empty = []
    for path in named:
        pictures, others = [path], 0
        if os.path.isdir(path):  # unlike Path.is_dir, False for a name that no system takes
            pictures, others = _inside(path)
            if not pictures:
                beside = f", only {others} other file{'' if others == 1 else 's'}" if others else ""
                named_so = in_one_line(str(path))
                empty.append(f"{named_so}: there is no raw or TIFF file in this folder{beside}")
        skipped += others
        for file in pictures:
            files.setdefault(os.path.realpath(file), file)
    return Gathered(tuple(files.values()), skipped, tuple(empty))


def with_reference(files: Sequence[Path], reference: Path | None) -> tuple[list[Path], Path | None]:
    """The frames with the reference among them, and the reference as it is named there.

    A name without a folder that is not there stands for the frame of that name.
    """
    if reference is None:
        return list(files), None
    same = [file for file in files if os.path.realpath(file) == os.path.realpath(reference)]
    if not same and not os.path.lexists(reference):
        same = [file for file in files if file.name == str(reference)]
    if len(same) == 1:
        return list(files), same[0]
    return [reference, *files], reference


def _inside(folder: Path) -> tuple[list[Path], int]:
    """Pictures of a folder in the order of their numbers, and how many other files it has."""
    try:
        inside = [p for p in folder.iterdir() if not p.name.startswith(".") and not p.is_dir()]
    except OSError as error:
        msg = f"{in_one_line(str(folder))}: this folder cannot be read ({error.strerror or error})"
        raise PlanError(msg) from error
    pictures = [p for p in inside if p.suffix.lower() in PICTURE_ENDINGS]
    return sorted(pictures, key=_by_number), len(inside) - len(pictures)


def frame_number(path: Path) -> int | None:
    """The last number in a file's name: 123 of shoot2_0123.dng; None without one."""
    numbers = re.findall(r"\d+", path.stem)
    return int(numbers[-1]) if numbers else None


def _by_number(path: Path) -> list[tuple[int, int, str]]:
    """Sorting key that counts: frame_9 comes before frame_10."""
    parts = re.split(r"(\d+)", path.name.lower())
    return [(1, int(p), "") if p.isdecimal() else (0, 0, p) for p in parts]
