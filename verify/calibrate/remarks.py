"""What is to be said of a set: where it bends, what it cannot tell apart, what a better one has."""

import math
from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
from scipy import stats

from verify.calibrate.fit import Fit
from verify.calibrate.groups import NAMES, Level, mixed_up
from verify.calibrate.records import CalibrationFrame
from verify.calibrate.sift import Shot
from verify.exposure import exact_shutter_s
from verify.notation import stops_text

FEW = 3  # frames
OF_FRAMES = (
    "uneven", "dome-on-card", "rendered", "near-clipping", "no-f-number", "no-iso",
    "iso-not-in-signal",
)  # fmt: skip
CONTRADICT = 0.25  # stop, by which readings of one light do not differ
ALIKE = 0.06  # stop, within which the light of two frames is one
NOTED = 0.15  # stop, within which a group is off by its ISO
MOST_TOLD = 3  # pairs of readings that contradict each other
SAME_LIGHT = 3.0  # scatters within which two frames got the same light
LEAST_SAME = 0.03  # stop, and this at least
TIME_RANGE = 1.0  # stop of shutter times, from which on ambient light would show
LEAST_AMBIENT = 0.02  # stop from the shortest to the longest time; less does no harm
TIME_CHANCE = 0.01  # that frames seem to follow the shutter time and do not


def warnings_of(shots: Sequence[Shot], fitted: Fit, levels: Sequence[Level]) -> Iterator[str]:
    """Names of the warnings about a set that could be better, or that bends."""
    kept = [shot for shot, k in zip(shots, fitted.kept, strict=True) if k]
    if len(kept) < FEW:
        yield "few-frames"
    unknown = any("no-f-number" in shot.check.warnings for shot in kept)
    if not unknown and not any(level.by == "aperture" for level in levels):
        yield "one-aperture"
    if "slope" in fitted.selected.courses:
        yield "slope-off"
    if "bend" in fitted.selected.courses:
        yield "bent"
    if any({one.by, other.by} == {"iso", "aperture"} for one, other in mixed_up(levels)):
        yield "iso-or-aperture"
    if _follows_time(kept, fitted):
        yield "ambient-in-set"
    for name in OF_FRAMES:
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
        text = f"frames {level.placed} differ from the offset by {stops_text(shift)} stop"
        if _only_noted(level, shift, levels, [tested[n] for n in fitted.selected.groups]):
            text += ": the signal does not follow it, so this camera may only note its ISO"
        elif sum(other.by == level.by for other in levels) == 2:
            text += f": of only two, the set cannot tell which {NAMES[level.by]} is off"
        rivals = [a if b is level else b for a, b in pairs if level in (a, b)]
        same = [other for other in rivals if bool((other.frames == level.frames).all())]
        names = " or ".join(other.placed for other in same or rivals)
        if rivals:
            which = "they are the ones" if same else "the others are the ones"
            text += f"; {which} {names}{' too' if same else ''}, which may be the cause as well"
        yield text
    yield from _contradictions(frames, fitted)
    if "slope" in fitted.selected.courses and slope is not None:
        yield _slope_words(slope[0])
    elif "bend" in fitted.selected.courses:
        yield _bend_words(frames, fitted)


def _only_noted(
    level: Level, shift: float, levels: Sequence[Level], differing: Sequence[Level]
) -> bool:
    """Whether frames at an ISO are off by just that ISO against those that do not differ."""
    sound = [
        other.value
        for other in levels
        if other.by == "iso" and all(other is not one for one in differing)
    ]
    if level.by != "iso" or isinstance(level.value, str) or not sound:
        return False
    base = sound[0]
    by_iso = 0.0 if isinstance(base, str) else math.log2(level.value / base)
    return abs(by_iso) > NOTED and abs(shift + by_iso) < NOTED


def reasons_of(frames: Sequence[CalibrationFrame], fitted: Fit) -> dict[int, str]:
    """Why each frame that is left out as a bad one is."""
    out = {}
    for at in fitted.selected.frames:
        off = float(fitted.residuals[at])
        text = f"it is off by {stops_text(off)} stop, beyond the scatter of the others"
        same = _same_light(frames, fitted, at)
        if same is not None:
            other = frames[same]
            text += (
                f"; its reading contradicts that of {other.file.name}: "
                f"{_same_light_words(frames[at], other)}"
            )
        out[at] = text
    return out


def _same_light(frames: Sequence[CalibrationFrame], fitted: Fit, at: int) -> int | None:
    """A frame that got the light of a bad one and whose reading says otherwise."""
    metered = np.array([f.metered_stops for f in frames])
    light = np.array([_light_of(f) for f in frames])
    same = max(SAME_LIGHT * fitted.scatter, LEAST_SAME)
    alike = np.array([f.metered == frames[at].metered for f in frames])
    contradicts = (np.abs(light - light[at]) <= same) & (np.abs(metered - metered[at]) > same)
    found = np.flatnonzero(contradicts & alike & fitted.kept)
    return int(found[0]) if found.size else None


def _contradictions(frames: Sequence[CalibrationFrame], fitted: Fit) -> Iterator[str]:
    """Readings of about the same light, by frames shot alike, that are far apart."""
    told = 0
    for one, other in combinations(np.flatnonzero(fitted.kept).tolist(), 2):
        first, second = frames[one], frames[other]
        apart = abs(first.metered_stops - second.metered_stops)
        light = abs(_light_of(first) - _light_of(second))
        if _shot_alike(first, second) and apart > CONTRADICT and light <= ALIKE:
            yield (
                f"the readings of {first.file.name} and {second.file.name} contradict each other: "
                f"{_same_light_words(first, second)}"
            )
            told += 1
        if told == MOST_TOLD:
            return


def _same_light_words(one: CalibrationFrame, other: CalibrationFrame) -> str:
    """What is wrong with two readings."""
    apart = abs(one.metered_stops - other.metered_stops)
    return f"both frames got the same light, and the readings are {apart:.2f} stop apart"


def _shot_alike(one: CalibrationFrame, other: CalibrationFrame) -> bool:
    """Whether two frames differ by their light and reading alone."""
    same = ("metered", "receptor", "meter", "lens", "iso", "aperture")
    return all(getattr(one, name) == getattr(other, name) for name in same)


def _light_of(frame: CalibrationFrame) -> float:
    """The light that a frame shows, in the unit of its reading [stop]."""
    return frame.metered_stops + frame.rest_stops


def _slope_words(slope: float) -> str:
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
        times.append(exact_shutter_s(shutter))
        rest.append(residual)
    if len(times) < FEW + 1 or max(times) < min(times) * 2**TIME_RANGE:
        return False
    # Ambient light rises with the time, and stops with the light as long as there is little of it.
    line = stats.linregress(times, rest, alternative="greater")
    gained = line.slope * (max(times) - min(times))
    return bool(gained > LEAST_AMBIENT and line.pvalue < TIME_CHANCE)
