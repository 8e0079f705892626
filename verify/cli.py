"""The commands: parse, call, print, exit. Nothing else prints or chooses the exit status."""

import os
import sys
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from verify import __version__
from verify.errors import GreyproofError, PlanError
from verify.frames.gather import gather
from verify.frames.transfer import stated_transfer
from verify.place import parse_place
from verify.plan.file import read_plan
from verify.plan.records import Plan
from verify.report.as_csv import as_csv
from verify.report.as_json import as_json
from verify.report.as_text import as_text
from verify.shoot import Options, Shoot, check_shoot, read_back
from verify.simulate.demo import write_demo

ALL_WITHIN, SOME_OUT, WRONG, UNMEASURED = 0, 1, 2, 3  # exit status; 3 wins over 1
INTERRUPTED = 130  # as shells report a run that was stopped by hand
LONG_RUN = 8  # frames; a shorter run shows no progress bar
JOBS = min(os.cpu_count() or 1, 4)  # frames at a time; each holds one decoded raw in memory
PLAN_ENDING = ".toml"
WIDTH = 110  # columns of output that goes to a file or another program

app = typer.Typer(add_completion=False, no_args_is_help=True, pretty_exceptions_enable=False)

FramesArgument = Annotated[
    list[Path] | None,
    typer.Argument(
        metavar="[PLAN.toml] FRAME…", help="Plan, then picture files or folders of them."
    ),
]
CardOption = Annotated[
    str | None,
    typer.Option(
        "--card", help="COL,ROW,WIDTH,HEIGHT of the card: upright pixels, or fractions (all <= 1)."
    ),
]
ReferenceOption = Annotated[
    Path | None, typer.Option("--reference", help="Frame to compare the others with.")
]
ReadingOption = Annotated[
    str | None, typer.Option("--reading", help='What the meter showed: "f/11 + 0.3".')
]
IsoOption = Annotated[str | None, typer.Option("--iso", help="ISO that the meter was set to.")]
ShutterOption = Annotated[
    str | None, typer.Option("--shutter", help='Shutter time of the reading: "1/125".')
]
TransferOption = Annotated[
    str | None,
    typer.Option("--transfer", help="Of TIFFs that do not say: icc, linear, srgb or a gamma."),
]
JsonOption = Annotated[
    str | None, typer.Option("--json", help="Write JSON to this file; - for standard output.")
]
CsvOption = Annotated[
    str | None, typer.Option("--csv", help="Write CSV to this file; - for standard output.")
]
JobsOption = Annotated[int, typer.Option("--jobs", min=1, help="Frames measured at a time.")]
QuietOption = Annotated[bool, typer.Option("--quiet", help="Print nothing but problems.")]


@dataclass(frozen=True, slots=True)
class _Out:
    """Where a run prints."""

    words: Console  # for people; standard error while a report goes to standard output
    problems: Console  # standard error
    quiet: bool  # only problems


def _version(wanted: bool) -> None:
    """Print the version and leave."""
    if wanted:
        typer.echo(f"greyproof {__version__}")
        raise typer.Exit(ALL_WITHIN)


