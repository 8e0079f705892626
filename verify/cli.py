"""The commands: parse, call, print, exit. Nothing else prints or chooses the exit status."""

import codecs
import io
import logging
import os
import re
import sys
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from verify import __version__
from verify.checking import Checked
from verify.errors import GreyproofError, PlanError, in_one_line
from verify.frames.gather import Gathered, gather, with_reference
from verify.frames.transfer import stated_transfer
from verify.judge import UNUSABLE
from verify.place import parse_place
from verify.plan.file import read_plan
from verify.plan.records import Plan
from verify.report.album import Album
from verify.report.as_csv import as_csv
from verify.report.as_json import as_json
from verify.report.as_text import as_text, problem_lines
from verify.report.characters import in_ascii, plain_text
from verify.report.to_file import STANDARD, check_targets, write_report
from verify.shoot import Options, Shoot, check_shoot, read_back
from verify.simulate.demo import write_demo

ALL_WITHIN, SOME_OUT, WRONG, UNMEASURED = 0, 1, 2, 3  # exit status; 3 wins over 1
INTERRUPTED = 130  # as shells report a run that was stopped by hand
LONG_RUN = 8  # frames; a shorter run shows no progress bar
JOBS = min(os.cpu_count() or 1, 4)  # frames at a time; each holds one decoded raw in memory
PLAN_ENDING = ".toml"
WIDE = 10_000  # columns of output to a file or another program: one line for each frame or sentence

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

# readable=False: a file that may not be read gets its line later, and the others are measured.
NamedPaths = Annotated[
    list[Path] | None, typer.Argument(metavar="PLAN.toml|FRAME", hidden=True, readable=False)
]
ReferenceOption = Annotated[
    Path | None,
    typer.Option(
        metavar="FRAME",
        readable=False,
        help="The frame to compare the others with, if not the first.",
    ),
]
CardOption = Annotated[
    str | None,
    typer.Option(
        metavar="find|chart|COL,ROW,WIDTH,HEIGHT",
        help="Where the card is in the upright picture: pixels, or fractions when all four are "
        "<= 1. Replaces the box of the plan. Without either the card is looked for: find takes a "
        "card, a chart or a step wedge, chart only the last two.",
    ),
]
ReadingOption = Annotated[
    str | None,
    typer.Option(metavar="F-NUMBER", help='What the meter showed, such as "f/11 + 0.3".'),
]
IsoOption = Annotated[str | None, typer.Option(metavar="ISO", help="ISO set on the meter.")]
ShutterOption = Annotated[
    str | None, typer.Option(metavar="TIME", help='Shutter time set on the meter, such as "1/125".')
]
TransferOption = Annotated[
    str | None,
    typer.Option(
        metavar="icc|linear|srgb|GAMMA",
        help="How the values of TIFF files follow the light, for files that do not say.",
    ),
]
JsonOption = Annotated[
    str | None, typer.Option(metavar="FILE", help="Write a report as JSON; - for standard output.")
]
CsvOption = Annotated[
    str | None, typer.Option(metavar="FILE", help="Write a report as CSV; - for standard output.")
]
ShowOption = Annotated[
    str | None,
    typer.Option(
        metavar="FOLDER", help="Write a small picture of each frame there, with the card outlined."
    ),
]
JOBS_HELP = "Frames measured at a time; by itself as many as there are processors, 4 at most."
JobsOption = Annotated[int, typer.Option(metavar="N", show_default=False, help=JOBS_HELP)]
QuietOption = Annotated[bool, typer.Option("--quiet", help="Print nothing but problems.")]


@dataclass(frozen=True, slots=True)
class _Out:
    """Where a run prints."""

    words: Console  # for people; standard error while a report goes to standard output
    problems: Console  # standard error
    quiet: bool  # only problems


class _Console(Console):
    """A console that goes on in silence when whoever read it has left: the status still counts."""

    def on_broken_pipe(self) -> None:
        """Print into nothing from here on."""
        self.quiet = True
        _let_go(self.file)


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
    """Did the frames get the light that the meter promised?"""


