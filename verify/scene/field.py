"""How unevenly light changed over a picture: a smooth field through the changes of its tiles.

A lamp of two that is missing takes more light from one side than from the other. No single change
is right then, but the field is smooth, as it is not between pictures of two different sets.
"""

import numpy as np
from numpy.typing import NDArray

from verify.scene.mode import AGREES, LEAST_SPREAD

ROUNDS = 15
FIRST_SCALE, LAST_SCALE = 0.5, 0.03  # stop; how far off a tile may be, in the first and last round
FEWEST = 20  # tiles, that six terms are fitted to


def smooth_field(stops: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """The smooth field that most tiles follow, (rows, cols) [stop]; None of too few tiles.

    Parameters
    ----------
    stops : (rows, cols) change of each tile; NaN where not known.

    References
    ----------
    Blake, A., Zisserman, A. (1987), Visual Reconstruction: graduated non-convexity, a robust fit
    whose scale is made small step by step.
    """
    known = np.isfinite(stops)
    if np.count_nonzero(known) < FEWEST:
        return None
    rows, cols = stops.shape
    y, x = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, cols), indexing="ij")
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    own, values = terms[known], stops[known]
    found = np.array([np.median(values), 0, 0, 0, 0, 0])
    for scale in np.geomspace(FIRST_SCALE, LAST_SCALE, ROUNDS):
        weight = 1 / (1 + ((values - own @ found) / scale) ** 2) ** 2
        weighed = own * weight[:, None]
        found = np.linalg.solve(weighed.T @ own + 1e-6 * np.eye(6), weighed.T @ values)
    return np.asarray(terms @ found)


def span_of(field: NDArray[np.float64], known: NDArray[np.bool_]) -> float:
    """Span of a field over the tiles that are known, from its 5 % to its 95 % quantile [stop]."""
    low, high = np.quantile(field[known], (0.05, 0.95))
    return float(high - low)


def follows(
    stops: NDArray[np.float64], field: NDArray[np.float64], u: NDArray[np.float64], most: float
) -> NDArray[np.bool_]:
    """Whether each tile follows a field: (rows, cols), within its u and ``most`` [stop]."""
    reach = np.minimum(AGREES * np.hypot(u, max(LAST_SCALE, LEAST_SPREAD)), most)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.abs(stops - field) <= reach)


def alike_beside(stops: NDArray[np.float64]) -> float:
    """Correlation of the change of tiles (rows, cols) with that of their neighbours.

    Parameters
    ----------
    stops : change of each tile; NaN where not known. Where no two neighbours are, it is 0.
    """
    off = stops - np.nanmean(stops)
    beside = np.concatenate([(off[1:] * off[:-1]).ravel(), (off[:, 1:] * off[:, :-1]).ravel()])
    told = beside[np.isfinite(beside)]
    variance = float(np.nanmean(off**2))
    return float(told.mean()) / variance if told.size and variance > 0 else 0.0
