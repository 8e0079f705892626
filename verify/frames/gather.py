"""What was named on the command line to a list of picture files."""

import re
from collections.abc import Sequence
from pathlib import Path

from verify.frames.open import PICTURE_ENDINGS


def gather(named: Sequence[Path]) -> tuple[list[Path], int]:
    """Picture files of the files and folders named, each once, in the order given.

    Returns
    -------
    The files, and how many others in the folders were skipped for their ending. A file that was
    named itself is kept whatever its ending; files of a folder come in the order of the numbers in
    their names. What is not there stays in the list: it gets its own line later.
    """
    files: dict[Path, None] = {}
    skipped = 0
    for path in named:
        if not path.is_dir():
            files[path] = None
            continue
        inside = [p for p in path.iterdir() if not p.name.startswith(".") and not p.is_dir()]
        pictures = [p for p in inside if p.suffix.lower() in PICTURE_ENDINGS]
        skipped += len(inside) - len(pictures)
        files.update(dict.fromkeys(sorted(pictures, key=_by_number)))
    return list(files), skipped


def frame_number(path: Path) -> int | None:
    """The last number in a file's name: 123 of shoot2_0123.dng; None without one."""
    numbers = re.findall(r"\d+", path.stem)
    return int(numbers[-1]) if numbers else None


def _by_number(path: Path) -> list[tuple[int, int, str]]:
    """Sorting key that counts: frame_9 comes before frame_10."""
    parts = re.split(r"(\d+)", path.name.lower())
    return [(1, int(p), "") if p.isdecimal() else (0, 0, p) for p in parts]