@app.command()
def check(
    named: NamedPaths = None,
    card: CardOption = None,
    reference: ReferenceOption = None,
    reading: ReadingOption = None,
    iso: IsoOption = None,
    shutter: ShutterOption = None,
    transfer: TransferOption = None,
    json: JsonOption = None,
    csv: CsvOption = None,
    show: ShowOption = None,
    jobs: JobsOption = JOBS,
    quiet: QuietOption = False,
) -> None:
    """Hold frames of a grey card against the plan, in stops.

    FRAME is a raw or TIFF file, or a folder of them. PLAN.toml says what the meter showed and how
    the camera was to be set; --reading, --iso and --shutter stand in for it, or replace what it
    says. Without a plan and a reading, frames are only compared with the reference frame. Without
    frames, the plan is read back in words and nothing else is done.

    Exit status: 0 all frames within tolerance, 1 some out of it, 2 the plan or the command is
    wrong, 3 some frame could not be measured or is doubtful.
    """
    check_targets({"--json": json, "--csv": csv})
    if jobs < 1:
        msg = f"--jobs {jobs}: give 1 or more"
        raise PlanError(msg)
    plan, paths = _plan_and_frames(named or [], reading, iso, shutter)
    transfer = None if transfer is None else transfer.strip().lower()
    if transfer not in (None, "icc"):
        stated_transfer(transfer, 1)
    place = None if card is None else parse_place(card, "--card ")
    album = None if show is None else Album(Path(show))
    out = _Out(_console(stderr=STANDARD in (json, csv)), _console(stderr=True), quiet)
    if not quiet:
        for line in read_back(plan):
            out.words.print(plain_text(line))
    if not paths and reference is None and json is None and csv is None:
        return
    gathered = _gathered(paths, out)
    files, reference = with_reference(gathered.files, reference)
    options = Options(
        place, transfer, pictures=album is not None, reference=reference, jobs=min(jobs, len(files))
    )
    shoot = _run(plan, files, options, gathered.skipped, out, album)
    _print(shoot, out)
    if album is not None and album.problem:
        out.problems.print(plain_text(f"greyproof: {album.problem}"))
    for target, make in ((json, as_json), (csv, as_csv)):
        if target is not None:
            _write(target, make(shoot))
    if shoot.stopped:
        out.problems.print("greyproof: stopped; what was measured until then was kept")
    raise typer.Exit(INTERRUPTED if shoot.stopped else _status(shoot))


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", hidden=True, readable=False)],
) -> None:
    """Write a demo shoot.

    FOLDER, a new or an empty one, gets raw frames of a grey card, their plan and, in truth.json,
    what is true of each.
    """
    written = write_demo(folder)
    frames = [path for path in written if path.suffix == ".dng"]
    typer.echo(f"{len(frames)} frames, plan.toml and truth.json are in {folder}")
    plan, frames_in = (f'"{path}"' if " " in str(path) else path for path in (written[-2], folder))
    typer.echo(f"Check them:  greyproof check {plan} {frames_in}")


def main(arguments: Sequence[str] | None = None) -> None:
    """Run a command and leave with its exit status; an error of ours is one line each."""
    # What libraries log and warn of is nothing that whoever shoots can act on.
    logging.getLogger().addHandler(logging.NullHandler())
    logging.captureWarnings(True)
    codecs.register_error("greyproof", in_ascii)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="greyproof")
    try:
        app(arguments, prog_name="greyproof")
    except (GreyproofError, OSError) as error:
        if not isinstance(error, GreyproofError):  # such as a full disk under standard output
            _let_go(sys.stdout)
        for line in str(error).splitlines():
            _console(stderr=True).print(plain_text(f"greyproof: {line}"))
        sys.exit(WRONG)


def _console(stderr: bool) -> Console:
    """Where to print; as wide as it takes where nobody says how wide it is."""
    console = _Console(stderr=stderr, highlight=False)
    if not console.is_terminal and "COLUMNS" not in os.environ:
        console.width = WIDE
    return console


def _let_go(stream: IO[str]) -> None:
    """Lead an output that takes nothing any more into nothing."""
    with suppress(io.UnsupportedOperation):  # it is no file of the system
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _plan_and_frames(
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


def _gathered(paths: Sequence[Path], out: _Out) -> Gathered:
    """The frames named; a folder without any is told of, or all there is to say."""
    gathered = gather(paths)
    if gathered.empty and not gathered.files:
        lines = [f"{line}: name the folder of the frames" for line in gathered.empty]
        raise PlanError("\n".join(lines))
    for line in gathered.empty:
        out.problems.print(plain_text(f"greyproof: {line}"))
    return gathered


def _run(
    plan: Plan,
    files: Sequence[Path],
    options: Options,
    skipped: int,
    out: _Out,
    album: Album | None,
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
            if album is not None:
                album.add(checked)
            if progress is not None and task is not None:
                progress.update(task, advance=1, refresh=True)

        return check_shoot(plan, files, options, skipped, done)


def _print(shoot: Shoot, out: _Out) -> None:
    """The table for people; only the problems when quiet."""
    if not out.quiet:
        out.words.print(as_text(shoot))
        return
    for line in problem_lines(shoot.checks, bounds=True):
        out.problems.print(plain_text(line))


def _write(target: str, text: str) -> None:
    """A report to its file, or to standard output."""
    data = text.encode("utf-8", "backslashreplace")  # a file's name need not be UTF-8
    if target != STANDARD:
        write_report(target, data)
        return
    try:
        sys.stdout.buffer.write(data)
        sys.stdout.flush()
    except BrokenPipeError:
        _let_go(sys.stdout)


def _status(shoot: Shoot) -> int:
    """Exit status of a check."""
    verdicts = {check_.verdict for check_ in shoot.checks}
    if verdicts.intersection(UNUSABLE):
        return UNMEASURED
    return SOME_OUT if verdicts & {"over", "under"} else ALL_WITHIN
