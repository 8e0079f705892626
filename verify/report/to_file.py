"""A report to its file; what cannot be written is told before anything is measured."""

import os
from collections.abc import Mapping
from pathlib import Path

from verify.errors import PlanError, in_one_line
from verify.frames.open import PICTURE_ENDINGS

STANDARD = "-"  # in the place of a file: standard output
NOT_A_REPORT = PICTURE_ENDINGS | {".toml"}  # a slip of the hand must not cost a frame or the plan


def check_targets(targets: Mapping[str, str | None]) -> None:
    """Refuse files that a report could not be written to, or that are called like an input.

    Parameters
    ----------
    targets : path of each report's file by the option that names it, such as "--json".

    Raises
    ------
    PlanError
        Saying what is in the way, before anything was measured.
    """
    taken: dict[str, str] = {}
    for option, target in targets.items():
        if target is None:
            continue
        place = target if target == STANDARD else os.path.realpath(target)
        if place in taken:
            where = "standard output" if target == STANDARD else target
            msg = f"{taken[place]} and {option} both go to {where}: give one of them another file"
            raise PlanError(in_one_line(msg))
        taken[place] = option
        if target != STANDARD:
            _check_target(option, target)


def _check_target(option: str, target: str) -> None:
    """Refuse one file."""
    path = Path(target)
    report = f"report.{option.lstrip('-')}"
    if path.suffix.lower() in NOT_A_REPORT:
        what = f"that is a name of a frame or a plan: name the report otherwise, such as {report}"
    elif os.path.isdir(path):
        what = f"it is a folder: name a file in it, such as {path / report}"
    elif not os.path.isdir(path.parent):
        what = f"there is no folder {path.parent}: make it first, or name another"
    elif not os.access(path if os.path.exists(path) else path.parent, os.W_OK):
        what = "it may not be written: check its permissions, or name another"
    else:
        return
    msg = f"{option} {target}: {what}"
    raise PlanError(in_one_line(msg))


def write_report(target: str, data: bytes) -> None:
    """Write a report. Raises PlanError where the system refuses."""
    try:
        Path(target).write_bytes(data)
    except OSError as error:
        msg = f"{target}: the report cannot be written ({error.strerror or error})"
        raise PlanError(in_one_line(msg)) from error
