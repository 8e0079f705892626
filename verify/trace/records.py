"""A recorded light trace."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """Light against time, as it was recorded."""

    time_s: NDArray[np.float64]  # (samples,) rising [s]
    value: NDArray[np.float64]  # (samples,) as recorded, in whatever unit
    form: Literal["table", "sound"]  # where it comes from: a table of numbers, or a sound recording
    least: float | None = None  # lowest value the recorder can write; None where that is not known
    most: float | None = None  # highest value it can write
