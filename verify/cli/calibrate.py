"""The command that fits the offset between a meter and a camera."""

from collections.abc import Sequence
from dataclasses import replace as replace_fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from verify import __version__
from verify.calibrate.calibration import calibrated
from verify.calibrate.match import Matcher, approved, headroom, parse_match, standard
from verify.calibrate.readings import read_readings
from verify.calibrate.records import Calibration, Excluded, Match
from verify.calibrate.sift import Shot
from verify.checking import body, setup_of
from verify.cli.app import app
from verify.cli.inputs import (
    JOBS,
    PLAN_ENDING,
    checked_jobs,
    checked_transfer,
    ending_of_plot,
    gathered_of,
    plan_and_frames,
    run,
)
from verify.cli.offset_store import StoreOption, store_at
from verify.cli.options import (
    CardOption,
    IsoOption,
    JobsOption,
    JsonOption,
    NamedPaths,
    PlotOption,
    QuietOption,
    ReadingOption,
    ShowOption,
    ShutterOption,
    TransferOption,
)
from verify.cli.out import ALL_WITHIN, INTERRUPTED, UNMEASURED, WRONG, Out, console_of, write
from verify.errors import PlanError, in_one_line
from verify.frames.frame import Settings
from verify.offsets.records import SavedOffset
from verify.place import parse_place
from verify.plan.load import quoted
from verify.plan.records import Plan
from verify.report.album import Album
from verify.report.calibration_json import calibration_json
from verify.report.calibration_plot import plot
from verify.report.calibration_text import calibration_text, excluded_lines
from verify.report.characters import plain_text
from verify.report.to_file import STANDARD, check_targets, write_report
from verify.shoot import Options, Shoot, read_back

ReadingsOption = Annotated[
    Path | None,
    typer.Option(metavar="READINGS.csv", readable=False, help="A row for each frame."),
]
MatchOption = Annotated[
    str,
    typer.Option(
        metavar="standard|headroom:STOPS|frame:FILE",
        help="What the frames are to match: the standard; diffuse white so many stops below "
        "clipping; a frame you approved. It changes the advice, never the offset.",
    ),
]
SaveOption = Annotated[
    str | None, typer.Option(metavar="NAME", help="Keep the offset under this name.")
]
ReplaceOption = Annotated[
    bool, typer.Option("--replace", help="Replace a kept offset of that name.")
]


@app.command(short_help="Fit the offset of a meter and a camera.")
def calibrate(
    named: NamedPaths = None,
    readings: ReadingsOption = None,
    match: MatchOption = "standard",
    save: SaveOption = None,
    replace: ReplaceOption = False,
    store: StoreOption = None,
    card: CardOption = None,
    reading: ReadingOption = None,
    iso: IsoOption = None,
    shutter: ShutterOption = None,
    transfer: TransferOption = None,
    json: JsonOption = None,
    plot_to: PlotOption = None,
    show: ShowOption = None,
    jobs: JobsOption = JOBS,
    quiet: QuietOption = False,
) -> None:
    """Fit the offset between this meter and this camera, and say what to set on the meter.

    Either PLAN.toml FRAME...: one reading, frames bracketed round it. Or --readings READINGS.csv, a
    row for each frame: columns frame and aperture (as the meter shows it), and what else differs:
    iso, shutter, light, method, receptor, aimed, pops, over, correction, meter, card; PLAN.toml
    then gives what no row says.

    The offset is measured minus promised. What to set on the meter, its correction, has the
    opposite sign.

    Exit status: 0 an offset was fitted, 2 the plan, the readings or the command are wrong or it
    could not be kept, 3 no frame counts.
    """
    check_targets({"--json": json, "--plot": plot_to})
    ending = ending_of_plot(plot_to)
    checked_jobs(jobs)
    wanted = parse_match(match)
    if isinstance(wanted, Path) and not wanted.is_file():
        msg = f"--match frame:{wanted}: there is no such file"
        raise PlanError(in_one_line(msg))
    transfer = checked_transfer(transfer)
    place = None if card is None else parse_place(card, "--card ")
    _check_saving(save, replace, store)
    album = None if show is None else Album(Path(show))
    out = Out(console_of(stderr=json == STANDARD), console_of(stderr=True), quiet)
    plan, files, reading_of, left_out = _set(named or [], readings, (reading, iso, shutter), out)
    options = Options(place, transfer, pictures=album is not None, jobs=min(jobs, len(files)))
    if not quiet and readings is None:
        for line in read_back(plan):
            out.words.print(plain_text(line))
    matcher = _matcher(wanted, plan, options, out)
    shoot = run(plan, files, options, 0, out, album)
    if shoot.stopped:
        out.problems.print("greyproof: stopped; a part of a set gives no offset")
        raise typer.Exit(INTERRUPTED)
    result = calibrated(_shots(shoot, reading_of), matcher, left_out)
    _print(result, out)
    if album is not None and album.problem:
        out.problems.print(plain_text(f"greyproof: {album.problem}"))
    if json is not None:
        write(json, calibration_json(result))
    kept = save is None or _save(result, save, replace, store, out)
    if plot_to is not None:
        _plot(result, plot_to, ending, out)
    if result.offset_stops is None:
        raise typer.Exit(UNMEASURED)
    raise typer.Exit(ALL_WITHIN if kept else WRONG)


