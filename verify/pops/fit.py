"""Frames of several pops to what they show, read top to bottom."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy import stats

from verify.pops.cautions import is_flicker
from verify.pops.fired import Fired, fired, worth
from verify.pops.missed import SURE, most_tellable
from verify.pops.model import PRIOR_FRAMES, Fit, Floats, Frames, Ints, fitted, frames_of, told_apart
from verify.pops.records import Adding, PopCount, PopFrame, PopStudy

LOG2 = math.log(2)
SAME_STOPS = 0.1  # light that differs by no more between counts does not grow with them
LEAST_SPREAD = 2  # largest count against the smallest, below which growth says nothing
NEAR_STOPS = 1.0  # between one pop by the meter and what is seen
STRAIGHT_STOPS = 0.05  # a smaller departure is none, however sure


def study_of(frames: Sequence[PopFrame], expected_one: float | None = None) -> PopStudy:
    """What frames of several pops show.

    Parameters
    ----------
    frames : in the order that they are to be told of.
    expected_one : signal of one pop by the meter, at the settings that all are brought to.
    """
    used = [frame for frame in frames if frame.signal is not None]
    counts = np.array([frame.planned for frame in used], int)
    flicker = _flicker(frames)
    if len(used) < 2 or not counts.any():
        why = "two frames with pops are needed at least, measured, to tell how many fired"
        unknown = tuple(PopCount(frame) for frame in frames)
        return PopStudy(unknown, "unknown", flicker_per_s=flicker, notes=(why,))
    timed = all(frame.open_s is not None for frame in used)
    light = frames_of(
        counts,
        np.array([frame.signal for frame in used], float),
        np.array([frame.noise for frame in used]),
        np.array([frame.open_s for frame in used], float) if timed else None,
    )
    flat = _not_growing(light, expected_one)
    if flat is not None:
        study = _without_counts(frames, flat, float(np.median(light.signal[counts > 0])))
        return replace(study, flicker_per_s=flicker)
    found = fired(light)
    if found is None:
        return replace(_without_counts(frames, "no-growth", None), flicker_per_s=flicker)
    return replace(_study(frames, light, found, timed), flicker_per_s=flicker)


def _study(frames: Sequence[PopFrame], light: Frames, found: Fired, timed: bool) -> PopStudy:
    """The study of frames whose light grows with their pops."""
    best = found.best
    fit = best.fit
    scatter = fit.scatter / LOG2
    told = iter(zip(found.counts, found.probability, worth(light, fit), strict=True))
    counted = tuple(
        PopCount(frame) if frame.signal is None else _count(frame, *next(told)) for frame in frames
    )
    line, line_u = _linearity(light, best.counts, fit.scatter)
    pop, pop_u = fit.of("pop")
    with_ambient = "ambient" in fit.terms or _ambient_is_none(light, fit)
    ambient, ambient_u = fit.of("ambient")
    sag, sag_u = fit.of("sag")
    one_count = len(set(light.planned.tolist()) - {0}) == 1 and not (light.planned == 0).any()
    return PopStudy(
        counted,
        _adding(line, line_u, fit),
        per_pop_signal=pop,
        per_pop_u=pop_u,
        ambient_per_s=ambient if with_ambient and timed else None,
        ambient_per_s_u=ambient_u if with_ambient and timed else None,
        ambient_signal=ambient if with_ambient and not timed else None,
        linearity_stops=line,
        linearity_u_stops=line_u,
        sag_share=sag / pop if "sag" in fit.terms else None,
        sag_u=sag_u / pop if "sag" in fit.terms else None,
        first_pop_stops=_first_pop(fit),
        scatter_stops=scatter,
        most_tellable=most_tellable(scatter),
        one_count=one_count,
        notes=tuple(_notes(light, fit, with_ambient, timed, one_count)),
    )


def _count(frame: PopFrame, fired_: int, probability: float, in_pops: float) -> PopCount:
    """One measured frame."""
    sure = float(min(probability, 1.0))
    return PopCount(frame, int(fired_), sure, sure >= SURE, float(in_pops))


def _not_growing(light: Frames, expected_one: float | None) -> Adding | None:
    """Whether light fails to grow with the count, and why; None where it grows.

    A camera that averages exposures stays at the level of one pop, whatever the count. So does a
    shot in which no flash adds to the ambient light: a frame with the flash off, or the meter's
    reading, tells the two apart.
    """
    counts = np.unique(light.planned[light.planned > 0])
    if counts.size < 2 or counts[-1] < LEAST_SPREAD * counts[0]:
        return None
    levels = np.array([np.median(light.signal[light.planned == count]) for count in counts])
    if levels.min() <= 0 or math.log2(levels[-1] / levels[0]) > SAME_STOPS:
        return None
    dark = light.signal[light.planned == 0]
    if dark.size:
        return "averages" if np.median(dark) < levels[0] / 2 else "no-growth"
    if expected_one is not None and expected_one > 0:
        near = abs(math.log2(float(np.median(levels)) / expected_one)) <= NEAR_STOPS
        return "averages" if near else "no-growth"
    return "averages"


def _without_counts(frames: Sequence[PopFrame], adding: Adding, level: float | None) -> PopStudy:
    """The study of frames that pops cannot be counted in."""
    one = level if adding == "averages" else None
    return PopStudy(tuple(PopCount(frame) for frame in frames), adding, per_pop_signal=one)


def _linearity(light: Frames, counts: Ints, scatter: float) -> tuple[float | None, float | None]:
    """Stops by which the largest count departs from the line through the others, and their u.

    None with fewer than three counts, or where the others give no line.
    """
    largest = counts == counts.max()
    lower = Frames(
        light.planned[~largest], light.signal[~largest], light.scale[~largest],
        light.open_s[~largest],
    )  # fmt: skip
    if len(np.unique(counts)) < 3 or not told_apart(lower, counts[~largest], ("pop", "ambient")):
        return None, None
    line = fitted(lower, counts[~largest], ("pop", "ambient"))
    there = line.level(light, counts)[largest]
    if there.min() <= 0:
        return None, None
    rows = light.rows(counts, line.terms)[largest] * (light.scale[largest] / there)[:, None]
    row = rows.mean(axis=0)
    own = scatter**2 / int(largest.sum())
    u = math.sqrt(scatter**2 * float(row @ line.covariance @ row) + own)
    departure = _mean_stops(light.signal[largest] / there)
    return (None, None) if departure is None else (departure, u / LOG2)


def _mean_stops(ratios: Floats) -> float | None:
    """Stops of a mean ratio; None for one that is no light."""
    mean = float(np.mean(ratios))
    return math.log2(mean) if mean > 0 else None


def _adding(line: float | None, line_u: float | None, fit: Fit) -> Adding:
    """Whether light adds up as it should."""
    if "first" in fit.terms:
        return "bends"
    if line is None or line_u is None:
        return "unknown"
    reach = float(stats.t.ppf(0.975, max(fit.frames - len(fit.terms), 0) + PRIOR_FRAMES))
    return "bends" if abs(line) > max(reach * line_u, STRAIGHT_STOPS) else "adds"


def _ambient_is_none(light: Frames, fit: Fit) -> bool:
    """Whether ambient light was looked for and came out as none."""
    return "first" not in fit.terms and told_apart(light, light.planned, ("pop", "ambient"))


def _first_pop(fit: Fit) -> float | None:
    """Stops of the first pop against each of the others, in a model that tells it apart."""
    if "first" not in fit.terms:
        return None
    pop, first = fit.of("pop")[0], fit.of("first")[0]
    return math.log2((pop + first) / pop)


def _notes(light: Frames, fit: Fit, with_ambient: bool, timed: bool, one_count: bool) -> list[str]:
    """What the figures rest on."""
    notes = []
    if one_count:
        notes.append(
            f"every frame was planned with {int(light.planned[0])} pops: most are taken to hold all"
            " of them; shoot other counts, such as 1, 2 and 4, to see what one pop gives"
        )
    elif not with_ambient and "first" not in fit.terms:
        notes.append(
            "ambient light cannot be told from the pops in these frames, and is taken as none: "
            "shoot one more with the same open time and no pop"
        )
    elif not timed:
        notes.append(
            "some frame records no open time: the ambient light is taken to be the same in all"
        )
    return notes


def _flicker(frames: Sequence[PopFrame]) -> float | None:
    """Pops in a second at least, where they came at a rate to be wary of; None: nowhere."""
    rates = (f.planned / f.open_s for f in frames if f.planned > 1 and f.open_s is not None)
    return max((rate for rate in rates if is_flicker(rate)), default=None)
