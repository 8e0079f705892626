"""How many pops make an exposure, from the meter's reading of one."""

import math
from collections.abc import Iterator
from dataclasses import replace

from verify.errors import PlanError
from verify.exposure import stops_between
from verify.motion.ambient import ambient_stated
from verify.notation import Aperture, iso_text
from verify.plan.expected import departure_stops
from verify.plan.records import CameraPlan, Reading, SetUp
from verify.pops.missed import MOST_COUNTED, missed_stops, most_by_tolerance
from verify.pops.records import PopChoice, PopPlan

INTERVAL_S = 2.0  # from pop to pop, where nothing is said: time to recharge
EVEN_STOPS = 0.05  # a difference that a step of a tenth of a stop cannot make smaller
MOST_MORE_POWER = 2.0  # stops that an alternative may ask for
MOST_ALTERNATIVES = 3


def pops_needed(
    setup: SetUp,
    wanted: Aperture,
    interval_s: float | None = None,
    ambient_stops: float | None = None,
) -> PopPlan:
    """The pops that a wanted aperture needs.

    Parameters
    ----------
    setup : its reading of the flash, and the camera's ISO, bellows and filters.
    wanted : aperture at the lens.
    interval_s : from pop to pop [s]; None: a usual one.
    ambient_stops : by which the ambient light is under the planned flash at the plan's shutter
        time, as measured; None takes what the plan states.

    Raises
    ------
    PlanError
        If no flash was metered.
    """
    reading, camera = setup.reading, setup.camera
    if reading is None or camera is None:
        msg = "how much one pop gives is not known: give [reading] aperture in the plan"
        raise PlanError(msg)
    if reading.timed:
        msg = f'pops are of flash, and the reading is of light = "{reading.light}"'
        raise PlanError(msg)
    exact = _exact_pops(reading, camera, wanted)
    pops = nearest_whole(exact)
    interval = INTERVAL_S if interval_s is None else interval_s
    open_s = pops * interval
    under = _ambient_under(setup, pops, open_s, ambient_stops)
    missed = missed_stops(pops) if pops > 1 else None
    return PopPlan(
        metered=_metered(reading),
        wanted=wanted.text,
        lost_stops=camera.bellows_stops + camera.filter_stops,
        missing_stops=math.log2(exact),
        exact_pops=exact,
        chosen=PopChoice(pops, 0.0, stops_between(pops, exact)),
        alternatives=tuple(alternatives(exact, pops)),
        one_missed_stops=missed,
        interval_s=interval,
        interval_given=interval_s is not None,
        open_s=open_s,
        ambient_under_stops=under,
        ambient_adds_stops=None if under is None else math.log2(1 + 2.0**-under),
        notes=tuple(_notes(setup, exact, missed, under)),
    )


def nearest_whole(exact: float) -> int:
    """The whole number of pops whose light is nearest, 1 or more: nearest in stops.

    Parameters
    ----------
    exact : above 0.
    """
    low = max(math.floor(exact), 1)
    return min((low, low + 1), key=lambda pops: abs(math.log2(pops / exact)))


def alternatives(exact: float, pops: int) -> Iterator[PopChoice]:
    """Counts with the power that makes them come out even: the same one, and rounder ones.

    Parameters
    ----------
    exact : pops, and parts of one, that are needed.
    pops : the whole number nearest to it.
    """
    counts = [pops] if abs(math.log2(pops / exact)) >= EVEN_STOPS else []
    power_of_two = 2 ** math.floor(math.log2(pops))
    counts += [power_of_two // part for part in (1, 2, 4) if power_of_two // part != pops]
    found = []
    for count in (count for count in counts if count >= 1):
        change = round(math.log2(exact / count), 1) + 0.0  # no -0.0
        if change <= MOST_MORE_POWER:
            found.append(PopChoice(count, change, math.log2(count / exact) + change))
    yield from found[:MOST_ALTERNATIVES]


def _exact_pops(reading: Reading, camera: CameraPlan, wanted: Aperture) -> float:
    """Pops, and parts of one, that give the metered exposure at the wanted aperture."""
    one = replace(camera, aperture=wanted, pops=1)
    return float(2.0 ** (camera.over - departure_stops(reading, one)))


def _ambient_under(
    setup: SetUp, pops: int, open_s: float, measured_stops: float | None
) -> float | None:
    """Stops by which the ambient light of the whole open time is under the light of all pops.

    None where the plan does not tell. Flash grows with the pops, ambient light with the open time.
    """
    reading, camera, shutter_s = setup.reading, setup.camera, setup.motion.shutter.time_s
    if reading is None or camera is None or shutter_s is None:
        return None
    stated = measured_stops
    if stated is None:
        stated = ambient_stated(setup.motion.ambient, reading.aperture.n, camera.pops, reading.pops)
    if stated is None or math.isinf(stated):
        return None
    return stated + stops_between(pops, camera.pops) - stops_between(open_s, shutter_s)


def _metered(reading: Reading) -> str:
    """What the meter showed, in words."""
    pops = "1 pop" if reading.pops == 1 else f"{reading.pops} pops"
    return f"{reading.aperture.text}, {pops}, ISO {iso_text(reading.iso)}"


def _notes(setup: SetUp, exact: float, missed: float | None, under: float | None) -> Iterator[str]:
    """What else is to be known of a plan of pops."""
    if exact > MOST_COUNTED:
        yield (
            f"more than {MOST_COUNTED:,} pops: open the aperture, raise the ISO or the power, or "
            "move the lamps closer"
        )
    if exact < 1 - EVEN_STOPS:
        yield (
            f"one pop gives {-math.log2(exact):.2f} stop more than is wanted: lower the power, or "
            "stop down"
        )
    tolerance = setup.tolerance.between_frames
    if missed is not None and -missed <= tolerance:
        yield (
            f"one pop that fails costs {-missed:.2f} stop, and the tolerance is {tolerance:g}: the "
            f"level of a frame alone shows that of up to {most_by_tolerance(tolerance)} pops"
        )
    if under is None and setup.motion.ambient is not None:
        yield (
            "what the ambient light adds cannot be told: give the shutter time that it is stated "
            "for, as shutter under [camera], or it is too little to be measured"
        )
