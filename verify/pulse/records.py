"""A pulse of light, and the flash light of one exposure."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

LEVELS = tuple(round(0.1 * n, 1) for n in range(1, 10))  # t.1 to t.9, of the peak

Kind = Literal["decaying", "cut", "multiple"]
RestsOn = Literal["recording", "model"]


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


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """Light against time, from its first light on; what shutters and motion are held against."""

    time_s: NDArray[np.float64]  # (samples,) rising from 0 [s]; steps may differ
    value: NDArray[np.float64]  # (samples,) above the baseline, in any unit


@dataclass(frozen=True, slots=True, eq=False)
class Firing:
    """The flash light of one exposure: as recorded, or a model of it from quoted durations."""

    pulses: tuple[Pulse, ...]  # in the order of time, pre-flashes among them
    total: Pulse  # all of them together; the pulse itself where there is one
    course: Course  # of all of them but pre-flashes, which are over before the shutter opens
    rests_on: RestsOn
    warnings: tuple[str, ...] = ()  # about the whole of it: names from the table of warnings
    notes: tuple[str, ...] = ()  # sentences with figures

    @property
    def exposing(self) -> Pulse:
        """What exposes: the main flash where pre-flashes come before it, else all together."""
        main = max(self.pulses, key=lambda pulse: pulse.energy)
        alone = "pre-flash" in self.warnings and main is self.pulses[-1]
        return main if alone else self.total
