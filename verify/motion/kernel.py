"""The blur kernel: a pulse laid along the path of motion, here still in seconds.

A smear on the sensor is the image's speed times a time. Which time depends on what is asked: the
narrowest one in which most of the light falls, that from 10 % to 90 % of the light (an edge), or
that of an even exposure which resolves as much.

References
----------
Hadar, Fisher, Kopeika 1992, Optical Engineering 31(3): 581-589: the MTF of an image motion x(t)
with weight w(t) is the modulus of the integral of w(t) exp(-2 pi i f x(t)), to 1 at f = 0. Smear at
an even speed and light is a sinc.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.pulse.records import Course
from verify.pulse.shutter import light_out

Values = NDArray[np.float64]

EVEN_MTF50 = 0.603354564  # frequency x time at which an even exposure's MTF, a sinc, is one half
NARROWEST_SHARE = 0.8  # of the light, in what counts as the width of a blur
WINDOWS = 513  # starts of a window that are tried between those at the samples
PIECES = 1 << 14  # of a long recording's running share, where a frequency is searched for
BLOCK = 1 << 20  # pieces x frequencies at a time, for the memory
SERIES_BELOW = 1e-2  # of half a piece's turn, where two terms are as good as the double allows
LEAST_STEP = 0.002  # of MTF, that a search moves on by where it is all but there
FREQUENCY_TOLERANCE = 1e-9  # relative


@dataclass(frozen=True, slots=True, eq=False)
class Kernel:
    """One exposure's light against time, as the blur kernel that it is.

    Between samples the light runs straight.
    """

    time_s: Values  # (samples,) from the first light on [s]; steps may differ
    share: Values  # (samples,) of the light that is out, rising from 0 to 1
    light: Values  # (samples,) 0 or more, in any unit

    def narrowest_s(self, share: float) -> float:
        """The shortest single interval in which a share of the light falls [s].

        It begins or ends at a sample, or at one of many places between; where it truly lies
        between these, its length hardly depends on where it begins.
        """
        begun = self.time_s[self.share <= 1 - share]
        over = self.share >= share
        between = np.linspace(0, 1 - share, WINDOWS)
        return float(
            min(
                np.min(self._when(self.share[: begun.size] + share) - begun),
                np.min(self.time_s[over] - self._when(self.share[over] - share, latest=True)),
                np.min(self._when(between + share) - self._when(between, latest=True)),
            )
        )

    def edge_s(self, low: float = 0.1, high: float = 0.9) -> float:
        """Time from one share of the light to another, as an edge is measured across [s]."""
        first, last = self._when(np.array([low, high]))
        return float(last - first)

    def mtf(self, frequency: float | Values) -> Values:
        """Modulation that is left of detail moving past.

        Parameters
        ----------
        frequency : any shape [1/s]: cycles per length on the sensor times the image's speed.

        Returns
        -------
        The same shape, 1 at 0; exact for light that runs straight between its samples.
        """
        return _modulation(*self._pieces(), np.asarray(frequency, float))

    def first_frequency(self, level: float = 0.5) -> float:
        """The lowest frequency at which the MTF has fallen to a level, 0 to 1 [1/s].

        The MTF can change by no more than 2 pi x the mean distance of the light from its middle
        for each 1/s, so steps of what is still above the level, over that, cannot pass a
        crossing: not of ripples, nor of several pulses.
        """
        # Takes as long to import as all of a check, and few plans ask for motion.
        from scipy.optimize import brentq  # noqa: PLC0415

        middle, length, mass, tilt = self._pieces(PIECES)
        centre = float(self._when(np.array([0.5]))[0])
        distance = float(mass @ (np.abs(middle - centre) + length / 2))

        def above(frequency: float) -> float:
            at = _modulation(middle, length, mass, tilt, np.array(frequency))
            return float(at) - level

        low, left = 0.0, 1.0 - level
        while True:
            high = low + max(left, LEAST_STEP) / (2 * math.pi * distance)
            left = above(high)
            if left <= 0:
                return float(brentq(above, low, high, rtol=FREQUENCY_TOLERANCE))
            low = high

    def _when(self, share: Values, latest: bool = False) -> Values:
        """Times at which shares of the light are out: the earliest, or the latest [s]."""
        share = np.clip(share, 0.0, 1.0)
        found = np.searchsorted(self.share, share, side="right" if latest else "left")
        after = np.clip(found, 1, self.share.size - 1)
        gained = self.share[after] - self.share[after - 1]
        part = np.divide(
            share - self.share[after - 1], gained, out=np.zeros_like(share), where=gained > 0
        )
        part = np.clip(part, 0.0, 1.0)
        # Light runs straight within a piece, so its share is a parabola there.
        left, right = self.light[after - 1], self.light[after]
        root = left + np.sqrt(left**2 * (1 - part) + right**2 * part)
        way = np.divide(part * (left + right), root, out=part.copy(), where=root > 0)
        start = self.time_s[after - 1]
        return np.asarray(start + way * (self.time_s[after] - start))

    def _pieces(self, most: int | None = None) -> tuple[Values, Values, Values, Values]:
        """Middle and length [s], share of the light, and its tilt, of pieces of the course.

        The tilt is (right - left) / (right + left) of the light at a piece's ends. Of more than
        ``most`` pieces neighbours are put together and taken as even.
        """
        each = 1 if most is None else -(-self.time_s.size // most)
        picked = np.unique(np.append(np.arange(0, self.time_s.size, each), self.time_s.size - 1))
        time, share = self.time_s[picked], self.share[picked]
        left, right = self.light[:-1], self.light[1:]
        total = left + right
        tilt = np.divide(right - left, total, out=np.zeros_like(total), where=total > 0)
        if each > 1:
            tilt = np.zeros(time.size - 1)
        mass = np.diff(share)
        lit = mass > 0
        middle, length = (time[:-1] + time[1:]) / 2, np.diff(time)
        return middle[lit], length[lit], mass[lit], tilt[lit]


@dataclass(frozen=True, slots=True)
class Spread:
    """How far a flash is spread in time, whatever moves in it."""

    narrowest_s: float  # the shortest interval in which 80 % of the light falls [s]
    edge_s: float  # from 10 % to 90 % of the light [s]
    mtf50_per_s: float  # frequency at which the MTF has fallen to one half [1/s]
    equivalent_s: float  # an even exposure with the same MTF50 [s]
    tenth_s: float | None  # t.1; None where not known


def spread_of(course: Course, tenth_s: float | None) -> Spread:
    """All of it, once for a course of light. Raises ValueError where there is no light in it."""
    kernel = kernel_of(course)
    frequency = kernel.first_frequency(0.5)
    return Spread(
        narrowest_s=kernel.narrowest_s(NARROWEST_SHARE),
        edge_s=kernel.edge_s(),
        mtf50_per_s=frequency,
        equivalent_s=EVEN_MTF50 / frequency,
        tenth_s=tenth_s,
    )


def kernel_of(course: Course) -> Kernel:
    """The blur kernel of a course of light.

    What noise takes below the baseline brings back no light that was out
    (:func:`verify.pulse.shutter.light_out`).

    Raises
    ------
    ValueError
        If there is no light in it.
    """
    out = light_out(course.time_s, course.value)
    return Kernel(out.time_s, out.share, np.maximum(course.value, 0.0))


def _modulation(
    middle: Values, length: Values, mass: Values, tilt: Values, frequency: Values
) -> Values:
    """Modulus of the pieces' transform; the integral over each of them in closed form."""
    flat = frequency.ravel()
    found = np.empty(flat.size)
    rows = max(1, BLOCK // middle.size)
    for at in range(0, flat.size, rows):
        turn = 2 * np.pi * flat[at : at + rows, None]
        half = turn * length / 2
        even = np.sinc(half / np.pi)
        piece = even - 1j * tilt * _tilted(half, even)
        found[at : at + rows] = np.abs((piece * np.exp(-1j * turn * middle)) @ mass)
    return found.reshape(frequency.shape)


def _tilted(half: Values, even: Values) -> Values:
    """What the tilt of a piece adds: (sin x / x - cos x) / x, near 0 by its series."""
    near = half < SERIES_BELOW
    far = np.divide(even - np.cos(half), half, out=np.zeros_like(half), where=~near)
    return np.where(near, half / 3 * (1 - half**2 / 10), far)
