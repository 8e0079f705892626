"""Findings about what moves at random, and about colour."""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from verify.diagnose.color import UNIT_STOPS, ColorMove, Course
from verify.diagnose.fit import Fitted
from verify.diagnose.series import Series
from verify.diagnose.spread import Groups, spread_of
from verify.diagnose.weighed import Told, Weighed, files
from verify.notation import stops_text

Bools = NDArray[np.bool_]


def spread_found(
    series: Series, told: Told, model: Fitted, groups: Groups | None, bands_stops: float
) -> Iterator[Weighed]:
    """The finding of a scatter beyond the tolerance: of the flash, the lens or flickering light."""
    usual = (model.usual > 0.5) & series.known
    found = spread_of(series, model.residuals, usual, groups, bands_stops)
    if found is None:
        return
    cause, chance = found.causes[0]
    number = int(found.frames.sum())
    others = "" if math.isnan(found.sd_others) else f", of the others {found.sd_others:.2f}"
    sentence = (
        f"{number} frames scatter by {found.sd_stops:.2f} stop (standard deviation{others}), more "
        f"than the {found.limit_stops:.2f} at which 1 frame in 20 is out of tolerance; {found.why}."
    )
    detail = {
        "sd_stops": found.sd_stops,
        "limit_stops": found.limit_stops,
        "rivals": {name: round(share, 2) for name, share in found.causes[1:]},
    }
    if found.mains_hz:
        detail["mains_hz"] = found.mains_hz
    ratio = found.sd_stops / found.limit_stops
    evidence = number * (0.5 * (ratio * ratio - 1) - math.log(ratio))
    yield told.of(cause, found.frames, found.sd_stops, chance, evidence, sentence, detail)


def color_found(series: Series, told: Told, move: ColorMove | None) -> Iterator[Weighed]:
    """The finding that colour moves."""
    if move is None or not move.courses:
        return
    most = move.courses[0]
    red = move.red.move_stops if move.red else 0.0
    blue = move.blue.move_stops if move.blue else 0.0
    warmer, greener = red - blue, -(red + blue) / 2
    words = []
    if abs(warmer) > UNIT_STOPS / 2:
        words.append(f"{'warmer' if warmer > 0 else 'cooler'} by {_units(warmer)}")
    if abs(greener) > UNIT_STOPS / 2:
        words.append(f"more {'green' if greener > 0 else 'magenta'} by {_units(greener)}")
    how = _how(series, most)
    sentence = (
        f"The colour becomes {' and '.join(words) or 'another'} {how}: red against green "
        f"{stops_text(red)}, blue against green {stops_text(blue)} stop."
    )
    detail = {
        "red_green_stops": red,
        "blue_green_stops": blue,
        "warmer_stops": warmer,
        "greener_stops": greener,
        "units": abs(most.move_stops) / UNIT_STOPS,
        "with": {"drift": "time", "light": "light", "step": "step"}[most.kind],
    }
    frames = np.ones(len(series.frames), bool)
    if most.begins >= 0:
        frames = np.arange(len(series.frames)) >= most.begins
        detail["begins"] = str(files(series, frames)[0])
    evidence = sum(course.evidence for course in move.courses)
    chance = 1 / (1 + math.exp(-min(most.evidence, 700.0)))
    yield told.of("colour", frames, most.move_stops, chance, evidence, sentence, detail)


def _how(series: Series, course: Course) -> str:
    if course.kind == "light":
        return "as the light grows"
    if course.kind == "step":
        return f"from {series.frames[course.begins].file.name} on"
    return "over the series"


def _units(stops: float) -> str:
    return f"{abs(stops):.2f} stop ({abs(stops) / UNIT_STOPS:.0f} units)"
