"""What was typed of a flash to its light and its shutter; options that pulse and motion share."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

import typer

from verify.cli.inputs import PLAN_ENDING
from verify.errors import PlanError, in_one_line
from verify.motion.planned import firing_planned
from verify.notation import parse_seconds, parse_shutter
from verify.plan.file import read_plan
from verify.plan.load import quoted
from verify.plan.motion import ShutterPlan
from verify.plan.records import SetUp
from verify.pulse.firing import firing_of
from verify.pulse.records import Firing
from verify.trace.read import read_trace

SUBSECOND = re.compile(r"(ms|us|\N{MICRO SIGN}s|\N{GREEK SMALL LETTER MU}s)\s*$", re.IGNORECASE)
BANDWIDTH = re.compile(r"([0-9]+(?:[.,][0-9]+)?)\s*(k|m)?\s*(?:hz)?", re.IGNORECASE)
TIMES = {None: 1.0, "k": 1e3, "m": 1e6}

TimeOption = Annotated[
    str | None,
    typer.Option("--time", metavar="COLUMN", help="Column of time: its name, or number from 1."),
]
ValueOption = Annotated[
    str | None,
    typer.Option(
        "--value",
        metavar="COLUMN",
        help="Column of light: its name, or number from 1. Of a sound recording the channel.",
    ),
]
BandwidthOption = Annotated[
    str | None,
    typer.Option(
        "--sensor-bandwidth",
        metavar="HERTZ",
        help='Bandwidth of the light sensor (3 dB), such as "50 kHz": what it does to t.5 and t.1 '
        "is told.",
    ),
]
PulseOption = Annotated[
    Path | None,
    typer.Option(
        metavar="RECORDING",
        readable=False,
        help="A recording of the flash (CSV or WAV); else the plan's [[flash]] stands for it.",
    ),
]
AmbientFrameOption = Annotated[
    Path | None,
    typer.Option(
        metavar="FRAME",
        readable=False,
        help="A frame of the card shot with the flash off: what the ambient light gives.",
    ),
]
SetUpOption = Annotated[
    str | None,
    typer.Option("--setup", metavar="NAME", help="The set-up of the plan, if not the main one."),
]


@dataclass(frozen=True, slots=True)
class Recorded:
    """A recording of a flash, and how it is to be read."""

    path: Path
    time: str | None
    value: str | None
    bandwidth_hz: float | None

    def firing(self) -> Firing:
        """The flash in it. Raises PlanError."""
        where = in_one_line(str(self.path))
        return firing_of(read_trace(self.path, self.time, self.value), where, self.bandwidth_hz)


def recording_and_plan(named: Sequence[Path]) -> tuple[Path | None, Path | None]:
    """The recording and the plan among what was named, one of each at most. Raises PlanError."""
    plans = [path for path in named if path.suffix.lower() == PLAN_ENDING]
    others = [path for path in named if path not in plans]
    for what, found in (("plan", plans), ("recording", others)):
        if len(found) > 1:
            msg = f"one {what} at a time, not {len(found)}: {', '.join(map(str, found))}"
            raise PlanError(in_one_line(msg))
    return next(iter(others), None), next(iter(plans), None)


def setup_named(path: Path | None, name: str | None) -> SetUp:
    """A set-up of a plan; of no plan, one that says nothing. Raises PlanError."""
    plan = read_plan(path)
    if name is None:
        return plan.main
    found = next((setup for setup in plan.setups if setup.name == name), None)
    if found is None:
        names = ", ".join(setup.name for setup in plan.setups)
        msg = f"--setup {name}: the plan has no such set-up; it has {names}"
        raise PlanError(in_one_line(msg))
    return found


def firing_for(recorded: Recorded | None, setup: SetUp, where: str) -> Firing:
    """The flash light: as recorded, else as the plan's [[flash]] has it. Raises PlanError."""
    if recorded is not None:
        return recorded.firing()
    if not setup.motion.lamps:
        msg = f"{where}: there is no [[flash]] in it: give its durations there, or name a recording"
        raise PlanError(msg)
    return firing_planned(setup.motion.lamps)


def recorded_from(
    path: Path | None, time: str | None, value: str | None, bandwidth: str | None
) -> Recorded | None:
    """The recording with the options that belong to it. Raises PlanError."""
    options = {"--time": time, "--value": value, "--sensor-bandwidth": bandwidth}
    if path is None:
        given = [name for name, typed in options.items() if typed is not None]
        if given:
            msg = f"{given[0]} is about a recording, and none is named"
            raise PlanError(msg)
        return None
    hertz = None if bandwidth is None else _bandwidth_hz(bandwidth)
    return Recorded(path, time, value, hertz)


def shutter_time(typed: str) -> float:
    """Seconds of a shutter time: marked ones exact, "4 ms" as it is. Raises PlanError."""
    try:
        seconds = parse_seconds(typed) if SUBSECOND.search(typed) else parse_shutter(typed)
    except PlanError as error:
        msg = f"--shutter {error}"
        raise PlanError(msg) from error
    if not seconds:
        msg = f"--shutter {quoted(typed)} is no time that a flash can be held against"
        raise PlanError(msg)
    return seconds


def shutter_typed(
    planned: ShutterPlan, travel: str | None, leaf: str | None, delay: str | None
) -> ShutterPlan:
    """The plan's shutter with what was typed in its place. Raises PlanError."""
    if travel is not None and leaf is not None:
        msg = "--travel is of a curtain and --leaf of a leaf shutter: give one of them"
        raise PlanError(msg)
    shutter = planned
    if travel is not None:
        shutter = replace(shutter, kind="curtain", travel_s=_seconds("--travel", travel))
    if leaf is not None:
        parts = [part for part in re.split(r"[,;]\s*(?=\S)", leaf) if part.strip()]
        if len(parts) not in (1, 2):
            msg = f'--leaf {quoted(leaf)}: give opening and closing time, such as "1 ms, 1 ms"'
            raise PlanError(msg)
        opening, closing = _seconds("--leaf", parts[0]), _seconds("--leaf", parts[-1])
        shutter = replace(shutter, kind="leaf", opening_s=opening, closing_s=closing, travel_s=None)
    if delay is not None:
        shutter = replace(shutter, delay_s=_seconds("--delay", delay))
    return shutter


def _seconds(option: str, typed: str) -> float:
    """A time that is taken as it is. Raises PlanError."""
    try:
        return parse_seconds(typed)
    except PlanError as error:
        msg = f"{option} {error}"
        raise PlanError(msg) from error


def _bandwidth_hz(typed: str) -> float:
    """Hertz of a bandwidth. Raises PlanError."""
    found = BANDWIDTH.fullmatch(typed.strip())
    hertz = 0.0
    if found is not None:
        hertz = float(found[1].replace(",", ".")) * TIMES[(found[2] or "").lower() or None]
    if not 1 <= hertz <= 1e9:
        msg = f'--sensor-bandwidth {quoted(typed)} is no bandwidth: write it as "50 kHz" or 50000'
        raise PlanError(msg)
    return hertz