def _set(
    named: Sequence[Path],
    readings: Path | None,
    typed: tuple[str | None, str | None, str | None],
    out: Out,
) -> tuple[Plan, list[Path], list[int] | None, list[Excluded]]:
    """The plan of a set, its frames, the number of each one's reading, and frames left out.

    Without a readings file each set-up has one reading, and no numbers are given.
    """
    if readings is None:
        plan, paths = plan_and_frames(named, *typed)
        if plan.main.reading is None:
            msg = (
                "nothing was metered: give the reading in the plan, with --reading, or a row for "
                "each frame in --readings READINGS.csv"
            )
            raise PlanError(msg)
        files = list(gathered_of(paths, out).files)
        if not files:
            msg = "name the frames that were shot by this reading"
            raise PlanError(msg)
        return plan, files, None, []
    if any(value is not None for value in typed):
        msg = "--reading, --iso and --shutter: with --readings, each row says what the meter showed"
        raise PlanError(msg)
    others = [path for path in named if path.suffix.lower() != PLAN_ENDING]
    if others or len(named) > 1:
        msg = "with --readings name one plan at most: the frames are in its rows"
        raise PlanError(msg)
    read = read_readings(readings, named[0] if named else None)
    left_out = [Excluded(path, reason) for path, reason in read.excluded]
    return read.plan, list(read.files), list(read.reading_of), left_out


def _shots(shoot: Shoot, reading_of: Sequence[int] | None) -> list[Shot]:
    """The frames of the set with their set-ups."""
    shots = []
    for at, check in enumerate(shoot.checks):
        setup = setup_of(shoot.plan, check.file, check.settings or Settings())
        number = setup if reading_of is None else reading_of[at]
        shots.append(Shot(check, shoot.plan.setups[setup], number))
    return shots


def _matcher(wanted: float | Path | None, plan: Plan, options: Options, out: Out) -> Matcher:
    """What the frames are to match; an approved frame is measured before the set."""
    if wanted is None:
        return standard
    if isinstance(wanted, float):
        return headroom(wanted)
    alone = replace_fields(options, pictures=False, jobs=min(options.jobs, 1))
    (check,) = run(plan, [wanted], alone, 0, out, None).checks
    found = approved(check, plan.main)

    def match(shots: Sequence[Shot]) -> Match:
        bodies = {body(shot.check.settings) for shot in shots}
        if not bodies or bodies == {body(check.settings)}:
            return found
        return replace_fields(found, words=f"{found.words}, which is of another body")

    return match


def _print(result: Calibration, out: Out) -> None:
    """The result for people; only what was left out when quiet."""
    if not out.quiet:
        out.words.print(calibration_text(result))
        return
    for line in excluded_lines(result):
        out.problems.print(plain_text(line))


def _check_saving(name: str | None, replace: bool, store: Path | None) -> None:
    """Refuse a name or a store that nothing could be kept under, before anything is measured."""
    if name is not None:
        if name.isspace() or not name.isprintable() or name.startswith("-"):
            msg = f"--save {quoted(name)}: give a name in plain characters, such as bench"
            raise PlanError(msg)
        store_at(store).check_name(name, replace)
    elif replace:
        msg = "--replace: say with --save NAME what is to be kept"
        raise PlanError(msg)


def _save(result: Calibration, name: str, replace: bool, store: Path | None, out: Out) -> bool:
    """Keep the offset under its name; whether it could be."""
    belongs = result.belongs
    for why in result.mixed:
        out.problems.print(plain_text(f"greyproof: not kept: {why}"))
    if result.mixed:
        return False
    if (
        result.offset_stops is None
        or result.u_stops is None
        or result.u_same_card is None
        or result.interval_stops is None
        or belongs is None
    ):
        out.problems.print("greyproof: there is no offset to keep")
        return False
    kept = store_at(store)
    kept.save(
        SavedOffset(
            name=name,
            stops=result.offset_stops,
            u_stops=result.u_stops,
            u_same_card=result.u_same_card,
            interval_stops=result.interval_stops,
            parts=result.parts,
            belongs=belongs,
            frames=len(result.frames),
            saved=datetime.now(UTC).replace(microsecond=0),
            greyproof=__version__,
        ),
        replace,
    )
    if not out.quiet:
        out.words.print(plain_text(f'Kept as "{name}" in {kept.path}.'))
    return True


def _plot(result: Calibration, target: str, ending: str, out: Out) -> None:
    """Draw the set."""
    if result.offset_stops is None:
        out.problems.print(plain_text(f"greyproof: {target}: there is nothing to draw"))
        return
    write_report(target, plot(result, ending))
