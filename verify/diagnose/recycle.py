"""The shortest gap between frames that keeps a recharging flash within tolerance."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from verify.diagnose.fit import Fitted, Problem, design
from verify.diagnose.recharge import CARRIED, PLAIN, losses, shortest_gap
from verify.diagnose.series import Series

Floats = NDArray[np.float64]

MOST_FRAMES = 3000  # that an interval is found with
WORSE = 2.2  # of half the sum of squares: 95 % of one parameter, somewhat wide for a fitted scatter
WIDEST, ROUNDS = math.log(30), 14
DEPTH = (0.02, 1.0)


@dataclass(frozen=True, slots=True)
class Shortest:
    """A gap with its 95 % interval [s]."""

    gap_s: float
    low_s: float
    high_s: float  # infinite: no gap that was shot bounds it


def shortest(series: Series, problem: Problem, model: Fitted, at: int) -> Shortest:
    """Shortest gap within tolerance, with an interval by profile likelihood.

    Parameters
    ----------
    at : place of the recharge among the model's terms.
    """
    term = model.terms[at]
    params = np.array(term.params)
    found = float(shortest_gap(params, series.tolerance)[0])
    some = slice(0, MOST_FRAMES)
    known = ~np.isnan(series.gap_s[some])
    weights = model.weights[some] * known
    root = np.sqrt(weights)
    others = [t for n, t in enumerate(model.terms) if n != at]
    axes, _ = np.linalg.qr(design(problem, others)[some] * root[:, None])
    explained = np.maximum(model.usual + model.dropped.sum(0), 1e-12)
    levels = np.array([t.params[0] for t in model.terms if t.is_drop])
    dropped = (model.dropped * levels[:, None]).sum(0) / explained
    target = root * (model.residuals - dropped + term.values)[some]
    gaps = series.gap_s[some]

    def worth(tau: float, depth: float, kind: float) -> float:
        loss = losses(gaps, np.array([[tau, depth, kind]]))[:, 0]
        left = target - root * loss
        left -= axes @ (axes.T @ left)
        return 0.5 * float(left @ left)

    best = worth(params[0], params[1], params[2])
    if found <= 0:
        return Shortest(0.0, 0.0, 0.0)

    def profile(gap: float) -> float:
        return min(_at_gap(worth, gap, kind, series.tolerance) for kind in (PLAIN, CARRIED))

    low = _edge(profile, found, -1, best)
    high = _edge(profile, found, 1, best)
    return Shortest(found, low, high)


def _at_gap(
    worth: Callable[[float, float, float], float], gap: float, kind: float, tolerance: float
) -> float:
    """Half the least sum of squares of the laws whose shortest gap this is."""

    def by_depth(depth: float) -> float:
        one = shortest_gap(np.array([1.0, depth, kind]), tolerance)
        return worth(gap / max(float(one[0]), 1e-6), depth, kind)

    found = optimize.minimize_scalar(
        by_depth, bounds=(max(DEPTH[0], 1.02 * (1 - 2.0**-tolerance)), DEPTH[1]),
        method="bounded", options={"maxiter": 16},
    )  # fmt: skip
    return min(float(found.fun), by_depth(DEPTH[1]))


def _edge(profile: Callable[[float], float], found: float, way: int, best: float) -> float:
    """Where the profile has risen by what 95 % allow; 0 or infinite where it does not."""
    inner, outer = 0.0, 0.02
    while profile(found * math.exp(way * outer)) - best < WORSE:
        inner, outer = outer, 2 * outer
        if outer > WIDEST:
            return math.inf if way > 0 else 0.0
    for _ in range(ROUNDS):
        middle = (inner + outer) / 2
        if profile(found * math.exp(way * middle)) - best < WORSE:
            inner = middle
        else:
            outer = middle
        if outer - inner < 0.01:
            break
    return found * math.exp(way * outer)
