"""Courses of light in closed form (check-values 3.2 and 3.3), and flashes made of them."""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from verify.pulse.records import LEVELS, Course, Firing, Kind, Pulse, RestsOn

SAMPLES = 20_001


def exponential(decay_s: float = 1.0, samples: int = SAMPLES) -> Course:
    """Light that begins at once and decays; 25 time constants of it, in uneven steps."""
    time = 25 * np.linspace(0, 1, samples) ** 1.5
    return Course(decay_s * time, np.exp(-time))


def rectangle(width_s: float = 1.0) -> Course:
    """Even light, by no more samples than it needs."""
    return Course(np.array([0.0, width_s]), np.ones(2))


def within(light: Callable[[NDArray[np.float64]], NDArray[np.float64]], end: float = 1.0) -> Course:
    """Any light from 0 to an end [s]."""
    time = np.linspace(0, end, SAMPLES)
    return Course(time, light(time))


TRIANGLE = Course(np.array([0.0, 0.5, 1.0]), np.array([0.0, 1.0, 0.0]))
HALF_SINE = within(lambda t: np.sin(np.pi * t))
RAISED_COSINE = within(lambda t: 0.5 - 0.5 * np.cos(2 * np.pi * t))
GAUSSIAN = within(lambda t: np.exp(-((t - 8) ** 2) / 2), 16.0)


def firing(
    course: Course,
    tenth_s: float | None,
    kind: Kind = "decaying",
    rests_on: RestsOn = "recording",
    warnings: tuple[str, ...] = (),
) -> Firing:
    """A flash of which no more is known than what motion needs."""
    seconds = dict.fromkeys(LEVELS) | {0.1: tenth_s}
    pulse = Pulse(
        start_s=0.0,
        peak=1.0,
        durations_s=seconds,
        durations_u_s=dict.fromkeys(LEVELS),
        energy=1.0,
        energy_share={},
        half_energy_s=None,
        ninety_percent_energy_s=None,
        rise_s=None,
        kind=kind,
    )
    return Firing((pulse,), pulse, course, rests_on, warnings)


def decaying(tenth_s: float, rests_on: RestsOn = "recording") -> Firing:
    """An exponential flash, by its t.1."""
    return firing(exponential(tenth_s / math.log(10)), tenth_s, rests_on=rests_on)
