"""Recordings of a flash as a light sensor and an oscilloscope make them, with a known truth."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Recorder:
    """A light sensor and what records it."""

    step_s: float = 1e-5  # time between samples [s]
    before_s: float = 0.0006  # recorded before the flash [s]
    after_s: float = 0.004  # and after its first light [s]
    bits: int = 8  # of its codes
    full_v: float = 1.2  # what its highest code stands for; the lowest is 0 [V]
    dark_v: float = 0.085  # that it shows without light [V]
    noise_v: float = 0.006  # one standard deviation [V]


def decaying_light(
    time_s: NDArray[np.float64], tenth_s: float, rise_s: float
) -> NDArray[np.float64]:
    """Light of a flash that rises and dies away by itself: the difference of two exponentials.

    Parameters
    ----------
    time_s : any shape, from the first light on [s].
    tenth_s : time constant of the decay, times ln 10 [s].
    rise_s : time constant of the rise, shorter than that of the decay [s].

    Returns
    -------
    The same shape, peak 1.
    """
    decay_s = tenth_s / math.log(10)
    top_s = math.log(decay_s / rise_s) * decay_s * rise_s / (decay_s - rise_s)
    since = np.maximum(time_s, 0.0)
    light = np.exp(-since / decay_s) - np.exp(-since / rise_s)
    peak = math.exp(-top_s / decay_s) - math.exp(-top_s / rise_s)
    return np.asarray(np.where(time_s > 0, light / peak, 0.0))


def recording_csv(
    recorder: Recorder, tenth_s: float, rise_s: float, peak_v: float, rng: np.random.Generator
) -> str:
    """A table of time and volts, as an oscilloscope saves it."""
    count = round((recorder.before_s + recorder.after_s) / recorder.step_s)
    time_s = -recorder.before_s + recorder.step_s * np.arange(count, dtype=np.float64)
    volts = recorder.dark_v + peak_v * decaying_light(time_s, tenth_s, rise_s)
    volts = volts + rng.normal(0, recorder.noise_v, count)
    most = 2**recorder.bits - 1
    codes = np.clip(np.round(volts / recorder.full_v * most), 0, most)
    shown = codes / most * recorder.full_v
    rows = (f"{t * 1e3:.6g},{v:.4f}" for t, v in zip(time_s, shown, strict=True))
    return "\n".join(["time (ms),light (V)", *rows]) + "\n"
