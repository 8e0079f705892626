"""What was typed to a plan and frames, and frames to a shoot."""

import os
import re
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import Protocol

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from verify.checking import Checked
from verify.cli.out import Out
from verify.errors import PlanError, in_one_line
from verify.frames.gather import Gathered, gather
from verify.frames.transfer import stated_transfer
from verify.plan.file import read_plan
from verify.plan.records import Plan
from verify.report.characters import plain_text
from verify.report.plot_ending import plot_ending
from verify.shoot import Options, Shoot, check_shoot

LONG_RUN = 8  # frames; a shorter run shows no progress bar
JOBS = min(os.cpu_count() or 1, 4)  # frames at a time; each holds one decoded raw in memory
PLAN_ENDING = ".toml"


class Keeper(Protocol):
    """What is told of each frame as soon as it is checked."""

    def add(self, checked: Checked) -> None:
        """Take one frame."""


def checked_jobs(jobs: int) -> None:
    """Refuse fewer frames at a time than one. Raises PlanError."""
    if jobs < 1:
        msg = f"--jobs {jobs}: give 1 or more"
        raise PlanError(msg)


def checked_transfer(typed: str | None) -> str | None:
    """How the values of TIFF files follow the light, as typed. Raises PlanError."""
    transfer = None if typed is None else typed.strip().lower()
    if transfer not in (None, "icc"):
        stated_transfer(transfer, 1)
    return transfer


def ending_of_plot(target: str | None) -> str:
    """The kind of drawing, by the ending of its file; empty where none is asked for.

    Raises PlanError.
    """
    if target is None:
        return ""
    try:
        return plot_ending(Path(target).suffix)
    except PlanError as error:
        msg = f"--plot {target}: name a file that ends in .png or .svg"
        raise PlanError(in_one_line(msg)) from error


def plan_and_frames(
    named: Sequence[Path], reading: str | None, iso: str | None, shutter: str | None
) -> tuple[Plan, list[Path]]:
    """The plan, from its file and from what was typed, and what remains: frames."""
    plans = [path for path in named if path.suffix.lower() == PLAN_ENDING]
    if len(plans) > 1:
        msg = f"one plan at a time, not {len(plans)}: {', '.join(map(str, plans))}"
        raise PlanError(in_one_line(msg))
    typed = {"aperture": reading, "iso": iso, "shutter": shutter}
    typed = {key: value for key, value in typed.items() if value is not None}
    if typed and reading is None and not plans:
        msg = "--iso and --shutter are parts of a reading: give --reading too, or a plan"
        raise PlanError(msg)
    try:
        plan = read_plan(plans[0] if plans else None, {"reading": typed} if typed else {})
    except PlanError as error:
        # a mistake that was typed is not one of the plan: it is told under its option
        text = str(error)
        for key in typed:
            place = (f"{plans[0]}: " if plans else "") + f"[reading] {key}: "
            option = "--reading" if key == "aperture" else f"--{key}"
            text = re.sub(f"^{re.escape(place)}", f"{option} ", text, flags=re.MULTILINE)
        raise PlanError(text) from error
    return plan, [path for path in named if path not in plans]


def gathered_of(paths: Sequence[Path], out: Out) -> Gathered:
    """The frames named; a folder without any is told of, or all there is to say."""
    gathered = gather(paths)
    if gathered.empty and not gathered.files:
        lines = [f"{line}: name the folder of the frames" for line in gathered.empty]
        raise PlanError("\n".join(lines))
    for line in gathered.empty:
        out.problems.print(plain_text(f"greyproof: {line}"))
    return gathered


def run(
    plan: Plan,
    files: Sequence[Path],
    options: Options,
    skipped: int,
    out: Out,
    keeper: Keeper | None,
) -> Shoot:
    """Measure all frames, with a progress bar on long runs that somebody watches."""
    watched = len(files) >= LONG_RUN and not out.quiet and out.problems.is_terminal
    columns = TextColumn("measuring"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn()
    # Refreshed here and by no thread of its own: processes are started from this one.
    bar: AbstractContextManager[Progress | None] = (
        Progress(*columns, console=out.problems, transient=True, auto_refresh=False)
        if watched
        else nullcontext()
    )
    with bar as progress:
        task = None if progress is None else progress.add_task("", total=len(files))

        def done(checked: Checked) -> None:
            if keeper is not None:
                keeper.add(checked)
            if progress is not None and task is not None:
                progress.update(task, advance=1, refresh=True)

        return check_shoot(plan, files, options, skipped, done)
