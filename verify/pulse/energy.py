"""The light of a pulse as an area: how much of it is inside what time."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.pulse.baseline import Light
from verify.pulse.even import Even
from verify.pulse.timed import Timed

TAIL = 3.0  # times the way from t.5 to t.1, beyond t.1, after which light is out
MARGIN = 0.25  # of t.5, at least
FIRST_LIGHT = 0.01  # of the energy, from which energy-based times are counted
LIT = 0.003  # of the peak
LIT_NOISE = 1.0  # deviations of a single value, for a mean over a few
FEW = 5  # values
SWITCHED = 0.3  # of the peak, from one sample to the next


@dataclass(frozen=True, slots=True, eq=False)
class Shone:
    """The light of one firing from its first to its last."""

    start_s: float  # first light, in the time of the trace
    time_s: NDArray[np.float64]  # (samples,) in the time of the trace; the first is the start
    value: NDArray[np.float64]  # (samples,) light
    whole: bool  # whether it begins and ends inside the recording


@dataclass(frozen=True, slots=True)
class Energy:
    """Area of a pulse, and times by it."""

    area: float  # [unit x s]
    share: dict[float, float | None]  # inside t.5 and t.1
    half_s: float | None  # from the first 1 % of the light until 50 % of it is out
    ninety_s: float | None


def shone(light: Light, found: Timed, firing: int, whole: bool, no_return: bool) -> Shone:
    """The light of one firing.

    Parameters
    ----------
    light, found : the recording, and the durations of this firing alone.
    firing : its number.
    whole : whether it begins and ends inside the recording.
    no_return : the light ends where the recording first falls below its baseline: what comes
        after is a recorder's doing.
    """
    even, one = light.even, light.firings[firing]
    peak = found.durations.peak.value
    tenth, half = found.durations.spans[0.1], found.spans_s[0.5]
    least, most = one.begins, one.ends - 1
    first, last = one.first, one.last
    wide_tenth = found.spans_s[0.1]
    if tenth is not None and wide_tenth is not None and half is not None:
        margin_s = MARGIN * (half[1] - half[0])
        up_s = wide_tenth[0] - TAIL * (half[0] - wide_tenth[0]) - margin_s
        down_s = wide_tenth[1] + TAIL * (wide_tenth[1] - half[1]) + margin_s
        least = max(least, int((up_s - even.start_s) / even.step_s))
        most = min(most, int(np.ceil((down_s - even.start_s) / even.step_s)))
        first = max(int(np.ceil((wide_tenth[0] - even.start_s) / even.step_s)), least)
    value = even.value[least : most + 1]
    # First light: back from t.1 to where it is dark.
    last_dark = _last_dark(found, even.at_s(first), peak, even) - least
    begun = min(max(last_dark + 1, 0), value.size - 1)
    value, begins = value[begun:], least + begun
    if no_return:
        top = int(value.argmax())
        below = np.flatnonzero(value[max(top, last - begins) :] < 0)
        if below.size:
            value = value[: max(top, last - begins) + int(below[0]) + 1]
    time_s = even.start_s + even.step_s * np.arange(begins, begins + value.size, dtype=np.float64)
    if last_dark < 0 and least == one.begins:
        return Shone(float(time_s[0]), time_s, value, whole)
    # Between the last dark sample and this one it began: at once, or rising from nothing.
    start_s = float(time_s[0]) - even.step_s / 2
    before = float(value[0]) if value[0] > SWITCHED * peak else 0.0
    return Shone(
        start_s, np.concatenate([[start_s], time_s]), np.concatenate([[before], value]), whole
    )


def _last_dark(found: Timed, lit_s: float, peak: float, even: Even) -> int:
    """The last dark sample of the recording before light that is surely there; -1 for none."""
    values = found.value[found.time_s <= lit_s]
    if not values.size:
        return -1
    recent = np.convolve(values, np.full(FEW, 1 / FEW))[: values.size]
    dark = np.flatnonzero(recent < max(LIT * peak, LIT_NOISE * found.noise))
    if not dark.size:
        return -1
    # It is the last sample of what was averaged.
    step_s = float(found.time_s[1] - found.time_s[0])
    return int((found.time_s[dark[-1]] + step_s / 2 - even.start_s) / even.step_s + 1e-6)


def energy_shone(parts: list[Shone], found: Timed) -> Energy:
    """The energy of one firing, or of several together; a part that is not whole is a bound."""
    areas = [_running(part) for part in parts]
    area = float(sum(float(one[-1]) for one in areas))
    if not all(part.whole for part in parts) or area <= 0:
        return Energy(area, {0.5: None, 0.1: None}, None, None)
    time_s = np.concatenate([part.time_s for part in parts])
    offsets = np.cumsum([0.0, *(float(one[-1]) for one in areas[:-1])])
    running = np.concatenate([one + before for one, before in zip(areas, offsets, strict=True)])
    share: dict[float, float | None] = {}
    for level in (0.5, 0.1):
        span = found.spans_s[level]
        within = None if span is None else np.interp(span, time_s, running) / area
        share[level] = None if within is None else min(max(float(within[1] - within[0]), 0.0), 1.0)
    rising = np.maximum.accumulate(running) / area
    begun, half, ninety = (
        float(time_s[min(at, time_s.size - 1)])
        if at == 0 or rising[at] == rising[at - 1]
        else float(np.interp(wanted, rising[at - 1 : at + 1], time_s[at - 1 : at + 1]))
        for wanted in (FIRST_LIGHT, 0.5, 0.9)
        for at in [min(int(np.searchsorted(rising, wanted)), rising.size - 1)]
    )
    return Energy(area, share, half - begun, ninety - begun)


def _running(part: Shone) -> NDArray[np.float64]:
    """Area from the first light to each sample."""
    steps = np.diff(part.time_s)
    return np.concatenate([[0.0], np.cumsum((part.value[1:] + part.value[:-1]) / 2 * steps)])
