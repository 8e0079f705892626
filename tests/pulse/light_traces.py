"""Recorded light traces with a known truth."""

from typing import Literal

import numpy as np
from drawn_pulses import PULSES, Values

from verify.trace.records import Trace

SCALE_S = 1e-3  # of the closed-form pulses, which are in units of their own


def decaying(time_s: Values, start_s: float, constant_s: float) -> Values:
    """Light that comes at once and decays as an exponential, peak 1."""
    gone = np.clip(time_s - start_s, 0, None)
    return np.where(time_s >= start_s, np.exp(-gone / constant_s), 0.0)


def rounded(value: Values, bits: int, most: float = 1.0) -> Values:
    """Values as a recorder of so many bits shows them, from 0 to the most."""
    codes = 2**bits - 1
    return np.asarray(np.round(np.clip(value / most, 0, 1) * codes) / codes * most)


def drawn(
    name: str, samples: float = 55, noise: float = 0.01, bits: int | None = 8, seed: int = 0
) -> Trace:
    """A closed-form pulse on an offset, with some dark before and after it.

    Parameters
    ----------
    name : of the pulse.
    samples : inside t.5.
    noise : of the peak, which is 0.85.
    bits : of the recorder; None for one that rounds nothing.
    """
    rng, pulse = np.random.default_rng(seed), PULSES[name]
    half = pulse.seconds[0.5]
    step = half / samples
    begins = -pulse.before - 1.6 * half
    time = np.arange(begins, 2.2 * pulse.seconds[0.1] + 2 * half, step) + rng.uniform(0, step)
    value = 0.07 + 0.85 * pulse.light(time) + 0.85 * noise * rng.standard_normal(time.size)
    return table(time * SCALE_S, value if bits is None else rounded(value, bits))


def table(time_s: Values, value: Values) -> Trace:
    """A trace as from a table of numbers."""
    return Trace(time_s, value, "table")


def noisy(
    time_s: Values, light: Values, noise: float = 0.005, seed: int = 0,
    form: Literal["table", "sound"] = "table",
) -> Trace:  # fmt: skip
    """Light with noise."""
    rng = np.random.default_rng(seed)
    value = light + noise * rng.standard_normal(time_s.size)
    limits = (-1.0, 1.0) if form == "sound" else (None, None)
    return Trace(time_s, value, form, *limits)
