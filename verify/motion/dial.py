"""Shutter times that a dial of thirds of a stop has."""

import numpy as np

from verify.exposure import SHUTTER_TIMES

SAME = 1 + 1e-9  # two times this close are one
_STEPS = 3 * np.log2(SHUTTER_TIMES.exacts)
# Exact, ascending [s]; without those that only dials of halves have.
THIRDS = SHUTTER_TIMES.exacts[np.abs(_STEPS - np.round(_STEPS)) < 1e-6]


def marked_no_faster(shutter_s: float) -> float | None:
    """The fastest time on the dial that is no faster, exact [s]; None past its slow end."""
    slower = THIRDS[shutter_s <= THIRDS * SAME]
    return float(slower.min()) if slower.size else None


def marked_no_slower(shutter_s: float) -> float | None:
    """The slowest time on the dial that is no slower, exact [s]; None past its fast end."""
    faster = THIRDS[shutter_s * SAME >= THIRDS]
    return float(faster.max()) if faster.size else None
