"""The set of explanations that costs least, found by adding, giving up and exchanging them.

Every family proposes its best course by the gain in least squares, once with the weights of the
present model and once with all frames (for what looks stray may be a course of its own); each
proposal is then fitted in full. Adding one is tried first, then giving one up or exchanging it for
a rival, then two at once, for causes can hide one another.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from verify.diagnose.fit import Fitted, Problem, Term, design, fit, solved
from verify.diagnose.shapes import PRIOR, Family

Floats = NDArray[np.float64]

CLIP = 5.0  # standard deviations that a residual counts for where all frames count
SHORTEST = 3  # frames before and after a step
MOST_TERMS = 12
MOST_SCANNED = 3000  # frames that courses are compared on at first
LONG = 2000  # frames, from which on two at once are not tried
BETTER = 0.05  # of cost
TYPICAL = 1.4826
SEVERAL = ("step", "drop")  # causes that can come more than once
HIDING = ("step", "drift", "recycle")  # what can need another beside it to be seen
TINY = 1e-9
HEAPS_APART = 3.5  # standard deviations


@dataclass(frozen=True, slots=True, eq=False)
class Explained:
    """The model that costs least, and what is nearest to it."""

    model: Fitted
    rivals: tuple[dict[str, float], ...]  # of each term, by cause: least cost of a model with a
    # term of that cause in its place; "" with none


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """Residuals of a model as a scan sees them."""

    root: Floats  # (frames,) square roots of weights
    axes: Floats  # (frames, columns) what the model can take up already, weighted, orthonormal
    left: Floats  # (frames,) weighted residuals without that
    robust: bool  # whether all frames count
    clipped: bool  # whether what is far off counts for less


def explain(
    problem: Problem, families: Sequence[Family], step_cost: float, drops: bool = True
) -> Explained:
    """Find the explanations of a series.

    Parameters
    ----------
    families : courses that may explain.
    step_cost : of a step, its place and size included.
    drops : whether frames may share a loss.
    """
    return _Search(problem, families, step_cost, drops).run()


class _Search:
    """One search: the problem, what may explain, and costs that were found on the way."""

    def __init__(
        self, problem: Problem, families: Sequence[Family], step_cost: float, drops: bool
    ) -> None:
        self.problem = problem
        self.drops = drops
        self.families = list(families)
        self.step_cost = step_cost
        self.drop_cost = PRIOR["drop"] + 0.5 * math.log(max(problem.known.sum(), 2))

    def run(self) -> Explained:
        model = self._nothing()
        while True:
            found = self._grown(model)
            if found is None:
                found, rivals = self._exchanged(model)
            if found is None and len(self.problem.light) <= LONG:
                found = self._two_at_once(model)
            if found is None:
                return Explained(model, tuple(rivals))
            model = found

    def _nothing(self) -> Fitted:
        light = self.problem.light[self.problem.known > 0]
        if light.size < 2:
            return fit(self.problem, [], None, self.problem.prior)
        near = TYPICAL * float(np.median(np.abs(np.diff(light)))) / math.sqrt(2)
        far = TYPICAL * float(np.median(np.abs(light - np.median(light))))
        least = self.problem.prior / 3
        starts = {max(near, least), max(far, least)}
        return min((fit(self.problem, [], None, s) for s in starts), key=lambda m: m.cost)

    def _grown(self, model: Fitted) -> Fitted | None:
        if len(model.terms) >= MOST_TERMS:
            return None
        best = min(self._with_one_more(model), key=lambda m: m.cost, default=model)
        return self._polished(best) if best.cost < model.cost - BETTER else None

    def _exchanged(self, model: Fitted) -> tuple[Fitted | None, list[dict[str, float]]]:
        rivals = []
        for at, term in enumerate(model.terms):
            others = [t for n, t in enumerate(model.terms) if n != at]
            without = self._refitted(model, others)
            if without.cost < model.cost - BETTER:
                return without, []
            costs = {"": without.cost}
            for other in self._with_one_more(without):
                if other.cost < model.cost - BETTER:
                    return self._polished(other), []
                cause = other.terms[-1].cause
                if cause != term.cause:
                    costs[cause] = min(other.cost, costs.get(cause, math.inf))
            rivals.append(costs)
        return None, rivals

    def _two_at_once(self, model: Fitted) -> Fitted | None:
        if len(model.terms) + 2 > MOST_TERMS:
            return None
        for first, end in _stray_runs(model, self.problem.known):
            count = len(self.problem.light)
            both = [_step(count, first, self.step_cost), _step(count, end, self.step_cost)]
            tried = fit(self.problem, [*model.terms, *both], None, model.sigma)
            if tried.cost < model.cost - BETTER:
                return tried
        firsts: dict[str, Fitted] = {}
        for one in self._with_one_more(model):
            cause = one.terms[-1].cause
            if cause in HIDING and (cause not in firsts or one.cost < firsts[cause].cost):
                firsts[cause] = one
        for first in firsts.values():
            if not math.isfinite(first.cost):
                continue
            best = min(self._with_one_more(first), key=lambda m: m.cost, default=first)
            if best.cost < model.cost - BETTER:
                return self._polished(best)
        return None

    def _refitted(self, model: Fitted, terms: Sequence[Term]) -> Fitted:
        """The better of two starts: from the model's weights, and from all frames."""
        columns = design(self.problem, terms)
        rest = self.problem.light - sum(
            (t.values for t in terms if not (t.free or t.is_drop)), 0.0
        ) - _taken(model)  # fmt: skip
        near = fit(self.problem, terms, solved(columns, rest, model.weights), model.sigma)
        far = fit(self.problem, terms, None, model.sigma)
        return min(near, far, key=lambda m: m.cost)

    def _with_one_more(self, model: Fitted) -> Iterator[Fitted]:
        taken = {t.cause for t in model.terms} - set(SEVERAL)
        for view in _views(self.problem, model):
            whole = view.robust and not view.clipped  # for courses of a size of their own
            for family in self.families:
                if family.cause not in taken and not (whole and family.free):
                    term = self._best_course(family, view)
                    if term is not None:
                        yield self._joined(model, term, view)
            step = None if whole else self._best_step(view, model.terms)
            if step is not None:
                yield self._joined(model, step, view)
        if self.drops:
            yield from self._with_drops(model)

    def _with_drops(self, model: Fitted) -> Iterator[Fitted]:
        """One more loss that frames share: of stray ones, and of the lower of two heaps."""
        columns = design(self.problem, model.terms)
        rest = self.problem.light - sum(
            (t.values for t in model.terms if not (t.free or t.is_drop)), 0.0
        )
        drop = self._drop(model)
        if drop is not None:
            start = solved(columns, rest - _taken(model), model.weights)
            yield fit(self.problem, [*model.terms, drop], start, model.sigma)
        heaps = _two_heaps(model, self.problem.known)
        if heaps is not None:
            low, level, sigma = heaps
            start = solved(columns, rest - level * low, self.problem.known)
            yield fit(self.problem, [*model.terms, self._drop_term(level)], start, sigma)

    def _joined(self, model: Fitted, term: Term, view: _View) -> Fitted:
        terms = [*model.terms, term]
        if view.robust:
            return fit(self.problem, terms, None, model.sigma)
        columns = design(self.problem, terms)
        rest = self.problem.light - _taken(model) - sum(
            (t.values for t in terms if not (t.free or t.is_drop)), 0.0
        )  # fmt: skip
        return fit(self.problem, terms, solved(columns, rest, model.weights), model.sigma)

    def _best_course(self, family: Family, view: _View) -> Term | None:
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
        return self._term(family, params, values)

    def _term(self, family: Family, params: Floats, values: Floats) -> Term:
        unsure = None
        if family.unknown is not None and family.unknown.any() and not family.free:
            spread = float(np.var(values[~family.unknown]))
            unsure = np.where(family.unknown, spread, 0.0)
        given = tuple(float(p) for p in params)
        return Term(family.cause, values, family.free, family.cost, given, unsure=unsure)

    def _best_step(self, view: _View, beside: Sequence[Term]) -> Term | None:
        gains = _step_gains(view)
        for term in beside:
            if term.cause == "step":
                gains[max(term.at - SHORTEST + 1, 0) : term.at + SHORTEST] = -math.inf
        if not np.isfinite(gains).any():
            return None
        return _step(len(gains), int(gains.argmax()), self.step_cost)

    def _drop(self, model: Fitted) -> Term | None:
        """A loss that most of the low stray frames share."""
        clear = 4 * model.sigma * self.problem.scale
        stray = (model.usual + model.dropped.sum(0) < 0.5) & (self.problem.known > 0)
        low = model.residuals[stray & (model.residuals < -clear)]
        if not low.size:
            return None
        near = np.abs(low[:, None] - low[None, :][:, :200]) < 3 * model.sigma
        level = float(np.median(low[near[:, near.sum(0).argmax()]]))
        return self._drop_term(level)

    def _drop_term(self, level: float) -> Term:
        none = np.zeros(len(self.problem.light))
        return Term("drop", none, False, self.drop_cost, (level,))

    def _polished(self, model: Fitted) -> Fitted:
        """Places of steps and shapes of courses once more, each with all others in place."""
        for at, term in enumerate(model.terms):
            others = [t for n, t in enumerate(model.terms) if n != at]
            family = next((f for f in self.families if f.cause == term.cause), None)
            if term.is_drop or (term.cause != "step" and family is None):
                continue
            view = next(_views(self.problem, _without(model, at)))
            if family is None:
                other = self._best_step(view, others)
            else:
                other = self._best_course(family, view)
            if other is None or (other.at == term.at and other.params == term.params):
                continue
            terms = [other if n == at else t for n, t in enumerate(model.terms)]
            tried = self._refitted(model, terms)
            if tried.cost < model.cost:
                model = tried
        return model


