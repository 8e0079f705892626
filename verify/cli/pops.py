"""The command for exposures that are built from several pops: counted in frames, or planned."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from verify.ambient.flash_off import open_ambient
from verify.checking import body
from verify.cli.app import app
from verify.cli.counts import counts_checked, counts_from, counts_typed
from verify.cli.flash import SetUpOption, setup_named
from verify.cli.inputs import (
    JOBS,
    PLAN_ENDING,
    checked_jobs,
    checked_transfer,
    gathered_of,
    run,
)
from verify.cli.options import (
    CardOption,
    JobsOption,
    JsonOption,
    NamedPaths,
    QuietOption,
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
from verify.compare import FrameCheck
from verify.errors import PlanError, in_one_line
from verify.notation import parse_camera_aperture, parse_seconds
from verify.place import parse_place
from verify.plan.expected import expected_signal
from verify.plan.records import SetUp
from verify.pops.fit import study_of
from verify.pops.light import expected_of_one, plan_of_counts, pop_frames
from verify.pops.planning import pops_needed
from verify.pops.records import PopStudy
from verify.report.characters import plain_text
from verify.report.pops_json import plan_json, study_json
from verify.report.pops_text import plan_text, problem_lines, study_text
from verify.report.to_file import STANDARD, check_targets
from verify.shoot import Options

CountsOption = Annotated[
    str | None,
    typer.Option(
        metavar="N,N,...",
        help="Pops planned in each frame, in the order of the frames, such as 1,2,4,8; one number "
        "stands for all. 0: shot with the flash off.",
    ),
]
CsvCountsOption = Annotated[
    Path | None,
    typer.Option(
        "--csv",
        metavar="FILE.csv",
        readable=False,
        help="The frames and their pops instead, a row for each: columns frame and pops.",
    ),
]
WantOption = Annotated[
    str | None,
    typer.Option(metavar="APERTURE", help='Plan the pops that an aperture needs, such as "f/45".'),
]
IntervalOption = Annotated[
    str | None,
    typer.Option(
        metavar="TIME", help='With --want: time from pop to pop, such as "3 s"; by itself 2 s.'
    ),
]


@app.command(short_help="Count the pops in frames, or plan how many are needed.")
def pops(
    named: NamedPaths = None,
    counts: CountsOption = None,
    csv: CsvCountsOption = None,
    want: WantOption = None,
    interval: IntervalOption = None,
    setup: SetUpOption = None,
    card: CardOption = None,
    transfer: TransferOption = None,
    json: JsonOption = None,
    jobs: JobsOption = JOBS,
    quiet: QuietOption = False,
) -> None:
    """Count the pops in frames of a card, and tell whether their light adds up; or plan pops.

    PLAN.toml FRAME... with --counts or --csv: frames of one card in one light, with different
    numbers of pops. Each frame's pops are counted by its level; what a pop and the ambient light
    give is fitted. Without either, every frame holds the pops of the plan's [camera].

    PLAN.toml --want APERTURE: the number of pops from the reading of one, with bellows and filters,
    and what the power must change by to make a rounder number come out even.

    Before pops in the dark, call it out: people, stands and cables are not to be seen. Flashes at
    about 3 to 30 a second can trigger seizures in sensitive people. A flash stores energy that can
    kill, long after it was switched off: never open one, never touch its circuit. Do not look into
    the tube. Follow the maker's manual and its duty cycle: units, tubes and gels overheat.

    Exit status: 0 every frame holds its pops, or the pops are planned; 1 some frame holds other
    than its planned pops; 2 the plan, the counts or the command are wrong; 3 in some frame they
    cannot be told, or it could not be measured.
    """
    check_targets({"--json": json})
    checked_jobs(jobs)
    transfer = checked_transfer(transfer)
    out = Out(console_of(stderr=json == STANDARD), console_of(stderr=True), quiet)
    plans = [path for path in named or [] if path.suffix.lower() == PLAN_ENDING]
    frames = [path for path in named or [] if path not in plans]
    if len(plans) > 1:
        msg = f"one plan at a time, not {len(plans)}: {', '.join(map(str, plans))}"
        raise PlanError(in_one_line(msg))
    its = setup_named(plans[0] if plans else None, setup)
    if want is not None:
        if frames or counts is not None or csv is not None:
            msg = "--want plans pops from the reading of a plan: name no frames and no counts"
            raise PlanError(msg)
        _plan(its, plans, (want, interval), (card, transfer), json, out)
        raise typer.Exit(ALL_WITHIN)
    if interval is not None:
        msg = "--interval belongs to --want: it is the time from pop to pop of what is planned"
        raise PlanError(msg)
    planned = counts_checked(_counts(its, frames, counts, csv, out))
    place = None if card is None else parse_place(card, "--card ")
    options = Options(place, transfer, jobs=min(jobs, len(planned)))
    shoot = run(plan_of_counts(its, planned), list(planned), options, 0, out, None)
    if shoot.stopped:
        out.problems.print("greyproof: stopped; a part of the frames gives no counts")
        raise typer.Exit(INTERRUPTED)
    _check_one_body(shoot.checks)
    study = study_of(
        pop_frames(shoot.checks, planned, its.camera), expected_of_one(shoot.checks, planned)
    )
    if quiet:
        for line in problem_lines(study):
            out.problems.print(plain_text(line))
    else:
        out.words.print(study_text(study))
    if json is not None:
        write(json, study_json(study))
    raise typer.Exit(_status(study))


def _counts(
    setup: SetUp, frames: Sequence[Path], typed: str | None, csv: Path | None, out: Out
) -> dict[Path, int]:
    """The frames and the pops planned in each. Raises PlanError."""
    if csv is not None:
        if typed is not None or frames:
            msg = "--csv names the frames and their pops: give no frames and no --counts beside it"
            raise PlanError(msg)
        return counts_from(csv)
    if not frames:
        msg = (
            'name the frames and their pops with --counts or --csv, or plan pops with --want "f/45"'
        )
        raise PlanError(msg)
    files = gathered_of(frames, out).files
    if typed is not None:
        return counts_typed(typed, files)
    if setup.camera is None or setup.camera.pops == 1:
        msg = "how many pops were planned in each frame? Say so with --counts 1,2,4,8 or --csv FILE"
        raise PlanError(msg)
    return dict.fromkeys(files, setup.camera.pops)


def _check_one_body(checks: Sequence[FrameCheck]) -> None:
    """Raise PlanError where frames of several cameras are to be held against each other."""
    bodies = sorted({body(check.settings) for check in checks} - {""})
    if len(bodies) > 1:
        msg = f"these frames are of {len(bodies)} cameras ({', '.join(bodies)}): name those of one"
        raise PlanError(in_one_line(msg))


def _plan(
    setup: SetUp,
    plans: Sequence[Path],
    typed: tuple[str, str | None],
    looked: tuple[str | None, str | None],
    json: str | None,
    out: Out,
) -> None:
    """Plan the pops of a wanted aperture, and tell of them. Raises PlanError."""
    want, interval = typed
    try:
        wanted = parse_camera_aperture(want, 1 / 3 if setup.camera is None else setup.camera.step)
    except PlanError as error:
        msg = f"--want {error}"
        raise PlanError(msg) from error
    interval_s = None if interval is None else _interval_s(interval)
    where = "" if not plans else f"{in_one_line(str(plans[0]))}: "
    try:
        found = pops_needed(setup, wanted, interval_s, _ambient_stops(setup, *looked))
    except PlanError as error:
        msg = f"{where}{error}"
        raise PlanError(msg) from error
    if not out.quiet:
        out.words.print(plan_text(found))
    if json is not None:
        write(json, plan_json(found))


def _interval_s(typed: str) -> float:
    """Time from pop to pop [s]. Raises PlanError."""
    try:
        seconds = parse_seconds(typed)
    except PlanError as error:
        msg = f"--interval {error}"
        raise PlanError(msg) from error
    if seconds <= 0:
        msg = "--interval: pops cannot come all at once: give the time that the flash recharges in"
        raise PlanError(msg)
    return seconds


def _ambient_stops(setup: SetUp, card: str | None, transfer: str | None) -> float | None:
    """Stops of the plan's frame of ambient light under the planned flash; None without one."""
    planned, camera, flash = setup.motion.ambient, setup.camera, expected_signal(setup)
    shutter_s = setup.motion.shutter.time_s
    frame = None if planned is None else planned.frame
    if frame is None or camera is None or flash is None or shutter_s is None:
        return None
    place = setup.card.place if card is None else parse_place(card, "--card ")
    ambient = open_ambient(frame, transfer, place)
    try:
        signal, _ = ambient.reading(step=camera.step).at(camera.aperture.n, camera.iso, shutter_s)
    finally:
        ambient.frame.source.close()
    return math.log2(flash / signal) if signal > 0 else math.inf


def _status(study: PopStudy) -> int:
    """Exit status: a frame that holds other than its pops counts most."""
    if any(one.off for one in study.frames):
        return SOME_OUT
    return ALL_WITHIN if all(one.tellable for one in study.frames) else UNMEASURED
