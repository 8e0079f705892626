"""Pops that were planned in each frame, as typed or from a CSV file."""

import re
from collections.abc import Sequence
from pathlib import Path

from verify.calibrate.cells import read_rows, refuse
from verify.errors import PlanError, in_one_line
from verify.plan.load import quoted
from verify.pops.missed import MOST_COUNTED

FRAME, POPS = COLUMNS = ("frame", "pops")
WHOLE = re.compile(r"[0-9]{1,9}")
ALLOWED = f"a whole number from 1 to {MOST_COUNTED}, or 0 where the flash was off"


def counts_typed(typed: str, files: Sequence[Path]) -> dict[Path, int]:
    """Planned pops of each frame, from numbers in the order of the frames.

    One number alone stands for every frame.

    Raises
    ------
    PlanError
        If they are no counts, or not as many as there are frames.
    """
    parts = [part for part in re.split(r"[,;\s]+", typed.strip()) if part]
    counts = [_count(part, f"--counts {quoted(typed)}: ") for part in parts]
    if not counts:
        msg = f"--counts {quoted(typed)}: give the pops of each frame, such as 1,2,4,8"
        raise PlanError(msg)
    if len(counts) == 1:
        counts *= len(files)
    if len(counts) != len(files):
        frames = "1 frame is" if len(files) == 1 else f"{len(files)} frames are"
        msg = f"--counts gives {len(counts)} numbers and {frames} named: give one for each"
        raise PlanError(msg)
    return dict(zip(files, counts, strict=True))


def counts_from(path: Path) -> dict[Path, int]:
    """Planned pops of each frame, from a CSV file with the columns frame and pops.

    Raises
    ------
    PlanError
        One line a mistake: the file, the line, what was found, what is allowed.
    """
    where = in_one_line(str(path))
    found: dict[Path, int] = {}
    mistakes = []
    for row in read_rows(path, COLUMNS, COLUMNS):
        here = f"{where} line {row.line}: "
        if row.problem is not None:
            mistakes.append(here + row.problem)
            continue
        if not row.cells[FRAME]:
            mistakes.append(f"{here}{FRAME}: it is needed, and this cell is empty")
            continue
        file = path.parent / row.cells[FRAME]
        try:
            count = _count(row.cells[POPS], f"{here}{POPS}: ")
        except PlanError as error:
            mistakes.append(str(error))
            continue
        if found.setdefault(file, count) != count:
            mistakes.append(f"{here}{FRAME}: this frame is listed above with other pops")
    if mistakes:
        refuse(where, mistakes)
    return found


def counts_checked(counts: dict[Path, int]) -> dict[Path, int]:
    """Counts that something can be told from. Raises PlanError."""
    if len(counts) < 2:
        msg = "one frame alone tells nothing of its pops: name two or more, best of several counts"
        raise PlanError(msg)
    if not any(counts.values()):
        msg = "no frame has pops, all counts are 0: name frames with one pop or more beside it"
        raise PlanError(msg)
    return counts


def _count(typed: str, where: str) -> int:
    """One planned number of pops. Raises PlanError."""
    if WHOLE.fullmatch(typed) is None or int(typed) > MOST_COUNTED:
        msg = f"{where}{quoted(typed)} is no number of pops: write {ALLOWED}"
        raise PlanError(msg)
    return int(typed)
