"""Frames of a set by ISO, aperture, lens, meter and receptor; what such a set cannot tell apart."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from verify.calibrate.records import By, CalibrationFrame
from verify.notation import aperture_text, iso_text

NAMES: dict[By, str] = {
    "iso": "ISO",
    "aperture": "aperture",
    "lens": "lens",
    "meter": "meter",
    "receptor": "receptor",
}
SAME = 1e-3  # relative, within which two ISO or apertures are one


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """The frames of one value of a factor that has several."""

    by: By
    value: float | str
    frames: NDArray[np.bool_]  # (frames,)

    @property
    def words(self) -> str:
        """The level as a photographer says it."""
        return level_words(self.by, self.value)

    @property
    def placed(self) -> str:
        """The same after "frames"."""
        return f"{'at' if self.by in ('iso', 'aperture') else 'with'} {self.words}"


def level_words(by: By, value: float | str) -> str:
    """One ISO, aperture, lens, meter or receptor in words."""
    if isinstance(value, str):
        return f"the {NAMES[by]} {value}" if by != "receptor" else f"the {value} receptor"
    return f"ISO {iso_text(value)}" if by == "iso" else aperture_text(value)


def levels_of(frames: Sequence[CalibrationFrame]) -> list[Level]:
    """Every level of every factor with more than one, numbers rising, names as they come."""
    found = []
    for by in get_args(By):
        values: list[float | str | None] = [getattr(frame, by) for frame in frames]
        distinct = _distinct([v for v in values if v is not None])
        if len(distinct) < 2:
            continue
        for value in distinct:
            own = np.array([v is not None and _same(v, value) for v in values])
            found.append(Level(by, value, own))
    return found


def testable(levels: Sequence[Level]) -> list[Level]:
    """Levels whose offset can be told from that of a single bad frame: two frames on each side.

    Of two that divide the set alike one is enough: the one with fewer frames, or the second.
    """
    chosen: list[Level] = []
    factors = list(get_args(By))
    order = sorted(
        range(len(levels)),
        key=lambda at: (int(levels[at].frames.sum()), factors.index(levels[at].by), -at),
    )
    for level in (levels[at] for at in order):
        inside = int(level.frames.sum())
        if inside < 2 or level.frames.size - inside < 2:
            continue
        if not any(_alike(level, other) for other in chosen):
            chosen.append(level)
    return chosen


def mixed_up(levels: Sequence[Level]) -> list[tuple[Level, ...]]:
    """Levels of different factors with the same frames, or exactly the others: one may be blamed
    for what the other does."""
    pairs = [
        (one, other)
        for one, other in combinations(levels, 2)
        if one.by != other.by and _alike(one, other)
    ]
    return [tuple(pair) for pair in pairs]


def _alike(one: Level, other: Level) -> bool:
    """Whether two levels divide the set alike."""
    return bool((one.frames == other.frames).all() or (one.frames != other.frames).all())


def _distinct(values: Sequence[float | str]) -> list[float | str]:
    found: list[float | str] = []
    for value in values:
        if not any(_same(value, other) for other in found):
            found.append(value)
    numbers = [v for v in found if not isinstance(v, str)]
    return [*sorted(numbers), *(v for v in found if isinstance(v, str))]


def _same(one: float | str, other: float | str) -> bool:
    if isinstance(one, str) or isinstance(other, str):
        return one == other
    return abs(one / other - 1) <= SAME
