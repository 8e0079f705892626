"""The command that tells how sharp something that moves will be, and whether it leaves a ghost."""

import math
from pathlib import Path
from typing import Annotated

import typer

from verify.ambient.flash_off import open_ambient
from verify.cli.app import app
from verify.cli.flash import (
    AmbientFrameOption,
    BandwidthOption,
    PulseOption,
    SetUpOption,
    TimeOption,
    ValueOption,
    firing_for,
    recorded_from,
    setup_named,
)
from verify.cli.inputs import PLAN_ENDING, checked_transfer, ending_of_plot
from verify.cli.options import CardOption, JsonOption, PlotOption, QuietOption, TransferOption
from verify.cli.out import ALL_WITHIN, SOME_OUT, Out, console_of, write
from verify.errors import PlanError, in_one_line
from verify.frame_motion import moving_of, sensor_of_picture
from verify.motion.image import missing_for_blur, missing_for_ghost
from verify.motion.records import MotionRisk
from verify.motion.risk import Moving
from verify.place import parse_place
from verify.plan.expected import expected_signal
from verify.plan.motion import Sensor
from verify.plan.records import SetUp
from verify.report.characters import plain_text
from verify.report.motion_json import motion_json
from verify.report.motion_picture import MotionPicture
from verify.report.motion_plot import motion_plot
from verify.report.motion_text import motion_doubts, motion_text
from verify.report.to_file import STANDARD, check_targets, write_report

NamedPlan = Annotated[Path | None, typer.Argument(metavar="PLAN.toml", hidden=True, readable=False)]


@app.command(short_help="Tell how sharp what moves will be, and whether it leaves a ghost.")
def motion(
    plan: NamedPlan = None,
    pulse: PulseOption = None,
    time: TimeOption = None,
    value: ValueOption = None,
    sensor_bandwidth: BandwidthOption = None,
    ambient_frame: AmbientFrameOption = None,
    card: CardOption = None,
    transfer: TransferOption = None,
    setup: SetUpOption = None,
    json: JsonOption = None,
    plot_to: PlotOption = None,
    quiet: QuietOption = False,
) -> None:
    """Tell how sharp something that moves will be, and whether ambient light leaves a ghost of it.

    PLAN.toml says what moves ([subject]), how fine the sensor is ([sensor]), how long the flash
    burns ([[flash]], unless --pulse names a recording), the shutter time and the ambient light
    ([ambient], or --ambient-frame). Modelling lamps are ambient light.

    Record a flash from outside, with a light sensor that runs on a battery. Never open a flash,
    never touch its circuit, never wire anything to a sync socket: stored energy can kill, and old
    units put hundreds of volts on it. Do not look into the tube. Flashes at about 3 to 30 a second
    can trigger seizures in sensitive people. Follow the maker's manual and local rules; leave
    repairs to licensed people.

    Exit status: 0 sharp, no ghost to be seen and no flash lost beyond the tolerance; 1 not so; 2
    the plan or the command is wrong.
    """
    check_targets({"--json": json, "--plot": plot_to})
    ending = ending_of_plot(plot_to)
    if plan is None or plan.suffix.lower() != PLAN_ENDING:
        named = "no file" if plan is None else str(plan)
        msg = f"name the plan, a file that ends in {PLAN_ENDING}: {named} is named"
        raise PlanError(in_one_line(msg))
    recorded = recorded_from(pulse, time, value, sensor_bandwidth)
    its = setup_named(plan, setup)
    where = in_one_line(str(plan))
    told, ambient_stops = _ambient(its, ambient_frame, card, checked_transfer(transfer))
    _check_enough(its, told, recorded is not None, where)
    firing = firing_for(recorded, its, where)
    moves = moving_of(its, firing, told, ambient_stops)
    risk = moves.at(its.motion.shutter.time_s)
    lacking = missing_for_ghost(
        its.motion,
        told,
        ambient_known=ambient_stops is not None,
        shutter_known=False,
        flash_metered=its.reading is not None,
    )
    out = Out(console_of(stderr=json == STANDARD), console_of(stderr=True), quiet)
    if quiet:
        for line in motion_doubts(risk):
            out.problems.print(plain_text(f"greyproof: {line}"))
    else:
        out.words.print(motion_text(risk, moves, lacking))
    if json is not None:
        write(json, motion_json(risk))
    if plot_to is not None:
        write_report(plot_to, motion_plot(_picture(moves, risk), ending))
    raise typer.Exit(_status(risk, moves.tolerance_stops))


def _check_enough(setup: SetUp, told: Sensor, recorded: bool, where: str) -> None:
    """Raise PlanError, naming the keys, where the plan does not give enough for the blur."""
    missing = missing_for_blur(setup.motion, told, recorded)
    if missing:
        keys = "this key is" if len(missing) == 1 else "these keys are"
        msg = f"{where}: for what moves {keys} needed and not there: {'; '.join(missing)}"
        raise PlanError(msg)


def _ambient(
    setup: SetUp, named: Path | None, card: str | None, transfer: str | None
) -> tuple[Sensor, float | None]:
    """What a frame of the ambient light tells: the sensor, and stops under the planned flash.

    Raises
    ------
    PlanError
        If it cannot be measured, or nothing tells how much light the flash is to give.
    """
    planned = setup.motion.ambient
    path = named or (None if planned is None else planned.frame)
    if path is None:
        return Sensor(), None
    place = setup.card.place if card is None else parse_place(card, "--card ")
    flash, camera, shutter_s = expected_signal(setup), setup.camera, setup.motion.shutter.time_s
    if flash is None or camera is None or shutter_s is None:
        msg = (
            "a frame of the ambient light is held against the flash that the meter read: give"
            " [reading] aperture and [camera] shutter in the plan, or [ambient] stops_under_flash"
        )
        raise PlanError(msg)
    ambient = open_ambient(path, transfer, place)
    try:
        reading = ambient.reading(step=camera.step)
        told = sensor_of_picture(ambient.frame.settings, ambient.frame.size)
    finally:
        ambient.frame.source.close()
    signal, _ = reading.at(camera.aperture.n, camera.iso, shutter_s)
    return told, math.log2(flash / signal) if signal > 0 else math.inf


def _picture(moves: Moving, risk: MotionRisk) -> MotionPicture:
    """What the plot shows. Only where the blur is known; see :func:`_check_enough`."""
    if moves.firing is None or moves.speed_um_s is None or risk.blur is None:
        raise PlanError("there is nothing to draw: neither flash nor motion is known")
    pitch_um = moves.sensor.pitch_um
    if pitch_um is None:
        raise PlanError("there is nothing to draw: the sensor's pitch is not known")
    firing, speed = moves.firing, moves.speed_um_s
    return MotionPicture(firing.course, speed, pitch_um, risk.blur, risk.ghost, firing.rests_on)


def _status(risk: MotionRisk, tolerance_stops: float) -> int:
    """Exit status by the verdicts and the loss."""
    sharp = risk.blur is None or risk.blur.verdict == "sharp"
    hidden = risk.ghost is None or risk.ghost.verdict in (None, "hidden")
    whole = risk.shutter_loss_stops is None or risk.shutter_loss_stops <= tolerance_stops
    return ALL_WITHIN if sharp and hidden and whole else SOME_OUT
