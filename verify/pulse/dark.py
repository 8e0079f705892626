"""Where a recording begins and ends dark, and which way light goes: a first look at it."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.pulse.even import block_means, without_spikes
from verify.pulse.noise import noise_of, quick_noise

MOST_BLOCKS = 16_384  # that a long recording is looked at in
LEAST_DARK = 3  # samples at an end of the recording
GROWTH = 1.25  # by which an end's piece grows at a time
DEPARTS = 6.0  # deviations, beyond which a sample is no longer of that piece
STARTS, STARTS_BY = 6.0, 0.3  # deviations, and of the range: light within the first samples
NOISELESS = 1e-6  # of the range: noise that is none
USED = 0.8  # of the piece: beyond it, light may be coming up
SLOPES = 5.0  # deviations of a slope that is no chance
SLOPES_BY = 0.01  # of the recording's range: what a slope must come to, to matter
ALIKE = 0.1  # of the range: two ends at the same level


@dataclass(frozen=True, slots=True)
class Dark:
    """A first idea of what is dark."""

    level: float
    noise: float  # of single samples
    sign: int  # 1 where light is more, -1 where it is less


@dataclass(frozen=True, slots=True)
class _Piece:
    """One end of the recording, as far as it stays at one level."""

    level: float
    noise: float
    samples: int
    flat: bool


def dark_of(recorded: NDArray[np.float64], quantum: float) -> Dark:
    """What is dark, from how the recording begins, or else from how it ends.

    The beginning counts where it is flat, because afterwards a recorder may be off its level. A
    recording that begins with light on is dark at its end. Light then goes where the recording
    goes farthest from what is dark.

    Parameters
    ----------
    recorded : (samples,) evenly spaced.
    quantum : step that values come in; 0 where they do not.
    """
    block = -(-recorded.size // MOST_BLOCKS)
    value = block_means(recorded, block)
    calm = without_spikes(value)
    low, high = float(calm.min()), float(calm.max())
    span = high - low
    quick = quick_noise(value)
    head = _piece(value, calm, quick, span)
    tail = _piece(value[::-1], calm[::-1], quick, span)
    chosen = head
    if tail.flat and abs(head.level - tail.level) > ALIKE * span:
        begins_bright = head.level > high - ALIKE * span and tail.level < low + ALIKE * span
        if not head.flat or begins_bright:
            chosen = tail
    elif not head.flat and not tail.flat and head.level - tail.level > span / 2:
        chosen = tail
    dark = (
        recorded[: chosen.samples * block]
        if chosen is head
        else (recorded[recorded.size - chosen.samples * block :])
    )
    noise = max(chosen.noise, noise_of(dark, quantum), NOISELESS * float(np.ptp(recorded)))
    sign = 1 if high - chosen.level >= chosen.level - low else -1
    return Dark(chosen.level, noise, sign)


def _piece(
    value: NDArray[np.float64], calm: NDArray[np.float64], quick: float, span: float
) -> _Piece:
    """The beginning of some values, as far as it stays at one level."""
    size = min(max(LEAST_DARK, value.size // 400), value.size)
    least = max(quick, NOISELESS * span)
    if float(np.ptp(value[:LEAST_DARK])) > max(STARTS * least, STARTS_BY * span):
        return _Piece(float(value[0]), least, 1, False)  # it is not dark for so long
    while True:
        own = calm[:size]  # a middle one of three has two thirds of the noise
        level, noise = float(own.mean()), max(1.5 * float(own.std(ddof=1)), least)
        following = min(int(size * GROWTH) + 1, value.size)
        off = np.abs(calm[size:following] - level) > DEPARTS * noise
        if size == value.size or off.any():
            size += int(off.argmax()) if off.size else 0
            break
        size = following
    used = value[: max(LEAST_DARK, int(size * USED))]
    noise = max(noise_of(used, 0.0), least)
    return _Piece(float(np.median(used)), noise, used.size, _is_flat(used, least, span))


def _is_flat(used: NDArray[np.float64], least: float, span: float) -> bool:
    """Whether a piece has no slope that matters."""
    at = np.arange(used.size) - (used.size - 1) / 2
    spread = float(at @ at)
    slope = float(at @ used) / spread
    left = used - used.mean() - slope * at
    noise = max(float(left.std(ddof=min(2, used.size - 1))), least)
    rises = abs(slope) * used.size
    chance = SLOPES * noise / math.sqrt(spread) * used.size
    return rises < max(SLOPES_BY * span, chance)
