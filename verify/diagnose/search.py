"""The set of explanations that costs least, found by adding, giving up and exchanging them.

Every family proposes its best course by the gain in least squares, once with the weights of the
present model and once with all frames (for what looks stray may be a course of its own); each
proposal is then fitted in full. Adding one is tried first, then giving one up or exchanging it for
a rival, then two at once, for causes can hide one another.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from verify.diagnose.fit import Fitted, Problem, Term, design, fit, solved, to_fit
from verify.diagnose.proposals import (
    View,
    best_course,
    best_step,
    leave_out,
    shared_loss,
    step_term,
    stray_runs,
    taken_by_drops,
    two_heaps,
    views,
)
from verify.diagnose.shapes import PRIOR, Family

MOST_TERMS = 12
LONG = 2000  # frames, from which on two at once and rivals of steps are not tried
BETTER = 0.05  # of cost
TYPICAL = 1.4826
SEVERAL = ("step", "drop")  # causes that can come more than once
HIDING = ("step", "drift", "recycle")  # what can need another beside it to be seen


@dataclass(frozen=True, slots=True, eq=False)
class Explained:
    """The model that costs least, and what is nearest to it."""

    model: Fitted
    rivals: tuple[dict[str, float], ...]  # of each term, by cause: least cost of a model with a
    # term of that cause in its place; "" with none


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
        """Better the model until nothing betters it."""
        model = self._nothing()
        rivals: list[dict[str, float]] = []
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
        rivals: list[dict[str, float]] = []
        for at, term in enumerate(model.terms):
            others = [t for n, t in enumerate(model.terms) if n != at]
            without = self._refitted(model, others)
            if without.cost < model.cost - BETTER:
                return without, []
            costs = {"": without.cost}
            # A step of a long series is beyond doubt; many of them would take too long.
            sure = term.cause == "step" and len(term.values) > LONG
            for other in () if sure else self._with_one_more(without):
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
        count = len(self.problem.light)
        for run in stray_runs(model, self.problem.known):
            both = [step_term(count, at, self.step_cost) for at in run]
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
        rest = to_fit(self.problem, terms) - taken_by_drops(model)
        near = fit(self.problem, terms, solved(columns, rest, model.weights), model.sigma)
        far = fit(self.problem, terms, None, model.sigma)
        return min(near, far, key=lambda m: m.cost)

    def _with_one_more(self, model: Fitted) -> Iterator[Fitted]:
        there = {t.cause for t in model.terms} - set(SEVERAL)
        for view in views(self.problem, model):
            whole = view.robust and not view.clipped  # for courses of a size of their own
            for family in self.families:
                if family.cause not in there and not (whole and family.free):
                    term = best_course(family, view)
                    if term is not None:
                        yield self._joined(model, term, view)
            step = None if whole else best_step(view, model.terms, self.step_cost)
            if step is not None:
                yield self._joined(model, step, view)
        if self.drops:
            yield from self._with_drops(model)

    def _with_drops(self, model: Fitted) -> Iterator[Fitted]:
        """One more loss that frames share: of stray ones, and of the lower of two heaps."""
        columns = design(self.problem, model.terms)
        rest = to_fit(self.problem, model.terms)
        loss = shared_loss(self.problem, model)
        if loss is not None:
            start = solved(columns, rest - taken_by_drops(model), model.weights)
            yield fit(self.problem, [*model.terms, self._drop(loss)], start, model.sigma)
        heaps = two_heaps(model, self.problem.known)
        if heaps is not None:
            low, level, sigma = heaps
            start = solved(columns, rest - level * low, self.problem.known)
            yield fit(self.problem, [*model.terms, self._drop(level)], start, sigma)

    def _joined(self, model: Fitted, term: Term, view: View) -> Fitted:
        terms = [*model.terms, term]
        if view.robust:
            return fit(self.problem, terms, None, model.sigma)
        columns = design(self.problem, terms)
        rest = to_fit(self.problem, terms) - taken_by_drops(model)
        return fit(self.problem, terms, solved(columns, rest, model.weights), model.sigma)

    def _drop(self, level: float) -> Term:
        none = np.zeros(len(self.problem.light))
        return Term("drop", none, False, self.drop_cost, (level,))

    def _polished(self, model: Fitted) -> Fitted:
        """Places of steps and shapes of courses once more, each with all others in place."""
        for at, term in enumerate(model.terms):
            others = [t for n, t in enumerate(model.terms) if n != at]
            family = next((f for f in self.families if f.cause == term.cause), None)
            if term.is_drop or (term.cause != "step" and family is None):
                continue
            view = next(views(self.problem, leave_out(model, at)))
            if family is None:
                other = best_step(view, others, self.step_cost)
            else:
                other = best_course(family, view)
            if other is None or (other.at == term.at and other.params == term.params):
                continue
            terms = [other if n == at else t for n, t in enumerate(model.terms)]
            tried = self._refitted(model, terms)
            if tried.cost < model.cost:
                model = tried
        return model
