"""The command that holds frames against a plan."""

from pathlib import Path
from typing import Annotated

import typer

from verify.cli.app import app
from verify.cli.flash import (
    AmbientFrameOption,
    PulseOption,
    TimeOption,
    ValueOption,
    recorded_from,
)
from verify.cli.inputs import (
    JOBS,
    checked_jobs,
    checked_transfer,
    gathered_of,
    plan_and_frames,
    run,
)
from verify.cli.offset_store import StoreOption, offsets_for_check
from verify.cli.options import (
    CardOption,
    CsvOption,
    IsoOption,
    JobsOption,
    JsonOption,
    NamedPaths,
    OffsetOption,
    QuietOption,
    ReadingOption,
    ReferenceOption,
    ShowOption,
    ShutterOption,
    TransferOption,
)
from verify.cli.out import (
    ALL_WITHIN,
    INTERRUPTED,
    SOME_OUT,
    UNMEASURED,
    Out,
    console_of,
    write,
)
from verify.errors import PlanError
from verify.frames.gather import with_reference
from verify.judge import UNUSABLE
from verify.place import parse_place
from verify.plan.load import quoted
from verify.report.album import Album
from verify.report.as_csv import as_csv
from verify.report.as_json import as_json
from verify.report.as_text import as_text, problem_lines
from verify.report.characters import plain_text
from verify.report.to_file import STANDARD, check_targets
from verify.shoot import Options, Shoot, read_back

CheckByOption = Annotated[
    str | None,
    typer.Option(
        "--by",
        metavar="card|scene",
        help="scene: frames without a card are held against the last one with a card, by what most "
        "of the picture shares. Without it only the card counts.",
    ),
]


@app.command()
def check(
    named: NamedPaths = None,
    card: CardOption = None,
    by: CheckByOption = None,
    reference: ReferenceOption = None,
    reading: ReadingOption = None,
    iso: IsoOption = None,
    shutter: ShutterOption = None,
    offset: OffsetOption = None,
    store: StoreOption = None,
    transfer: TransferOption = None,
    json: JsonOption = None,
    csv: CsvOption = None,
    show: ShowOption = None,
    pulse: PulseOption = None,
    time: TimeOption = None,
    value: ValueOption = None,
    ambient_frame: AmbientFrameOption = None,
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
    checked_jobs(jobs)
    plan, paths = plan_and_frames(named or [], reading, iso, shutter)
    transfer = checked_transfer(transfer)
    place = None if card is None else parse_place(card, "--card ")
    by_scene = _by_scene(by)
    album = None if show is None else Album(Path(show))
    recorded = recorded_from(pulse, time, value, None)
    out = Out(console_of(stderr=STANDARD in (json, csv)), console_of(stderr=True), quiet)
    if not quiet:
        for line in read_back(plan):
            out.words.print(plain_text(line))
    if not paths and reference is None and json is None and csv is None:
        return
    gathered = gathered_of(paths, out)
    files, reference = with_reference(gathered.files, reference)
    options = Options(
        place,
        transfer,
        offsets=offsets_for_check(store, offset, out),
        offset_name=offset,
        pictures=album is not None,
        ambient=ambient_frame,
        tiles=by_scene,
        by_scene=by_scene,
        firing=None if recorded is None else recorded.firing(),
        reference=reference,
        jobs=min(jobs, len(files)),
    )
    shoot = run(plan, files, options, gathered.skipped, out, album)
    _print(shoot, out)
    if album is not None and album.problem:
        out.problems.print(plain_text(f"greyproof: {album.problem}"))
    for target, make in ((json, as_json), (csv, as_csv)):
        if target is not None:
            write(target, make(shoot))
    if shoot.stopped:
        out.problems.print("greyproof: stopped; what was measured until then was kept")
    raise typer.Exit(INTERRUPTED if shoot.stopped else _status(shoot))


def _by_scene(by: str | None) -> bool:
    """Whether frames without a card are to be judged by the scene. Raises PlanError."""
    typed = "card" if by is None else by.strip().lower()
    if typed not in ("card", "scene"):
        msg = f"--by {quoted(by)}: say card or scene"
        raise PlanError(msg)
    return typed == "scene"


def _print(shoot: Shoot, out: Out) -> None:
    """The table for people; only the problems when quiet."""
    if not out.quiet:
        out.words.print(as_text(shoot))
        return
    for line in problem_lines(shoot.checks, bounds=True):
        out.problems.print(plain_text(line))


def _status(shoot: Shoot) -> int:
    """Exit status of a check."""
    verdicts = {check_.verdict for check_ in shoot.checks}
    if verdicts.intersection(UNUSABLE):
        return UNMEASURED
    return SOME_OUT if verdicts & {"over", "under"} else ALL_WITHIN
