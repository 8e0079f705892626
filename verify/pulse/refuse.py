"""Recordings without a flash: refused in one line that says what is in them instead."""

from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from verify.errors import PlanError
from verify.pulse.even import Even, block_means
from verify.pulse.find import STANDS_OUT
from verify.pulse.hum import is_only_hum
from verify.pulse.noise import quick_noise

LOOKED_AT = 2000  # blocks of a recording
DRIFT_LEAVES = 0.015  # of its range, that a slow curve may leave of a recording without a flash
DRIFT_NOISE = 6.0  # deviations, that noise may leave of it
FLICKER_LEVELS = 4  # different values at most: the last code of a recorder that goes up and down
FLICKER_CHANGES, FLICKER_RUN = 4, 5  # more changes than these, and never so long in a row
FAINT = 4.0  # deviations, from which something may be there


def refuse_no_light(stands_out: float, where: str) -> NoReturn:
    """Raise the PlanError of a recording in which nothing stands out.

    Parameters
    ----------
    stands_out : the most light in it, in deviations of the noise.
    where : the recording, for messages.
    """
    if stands_out < FAINT:
        msg = f"{where}: no flash in it, only noise: put the sensor nearer, or record again"
        raise PlanError(msg)
    msg = (
        f"{where}: no flash in it that stands out: the most light is {stands_out:.1f} times the"
        f" noise, {STANDS_OUT:g} are needed: put the sensor nearer"
    )
    raise PlanError(msg)


def refuse_other_signals(even: Even, where: str) -> None:
    """Raise PlanError where a constant, a slow curve or hum of the mains is all there is."""
    block = -(-even.value.size // LOOKED_AT)
    value = block_means(even.value, block)
    span = float(value.max() - value.min())
    if span == 0:
        msg = f"{where}: no flash in it: all values are {value[0]:g}: record the flash again"
        raise PlanError(msg)
    at = np.linspace(-1, 1, value.size)
    curve = np.polynomial.legendre.legval(at, np.polynomial.legendre.legfit(at, value, 2))
    left = float(np.abs(value - curve).max())
    noise = quick_noise(value)
    if left < DRIFT_LEAVES * span or (
        left < DRIFT_NOISE * noise and float(np.ptp(curve)) > DRIFT_NOISE * noise
    ):
        msg = f"{where}: no flash in it: it only drifts: record the flash again"
        raise PlanError(msg)
    if _is_flicker(even.value):
        refuse_no_light(0.0, where)
    hum_hz = is_only_hum(even.step_s * block * np.arange(value.size, dtype=np.float64), value)
    if hum_hz is not None:
        msg = (
            f"{where}: no flash in it, only hum or light of the mains ({hum_hz:g} Hz): darken the"
            " room and record the flash again"
        )
        raise PlanError(msg)


def _is_flicker(value: NDArray[np.float64]) -> bool:
    """Whether all that happens is a recorder's last code going up and down."""
    if np.unique(value[:: max(value.size // LOOKED_AT, 1)]).size > FLICKER_LEVELS:
        return False
    high = value > (float(value.max()) + float(value.min())) / 2
    edges = np.flatnonzero(np.diff(np.concatenate([[False], high, [False]]).astype(np.int8)))
    runs = edges[1::2] - edges[::2]
    longest = min(int(runs.max()), int(high.size - runs.sum()))
    return edges.size > FLICKER_CHANGES and longest < FLICKER_RUN
