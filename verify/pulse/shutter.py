"""What of a pulse a shutter lets through, from the first row that it covers to the last.

A focal-plane curtain uncovers row after row during its travel, and the second one covers them in
the same order. The flash fires when all rows are open, or a trigger's delay later. So the row that
is covered first is open for the shutter time less travel and delay, the last one for the shutter
time less the delay. Times here are in plain seconds.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

STEPS = 201  # of the way of a leaf shutter's blades


@dataclass(frozen=True, slots=True, eq=False)
class LightOut:
    """How much of a pulse's light is out by when."""

    time_s: NDArray[np.float64]  # (samples,) from the pulse's first light [s]
    share: NDArray[np.float64]  # (samples,) of all its light, rising from 0 to 1

    def by(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Share of the light that is out after so long; 0 before the pulse, 1 after it."""
        return np.asarray(np.interp(time_s, self.time_s, self.share, left=0.0, right=1.0))

    def until(self, share: float) -> float:
        """Time until so much of the light is out [s]. ``share`` from 0 to 1."""
        at = int(np.searchsorted(self.share, share))
        if at == 0:
            return float(self.time_s[0])
        low, high = self.share[at - 1], self.share[min(at, self.share.size - 1)]
        part = 0.0 if high == low else (share - low) / (high - low)
        last = self.time_s[min(at, self.time_s.size - 1)]
        return float(self.time_s[at - 1] + part * (last - self.time_s[at - 1]))


@dataclass(frozen=True, slots=True)
class Curtain:
    """A focal-plane shutter; of an electronic one the travel is the readout time."""

    travel_s: float  # time that a curtain needs to cross the frame [s]
    delay_s: float = 0.0  # from all rows open to the first light [s]

    def losses(
        self, light: LightOut, shutter_s: float, rows: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Stops of flash lost in rows from 0, covered first, to 1, covered last.

        Parameters
        ----------
        light : of the pulse.
        shutter_s : how long each row is open [s].
        rows : any shape, 0 to 1. A row that gets none of the light loses infinitely much.
        """
        open_s = shutter_s - self.delay_s - (1 - rows) * self.travel_s
        return _lost(light.by(open_s))

    def fastest_s(self, light: LightOut, tolerance_stops: float) -> float:
        """Shortest shutter time at which no row loses more than a tolerance > 0 [s]."""
        return light.until(2.0**-tolerance_stops) + self.delay_s + self.travel_s


@dataclass(frozen=True, slots=True)
class Leaf:
    """A shutter in the lens: it opens and closes over all of the frame at once, evenly in time."""

    opening_s: float  # from closed to fully open [s]
    closing_s: float
    delay_s: float = 0.0  # from fully open to the first light [s]

    def losses(
        self, light: LightOut, shutter_s: float, rows: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Stops lost, the same in every row; ``shutter_s`` is from half open to half closed.

        It fires fully open: light that comes after is let through as far as the blades are open.
        """
        full_s = shutter_s - (self.opening_s + self.closing_s) / 2 - self.delay_s
        way = np.linspace(0, 1, STEPS)
        # Light that comes while it closes passes in part: the mean over the blades' way.
        passed = float(np.trapezoid(light.by(full_s + self.closing_s * way), way))
        return np.full(rows.shape, float(_lost(np.array(passed))))

    def fastest_s(self, light: LightOut, tolerance_stops: float) -> float:
        """Shortest shutter time at which no more than a tolerance > 0 is lost [s]."""
        low = (self.opening_s + self.closing_s) / 2 + self.delay_s
        high = low + float(light.time_s[-1]) + self.closing_s
        low -= self.closing_s
        row = np.zeros(1)
        while high - low > 1e-9 * max(high, 1e-6):
            middle = (low + high) / 2
            if float(self.losses(light, middle, row)[0]) <= tolerance_stops:
                high = middle
            else:
                low = middle
        return high


def light_out(time_s: NDArray[np.float64], value: NDArray[np.float64]) -> LightOut:
    """The running share of a pulse's light.

    Parameters
    ----------
    time_s, value : (samples,) light above the baseline, from its first light on; of what noise
        takes below it the running sum makes no light that was out come back.

    Raises
    ------
    ValueError
        If there is no light in it.
    """
    steps = np.diff(time_s)
    running = np.concatenate([[0.0], np.cumsum((value[1:] + value[:-1]) / 2 * steps)])
    running = np.maximum.accumulate(running)
    if not running[-1] > 0:
        msg = "there is no light in this pulse"
        raise ValueError(msg)
    return LightOut(time_s - time_s[0], running / running[-1])


def _lost(share: NDArray[np.float64]) -> NDArray[np.float64]:
    """Stops of a share that is let through, 0 or more."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.maximum(-np.log2(share), 0.0))
