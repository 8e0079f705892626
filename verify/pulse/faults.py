"""What may be wrong with how a pulse was recorded, and what that does to its numbers."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.pulse.baseline import Light
from verify.pulse.timed import Timed

FEWEST_INSIDE = 10  # samples inside t.5
ALIKE = 1e-9  # of the peak: values that are the same
FEWEST_CLIPPED = 3  # samples in a row at a limit
CHANCE = 1e-7  # that noise leaves so many values in a row alike
NOISY = 0.3  # quantums of noise, with which a run of equal values is telling
CREEPS = 3.0  # quantums a sample, by which a curve leaves a top that it follows
TOO_LONG = 8.0  # times what follows it, that the top of a smooth curve does not last
CREEPS_BY = 0.15  # of the peak, in the same samples
NOISELESS = 1e-5  # of the peak: noise that is none
LEAST_RUN = 5
ENDS_LIT = 0.03  # of the peak, at an end of the recording: light is missing there
END_SAMPLES, MOST_END_SAMPLES = 5, 1000
DIP = 0.5  # of the peak: light below it within t.5 is a dip
DIP_SAMPLES = 3
FALLS = 0.15  # of the time that a decay would need, within which light is cut
CUT_LEVELS = (0.4, 0.3, 0.2, 0.15, 0.1)  # of the peak, at which a decay may be cut


@dataclass(frozen=True, slots=True)
class Ends:
    """How a firing begins and ends, as shares of its peak; 0 where it is dark there."""

    begins: float
    ends: float
    at_start: bool  # whether its beginning is that of the recording, and not the firing before
    at_end: bool  # the same of its end

    @property
    def whole(self) -> bool:
        """Whether all its light is there."""
        return max(self.begins, self.ends) < ENDS_LIT


def ends_of(light: Light, firing: int, peak: float) -> Ends:
    """How a firing begins and ends."""
    one, value = light.firings[firing], light.even.value
    up, down = one.first - one.begins, one.ends - 1 - one.last
    first = value[one.begins : one.begins + _few(up, one.ends - one.begins)]
    last = value[one.ends - _few(down, one.ends - one.begins) : one.ends]
    begins, ends = (
        share if share * peak > 3 * light.noise / math.sqrt(part.size) + 2 * light.u_level else 0.0
        for part in (first, last)
        for share in [float(part.mean()) / peak]
    )
    return Ends(begins, ends, firing == 0, firing == len(light.firings) - 1)


def _few(dark: int, samples: int) -> int:
    """Samples at an end that tell how bright it is: more where there is room before the light."""
    return max(min(END_SAMPLES, samples // 10), min(dark // 4, MOST_END_SAMPLES), 1)


def clipped_s(light: Light, firing: int) -> float | None:
    """How long the top of a firing is clipped [s]; None where it is not."""
    one, even = light.firings[firing], light.even
    value = even.value[one.first : one.last + 1]
    top = float(value.max())
    same = value >= top - max(ALIKE * top, 1e-3 * light.quantum)
    run, begins = _longest(same)
    limit = light.most
    if limit is not None and top >= limit - max(1e-6 * abs(limit), 0.5 * light.quantum):
        return run * even.step_s if run >= FEWEST_CLIPPED else None
    if run < LEAST_RUN:
        return None
    if light.noise > max(NOISY * light.quantum, NOISELESS * top):
        # Of noise, one value in so many is the same as the one before.
        alike = min(light.quantum / light.noise / math.sqrt(2 * math.pi), 0.9)
        chance = alike ** (run - 1) if alike > 0 else 0.0
        return run * even.step_s if chance < CHANCE / value.size else None
    return run * even.step_s if _too_long(value, begins, run, light.quantum) else None


def _too_long(value: NDArray[np.float64], begins: int, run: int, quantum: float) -> bool:
    """Whether a flat top without noise lasts longer than the curve that leaves it would make it.

    The top step of a rounded curve lasts about 2.4 times as long as the two next to it.
    """
    least = max(quantum, NOISELESS * float(value[begins]))
    for beside in (value[begins + run :], value[:begins][::-1]):
        below = np.flatnonzero(beside < value[begins] - 1.5 * least)
        if beside.size < LEAST_RUN or not below.size:
            continue
        stays = int(below[0])
        creeps = value[begins] - float(beside[min(LEAST_RUN, beside.size) - 1])
        if creeps < max(
            CREEPS * LEAST_RUN * quantum, CREEPS_BY * value[begins]
        ) and run > TOO_LONG * max(stays, 1):
            return True
    return False


def _longest(same: NDArray[np.bool_]) -> tuple[int, int]:
    """Length and beginning of the longest run."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], same, [False]]).astype(np.int8)))
    runs = edges.reshape(-1, 2)
    lengths = runs[:, 1] - runs[:, 0]
    at = int(lengths.argmax())
    return int(lengths[at]), int(runs[at, 0])


@dataclass(frozen=True, slots=True)
class Dips:
    """Light that falls below half within t.5."""

    lowest: float  # of the peak
    lasting_s: float  # below half, all dips together


def dips_of(found: Timed, peak: float) -> Dips | None:
    """The dips of one firing; None where there are none."""
    span = found.spans_s[0.5]
    if span is None:
        return None
    value = found.value[(found.time_s > span[0]) & (found.time_s < span[1])]
    if value.size < 2 * DIP_SAMPLES:
        return None
    wide = max(DIP_SAMPLES, value.size // 100)
    smooth = np.convolve(value, np.full(wide, 1 / wide), mode="valid")
    margin = 4 * found.noise / math.sqrt(wide)
    if smooth.size < 3 or float(smooth.min()) > DIP * peak - margin:
        return None
    # Near both crossings noise alone takes light below half: a dip has brightness on both sides.
    bright = np.flatnonzero(smooth > DIP * peak + margin)
    if not bright.size:
        return None
    inside = smooth[bright[0] : bright[-1] + 1]
    low = inside < DIP * peak
    if not low.any() or float(inside.min()) > DIP * peak - margin:
        return None
    return Dips(max(float(inside.min()) / peak, 0.0), int(low.sum()) * _step_s(found))


def _step_s(found: Timed) -> float:
    """Time between what was looked at [s]."""
    return float(found.time_s[1] - found.time_s[0])


def cut_at(found: Timed) -> float | None:
    """Share of the peak at which light that decayed is cut; None where it is not."""
    peak, half = found.durations.peak.value, found.spans_s[0.5]
    if half is None:
        return None
    step_s = _step_s(found)
    wide = max(int((half[1] - half[0]) / step_s) // 50, 1)
    smooth = np.convolve(found.value, np.full(wide, 1 / wide), mode="same")
    least = max(0.04, 4 * found.noise / math.sqrt(wide) / peak)
    for level in CUT_LEVELS:
        lower = max(level / 4, least)
        if lower > 0.6 * level:
            continue
        above, below = np.flatnonzero(smooth > level * peak), np.flatnonzero(smooth > lower * peak)
        if not above.size or below[-1] >= smooth.size - 1:
            continue
        fall_s = (below[-1] - above[-1]) * step_s
        decayed_s = float(found.time_s[above[-1]]) - half[1]
        if decayed_s <= 0:
            continue
        rate = math.log(0.5 / level) / decayed_s
        slack_s = wide * step_s
        if fall_s - slack_s < FALLS * math.log(level / lower) / rate and decayed_s > 4 * slack_s:
            return float(smooth[max(int(below[-1]) - 2 * wide - 1, 0)]) / peak
    return None
