"""Pulses with durations in closed form, and recordings of them as an oscilloscope makes them."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

LEVELS = tuple(round(0.1 * n, 1) for n in range(1, 10))
Values = NDArray[np.float64]
Light = Callable[[Values], Values]


@dataclass(frozen=True, slots=True)
class Closed:
    """A pulse of peak 1 that begins about time 0, and its durations."""

    light: Light
    seconds: dict[float, float]  # by level
    before: float = 0.0  # light comes so long before time 0


def _from_start(light: Light) -> Light:
    """Light that begins at time 0."""
    return lambda t: np.asarray(np.where(t >= 0, light(np.maximum(t, 0)), 0.0))


def _inside(light: Light) -> Light:
    """Light from time 0 to 1."""
    return lambda t: np.asarray(np.where((t >= 0) & (t <= 1), light(np.clip(t, 0, 1)), 0.0))


def cut(at: float) -> Closed:
    """An exponential of time constant 1, cut."""
    decay = _from_start(lambda t: np.exp(-t))
    return Closed(
        lambda t: np.asarray(np.where(t <= at, decay(t), 0.0)),
        {x: min(-math.log(x), at) for x in LEVELS},
    )


def rising(up: float, down: float) -> Closed:
    """The difference of two exponentials; its durations by root finding."""
    top = math.log(down / up) * up * down / (down - up)

    def above(t: float, level: float) -> float:
        return math.exp(-t / down) - math.exp(-t / up) - level

    peak = above(top, 0)
    seconds = {
        x: brentq(above, top, 40 * down, (x * peak,)) - brentq(above, 0, top, (x * peak,))
        for x in LEVELS
    }
    return Closed(_from_start(lambda t: (np.exp(-t / down) - np.exp(-t / up)) / peak), seconds)


# check-values 3.2 and 3.3: derived from first principles.
PULSES: dict[str, Closed] = {
    "exponential": Closed(_from_start(lambda t: np.exp(-t)), {x: -math.log(x) for x in LEVELS}),
    "rectangle": Closed(_inside(np.ones_like), dict.fromkeys(LEVELS, 1.0)),
    "triangle": Closed(_inside(lambda t: 1 - 2 * np.abs(t - 0.5)), {x: 1 - x for x in LEVELS}),
    "half sine": Closed(
        _inside(lambda t: np.sin(np.pi * t)), {x: 1 - 2 * math.asin(x) / math.pi for x in LEVELS}
    ),
    "raised cosine": Closed(
        _inside(lambda t: 0.5 - 0.5 * np.cos(2 * np.pi * t)),
        {x: 1 - math.acos(1 - 2 * x) / math.pi for x in LEVELS},
    ),
    "gaussian": Closed(
        lambda t: np.asarray(np.exp(-(t**2) / 2)),
        {x: 2 * math.sqrt(-2 * math.log(x)) for x in LEVELS},
        before=4.0,
    ),
    "cut at 0.1": cut(0.1),
    "cut at 0.3": cut(0.3),
    "cut at ln 2": cut(math.log(2)),
    "cut at 1": cut(1.0),
    "cut at ln 10": cut(math.log(10)),
    "rising 0.05, 1": rising(0.05, 1.0),
    "rising 0.1, 0.5": rising(0.1, 0.5),
    "rising 0.02, 0.2": rising(0.02, 0.2),
}


def followed(light: Light, top: float, end: float) -> Closed:
    """Light of peak 1 at a time, that rises from time 0 and falls to the end; by root finding."""

    begun = _from_start(light)

    def over(t: float, level: float) -> float:
        return float(begun(np.array(t))) - level

    return Closed(
        begun,
        {x: brentq(over, top, end, (x,)) - brentq(over, -1e-9, top, (x,)) for x in LEVELS},
    )


def _corners(*points: tuple[float, float]) -> Light:
    """Straight lines between points of time and light."""
    times, lights = zip(*points, strict=True)
    return lambda t: np.asarray(np.interp(t, times, lights, left=0.0))


def _stretched(power: float) -> Closed:
    """exp(-t^power), of instant rise."""
    return Closed(
        _from_start(lambda t: np.exp(-(t**power))),
        {x: (-math.log(x)) ** (1 / power) for x in LEVELS},
    )


def _after_plateau(t: Values) -> Values:
    """A rise over 0.1, a plateau up to 0.6, a decay of time constant 0.3."""
    return np.asarray(np.minimum(np.clip(t / 0.1, 0, 1), np.exp(-np.maximum(t - 0.6, 0) / 0.3)))


# Shapes that nothing was tuned on: what the figures of the others are worth elsewhere.
OTHERS: dict[str, Closed] = {
    "stretched 0.8": _stretched(0.8),
    "stretched 1.5": _stretched(1.5),
    "two decays": followed(lambda t: 0.6 * np.exp(-t / 0.3) + 0.4 * np.exp(-t), 0.0, 9.0),
    "steep then flat": followed(_corners((0, 0), (0.15, 1), (1, 0)), 0.15, 1.0),
    "flat then steep": followed(_corners((0, 0), (0.7, 1), (1, 0)), 0.7, 1.0),
    "trapezoid": followed(_corners((0, 0), (0.2, 1), (0.7, 1), (1, 0)), 0.5, 1.0),
    "plateau and decay": followed(_after_plateau, 0.3, 9.0),
    "rising 0.03, 0.7": rising(0.03, 0.7),
    "rising 0.3, 0.4": rising(0.3, 0.4),
    "cut at 0.6": cut(0.6),
    "cut at 1.5": cut(1.5),
    "gamma": followed(lambda t: t**2 * np.exp(2 - 2 * t), 1.0, 12.0),
}


def recorded(
    pulse: Closed,
    samples: float,
    rng: np.random.Generator,
    noise: float = 0.01,
    bits: int | None = 8,
) -> tuple[Values, float, float, float]:
    """Light above the baseline, step, noise and the baseline's uncertainty, of a recording.

    Parameters
    ----------
    samples : within t.5.
    noise : of the peak.
    bits : of the recorder; None for one that rounds nothing.
    """
    half = pulse.seconds[0.5]
    step = half / samples
    start = -pulse.before - rng.uniform(1, 2) * half
    time = np.arange(start + rng.uniform(0, step), 2.2 * pulse.seconds[0.1] + 2 * half, step)
    value = 0.07 + 0.85 * pulse.light(time) + 0.85 * noise * rng.standard_normal(time.size)
    if bits is not None:
        most = 2**bits - 1
        value = np.round(np.clip(value, 0, 1) * most) / most
    dark = value[: int((-pulse.before - start) / step * 0.8)]
    deviation = max(float(dark.std(ddof=1)), 1e-4)
    return value - dark.mean(), step, deviation, deviation / math.sqrt(dark.size)
