"""Light of a flash that has not recharged, by the gap to the frame before.

A pop takes the share ``depth`` of the charge; what is missing decays with the time constant. In
the plain law every pop starts from full charge; in the carried law from what the pop before it
had, so that a long burst sinks further.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEAST_LIGHT = 0.02  # share of full light that a loss stops at
DEPTHS = (0.08, 0.15, 0.25, 0.35, 0.5, 0.65, 0.8, 0.9, 1.0)
TAUS = 28  # time constants tried at first
PLAIN, CARRIED = 0.0, 1.0
MOST_BACK, CLOSE = 40, 1e-4  # pops that count; share of the charge


def first_params(gap_s: Floats) -> Floats:
    """(laws, 3) time constants [s], depths and kinds to try at first for these gaps."""
    seen = gap_s[np.isfinite(gap_s)]
    low, high = np.quantile(seen, (0.02, 0.75))
    taus = np.geomspace(max(low, 0.02) / 5, max(high, 0.1) * 1.5, TAUS)
    return np.array([(tau, a, kind) for kind in (PLAIN, CARRIED) for tau in taus for a in DEPTHS])


def losses(gap_s: Floats, params: Floats) -> Floats:
    """(frames, laws) light lost or 0 [stop]; of frames with an unknown gap the mean of the others.

    Parameters
    ----------
    gap_s : (frames,) NaN where not known, infinite for a full charge.
    params : (laws, 3) time constant [s], depth and kind.
    """
    tau, depth, kind = params.T
    known = ~np.isnan(gap_s)
    left = np.exp(-np.where(known, gap_s, np.inf)[:, None] / tau)
    missing = depth * left
    carried = np.flatnonzero(kind == CARRIED)
    if carried.size:
        missing[:, carried] = _carried(depth[carried], left[:, carried], known)
    stops = np.asarray(np.log2(np.maximum(1 - missing, LEAST_LIGHT)))
    if known.any():
        stops[~known] = stops[known].mean(0)
    return stops


def _carried(depth: Floats, left: Floats, known: NDArray[np.bool_]) -> Floats:
    """(frames, laws) share missing where each pop starts from what the one before it had.

    Found by repetition: what a pop misses hangs less and less on pops farther back.
    """
    plain = depth * left
    missing = plain
    for _ in range(MOST_BACK):
        before = np.concatenate([np.zeros((1, len(depth))), missing[:-1]])
        if not known.all():
            before[1:][~known[:-1]] = plain[known].mean(0) if known.any() else 0.0
        following = plain + (1 - depth) * left * before
        change = float(np.abs(following - missing).max(initial=0.0))
        missing = following
        if change < CLOSE:
            break
    return missing


def shortest_gap(params: Floats, tolerance: float) -> Floats:
    """(laws,) gap that keeps the loss within tolerance, in a burst without end [s]; 0: any does."""
    tau, depth, kind = np.atleast_2d(params).T
    allowed = 1 - 2.0 ** (-tolerance)
    kept = np.where(kind == CARRIED, allowed * (1 - depth), 0.0)
    return np.asarray(tau * np.log(np.maximum((depth + kept) / allowed, 1.0)))
