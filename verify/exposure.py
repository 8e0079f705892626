"""Exposure arithmetic: stops, marked and exact values, the meter's and the sensor's equations.

Pure functions on floats and arrays. Light is linear here; stops are its base-2 logarithm. Nothing
is rounded, and nothing but the ``exact_*`` and ``nearest_*`` functions moves a value to a series.

References
----------
ISO 2720:1974 (meter equations), ISO 12232:2006 (saturation speed and the factor q).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

C_FLAT = 250.0  # incident calibration constant of a flat receptor [lx s]; ISO 2720 allows 240-400
C_DOME = 330.0  # of a dome [lx s]; ISO 2720 allows 320-540
K_REFLECTED = 12.5  # reflected calibration constant [cd s / m2]; ISO 2720 allows 10.6-13.4
Q_LENS = 0.65  # ISO 12232: share of the subject's light that reaches the sensor, lens included
LENS_TRANSMISSION = 0.9  # the lens transmission inside Q_LENS
SATURATION_LXS = 78.0  # ISO 12232: H_sat = 78 / S_sat [lx s]
MARKED_TOLERANCE = 1e-3  # a value this close (relative) to a printed label is that label


@dataclass(frozen=True, slots=True)
class Series:
    """Printed labels of a scale and the exact value that each of them stands for."""

    labels: NDArray[np.float64]  # as printed, ascending
    exacts: NDArray[np.float64]  # as meant, same order

    def find(self, value: float) -> tuple[float, float | None]:
        """Return ``(exact, label)``; ``(value, None)`` where no label is that close."""
        if not (math.isfinite(value) and value > 0):
            return value, None
        at = int(np.argmin(np.abs(np.log(self.labels / value))))
        if abs(self.labels[at] / value - 1) > MARKED_TOLERANCE:
            return value, None
        return float(self.exacts[at]), float(self.labels[at])


def _series(*scales: tuple[str, float, float, float]) -> Series:
    """Build a series from scales of (labels, first exponent, steps per doubling, base value).

    A label printed by two scales keeps the value of the scale named first.
    """
    meaning: dict[float, float] = {}
    for labels, first, steps, base in scales:
        for n, text in enumerate(labels.split()):
            for label in text.split("|"):
                printed = 1 / float(label[2:]) if label.startswith("1/") else float(label)
                meaning.setdefault(printed, base * 2 ** ((first + n) / steps))
    printed_values = sorted(meaning)
    return Series(np.array(printed_values), np.array([meaning[p] for p in printed_values]))


# Third-stop scales first: where a half-stop scale prints the same label, the third-stop counts.
# "a|b" are two spellings of one step. f/1.2 is the half stop 1.189 by convention of lens makers.
_F_1_2 = ("1.2", 1, 4, 1.0)
_F_THIRDS = (
    "0.5 0.56 0.63 0.7 0.8 0.9 1 1.1 1.2 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5 5.6 6.3 7.1"
    " 8 9 10 11 13 14 16 18 20 22 25 29 32 36 40 45 51 57 64 72 80|81 90 102 114 128 144 161"
    " 180 203 228 256",
    -6,
    6,
    1.0,
)
_F_HALVES = (
    "0.5 0.6 0.7 0.8 1 1.2 1.4 1.7 2 2.4 2.8 3.3 4 4.8 5.6 6.7 8 9.5 11 13 16 19 22 27 32 38 45"
    " 54 64 76 90 107 128",
    -4,
    4,
    1.0,
)
F_NUMBERS = _series(_F_1_2, _F_THIRDS, _F_HALVES)
F_NUMBERS_OF_HALVES = _series(_F_HALVES, _F_THIRDS)  # as a camera with half-stop steps means them
SHUTTER_TIMES = _series(
    (
        "1/32000 1/25600 1/20000 1/16000 1/12800 1/10000 1/8000 1/6400 1/5000 1/4000 1/3200 1/2500"
        " 1/2000 1/1600 1/1250 1/1000 1/800 1/640 1/500 1/400 1/320 1/250 1/200 1/160 1/125 1/100"
        " 1/80 1/60 1/50 1/40 1/30 1/25 1/20 1/15 1/13 1/10 1/8 1/6 1/5 1/4 0.3|1/3|1/3.2 0.4"
        " 0.5 0.6|1/1.6 0.8|1/1.3 1 1.3 1.6 2 2.5 3.2 4 5 6 8 10 13 15 20 25 30 40 50 60",
        -45,
        3,
        1.0,
    ),
    (
        "1/16000 1/12000 1/8000 1/6000 1/4000 1/3000 1/2000 1/1500 1/1000 1/750 1/500 1/350 1/250"
        " 1/180 1/125 1/90 1/60 1/45 1/30 1/20 1/15 1/10 1/8 1/6 1/4 1/3 0.5 0.7 1 1.5 2 3 4 6 8"
        " 10 15 20 30",
        -28,
        2,
        1.0,
    ),
)
ISO_SPEEDS = _series(
    (
        "3 4 5 6 8 10 12 16 20 25 32 40 50 64 80 100 125 160 200 250 320 400 500 640 800 1000 1250"
        " 1600 2000 2500 3200 4000 5000 6400 8000 10000 12800 16000 20000 25600 32000 40000 51200"
        " 64000 80000 102400 128000 160000 204800 256000 320000 409600",
        -15,
        3,
        100.0,
    ),
    (
        "25 35 50 70 100 140 200 280 400 560 800 1100 1600 2200 3200 4500 6400 9000 12800",
        -4,
        2,
        100.0,
    ),
)


def f_numbers(step: float) -> Series:
    """The f-numbers of a camera whose steps are 1/3, 1/2, 0.1 or 1 stop: f/13 is two things."""
    return F_NUMBERS_OF_HALVES if math.isclose(step, 0.5) else F_NUMBERS


def exact_f_number(value: float, step: float = 1 / 3) -> float:
    """Exact f-number that ``value`` stands for on a camera with that step: 11 -> 11.3137.

    Unmarked values stay as they are.
    """
    return f_numbers(step).find(value)[0]


def exact_shutter_s(value: float) -> float:
    """Exact shutter time [s] that ``value`` stands for: 0.008 -> 1/128."""
    return SHUTTER_TIMES.find(value)[0]


def exact_iso(value: float) -> float:
    """Exact ISO speed that ``value`` stands for: 160 -> 158.74."""
    return ISO_SPEEDS.find(value)[0]


def stops(ratio: ArrayLike) -> NDArray[np.float64]:
    """Stops of a ratio of light: log2; NaN for a negative ratio, -inf for 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        in_stops: NDArray[np.float64] = np.log2(np.asarray(ratio, float))
    return in_stops


