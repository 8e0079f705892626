"""The command that tells the durations of a recorded flash, and what a shutter cuts of it."""

from pathlib import Path
from typing import Annotated

import typer

from verify.cli.app import app
from verify.cli.flash import (
    BandwidthOption,
    SetUpOption,
    TimeOption,
    ValueOption,
    firing_for,
    recorded_from,
    recording_and_plan,
    setup_named,
    shutter_time,
    shutter_typed,
)
from verify.cli.inputs import ending_of_plot
from verify.cli.options import JsonOption, PlotOption, QuietOption
from verify.cli.out import ALL_WITHIN, SOME_OUT, Out, console_of, write
from verify.errors import PlanError
from verify.motion.losses import ShutterStudy, shutter_study
from verify.report.characters import plain_text
from verify.report.pulse_json import pulse_json
from verify.report.pulse_plot import pulse_plot
from verify.report.pulse_text import doubts, pulse_text
from verify.report.to_file import STANDARD, check_targets, write_report

ORIENTATIONS = range(1, 9)

NamedRecording = Annotated[
    list[Path] | None, typer.Argument(metavar="RECORDING|PLAN.toml", hidden=True, readable=False)
]
ShutterTimes = Annotated[
    list[str] | None,
    typer.Option(
        "--shutter",
        metavar="TIME",
        help='A shutter time, such as 1/250, which is 1/256 s; "4 ms" is as it is. Repeatable.',
    ),
]
TravelOption = Annotated[
    str | None,
    typer.Option(
        metavar="TIME",
        help='Time that the curtain needs to cross the frame, such as "3 ms"; of an electronic '
        "shutter its readout time. Without it three quarters of the plan's sync time.",
    ),
]
LeafOption = Annotated[
    str | None,
    typer.Option(
        metavar="OPENING,CLOSING", help='A leaf shutter, and its times, such as "1 ms, 1 ms".'
    ),
]
DelayOption = Annotated[
    str | None,
    typer.Option(
        metavar="TIME", help="From the shutter all open to the first light, as radios make it."
    ),
]
ToleranceOption = Annotated[
    float | None,
    typer.Option(
        metavar="STOPS", help="Loss that is still good; else the plan's between_frames, or 0.1."
    ),
]
OrientationOption = Annotated[
    int,
    typer.Option(
        metavar="1-8",
        show_default=False,
        help="Exif orientation of the picture whose edges are named; 1 is level, 6 and 8 upright.",
    ),
]


@app.command(short_help="Tell a flash's duration, and what a shutter cuts of it.")
def pulse(
    named: NamedRecording = None,
    time: TimeOption = None,
    value: ValueOption = None,
    sensor_bandwidth: BandwidthOption = None,
    shutter: ShutterTimes = None,
    travel: TravelOption = None,
    leaf: LeafOption = None,
    delay: DelayOption = None,
    tolerance: ToleranceOption = None,
    orientation: OrientationOption = 1,
    setup: SetUpOption = None,
    json: JsonOption = None,
    plot_to: PlotOption = None,
    quiet: QuietOption = False,
) -> None:
    """Tell the durations of a flash from a recording of its light, and what a shutter cuts of it.

    RECORDING is a table of time and light (CSV) or a sound recording (WAV) of a light sensor.
    PLAN.toml gives sync, shutter time and tolerance; its [[flash]] stands in for a recording.

    Record from outside, with a light sensor that runs on a battery. Never open a flash, never touch
    its circuit, never wire a sensor, oscilloscope or sound card to a sync socket: stored energy can
    kill, and old units put hundreds of volts on it. Do not look into the tube. Flashes at about 3
    to 30 a second can trigger seizures in sensitive people. Follow the maker's manual and local
    rules; leave repairs to licensed people.

    Exit status: 0 no shutter time loses more than the tolerance, 1 one does, 2 the recording, the
    plan or the command is wrong.
    """
    check_targets({"--json": json, "--plot": plot_to})
    ending = ending_of_plot(plot_to)
    if orientation not in ORIENTATIONS:
        msg = f"--orientation {orientation}: Exif has 1 to 8"
        raise PlanError(msg)
    path, plan_path = recording_and_plan(named or [])
    if path is None and plan_path is None:
        msg = "name a recording (CSV or WAV), or a plan with [[flash]] in it"
        raise PlanError(msg)
    recorded = recorded_from(path, time, value, sensor_bandwidth)
    its = setup_named(plan_path, setup)
    kept = shutter_typed(its.motion.shutter, travel, leaf, delay)
    times = list(map(shutter_time, shutter or []))
    if not times and kept.time_s is not None:
        times = [kept.time_s]
    limit = its.tolerance.between_frames if tolerance is None else tolerance
    if not 0 < limit <= 5:
        msg = f"--tolerance {tolerance:g}: give stops above 0, up to 5"
        raise PlanError(msg)
    firing = firing_for(recorded, its, str(plan_path))
    study = shutter_study(firing, kept, times, limit, its.motion.sensor.covered_first, orientation)
    out = Out(console_of(stderr=json == STANDARD), console_of(stderr=True), quiet)
    if quiet:
        for line in doubts(firing, study):
            out.problems.print(plain_text(f"greyproof: {line}"))
    else:
        out.words.print(pulse_text(firing, study, str(path or plan_path)))
    if json is not None:
        write(json, pulse_json(firing, study))
    if plot_to is not None:
        write_report(plot_to, pulse_plot(firing, study, ending))
    raise typer.Exit(_status(study))


def _status(study: ShutterStudy) -> int:
    """Exit status by the worst loss."""
    worst = max((one.loss.most or 0.0 for one in study.shutters), default=0.0)
    return SOME_OUT if worst > study.tolerance_stops else ALL_WITHIN
