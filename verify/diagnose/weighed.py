"""A finding with what it explains, and the order in which findings are told."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from verify.diagnose.actions import action_for
from verify.diagnose.records import Cause, Finding
from verify.diagnose.series import Series

MOST_SURE = 0.99  # nobody is surer of a cause by its effect alone


@dataclass(frozen=True, slots=True)
class Weighed:
    """A finding and by how much it makes the series likelier, as a logarithm."""

    finding: Finding
    evidence: float


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """How a finding of a series is put together."""

    series: Series
    light_sure: bool  # a moved card and a blocked light are ruled out

    def of(
        self,
        cause: Cause,
        frames: NDArray[np.bool_],
        size_stops: float,
        chance: float,
        evidence: float,
        sentence: str,
        detail: Mapping[str, Any] | None = None,
        action: str | None = None,
    ) -> Weighed:
        """One finding; frames as a mask, the sentence with its figures."""
        finding = Finding(
            cause=cause,
            frames=files(self.series, frames),
            size_stops=float(size_stops),
            probability=round(min(max(chance, 0.0), MOST_SURE), 2),
            evidence=sentence,
            action=action_for(cause, self.light_sure) if action is None else action,
            detail=dict(detail or {}),
        )
        return Weighed(finding, evidence)


def files(series: Series, frames: NDArray[np.bool_]) -> tuple[Path, ...]:
    """The files of the frames in a mask."""
    return tuple(series.frames[at].file for at in np.flatnonzero(frames))


def ordered(weighed: Sequence[Weighed]) -> tuple[Finding, ...]:
    """Most probable first; of equal ones what explains most, a cause not yet told before another.

    A second step is less news than the first of another cause.
    """
    first: dict[Cause, float] = {}
    for one in weighed:
        cause = one.finding.cause
        first[cause] = max(first.get(cause, -math.inf), one.evidence)

    def place(one: Weighed) -> tuple[float, bool, float]:
        again = one.evidence < first[one.finding.cause]
        return -one.finding.probability, again, -one.evidence

    return tuple(one.finding for one in sorted(weighed, key=place))


def among(costs: Mapping[str, float], own: float) -> tuple[float, dict[str, float]]:
    """Chance of an explanation and of its rivals, from costs of models with either.

    Parameters
    ----------
    costs : of the models with a rival in its place, "" with none.
    own : cost of the model with it.
    """
    weights = {name: math.exp(-min(max(cost - own, 0.0), 700)) for name, cost in costs.items()}
    total = 1 + sum(weights.values())
    return 1 / total, {name: w / total for name, w in weights.items() if name and w / total > 0.01}
