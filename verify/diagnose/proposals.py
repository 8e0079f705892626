"""What the residuals of a model propose: courses, steps, losses that frames share.

A scan compares thousands of courses by how far each would lower the weighted sum of squares beside
what the model has already; only the best of a family is worth a fit.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from verify.diagnose.fit import Fitted, Problem, Term, design
from verify.diagnose.shapes import Family

Floats = NDArray[np.float64]

CLIP = 5.0  # standard deviations that a residual counts for where all frames count
SHORTEST = 3  # frames before and after a step
MOST_SCANNED = 3000  # frames that courses are compared on at first
TINY = 1e-9
HEAPS_APART = 3.5  # standard deviations


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """Residuals of a model as a scan sees them."""

    root: Floats  # (frames,) square roots of weights
    axes: Floats  # (frames, columns) what the model can take up already, weighted, orthonormal
    left: Floats  # (frames,) weighted residuals without that
    robust: bool  # whether all frames count
    clipped: bool  # whether what is far off counts for less


def best_course(family: Family, view: View) -> Term | None:
    """The course of a family that gains most."""
    some = _some(len(view.left))
    root, axes, left = view.root[some], view.axes[some], view.left[some]
    if len(some) < len(view.left):
        axes, _ = np.linalg.qr(axes)
    gains = _gains(family, family.bank[some], root, axes, left)
    if not gains.size or not np.isfinite(gains.max()):
        return None
    best = int(gains.argmax())
    params, values = family.params[best], family.bank[:, best]
    if family.refined and family.shape is not None:
        params, values = _refined(family, params, some, root, axes, left)
    return _term(family, params, values)


def _term(family: Family, params: Floats, values: Floats) -> Term:
    unsure = None
    if family.unknown is not None and family.unknown.any() and not family.free:
        spread = float(np.var(values[~family.unknown]))
        unsure = np.where(family.unknown, spread, 0.0)
    given = tuple(float(p) for p in params)
    return Term(family.cause, values, family.free, family.cost, given, unsure=unsure)


def best_step(view: View, beside: Sequence[Term], cost: float) -> Term | None:
    """The step that gains most, some frames away from all ``beside``."""
    gains = step_gains(view)
    for term in beside:
        if term.cause == "step":
            gains[max(term.at - SHORTEST + 1, 0) : term.at + SHORTEST] = -math.inf
    if not np.isfinite(gains).any():
        return None
    return step_term(len(gains), int(gains.argmax()), cost)


def shared_loss(problem: Problem, model: Fitted) -> float | None:
    """A loss that most of the low stray frames share [stop]; None where none is low."""
    clear = 4 * model.sigma * problem.scale
    stray = (model.usual + model.dropped.sum(0) < 0.5) & (problem.known > 0)
    low = model.residuals[stray & (model.residuals < -clear)]
    if not low.size:
        return None
    near = np.abs(low[:, None] - low[None, :][:, :200]) < 3 * model.sigma
    return float(np.median(low[near[:, near.sum(0).argmax()]]))


def step_interval(problem: Problem, model: Fitted, at: int, share: float = 0.95) -> tuple[int, int]:
    """First and last frame that a step may begin with, all else as it is.

    Parameters
    ----------
    at : place of the step among the model's terms.
    share : of the chance that lies between them.
    """
    gains = step_gains(next(views(problem, leave_out(model, at))))
    if not np.isfinite(gains).any():
        return model.terms[at].at, model.terms[at].at
    chance = np.exp(gains - gains.max())
    chance /= chance.sum()
    likely = np.argsort(chance)[::-1]
    inside = likely[: 1 + int(np.searchsorted(np.cumsum(chance[likely]), share))]
    return int(inside.min()), int(inside.max())


def leave_out(model: Fitted, at: int) -> Fitted:
    """A model without one of its terms, nothing fitted anew."""
    others = tuple(t for n, t in enumerate(model.terms) if n != at)
    back = model.terms[at].values * model.sizes[at]
    return replace(model, terms=others, residuals=model.residuals + back)


def taken_by_drops(model: Fitted) -> Floats:
    """(frames,) what its drops take of a frame's light."""
    levels = np.array([t.params[0] for t in model.terms if t.is_drop])
    if not levels.size:
        return np.zeros(len(model.residuals))
    explained = np.maximum(model.usual + model.dropped.sum(0), 1e-12)
    return np.asarray((model.dropped * levels[:, None]).sum(0) / explained)


def views(problem: Problem, model: Fitted) -> Iterator[View]:
    """A model's residuals with its own weights; then with all frames, clipped, and as they are."""
    columns = design(problem, model.terms)
    width = model.sigma * problem.scale
    clipped = np.clip(model.residuals, -CLIP * width, CLIP * width)
    present = model.residuals - taken_by_drops(model)
    every = problem.known / width**2
    for robust, is_clipped, weights, left in (
        (False, False, model.weights, present),
        (True, True, every, clipped),
        (True, False, every, model.residuals),
    ):
        root = np.sqrt(weights)
        axes, _ = np.linalg.qr(columns * root[:, None])
        seen = root * left
        yield View(root, axes, seen - axes @ (axes.T @ seen), robust, is_clipped)