@app.callback()
def _top(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Did the frames get the light that the meter promised?

    Exit status: 0 all within tolerance, 1 some out of it, 2 the plan or the command is wrong,
    3 some frame could not be measured.
    """


@app.command()
def check(
    named: FramesArgument = None,
    card: CardOption = None,
    reference: ReferenceOption = None,
    reading: ReadingOption = None,
    iso: IsoOption = None,
    shutter: ShutterOption = None,
    transfer: TransferOption = None,
    json: JsonOption = None,
    csv: CsvOption = None,
    jobs: JobsOption = JOBS,
    quiet: QuietOption = False,
) -> None:
    """Hold frames of a grey card against the plan, in stops.

    The plan is a TOML file, or what --reading says. Without either, frames are compared with the
    first one. With no frames the plan is read back in words.
    """
    if json == csv == "-":
        msg = "--json - and --csv - both want standard output: give one of them a file"
        raise PlanError(msg)
    plan, paths = _plan_and_frames(named or [], reading, iso, shutter)
    if transfer is not None and transfer != "icc":
        stated_transfer(transfer, 1)
    options = Options(
        place=None if card is None else _place(card),
        reference=reference,
        transfer=transfer,
        jobs=jobs,
    )
    to_standard = "-" in (json, csv)
    out = _Out(_console(stderr=to_standard), _console(stderr=True), quiet)
    if not quiet:
        for line in read_back(plan):
            out.words.print(line, soft_wrap=True)
    if not paths:
        return
    files, skipped = gather(paths)
    if reference is not None and reference not in files:
        files.insert(0, reference)
    try:
        shoot = _run(plan, files, options, skipped, out)
    except KeyboardInterrupt:
        raise typer.Exit(INTERRUPTED) from None
    for target, make in ((json, as_json), (csv, as_csv)):
        if target is not None:
            _write(target, make(shoot))
    _print(shoot, out)
    raise typer.Exit(_status(shoot))


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(help="Where to write it: a new or an empty folder.")],
) -> None:
    """Write a small demo shoot: RAW frames, their plan, and the truth about each."""
    written = write_demo(folder)
    frames = [path for path in written if path.suffix == ".dng"]
    typer.echo(f"{len(frames)} frames, plan.toml and truth.json are in {folder}")
    typer.echo(f"Check them:  greyproof check {folder / 'plan.toml'} {folder}")


def main(arguments: Sequence[str] | None = None) -> None:
    """Run a command and leave with its exit status; an error of ours is one line each."""
    try:
        app(arguments)
    except GreyproofError as error:
        for line in str(error).splitlines():
            _console(stderr=True).print(f"greyproof: {line}", soft_wrap=True, markup=False)
        sys.exit(WRONG)
    except BrokenPipeError:  # whoever read standard output has left
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(WRONG)


def _console(stderr: bool) -> Console:
    """Where to print; wide where nobody's terminal says how wide it is."""
    console = Console(stderr=stderr, highlight=False)
    return console if console.is_terminal else Console(stderr=stderr, highlight=False, width=WIDTH)


def _plan_and_frames(
    named: Sequence[Path], reading: str | None, iso: str | None, shutter: str | None
) -> tuple[Plan, list[Path]]:
    """The plan, from its file and from what was typed, and what remains: frames."""
    plans = [path for path in named if path.suffix.lower() == PLAN_ENDING]
    if len(plans) > 1:
        msg = f"one plan at a time, not {len(plans)}: {', '.join(map(str, plans))}"
        raise PlanError(msg)
    typed: dict[str, Any] = {}
    for key, value in (("aperture", reading), ("iso", iso), ("shutter", shutter)):
        if value is not None:
            typed.setdefault("reading", {})[key] = value
    plan = read_plan(plans[0] if plans else None, typed)
    return plan, [path for path in named if path not in plans]


def _place(card: str) -> Any:
    """The place on the command line."""
    place = parse_place(card, "--card ")
    if place is None:
        msg = "--card find comes with a later version: give COL,ROW,WIDTH,HEIGHT"
        raise PlanError(msg)
    return place


def _run(plan: Plan, files: Sequence[Path], options: Options, skipped: int, out: _Out) -> Shoot:
    """Measure all frames, with a progress bar on long runs that somebody watches."""
    watched = len(files) >= LONG_RUN and not out.quiet and out.problems.is_terminal
    columns = TextColumn("measuring"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn()
    bar: AbstractContextManager[Progress | None] = (
        Progress(*columns, console=out.problems, transient=True) if watched else nullcontext()
    )
    with bar as progress:
        if progress is None:
            return check_shoot(plan, files, options, skipped)
        task = progress.add_task("", total=len(files))
        return check_shoot(plan, files, options, skipped, lambda _: progress.advance(task))


def _print(shoot: Shoot, out: _Out) -> None:
    """The table for people; only the problems when quiet."""
    if not out.quiet:
        out.words.print(as_text(shoot))
        return
    for check_ in shoot.checks:
        if check_.problem is not None:
            out.problems.print(f"{check_.file}: {check_.problem}", soft_wrap=True, markup=False)


def _write(target: str, text: str) -> None:
    """A report to its file, or to standard output."""
    if target == "-":
        sys.stdout.write(text)
        sys.stdout.flush()
        return
    try:
        Path(target).write_text(text, encoding="utf-8")
    except OSError as error:
        msg = f"{target} cannot be written: {error.strerror or error}"
        raise PlanError(msg) from error


def _status(shoot: Shoot) -> int:
    """Exit status of a check."""
    verdicts = {check_.verdict for check_ in shoot.checks}
    if verdicts & {"clipped", "dark", "card-doubtful", "unreadable"}:
        return UNMEASURED
    return SOME_OUT if verdicts & {"over", "under"} else ALL_WITHIN
