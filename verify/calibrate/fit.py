"""The frames of a calibration set to its offset, with what averages out and what does not."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from verify.calibrate.groups import Level
from verify.calibrate.records import CalibrationFrame, Group
from verify.calibrate.robust import COST, bounded_fit, half_width, median_slope
from verify.calibrate.selection import Selected, select

FEW = 3  # frames, below which their own scatter says too little
LEAST_SCATTER = 0.005  # stop, that a bounded mean takes for its scale at least
TYPICAL = 1.4826  # standard deviations of a normal law in its median distance from the middle
MEDIAN_WORTH = 0.37  # of the degrees of freedom, that a scatter by the median has
PRIOR_DEGREES = 2.0  # of freedom that what is known before of the scatter counts for in that scale
LEAST_RANGE = 0.5  # stop of planned levels, below which a slope says nothing
LEAST_LEVELS = 3  # levels that are a twentieth of a stop apart
LEVEL_STOPS = 0.05
FEWEST_RANKS = 5  # frames; even the extreme slopes of fewer enclose the true one in less than 95 %


@dataclass(frozen=True, slots=True)
class Common:
    """What does not average out over a set, one standard deviation each [stop]."""

    card: float  # one draw for the set
    of_reading: float  # placing of the meter and its step: one draw for each reading


@dataclass(frozen=True, slots=True)
class Fit:
    """The offset of a set."""

    offset: float  # [stop]
    u: float  # its standard uncertainty [stop]
    u_same_card: float  # the same without the card's term
    half: float  # half of its 95 % interval [stop]
    half_same_card: float  # the same without the card's term
    scatter: float  # standard deviation from frame to frame [stop]
    selected: Selected  # what sets frames apart
    shifts: tuple[float, ...]  # of each selected group, on top of the offset [stop]
    residuals: NDArray[np.float64]  # (frames,) rest without offset and shifts [stop]
    kept: NDArray[np.bool_]  # (frames,) whether a frame counts
    groups: tuple[Group, ...]


def fit(frames: Sequence[CalibrationFrame], levels: Sequence[Level], common: Common,
        tested: Sequence[Level]) -> Fit:  # fmt: skip
    """Fit the offset.

    Parameters
    ----------
    frames : at least one.
    levels : of every factor with several; an offset is given for each.
    common : what the frames share.
    tested : the levels of which one may be found to differ.
    """
    rest = np.array([frame.rest_stops for frame in frames])
    planned = np.array([frame.planned_stops for frame in frames])
    prior = float(np.sqrt(np.mean([max(f.repeat_u_stops, LEAST_SCATTER) ** 2 for f in frames])))
    course = planned if _tells_slope(planned) else None
    selected = Selected((), (), ())
    if len(frames) >= FEW:
        # Readings that err anew scatter too.
        apart = common.of_reading * math.sqrt(1 - _together([f.reading for f in frames]))
        known = math.hypot(prior, apart)
        selected = select(rest, [level.frames for level in tested], course, known)
    kept = np.ones(len(frames), bool)
    kept[list(selected.frames)] = False
    terms = np.column_stack(
        [np.ones(len(frames)), *(tested[at].frames.astype(float) for at in selected.groups)]
    )
    found, scatter, degrees = _robust(terms[kept], rest[kept], prior)
    residuals = rest - terms @ found
    number = int(kept.sum())
    # The offset's own share of the frames: those of no group that differs.
    own = np.linalg.inv(terms[kept].T @ terms[kept])[0, 0]
    random = scatter * math.sqrt(own * (COST if number > FEW else 1))
    # What frames of a differing group do not share is none of the offset's.
    own_frames = kept & (terms[:, 1:].sum(1) == 0)
    own_frames = own_frames if own_frames.any() else kept
    shared = _shared(frames, own_frames, common, len(rest[kept]) > FEW - 1)
    u_same_card = math.hypot(random, shared)
    half = half_width(random, degrees, math.hypot(shared, common.card))
    shifts = tuple(found[1:].tolist())
    beside = _of_other_factors(levels, tested, selected, shifts, len(frames))
    groups = []
    for at, level in enumerate(levels):
        inside = level.frames & kept
        if not inside.any():
            continue
        own_random = scatter / math.sqrt(inside.sum())
        own_half = half_width(own_random, degrees, math.hypot(shared, common.card))
        mean = float(np.mean((rest - beside[at])[inside]))
        groups.append(Group(
            level.by, level.value, mean, (mean - own_half, mean + own_half), int(inside.sum()),
            any(tested[n] is level for n in selected.groups),
        ))  # fmt: skip
    return Fit(
        offset=float(found[0]),
        u=math.hypot(u_same_card, common.card),
        u_same_card=u_same_card,
        half=half,
        half_same_card=half_width(random, degrees, shared),
        scatter=scatter,
        selected=selected,
        shifts=shifts,
        residuals=residuals,
        kept=kept,
        groups=tuple(groups),
    )


def slope_of(frames: Sequence[CalibrationFrame], fitted: Fit) -> tuple[float, float, float] | None:
    """Slope of measured against planned stops with its interval; None for a set at one level."""
    planned = np.array([frame.planned_stops for frame in frames])[fitted.kept]
    if not _tells_slope(planned):
        return None
    measured = planned + fitted.offset + fitted.residuals[fitted.kept]
    if planned.size >= FEWEST_RANKS:
        return median_slope(planned, measured)
    line = stats.linregress(planned, measured)
    half = half_width(float(line.stderr), planned.size - 2, 0.0)
    return float(line.slope), float(line.slope) - half, float(line.slope) + half


def _tells_slope(planned: NDArray[np.float64]) -> bool:
    """Whether levels are so many and so far apart that a slope means something."""
    steps = np.unique(np.rint(planned / LEVEL_STOPS))
    return bool(
        planned.size >= FEW and np.ptp(planned) >= LEAST_RANGE and len(steps) >= LEAST_LEVELS
    )


def _robust(
    terms: NDArray[np.float64], rest: NDArray[np.float64], prior: float
) -> tuple[NDArray[np.float64], float, float]:
    """Coefficients, scatter [stop] and its degrees of freedom.

    Of one frame the scatter is what is known before; of two that counts beside their own.
    """
    plain = np.asarray(np.linalg.lstsq(terms, rest)[0], float)
    degrees = len(rest) - terms.shape[1]
    squares = float(((rest - terms @ plain) ** 2).sum())
    if degrees == 0:
        return plain, prior, math.inf
    if degrees < FEW - 1:
        together = degrees + PRIOR_DEGREES
        return plain, math.sqrt((squares + PRIOR_DEGREES * prior**2) / together), together
    scatter = math.sqrt(squares / degrees)
    # A frame that is off, and not so far that it is left out, must not widen its own bound.
    first = bounded_fit(terms, rest, prior)
    typical = TYPICAL * float(np.median(np.abs(rest - terms @ first)))
    worth = MEDIAN_WORTH * degrees
    blend = math.sqrt((worth * typical**2 + PRIOR_DEGREES * prior**2) / (worth + PRIOR_DEGREES))
    return bounded_fit(terms, rest, max(blend, LEAST_SCATTER)), scatter, float(degrees)


def _shared(
    frames: Sequence[CalibrationFrame],
    kept: NDArray[np.bool_],
    common: Common,
    own_scatter: bool,
) -> float:
    """Standard uncertainty of what is not in the scatter, without the card's term [stop].

    With one reading the meter errs once. With many it errs anew each time, and the frames'
    ``own_scatter`` has that in it already: only what it has not is added. A scatter that is known
    before has nothing of the meter in it.
    """
    together = _together([f.reading for f, k in zip(frames, kept, strict=True) if k])
    number = int(kept.sum())
    in_scatter = (1 - together) / (number - 1) if own_scatter else 0.0
    meter = common.of_reading * math.sqrt(max(together - in_scatter, 0.0))
    common_u = [f.common_u_stops for f, k in zip(frames, kept, strict=True) if k]
    return math.hypot(meter, float(np.mean(common_u)))


def _together(readings: Sequence[int]) -> float:
    """How much the frames of a set share a reading: 1 of one reading, 1 / n of n readings."""
    counts = np.unique(readings, return_counts=True)[1]
    return float(((counts / counts.sum()) ** 2).sum())


def _of_other_factors(
    levels: Sequence[Level],
    tested: Sequence[Level],
    selected: Selected,
    shifts: Sequence[float],
    count: int,
) -> list[NDArray[np.float64]]:
    """For each level, what differing groups of other factors add to its frames [stop]."""
    out = []
    for level in levels:
        added = np.zeros(count)
        for at, shift in zip(selected.groups, shifts, strict=True):
            if tested[at].by != level.by:
                added += shift * tested[at].frames
        out.append(added)
    return out