def two_heaps(model: Fitted, known: Floats) -> tuple[Floats, float, float] | None:
    """Lower frames, their level and the scatter, where residuals lie in two heaps.

    Parameters
    ----------
    known : (frames,) 1 or 0.

    References
    ----------
    Otsu, N. (1979), A threshold selection method from gray-level histograms, IEEE Transactions on
    Systems, Man, and Cybernetics 9: 62-66.
    """
    off = model.residuals
    values = np.sort(off[known > 0])
    count = len(values)
    if count < 2 * SHORTEST or any(t.is_drop for t in model.terms):
        return None
    low = np.arange(1, count)
    sums = np.cumsum(values)
    apart = values.sum() / count * low - sums[:-1]
    between = apart**2 / (low * (count - low))
    cut = int(between[: count // 2].argmax()) + 1  # frames of the lower heap: at most half
    below, above = values[:cut], values[cut:]
    level = float(np.median(below) - np.median(above))
    sigma = float(np.sqrt((below.var() * cut + above.var() * (count - cut)) / count))
    if -level < HEAPS_APART * sigma:
        return None
    return ((off <= values[cut - 1]) & (known > 0)).astype(float), level, max(sigma, TINY)


def stray_runs(model: Fitted, known: Floats) -> Iterator[tuple[int, int]]:
    """First and end of each run of stray frames, to one side, that is long enough for two steps."""
    stray = (model.usual + model.dropped.sum(0) < 0.5) & (known > 0)
    sign = np.where(stray, np.sign(model.residuals), 0.0)
    edges = np.flatnonzero(np.diff(np.concatenate([[0.0], sign, [0.0]])))
    for first, end in pairwise(edges.tolist()):
        inside = first >= SHORTEST and end <= len(sign) - SHORTEST
        if sign[first] and end - first >= SHORTEST and inside:
            yield first, end


def step_gains(view: View) -> Floats:
    """(frames,) fall of half the weighted sum of squares by a step that begins there."""
    count = len(view.left)
    if count < 2 * SHORTEST:
        return np.full(count, -math.inf)
    after = np.cumsum((view.root * view.left)[::-1])[::-1]
    size = np.cumsum((view.root**2)[::-1])[::-1]
    beside = np.cumsum((view.root[:, None] * view.axes)[::-1], axis=0)[::-1]
    new = size - (beside**2).sum(1)
    gains = np.where(new > TINY * size.max(), 0.5 * after**2 / np.maximum(new, TINY), 0.0)
    gains[:SHORTEST] = gains[count - SHORTEST + 1 :] = -math.inf
    return np.asarray(gains)


def _some(count: int) -> NDArray[np.int64]:
    """Frames that courses are compared on at first."""
    if count <= MOST_SCANNED:
        return np.arange(count)
    return np.unique(np.linspace(0, count - 1, MOST_SCANNED).astype(np.int64))


def _gains(family: Family, bank: Floats, root: Floats, axes: Floats, left: Floats) -> Floats:
    """(courses,) fall of half the weighted sum of squares by each course."""
    own = bank * root[:, None]
    beside = own - axes @ (axes.T @ own)
    size = (beside**2).sum(0)
    along = left @ beside
    if not family.free:
        return np.asarray(along - 0.5 * size)
    new = size > TINY * np.maximum((own**2).sum(0), TINY)
    gains = np.where(new, 0.5 * along**2 / np.where(new, size, 1), -math.inf)
    return np.where(family.sign * along < 0, -math.inf, gains)


def _refined(
    family: Family, start: Floats, some: NDArray[np.int64], root: Floats, axes: Floats, left: Floats
) -> tuple[Floats, Floats]:
    """The course of a family near to one that gains most."""
    assert family.shape is not None
    shape = family.shape
    fitted = list(family.refined)

    def params_at(x: Floats) -> Floats:
        params = start.copy()
        params[fitted] *= np.exp(np.clip(x, -3, 3))
        return np.minimum(params, family.most) if family.most else params

    def loss(x: Floats) -> float:
        values = shape(params_at(x)[None])[some]
        return -float(_gains(family, values, root, axes, left)[0])

    found = optimize.minimize(
        loss, np.zeros(len(fitted)), method="Nelder-Mead",
        options={"maxfev": 20 * len(fitted), "xatol": 0.01, "fatol": 0.01,
                 "initial_simplex": np.vstack([np.zeros(len(fitted)), 0.2 * np.eye(len(fitted))])},
    )  # fmt: skip
    params = params_at(found.x)
    return params, shape(params[None])[:, 0]


def step_term(count: int, at: int, cost: float) -> Term:
    return Term("step", (np.arange(count) >= at).astype(float), True, cost, (), at)
