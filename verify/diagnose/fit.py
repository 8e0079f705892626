"""Light as a sum of explanations with residuals that a few bad frames cannot rule.

A frame's residual is drawn from the scatter of the pops (normal), or from a drop that several
frames share (normal, about its level), or it is anything at all (uniform). All shares, levels,
sizes and the scatter are fitted together by expectation and maximisation; the cost of a model is
its negative logarithm of likelihood and what its terms cost for being chosen.

References
----------
Dempster, A. P., Laird, N. M., Rubin, D. B. (1977), Maximum likelihood from incomplete data via the
EM algorithm, Journal of the Royal Statistical Society B 39: 1-38. Schwarz, G. (1978), Estimating
the dimension of a model, Annals of Statistics 6: 461-464.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ANYTHING = 6.0  # stop, over which what has no explanation may lie
LEAST_SIGMA = 0.002  # stop: no camera and flash repeat better
PRIOR_FRAMES = 3.0  # that what is known before of the scatter counts for
MOST_STRAY = 0.25  # of the frames may be anything
LEAST_DROP, CLEAR = 0.07, 3.0  # stop; standard deviations that a drop is at least
ROUNDS, CLOSE = 40, 0.01  # of the iteration; of the cost
HALF_LOG = 0.5 * math.log(2 * math.pi)
RIDGE = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Term:
    """One explanation, as it enters the sum."""

    cause: str
    values: Floats  # (frames,) its course; 1 stop of size, or its size as it is
    free: bool  # whether its size is fitted
    cost: float  # for being chosen, as a logarithm of likelihood
    params: tuple[float, ...] = ()  # of its shape; of a drop its level
    at: int = -1  # of a step the frame that it begins with
    unsure: Floats | None = None  # (frames,) variance of what is not known of it [stop^2]

    @property
    def is_drop(self) -> bool:
        """Whether frames share a loss, and which they are is found by their light."""
        return self.cause == "drop"


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """What is to be explained."""

    light: Floats  # (frames,) [stop], 0 where not known
    known: Floats  # (frames,) 1 or 0
    zeros: Floats  # (frames, zeros)
    scale: Floats  # (frames,) scatter against that of the others
    prior: float  # scatter that is known before [stop]


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """A model of the light."""

    terms: tuple[Term, ...]  # drops have their fitted level
    sizes: tuple[float, ...]  # of each [stop]; 1 of one with a size of its own
    residuals: Floats  # (frames,) without the drops
    usual: Floats  # (frames,) chance of being neither in a drop nor stray
    dropped: Floats  # (drops, frames) chance of being in it
    weights: Floats  # (frames,) inverse variances, by the chance of being explained
    sigma: float  # scatter [stop]
    cost: float  # negative logarithm of likelihood, and costs of the terms


def design(problem: Problem, terms: Sequence[Term]) -> Floats:
    """(frames, zeros and free terms) columns whose sizes are fitted."""
    free = [t.values[:, None] for t in terms if t.free]
    return np.concatenate([problem.zeros, *free], axis=1)


def to_fit(problem: Problem, terms: Sequence[Term]) -> Floats:
    """(frames,) light without the courses that have a size of their own."""
    fixed = [t.values for t in terms if not (t.free or t.is_drop)]
    return np.asarray(problem.light - np.sum(fixed, axis=0)) if fixed else problem.light


def solved(columns: Floats, values: Floats, weights: Floats) -> Floats:
    """Sizes by weighted least squares."""
    weighted = columns * weights[:, None]
    square = columns.T @ weighted
    diagonal = square.ravel()[:: len(square) + 1]  # a view
    diagonal += RIDGE * (1 + diagonal.sum())
    return np.asarray(np.linalg.solve(square, weighted.T @ values))


def least_deviations(columns: Floats, values: Floats, known: Floats, scale: Floats) -> Floats:
    """Sizes that few far-off values do not move: least absolute deviations, in their scales.

    Parameters
    ----------
    scale : (frames,) scatter of each; deviations below half of it are smoothed.
    """
    found = solved(columns, values, known / scale**2)
    for _ in range(12):
        off = np.abs(values - columns @ found)
        weights = known / (scale * np.maximum(off, 0.5 * scale))
        found = solved(columns, values, weights)
    return found


def fit(problem: Problem, terms: Sequence[Term], start: Floats | None, sigma: float) -> Fitted:
    """Fit a model.

    Parameters
    ----------
    terms : its explanations.
    start : sizes to start from; None: by least absolute deviations.
    sigma : scatter to start from [stop].
    """
    known, own = problem.known, problem.scale**2
    rest = to_fit(problem, terms)
    extra = sum((t.unsure for t in terms if t.unsure is not None), np.zeros(1))
    columns = design(problem, terms)
    levels = np.array([t.params[0] for t in terms if t.is_drop])
    number = float(known.sum())
    found = (
        least_deviations(columns, rest, known, sigma * problem.scale) if start is None else start
    )
    share = np.full(len(levels), 1.0 / (number + 1))
    stray = 0.5 / (number + 1)
    before = math.inf
    for _ in range(ROUNDS):
        residuals = rest - columns @ found
        variance = np.maximum(sigma * sigma * own + extra, LEAST_SIGMA**2)
        log_scale = 0.5 * np.log(variance) + HALF_LOG
        plain = max(1 - share.sum() - stray, 0.01)
        middle = np.concatenate([[0.0], levels])
        chance = np.concatenate([[plain], share])
        normal = (chance[:, None] * np.exp(
            -0.5 * (residuals - middle[:, None]) ** 2 / variance - log_scale
        ))  # fmt: skip
        total = normal.sum(0) + stray / ANYTHING
        part = normal / total * known
        explained = part.sum(0)
        cost = float(
            -(np.log(total) * known).sum()
            + PRIOR_FRAMES * (math.log(sigma) + 0.5 * (problem.prior / sigma) ** 2)
        )
        if abs(before - cost) < CLOSE:
            break
        before = cost
        weights = explained / variance
        pulled = residuals - (part[1:] * levels[:, None]).sum(0) / np.maximum(explained, 1e-12)
        found = found + solved(columns, pulled, weights)
        off = rest - columns @ found
        if levels.size:
            inner = part[1:] / variance
            levels = (inner * off).sum(1) / np.maximum(inner.sum(1), 1e-12)
        spread = part[0] * off**2 + (part[1:] * (off - levels[:, None]) ** 2).sum(0)
        # Squares over what each is expected to be: frames of unsure terms count by their surplus.
        ratio = float((spread / variance).sum()) * sigma**2
        free = max(float(explained.sum()) - columns.shape[1] - len(levels), 0.0)
        sigma = math.sqrt((ratio + PRIOR_FRAMES * problem.prior**2) / (free + PRIOR_FRAMES))
        sigma = max(sigma, LEAST_SIGMA)
        share = (part[1:].sum(1) + 0.5) / (number + 1)
        stray = (number - float(explained.sum()) + 0.5) / (number + 1)
        stray = min(max(stray, 0.5 / (number + 1)), MOST_STRAY)
    named = iter(levels.tolist())
    sized = iter(found[problem.zeros.shape[1] :].tolist())
    kept, sizes = [], []
    for term in terms:
        size = next(named) if term.is_drop else next(sized) if term.free else 1.0
        kept.append(_at_level(term, size) if term.is_drop else term)
        sizes.append(size)
    if levels.size and not _drops_stand(levels, sigma):
        cost = math.inf
    return Fitted(
        terms=tuple(kept),
        sizes=tuple(sizes),
        residuals=residuals,
        usual=part[0],
        dropped=part[1:],
        weights=explained / variance,
        sigma=sigma,
        cost=cost + sum(term.cost for term in terms),
    )


def _at_level(term: Term, level: float) -> Term:
    return Term(term.cause, term.values, term.free, term.cost, (level,))


def _drops_stand(levels: Floats, sigma: float) -> bool:
    """Whether each drop is clear of the scatter and of the others."""
    clear = max(LEAST_DROP, CLEAR * sigma)
    ordered = np.sort(levels)[::-1]
    return bool(ordered[0] <= -clear and (-np.diff(ordered) >= CLEAR * sigma).all())
