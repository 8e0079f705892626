"""Run rules of the Western Electric handbook: what on a control chart is no chance any more."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Rule = Literal[
    "beyond 3 sigma", "2 of 3 beyond 2 sigma", "4 of 5 beyond 1 sigma", "run on one side"
]
RULES: tuple[Rule, ...] = (
    "beyond 3 sigma",
    "2 of 3 beyond 2 sigma",
    "4 of 5 beyond 1 sigma",
    "run on one side",
)
ON_ONE_SIDE = 8  # in a row; Nelson (1984) takes 9 and leaves the other three rules as they are
ROUNDING = 1e-12  # of the values: what is on a limit but for rounding is not beyond it


@dataclass(frozen=True, slots=True)
class RuleSignal:
    """A value at which a rule is met: the last of those that the rule looks at."""

    at: int  # place of the value, from 0
    rule: Rule


def run_rules(
    values: NDArray[np.float64], centre: float, sigma: float, on_one_side: int = ON_ONE_SIDE
) -> tuple[RuleSignal, ...]:
    """Signals of the four rules, in the order of the values, of one value in that of the rules.

    Parameters
    ----------
    values : (values,) in the order of time, all finite.
    centre, sigma : of the chart; sigma 0 or more.
    on_one_side : values in a row on one side of the centre that are no chance.

    References
    ----------
    Western Electric Company (1956), Statistical Quality Control Handbook: one value beyond 3 sigma,
    two of three beyond 2, four of five beyond 1 on one side, eight in a row on one side.
    Nelson, L. S. (1984), Journal of Quality Technology 16: 237-239, takes nine in a row.
    """
    met = np.zeros((len(RULES), len(values)), bool)
    least = ROUNDING * float(np.abs(values).max(initial=0.0))
    for side in (1.0, -1.0):
        off = side * (values - centre)
        met[0] |= off > 3 * sigma + least
        met[1] |= _so_many(off > 2 * sigma + least, 2, 3)
        met[2] |= _so_many(off > sigma + least, 4, 5)
        met[3] |= _so_many(off > least, on_one_side, on_one_side)
    return tuple(RuleSignal(int(at), RULES[rule]) for at, rule in np.argwhere(met.T))


def _so_many(beyond: NDArray[np.bool_], needed: int, of: int) -> NDArray[np.bool_]:
    """Where a value is beyond, and so are ``needed`` of the last ``of`` values with it."""
    count = np.cumsum(beyond)
    before = np.concatenate([np.zeros(min(of, len(count)), int), count[:-of]])
    return np.asarray(beyond & (count - before >= needed))
