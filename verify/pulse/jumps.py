"""Where light is switched: from one sample to the next it is elsewhere than its course tells."""

import numpy as np
from numpy.typing import NDArray

from verify.pulse.smoothing import Smoothed

SURE = 6.0  # deviations by which the courses before and after must differ
SHARE = 0.6  # of that difference, that must lie between the two samples
STEP_SURE = 4.5  # deviations of the noise, by which the step there must exceed those beside it


def jumps_of(value: NDArray[np.float64], smooth: Smoothed, noise: float) -> NDArray[np.intp]:
    """The last sample before each jump, in the order of time.

    Parameters
    ----------
    value, smooth : (samples,) as recorded, and without most of the noise.
    noise : standard deviation of a value.
    """
    behind, ahead = smooth.behind, smooth.ahead
    # Both courses are carried on to half way between the two samples.
    before, after = behind.value + behind.slope / 2, ahead.value - ahead.slope / 2
    size = after[1:] - before[:-1]
    u_before, u_after = np.hypot(behind.u, behind.u_slope / 2), np.hypot(ahead.u, ahead.u_slope / 2)
    up = np.sign(size)
    beside = np.maximum(np.maximum(behind.slope[:-1] * up, ahead.slope[1:] * up), 0)
    step = np.diff(value) * up
    found: NDArray[np.intp] = np.flatnonzero(
        (np.abs(size) > SURE * np.hypot(u_before[:-1], u_after[1:]))
        & (step > SHARE * np.abs(size))
        & (step - beside > STEP_SURE * noise)
    )
    return found
