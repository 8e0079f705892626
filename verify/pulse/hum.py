"""Hum and light of the mains in a recording: sines of its frequency, and of twice that."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

MAINS_HZ = (50.0, 60.0)  # lamps flicker at twice that
MOST_VALUES = 4000  # that sines are fitted to
CYCLES = 1.0  # that must be dark, to know a sine
SURE = 5.0  # uncertainties of an amplitude that is there
SURE_CYCLES = 0.75  # of the mains, with which 50 and 60 Hz are told apart
OTHER_LEAVES = 1.05  # times what is left by it, that the other mains frequency leaves
EXPLAINS = 0.5  # of the variance of what is dark, that the sines must explain
OFF_BY = np.linspace(-0.004, 0.004, 9)  # shares by which the mains' frequency may be off
LONG = 8.0  # cycles, beyond which that matters
ILL = 1e-10  # of the largest singular value: what cannot be told apart
FINE = 0.4  # cycles between samples, beyond which a sine is not seen
ONLY_CYCLES = 2.0  # of a recording that holds nothing else
HARMONICS = 4
ONLY_LEAVES = 0.25  # of the swing, that nothing else may leave


@dataclass(frozen=True, slots=True)
class Hum:
    """Sines that were found where it is dark."""

    frequencies_hz: tuple[float, ...]
    waves: tuple[tuple[float, float], ...]  # cosine and sine of each, in the recording's unit
    u: float  # standard uncertainty of an amplitude
    sure: bool = True  # whether it can be no other mains frequency

    @property
    def amplitude(self) -> float:
        """Of the strongest of them."""
        return max(math.hypot(*wave) for wave in self.waves)

    @property
    def main_hz(self) -> float:
        """Frequency of the strongest, as the mains name it."""
        sizes = [math.hypot(*wave) for wave in self.waves]
        return float(round(self.frequencies_hz[int(np.argmax(sizes))]))

    def at(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Its light at some times [s]; same shape."""
        found = np.zeros_like(time_s)
        for frequency, (cosine, sine) in zip(self.frequencies_hz, self.waves, strict=True):
            angle = 2 * math.pi * frequency * time_s
            found += cosine * np.cos(angle) + sine * np.sin(angle)
        return found


def hum_of(time_s: NDArray[np.float64], dark: NDArray[np.float64]) -> Hum | None:
    """The hum in what is dark; None where there is none, or too little of it to tell.

    Parameters
    ----------
    time_s, dark : (samples,) of what is dark, in one piece or two.
    """
    stride = -(-dark.size // MOST_VALUES)
    if stride > 1:
        whole = dark.size // stride * stride
        time_s = time_s[:whole].reshape(-1, stride).mean(1)
        dark = dark[:whole].reshape(-1, stride).mean(1)
    if dark.size < 20:
        return None
    span_s, step_s = float(time_s[-1] - time_s[0]), float(time_s[1] - time_s[0])
    found: list[tuple[float, float, Hum]] = []  # what is left, mains, hum
    for mains in MAINS_HZ:
        wanted = [f for f in (mains, 2 * mains) if span_s * f >= CYCLES]
        wanted = [f for f in wanted if step_s * f < FINE]
        if not wanted:
            continue
        offs = OFF_BY if span_s * wanted[-1] > LONG else np.zeros(1)
        for off in offs:
            frequencies = tuple(f * (1 + float(off)) for f in wanted)
            left, waves, u = _fit(time_s, dark, frequencies)
            found.append((left, mains, Hum(frequencies, waves, u)))
    if not found:
        return None
    left, mains, hum = min(found, key=lambda one: one[0])
    others = min((one[0] for one in found if one[1] != mains), default=math.inf)
    hum = replace(hum, sure=span_s * mains >= SURE_CYCLES and others > OTHER_LEAVES * left)
    explained = 1 - left / max(float(((dark - dark.mean()) ** 2).sum()), 1e-300)
    return hum if hum.amplitude > SURE * hum.u and explained > EXPLAINS else None


def is_only_hum(time_s: NDArray[np.float64], value: NDArray[np.float64]) -> float | None:
    """Frequency of the mains, where nothing but it is in a recording; else None."""
    stride = -(-value.size // MOST_VALUES)
    whole = value.size // stride * stride
    time_s = time_s[:whole].reshape(-1, stride).mean(1)
    value = value[:whole].reshape(-1, stride).mean(1)
    span_s, step_s = float(time_s[-1] - time_s[0]), float(time_s[1] - time_s[0])
    swing = float(value.max() - value.min()) / 2
    over = value > float(value.max() + value.min()) / 2
    if int((over[1:] != over[:-1]).sum()) < 2 * ONLY_CYCLES:
        return None  # it does not go up and down often enough
    for base in (2 * MAINS_HZ[0], 2 * MAINS_HZ[1], *MAINS_HZ):
        if span_s * base < ONLY_CYCLES or step_s * base * HARMONICS > FINE:
            continue
        for off in OFF_BY if span_s * base > LONG else np.zeros(1):
            frequencies = tuple(n * base * (1 + float(off)) for n in range(1, HARMONICS + 1))
            _, waves, u = _fit(time_s, value, frequencies)
            left = value - Hum(frequencies, waves, u).at(time_s)
            left = left - np.median(left)
            if float(np.abs(left).max()) < ONLY_LEAVES * swing:
                return base
    return None


def _fit(
    time_s: NDArray[np.float64], value: NDArray[np.float64], frequencies: tuple[float, ...]
) -> tuple[float, tuple[tuple[float, float], ...], float]:
    """Sum of squares left, cosine and sine of each frequency, uncertainty of an amplitude."""
    turns = 2 * math.pi * np.outer(time_s, frequencies)
    at = (time_s - time_s.mean()) / max(float(np.ptp(time_s)), 1e-300)  # it may drift besides
    terms = np.column_stack([np.cos(turns), np.sin(turns), np.ones(time_s.size), at])
    products = terms.T @ terms
    found, _, rank, _ = np.linalg.lstsq(products, terms.T @ value, rcond=ILL)
    left = value - terms @ found
    count = len(frequencies)
    squares = float(left @ left)
    spare = max(time_s.size - terms.shape[1], 1)
    u = math.inf
    if rank == terms.shape[1]:
        spread = np.linalg.inv(products).diagonal()[: 2 * count]
        # Neighbours are alike where the noise is slow; batches would tell, a factor does for it.
        u = 1.5 * math.sqrt(squares / spare * float(spread.max()))
    pairs = zip(found[:count], found[count : 2 * count], strict=True)
    return squares, tuple((float(c), float(s)) for c, s in pairs), u