def light_ratio(stops_: ArrayLike) -> NDArray[np.float64]:
    """Ratio of light of a number of stops: 2**stops."""
    ratio: NDArray[np.float64] = np.exp2(np.asarray(stops_, float))
    return ratio


def stops_between(value: float, planned: float) -> float:
    """log2(value / planned) as a float; both > 0."""
    return math.log2(value / planned)


def aperture_stops(n_planned: float, n: float) -> float:
    """Stops of exposure gained by setting f-number ``n`` where ``n_planned`` was meant."""
    return 2 * math.log2(n_planned / n)


def aperture_value(n: float) -> float:
    """APEX Av = 2 log2 N: 0 at f/1, 7 at f/11.3137."""
    return 2 * math.log2(n)


def f_number_of(av: float) -> float:
    """f-number of an APEX Av: 2^(Av/2)."""
    return float(2 ** (av / 2))


def nearest_f_number(n: float, step: float) -> float:
    """Exact f-number on the camera's own steps (1/3, 1/2, 0.1, 1 stop) nearest to ``n``."""
    return f_number_of(round(aperture_value(n) / step) * step)


def exposure_value(n: float, shutter_s: float, iso: float = 100.0) -> float:
    """EV at ISO 100 of a camera setting: log2(N^2/t) - log2(S/100). Values taken as given."""
    return math.log2(n * n / shutter_s) - math.log2(iso / 100)