def step_interval(problem: Problem, model: Fitted, at: int, share: float = 0.95) -> tuple[int, int]:
    """First and last frame that a step may begin with, all else as it is.

    Parameters
    ----------
    at : place of the step among the model's terms.
    share : of the chance that lies between them.
    """
    gains = _step_gains(next(_views(problem, _without(model, at))))
    if not np.isfinite(gains).any():
        return model.terms[at].at, model.terms[at].at
    chance = np.exp(gains - gains.max())
    chance /= chance.sum()
    likely = np.argsort(chance)[::-1]
    inside = likely[: 1 + int(np.searchsorted(np.cumsum(chance[likely]), share))]
    return int(inside.min()), int(inside.max())


def _without(model: Fitted, at: int) -> Fitted:
    """A model without one of its terms, nothing fitted anew."""
    others = tuple(t for n, t in enumerate(model.terms) if n != at)
    back = model.terms[at].values * model.sizes[at]
    return replace(model, terms=others, residuals=model.residuals + back)


def _taken(model: Fitted) -> Floats:
    """(frames,) what its drops take of a frame's light."""
    levels = np.array([t.params[0] for t in model.terms if t.is_drop])
    if not levels.size:
        return np.zeros(len(model.residuals))
    explained = np.maximum(model.usual + model.dropped.sum(0), 1e-12)
    return np.asarray((model.dropped * levels[:, None]).sum(0) / explained)


