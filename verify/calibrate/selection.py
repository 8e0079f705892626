"""What sets some frames of a calibration apart: single frames, whole groups, or a course in level.

Every explanation is a term of a linear model of the rest: an indicator of one frame, an indicator
of one group, or the planned level (and its square). Terms are taken up one after the other, the
most telling first, some beyond what is significant, for several bad frames hide one another; then
what is not significant beside the others is given up again.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Kind = Literal["frame", "group", "slope", "bend"]
# How often a sound set may show any one of a kind by chance; all tests of a kind share it.
ALARM: dict[Kind, float] = {"frame": 0.02, "group": 0.015, "slope": 0.01, "bend": 0.01}
AHEAD = math.log(10)  # rarer by so much for each insignificant term that is taken up before
PRIOR_DEGREES = 2.0  # of freedom that what is known before of the scatter counts for
ENOUGH = 8  # degrees of freedom, from which on the scatter speaks for itself
MOST_FRAMES = 4  # one in so many may be taken for bad, and one always
MOST_OTHERS = 4  # groups and courses at most
TINY = 1e-9  # of a term that is left beside the others: it says nothing new
LEAST_SCATTER = 0.002  # stop: no camera and flash repeat better, so nothing finer is telling


@dataclass(frozen=True, slots=True, eq=False)
class Term:
    """One explanation."""

    kind: Kind
    at: int  # place of the frame, or of the group among the groups; 0 for a course
    values: NDArray[np.float64]  # (frames,)


@dataclass(frozen=True, slots=True)
class Selected:
    """The explanations that are significant."""

    frames: tuple[int, ...]  # places of bad frames
    groups: tuple[int, ...]  # places among the groups given
    courses: tuple[Kind, ...]  # "slope", "bend"


def select(
    rest: NDArray[np.float64],
    groups: Sequence[NDArray[np.bool_]],
    planned: NDArray[np.float64] | None,
    prior_stops: float,
) -> Selected:
    """Find what sets frames apart.

    Parameters
    ----------
    rest : (frames,) [stop].
    groups : of each group the frames in it, (frames,); with two frames or more inside and outside.
    planned : (frames,) level of each frame [stop]; None where a course cannot be told.
    prior_stops : what is known before of the scatter from frame to frame.

    References
    ----------
    Rosner, B. (1983), Percentage points for a generalized ESD many-outlier procedure,
    Technometrics 25: 165-172: the last significant step counts, not the first insignificant one.
    """
    count = len(rest)
    terms = [Term("frame", n, row) for n, row in enumerate(np.eye(count))]
    terms += [Term("group", n, own.astype(float)) for n, own in enumerate(groups)]
    if planned is not None:
        off = planned - planned.mean()
        terms.append(Term("slope", 0, off))
        if np.unique(planned).size > 2:
            terms.append(Term("bend", 0, off**2))
    tests = {kind: sum(term.kind == kind for term in terms) for kind in ALARM}
    chosen = _path(rest, terms, tests, prior_stops)
    chosen = _kept(rest, chosen, tests, prior_stops)
    return Selected(
        frames=tuple(sorted(t.at for t in chosen if t.kind == "frame")),
        groups=tuple(t.at for t in chosen if t.kind == "group"),
        courses=tuple(t.kind for t in chosen if t.kind in ("slope", "bend")),
    )


def _path(
    rest: NDArray[np.float64], terms: Sequence[Term], tests: dict[Kind, int], prior: float
) -> list[Term]:
    """Terms up to the last that was significant when it was taken up."""
    count = len(rest)
    room = {"frame": max(1, count // MOST_FRAMES), "other": MOST_OTHERS}
    chosen: list[Term] = []
    last = 0
    while count - 1 - len(chosen) > 1:
        free = [t for t in terms if t not in chosen and room[_room(t)]]
        surprises = _surprises(rest, chosen, free, tests, prior)
        if not surprises.size or not np.isfinite(surprises).any():
            break
        best = int(surprises.argmax())
        chosen.append(free[best])
        room[_room(free[best])] -= 1
        if surprises[best] > AHEAD * (len(chosen) - 1 - last):
            last = len(chosen)
    return chosen[:last]


def _kept(
    rest: NDArray[np.float64], chosen: list[Term], tests: dict[Kind, int], prior: float
) -> list[Term]:
    """Terms that are significant beside all others that are."""
    while chosen:
        surprises = [
            float(_surprises(rest, [t for t in chosen if t is not term], [term], tests, prior)[0])
            for term in chosen
        ]
        worst = int(np.argmin(surprises))
        if surprises[worst] > 0:
            break
        chosen = [term for n, term in enumerate(chosen) if n != worst]
    return chosen


def _room(term: Term) -> str:
    return "frame" if term.kind == "frame" else "other"


def _surprises(
    rest: NDArray[np.float64],
    chosen: Sequence[Term],
    free: Sequence[Term],
    tests: dict[Kind, int],
    prior: float,
) -> NDArray[np.float64]:
    """How far beyond chance each further term is, as a logarithm; 0 is just significant.

    Minus infinity where a term says nothing new.
    """
    if not free:
        return np.empty(0)
    base = np.column_stack([np.ones(len(rest)), *(t.values for t in chosen)])
    axes, _ = np.linalg.qr(base)
    own = np.stack([t.values for t in free])
    beside = own - own @ axes @ axes.T
    size = (beside**2).sum(1)
    new = size > TINY * np.maximum((own**2).sum(1), TINY)
    left = rest - axes @ (axes.T @ rest)
    gain = (beside @ left) ** 2 / np.where(new, size, 1)
    degrees = len(rest) - base.shape[1] - 1
    before = PRIOR_DEGREES if degrees < ENOUGH else 0.0
    spare = (np.maximum(left @ left - gain, 0) + before * prior**2) / (degrees + before)
    chance = stats.t.logsf(np.sqrt(gain / np.maximum(spare, LEAST_SCATTER**2)), degrees + before)
    allowed = np.array([math.log(ALARM[t.kind] / 2 / tests[t.kind]) for t in free])
    return np.where(new, allowed - chance, -np.inf)
