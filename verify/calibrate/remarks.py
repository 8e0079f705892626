"""What is to be said of a set: where it bends, what it cannot tell apart, what a better one has."""

import math
from collections.abc import Iterator, Sequence

import numpy as np
from scipy import stats

from verify.calibrate.fit import Fit
from verify.calibrate.groups import NAMES, Level, mixed_up, tied
from verify.calibrate.records import CalibrationFrame
from verify.calibrate.sift import Shot
from verify.notation import stops_text

FEW = 3  # frames
SAME_LIGHT = 3.0  # scatters within which two frames got the same light
LEAST_SAME = 0.03  # stop, and this at least
TIME_RANGE = 1.0  # stop of shutter times, from which on ambient light would show
TIME_SLOPE = 0.01  # stop a stop of shutter time; less ambient light does no harm
TIME_CHANCE = 0.01  # that frames seem to follow the shutter time and do not


def warnings_of(shots: Sequence[Shot], fitted: Fit, levels: Sequence[Level]) -> Iterator[str]:
    """Names of the warnings about a set that could be better, or that bends."""
    kept = [shot for shot, k in zip(shots, fitted.kept, strict=True) if k]
    if len(kept) < FEW:
        yield "few-frames"
    if not any(level.by == "aperture" for level in levels):
        yield "one-aperture"
    if "slope" in fitted.selected.courses:
        yield "slope-off"
    if "bend" in fitted.selected.courses:
        yield "bent"
    if tied(levels, "iso", "aperture") or tied(levels, "aperture", "iso"):
        yield "iso-or-aperture"
    if _follows_time(kept, fitted):
        yield "ambient-in-set"
    for name in ("uneven", "dome-on-card", "rendered", "near-clipping", "no-f-number", "no-iso"):
        if any(name in shot.check.warnings for shot in kept):
            yield name


def notes_of(
    frames: Sequence[CalibrationFrame],
    fitted: Fit,
    levels: Sequence[Level],
    tested: Sequence[Level],
    slope: tuple[float, float, float] | None,
) -> Iterator[str]:
    """Sentences with the figures of this set."""
    pairs = mixed_up(levels)
    for at, shift in zip(fitted.selected.groups, fitted.shifts, strict=True):
        level = tested[at]
        text = f"frames {_placed(level)} differ from the others by {stops_text(shift)} stop"
        if sum(other.by == level.by for other in levels) == 2:
            text += f": of only two, the set cannot tell which {NAMES[level.by]} is off"
        rivals = [a if b is level else b for a, b in pairs if level in (a, b)]
        same = [other for other in rivals if bool((other.frames == level.frames).all())]
        names = " or ".join(_placed(other) for other in same or rivals)
        if rivals:
            which = "they are the ones" if same else "the others are the ones"
            text += f"; {which} {names}{' too' if same else ''}, which may be the cause as well"
        yield text
    if "slope" in fitted.selected.courses and slope is not None:
        yield _slope_words(frames, fitted, slope[0])
    elif "bend" in fitted.selected.courses:
        yield _bend_words(frames, fitted)


def _placed(level: Level) -> str:
    """A level after "frames"."""
    return f"{'at' if level.by in ('iso', 'aperture') else 'with'} {level.words}"


def reasons_of(frames: Sequence[CalibrationFrame], fitted: Fit) -> dict[int, str]:
    """Why each frame that is left out as a bad one is."""
    out = {}
    for at in fitted.selected.frames:
        off = float(fitted.residuals[at])
        text = f"it is off by {stops_text(off)} stop, beyond the scatter of the others"
        same = _same_light(frames, fitted, at)
        if same is not None:
            other = frames[same]
            apart = abs(frames[at].metered_stops - other.metered_stops)
            text += (
                f"; its reading contradicts that of {other.file.name}: both frames got the same "
                f"light, and the readings are {apart:.2f} stop apart"
            )
        out[at] = text
    return out


def _same_light(frames: Sequence[CalibrationFrame], fitted: Fit, at: int) -> int | None:
    """A frame that got the light of a bad one and whose reading says otherwise."""
    metered = np.array([f.metered_stops for f in frames])
    light = metered + np.array([f.rest_stops for f in frames])
    same = max(SAME_LIGHT * fitted.scatter, LEAST_SAME)
    alike = np.array([f.metered == frames[at].metered for f in frames])
    contradicts = (np.abs(light - light[at]) <= same) & (np.abs(metered - metered[at]) > same)
    found = np.flatnonzero(contradicts & alike & fitted.kept)
    return int(found[0]) if found.size else None


def _slope_words(frames: Sequence[CalibrationFrame], fitted: Fit, slope: float) -> str:
    """A slope that is not 1, with what makes one."""
    how = "less" if slope < 1 else "more"
    causes = (
        "a black level that is stated too low, stray or ambient light under the flash, clipping at "
        "the bright end, a rendered picture, or a lens that does not stop down as marked"
        if slope < 1
        else "a black level that is stated too high, a rendered picture, or a lens that does not "
        "stop down as marked"
    )
    return f"measured stops rise by {slope:.3f} a planned stop, {how} than 1: {causes}"


def _bend_words(frames: Sequence[CalibrationFrame], fitted: Fit) -> str:
    """A bend, by which end leaves the others."""
    off = fitted.residuals[fitted.kept]
    levels = np.array([frame.planned_stops for frame in frames])[fitted.kept]
    dark = float(np.mean(off[levels <= np.quantile(levels, 0.25)]))
    bright = float(np.mean(off[levels >= np.quantile(levels, 0.75)]))
    if abs(bright) > abs(dark):
        cause = (
            "clipping, or a rendered picture" if bright < 0 else "a rendered picture, or the lens"
        )
        return f"measured against planned bends at the bright end by {stops_text(bright)}: {cause}"
    cause = (
        "a black level that is stated too low, or stray or ambient light"
        if dark > 0
        else "a black level that is stated too high"
    )
    return f"measured against planned bends at the dark end by {stops_text(dark)}: {cause}"


def _follows_time(kept: Sequence[Shot], fitted: Fit) -> bool:
    """Whether frames of flash get more light the longer the shutter is open."""
    times, rest = [], []
    residuals = fitted.residuals[fitted.kept].tolist()
    for shot, residual in zip(kept, residuals, strict=True):
        shutter = None if shot.check.settings is None else shot.check.settings.shutter_s
        if shot.setup.reading is None or shot.setup.reading.timed or not shutter:
            continue
        times.append(math.log2(shutter))
        rest.append(residual)
    if len(times) < FEW + 1 or max(times) - min(times) < TIME_RANGE:
        return False
    line = stats.linregress(times, rest, alternative="greater")
    return bool(line.slope > TIME_SLOPE and line.pvalue < TIME_CHANCE)