def _views(problem: Problem, model: Fitted) -> Iterator[_View]:
    """A model's residuals with its own weights; then with all frames, clipped, and as they are."""
    columns = design(problem, model.terms)
    width = model.sigma * problem.scale
    clipped = np.clip(model.residuals, -CLIP * width, CLIP * width)
    present = model.residuals - _taken(model)
    every = problem.known / width**2
    for robust, is_clipped, weights, left in (
        (False, False, model.weights, present),
        (True, True, every, clipped),
        (True, False, every, model.residuals),
    ):
        root = np.sqrt(weights)
        axes, _ = np.linalg.qr(columns * root[:, None])
        seen = root * left
        yield _View(root, axes, seen - axes @ (axes.T @ seen), robust, is_clipped)


def _two_heaps(model: Fitted, known: Floats) -> tuple[Floats, float, float] | None:
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


def _stray_runs(model: Fitted, known: Floats) -> Iterator[tuple[int, int]]:
    """First and end of each run of stray frames, to one side, that is long enough for two steps."""
    stray = (model.usual + model.dropped.sum(0) < 0.5) & (known > 0)
    sign = np.where(stray, np.sign(model.residuals), 0.0)
    edges = np.flatnonzero(np.diff(np.concatenate([[0.0], sign, [0.0]])))
    for first, end in pairwise(edges.tolist()):
        inside = first >= SHORTEST and end <= len(sign) - SHORTEST
        if sign[first] and end - first >= SHORTEST and inside:
            yield first, end


def _step_gains(view: _View) -> Floats:
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
        return params

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


def _step(count: int, at: int, cost: float) -> Term:
    return Term("step", (np.arange(count) >= at).astype(float), True, cost, (), at)
