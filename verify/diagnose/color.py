"""Red and blue against green over a series: whether they move with time or with the light."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.diagnose.fit import Fitted, Problem
from verify.diagnose.search import explain
from verify.diagnose.series import Series, column
from verify.diagnose.shapes import PRIOR, Family, drift_family, half_log, step_cost

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

UNIT_STOPS = 0.033  # of a colour-correction filter
LEAST_MOVE = UNIT_STOPS  # stop; nobody corrects less
LEAST_FRAMES = 6
PRIOR_SCATTER = 0.01  # stop, of a ratio of colours
LEAST_RANGE = 3.0  # of the light, in its scatter, that tells a course with it


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """How one ratio of colours moves."""

    move_stops: float  # with its sign, from first to last, or from least to most light
    values: Floats  # (frames,) its course
    evidence: float  # by how much it is likelier than none, as a logarithm
    kind: str  # of what explains most: "drift", "step" or "light"
    begins: int  # frame of a step; -1


@dataclass(frozen=True, slots=True, eq=False)
class ColorMove:
    """The movement of colour in a series."""

    red: Course | None
    blue: Course | None

    @property
    def courses(self) -> tuple[Course, ...]:
        """Those that move, the one that moves most first."""
        found = [c for c in (self.red, self.blue) if c is not None]
        return tuple(sorted(found, key=lambda c: -abs(c.move_stops)))


def colors_of(series: Series) -> tuple[Floats, Floats]:
    """(frames,) red and blue against green [stop]."""
    return (
        column(series.frames, lambda f: f.red_green_stops),
        column(series.frames, lambda f: f.blue_green_stops),
    )


def color_move(series: Series, usual: Bools) -> ColorMove | None:
    """How colour moves over the frames whose light is not off by itself; None where not known.

    Parameters
    ----------
    usual : (frames,) which frames count.
    """
    red, blue = colors_of(series)
    if not (np.isfinite(red).any() or np.isfinite(blue).any()):
        return None
    return ColorMove(_course(series, red, usual), _course(series, blue, usual))


def _course(series: Series, values: Floats, usual: Bools) -> Course | None:
    known = np.isfinite(values) & usual
    if known.sum() < LEAST_FRAMES:
        return None
    u = [f.u_color_stops for f in series.frames if f.u_color_stops]
    prior = max(float(np.median(u)) if u else 0.0, PRIOR_SCATTER)
    problem = Problem(
        light=np.where(known, values, 0.0),
        known=known.astype(float),
        zeros=series.zeros,
        scale=np.ones(len(values)),
        prior=prior,
    )
    families = [*drift_family(series), *_with_light(series, known)]
    found = explain(problem, families, step_cost(series), drops=False)
    model = found.model
    if not model.terms:
        return None
    return _moved(model, series.light, known, min(r[""] for r in found.rivals))


def _with_light(series: Series, known: Bools) -> list[Family]:
    light = series.light
    known = known & np.isfinite(light)
    if known.sum() < LEAST_FRAMES:
        return []
    middle = float(np.median(light[known]))
    # The light itself has to move beyond its scatter from frame to frame.
    scatter = 1.4826 * float(np.median(np.abs(np.diff(light[known])))) / np.sqrt(2)
    low, high = np.quantile(light[known], (0.02, 0.98))
    if high - low < LEAST_RANGE * scatter or high - low < 0.05:
        return []
    bank = np.where(np.isfinite(light), light - middle, 0.0)[:, None]
    cost = PRIOR["drift"] + half_log(series)
    return [Family("light", True, np.zeros((1, 1)), bank, None, cost)]


def _moved(model: Fitted, light: Floats, known: Bools, without: float) -> Course | None:
    parts = [t.values * s for t, s in zip(model.terms, model.sizes, strict=True)]
    course = np.sum(parts, axis=0)
    shown = course[known]
    if np.ptp(shown) < LEAST_MOVE:
        return None
    main = int(np.argmax([np.ptp(p[known]) for p in parts]))
    term = model.terms[main]
    if term.cause == "light":
        order = np.argsort(light[known])
        move = float(np.sign(np.polyfit(np.arange(order.size), shown[order], 1)[0]))
        move *= float(np.ptp(shown))
    else:
        far = int(np.argmax(np.abs(shown - shown[0])))
        move = float(shown[far] - shown[0])
    return Course(move, course, without - model.cost, term.cause, term.at)
