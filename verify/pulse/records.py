"""A recorded light trace, the pulses in it, and what of them a shutter lets through."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

LEVELS = tuple(round(0.1 * n, 1) for n in range(1, 10))  # t.1 to t.9, of the peak

Kind = Literal["decaying", "cut", "multiple"]


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """Light against time, as it was recorded."""

    time_s: NDArray[np.float64]  # (samples,) rising [s]
    value: NDArray[np.float64]  # (samples,) as recorded, in whatever unit
    form: Literal["table", "sound"]  # where it comes from: a table of numbers, or a sound recording
    least: float | None = None  # lowest value the recorder can write; None where that is not known
    most: float | None = None  # highest value it can write


@dataclass(frozen=True, slots=True)
class Pulse:
    """One firing of a flash, or several together. Durations in seconds, None where not known."""

    start_s: float  # first light, in the time of the trace
    peak: float  # above the baseline, in the trace's unit
    durations_s: dict[float, float | None]  # t.x by x: first to last crossing of x of the peak
    durations_u_s: dict[float, float | None]  # their standard uncertainties
    energy: float  # area above the baseline [unit x s]
    energy_share: dict[float, float | None]  # of the energy, inside t.5 and t.1
    half_energy_s: float | None  # from the first 1 % of the light until 50 % of it is out
    ninety_percent_energy_s: float | None  # the same until 90 %
    rise_s: float | None  # from 10 % to 90 % of the peak
    kind: Kind
    warnings: tuple[str, ...] = ()  # names from the table of warnings
    notes: tuple[str, ...] = ()  # sentences with figures