def light_for_reading(
    n: ArrayLike, iso: ArrayLike, constant: float, correction: float = 0.0
) -> NDArray[np.float64]:
    """Light that a meter showing f-number ``n`` has seen.

    Parameters
    ----------
    n, iso : the exact f-number and speed that the meter shows.
    constant : C for an incident reading, K for a reflected one.
    correction : stops dialled into the meter; > 0 makes it ask for more exposure.

    Returns
    -------
    Incident: illuminance x time at the receptor [lx s]; reflected: luminance x time [cd s/m2].

    References
    ----------
    ISO 2720:1974: N^2/t = E S/C and N^2/t = L S/K, with E t and L t the time integrals for flash.
    """
    light: NDArray[np.float64] = (
        constant * np.square(np.asarray(n, float)) / np.asarray(iso, float) * 2.0**correction
    )
    return light


def reading_for_light(
    light: ArrayLike, iso: ArrayLike, constant: float, correction: float = 0.0
) -> NDArray[np.float64]:
    """Exact f-number that a meter shows for ``light``: the inverse of :func:`light_for_reading`."""
    n: NDArray[np.float64] = np.sqrt(
        np.asarray(light, float) * np.asarray(iso, float) / constant * 2.0**-correction
    )
    return n


def card_luminance(exposure_lxs: ArrayLike, reflectance: ArrayLike) -> NDArray[np.float64]:
    """Luminance x time [cd s/m2] of a matt card of ``reflectance`` (0-1] under H_E [lx s]."""
    luminance: NDArray[np.float64] = (
        np.asarray(reflectance, float) * np.asarray(exposure_lxs, float) / math.pi
    )
    return luminance


def sensor_exposure(
    luminance: ArrayLike, n: ArrayLike, lost_stops: float = 0.0, t_stop: bool = False
) -> NDArray[np.float64]:
    """Exposure on the sensor [lx s]: q L t / N^2, less the stops of bellows and filters.

    Parameters
    ----------
    luminance : luminance x time of the card [cd s/m2], all pops together.
    n : f-number set at the lens, or its T-stop.
    lost_stops : stops lost in bellows (:func:`bellows_stops`) and in filters on the lens.
    t_stop : ``n`` is a T-stop: the lens transmission inside q is taken out.

    References
    ----------
    ISO 12232:2006, q = 0.65.
    """
    q = Q_LENS / LENS_TRANSMISSION if t_stop else Q_LENS
    exposure_lxs: NDArray[np.float64] = (
        q * np.asarray(luminance, float) / np.square(np.asarray(n, float)) * 2.0**-lost_stops
    )
    return exposure_lxs


def sensor_signal(exposure_lxs: ArrayLike, iso: ArrayLike) -> NDArray[np.float64]:
    """Linear signal, 0 at black and 1 at clipping: H S / 78 (ISO 12232 saturation speed)."""
    signal: NDArray[np.float64] = (
        np.asarray(exposure_lxs, float) * np.asarray(iso, float) / SATURATION_LXS
    )
    return signal


def bellows_stops(magnification: float, pupil_magnification: float = 1.0) -> float:
    """Stops lost to extension at the f-number set: 2 log2(1 + m/P)."""
    return 2 * math.log2(1 + magnification / pupil_magnification)


def density_stops(density: float) -> float:
    """Stops lost in a filter of an optical density: D / log10(2)."""
    return density / math.log10(2)


def pops_stops(fired: float, planned: float = 1.0) -> float:
    """Stops of ``fired`` equal pops against ``planned``: log2(fired / planned)."""
    return math.log2(fired / planned)


def add_f_numbers(*readings: float) -> float:
    """f-number for several lights together: light adds, so f-numbers add in squares."""
    return math.sqrt(sum(n * n for n in readings))


def ambient_share(stops_under: float) -> float:
    """Share of the whole light that a light ``stops_under`` another has: 1 / (1 + 2^d)."""
    return float(1 / (1 + 2.0**stops_under))
