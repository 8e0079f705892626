"""Frames that the camera was set for in another way than usual."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from verify.diagnose.series import Series
from verify.diagnose.weighed import Told, Weighed
from verify.notation import stops_text

LEAST_STOPS = 0.05  # that settings are off by
GRID_STOPS = 0.02  # within which settings are the same


def settings_found(
    series: Series, told: Told, sigma: float, iso_in_vain: bool
) -> Iterator[Weighed]:
    """Frames whose settings differ from the usual ones, or all where these differ from the plan.

    Parameters
    ----------
    sigma : scatter of the light [stop].
    iso_in_vain : whether the signal does not follow the ISO: then it is no error of settings.
    """
    settings = np.array([f.settings_stops for f in series.frames], float)
    if iso_in_vain:
        settings = settings - np.array([f.iso_stops for f in series.frames], float)
    settings = np.where(np.isfinite(settings), settings, 0.0)
    if not settings.size:
        return
    usual = _usual(settings)
    off = settings - usual
    changed = np.abs(off) > LEAST_STOPS
    for stops, frames in _same(off, changed):
        yield _told(series, told, sigma, frames, stops, "the usual ones")
    if abs(usual) > max(LEAST_STOPS, series.tolerance / 2) and not changed.all():
        yield _told(series, told, sigma, ~changed, usual, "the plan or the reference")


def _usual(settings: NDArray[np.float64]) -> float:
    """What most frames have; of equally many the least off."""
    steps = np.rint(settings / GRID_STOPS)
    values, counts = np.unique(steps, return_counts=True)
    most = values[counts == counts.max()]
    chosen = most[np.argmin(np.abs(most))]
    return float(np.median(settings[steps == chosen]))


def _same(
    off: NDArray[np.float64], changed: NDArray[np.bool_]
) -> Iterator[tuple[float, NDArray[np.bool_]]]:
    """Each size of a change with its frames; where there are many sizes, all as one."""
    steps = np.rint(off / LEAST_STOPS)
    sizes = np.unique(steps[changed])
    if sizes.size > 3:
        largest = float(off[np.argmax(np.abs(off))])
        yield largest, changed
        return
    for size in sizes:
        frames = changed & (steps == size)
        yield float(np.median(off[frames])), frames


def _told(
    series: Series,
    told: Told,
    sigma: float,
    frames: NDArray[np.bool_],
    stops: float,
    against: str,
) -> Weighed:
    own, others = series.light[frames], series.light[~frames]
    own, others = own[np.isfinite(own)], others[np.isfinite(others)]
    stays = ""
    if own.size and others.size:
        change = float(np.median(own) - np.median(others))
        stays = f"; what settings do not explain differs by {stops_text(change)} stop there"
    number = int(frames.sum())
    sentence = (
        f"The camera's settings make {stops_text(stops)} stop against {against} in {number} "
        f"{'frame' if number == 1 else 'frames'}{stays}."
    )
    evidence = number * min(0.5 * (stops / sigma) ** 2, 700.0)
    detail = {"settings_stops": round(stops, 3)}
    return told.of("settings", frames, stops, 0.99, evidence, sentence, detail)
