"""Flashes of all kinds and shutters held against them, for the tests of their plots."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from verify.motion.losses import ShutterStudy, shutter_study
from verify.plan.motion import ShutterPlan
from verify.pulse.records import LEVELS, Course, Firing, Pulse

Values = NDArray[np.float64]


def course_of(tau_s: float, cut_s: float = math.inf, samples: int = 4001) -> Course:
    """An exponential, cut or not."""
    time_s = np.linspace(0, min(12 * tau_s, 1.001 * cut_s), samples)
    return Course(time_s, np.where(time_s <= cut_s, np.exp(-time_s / tau_s), 0.0))


def pulse_of(kind: Any, durations_s: dict[float, float | None], energy: float = 1.0) -> Pulse:
    """A pulse of peak 1."""
    return Pulse(
        start_s=0.0,
        peak=1.0,
        durations_s=durations_s,
        durations_u_s=dict.fromkeys(LEVELS, None),
        energy=energy,
        energy_share={0.5: None, 0.1: None},
        half_energy_s=None,
        ninety_percent_energy_s=None,
        rise_s=None,
        kind=kind,
    )


def decaying(tenth_s: float, **other: Any) -> Firing:
    """An exponential, by its t.1 (check-values 3.2)."""
    tau_s = tenth_s / math.log(10)
    pulse = pulse_of("decaying", {x: -tau_s * math.log(x) for x in LEVELS})
    return Firing((pulse,), pulse, course_of(tau_s), **{"rests_on": "recording", **other})


def cut(length_s: float) -> Firing:
    """A pulse that is cut long before half of its peak."""
    pulse = pulse_of("cut", dict.fromkeys(LEVELS, length_s))
    return Firing((pulse,), pulse, course_of(20 * length_s, length_s), "recording")


def twice(apart_s: float, tenth_s: float, second: float = 1.0) -> Firing:
    """Two exponentials one after the other."""
    tau_s = tenth_s / math.log(10)
    time_s = np.linspace(0, apart_s + 10 * tau_s, 20_000)
    later = np.maximum(time_s - apart_s, 0)
    value = np.exp(-time_s / tau_s) + second * (time_s >= apart_s) * np.exp(-later / tau_s)
    one = pulse_of("decaying", {x: -tau_s * math.log(x) for x in LEVELS})
    peak = float(value.max())
    above = {x: time_s[np.flatnonzero(value >= x * peak)[[0, -1]]] for x in LEVELS}
    total = pulse_of("multiple", {x: float(ends[1] - ends[0]) for x, ends in above.items()})
    return Firing((one, one), total, Course(time_s, value / peak), "recording")


def noisy(firing: Firing, share: float = 0.01) -> Firing:
    """The same as recorded, with noise of a share of the peak."""
    course = firing.course
    noise = np.random.default_rng(1).normal(0, share, course.value.size)
    return Firing(
        firing.pulses, firing.total, Course(course.time_s, course.value + noise), firing.rests_on
    )


def study_of(
    firing: Firing, times_s: Sequence[float] = (), tolerance_stops: float = 0.1, **shutter: Any
) -> ShutterStudy:
    """A shutter held against a flash."""
    return shutter_study(firing, ShutterPlan(**shutter), times_s, tolerance_stops)


LONG = decaying(1 / 250)
MARKED = (1 / 256, 1 / 203.19, 1 / 161.27, 1 / 128, 1 / 64)  # 1/250 to 1/60, exact

FLASHES: dict[str, tuple[Firing, ShutterStudy]] = {
    "decaying, one shutter": (LONG, study_of(LONG, [1 / 250], travel_s=0.003, delay_s=0.0)),
    "three shutters": (
        LONG,
        study_of(LONG, MARKED[:3], travel_s=0.003, sync_s=1 / 203.19, delay_s=0.0005),
    ),
    "five shutters, delay not known": (LONG, study_of(LONG, MARKED, travel_s=0.003)),
    "cut, 50 us": (cut(50e-6), study_of(cut(50e-6), [1 / 256, 1 / 512, 1 / 1024], travel_s=0.003)),
    "two, 2 ms apart": (
        noisy(twice(0.002, 0.0009)),
        study_of(twice(0.002, 0.0009), [1 / 256], travel_s=0.0025, delay_s=0.0),
    ),
    "shutter far longer": (
        decaying(1 / 2000),
        study_of(decaying(1 / 2000), [1 / 64], travel_s=0.003, delay_s=0.0),
    ),
    "no shutter": (noisy(LONG), study_of(LONG)),
    "no travel": (LONG, study_of(LONG, [1 / 256, 1 / 512])),
    "leaf": (
        LONG,
        study_of(
            LONG, [1 / 256, 1 / 128], kind="leaf", opening_s=0.001, closing_s=0.001, delay_s=0.0
        ),
    ),
    "model": (
        decaying(1 / 500, rests_on="model"),
        study_of(decaying(1 / 500), [1 / 203.19], sync_s=1 / 203.19),
    ),
    "covered before it fires": (
        decaying(1 / 1000),
        study_of(decaying(1 / 1000), [1 / 406.4, 1 / 1024], travel_s=0.004, delay_s=0.001),
    ),
}
