"""Whether the card moved where the light of the card changed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.diagnose.series import Series

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

NEAR = 8  # frames on each side of a change
LEAST_SHIFT, LEAST_GROWTH = 0.006, 0.02  # of the longer side of the picture; of the card's size
CLEAR = 5.0  # standard deviations of what the place does from frame to frame
MOVED_ALONE = 0.9  # chance of a moved card where its place changed and the scene is not known


@dataclass(frozen=True, slots=True)
class Moved:
    """What card and scene say of one change of the card's light."""

    chance: float  # that the card moved, and not the light
    shift: float | None  # of the card's middle, in shares of the picture's longer side
    growth: float | None  # of its size, as a share
    scene_stops: float | None  # by how much the light of the scene changed


def moved(series: Series, scene: Floats, before: Bools, after: Bools, size_stops: float) -> Moved:
    """Judge a change of light between two sets of frames.

    Parameters
    ----------
    scene : (frames,) light of the picture without the card, NaN where not known [stop].
    before, after : (frames,) frames to compare.
    size_stops : of the change of the card's light.
    """
    card = np.array([f.by == "card" for f in series.frames])
    if not (card & before).any() or not (card & after).any():
        return Moved(0.0, None, None, None)
    places = np.array([
        (f.place.col, f.place.row, f.place.width, f.place.height) if f.place else (np.nan,) * 4
        for f in series.frames
    ]).reshape(-1, 4)  # fmt: skip
    places[~card] = np.nan
    shift, growth, changed = _shifted(places, before, after)
    beside = _beside_scene(series.light - scene, before & card, after & card)
    if beside is not None and abs(size_stops) > 0:
        change = size_stops - beside
        share = change / size_stops
        # The scene follows the light of the lamps, and a moved card does not change it.
        chance = 0.02 if share > 0.5 else 0.97 if changed or abs(share) < 0.35 else 0.6
        return Moved(chance, shift, growth, change)
    if changed is None:
        return Moved(0.0, None, None, None)
    return Moved(MOVED_ALONE if changed else 0.03, shift, growth, None)


def near(change: int, count: int) -> tuple[Bools, Bools]:
    """(frames,) the frames just before and just after the one that a change begins with."""
    number = np.arange(count)
    before = (number < change) & (number >= change - NEAR)
    after = (number >= change) & (number < change + NEAR)
    return before, after


def _shifted(
    places: Floats, before: Bools, after: Bools
) -> tuple[float | None, float | None, bool | None]:
    """Shift and growth of the card, and whether they are beyond its jitter; None: not known."""
    old, new = places[before], places[after]
    old, new = old[np.isfinite(old).all(1)], new[np.isfinite(new).all(1)]
    if not len(old) or not len(new):
        return None, None, None
    first, second = np.median(old, 0), np.median(new, 0)
    seen = places[np.isfinite(places).all(1)]
    jitter = 1.4826 * np.median(np.abs(np.diff(seen, axis=0)), 0) if len(seen) > 2 else np.zeros(4)
    away = np.abs(second[:2] - first[:2])
    growths = second[2:] / np.maximum(first[2:], 1e-9) - 1
    shifted = (away > np.maximum(LEAST_SHIFT, CLEAR * jitter[:2])).any()
    grown = np.abs(growths) > np.maximum(LEAST_GROWTH, CLEAR * jitter[2:] / first[2:])
    shift, growth = float(np.hypot(*away)), float(growths[np.argmax(np.abs(growths))])
    return shift, growth, bool(shifted or grown.any())


def _beside_scene(apart: Floats, before: Bools, after: Bools) -> float | None:
    """Change of the card's light against the scene's: what both share is not in it."""
    old, new = apart[before & np.isfinite(apart)], apart[after & np.isfinite(apart)]
    if not old.size or not new.size:
        return None
    return float(np.median(new) - np.median(old))
