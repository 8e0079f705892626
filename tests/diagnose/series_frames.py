"""Series of frames for the tests of the diagnosis: light and gaps as given."""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from verify.diagnose.records import Seen


def seen(light: ArrayLike, gap_s: ArrayLike | None = None, **columns: Any) -> list[Seen]:
    """Frames with this light; a column is one value for all, or a sequence with one for each.

    Parameters
    ----------
    light : (frames,) rest of each [stop].
    gap_s : (frames,) since the frame before [s]; that of the first is not known. None: no times.
    """
    values = np.asarray(light, float)
    count = len(values)
    gaps = None if gap_s is None else np.asarray(gap_s, float)
    at_s = None if gaps is None else np.concatenate([[0.0], np.cumsum(gaps[1:])])
    frames = []
    for at in range(count):
        own: dict[str, Any] = {
            name: column[at] if isinstance(column, list | np.ndarray) else column
            for name, column in columns.items()
        }
        fields: dict[str, Any] = {
            "file": Path(f"frame_{at:03d}.dng"),
            "setup": "main",
            "by": "card",
            "rest_stops": float(values[at]),
            "u_stops": 0.01,
            "at_s": None if at_s is None else float(at_s[at]),
            "gap_s": None if gaps is None or at == 0 else float(gaps[at]),
        }
        frames.append(Seen(**fields | own))
    return frames


def scatter(count: int, seed: int = 1, sd: float = 0.03) -> np.ndarray:
    """(count,) what differs from pop to pop [stop]."""
    return np.random.default_rng(seed).normal(0, sd, count)


def gaps(count: int, seed: int = 1) -> np.ndarray:
    """(count,) gaps of bursts, an idle one now and then [s]."""
    rng = np.random.default_rng([seed, 7])
    found = rng.lognormal(np.log(2.5), 0.6, count)
    found[rng.random(count) < 0.07] = 150.0
    return found
