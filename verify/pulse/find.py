"""Where in a recording there is light, and whether there is any."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.pulse.even import block_means, without_spikes

MOST_BLOCKS = 16_384  # that a long recording is looked at in
STANDS_OUT = 6.0  # deviations of the noise, that light must reach
WEAKEST = 0.02  # of the highest light, that counts as a firing of its own
DARK_BETWEEN = 0.1  # of the weaker of two firings, below which the light between them is out
SEEMS_DARK = 2.0  # deviations of a mean, below which it is
MOST_FIRINGS = 40  # more are one flash that flickers
NOTHING = 0.002  # of the peak, where light has faded
FAINTEST_KNOWN = 0.35  # of the peak, from which on its fading can be told
LEAST_AROUND = 5  # samples beside a firing that do not count as dark


@dataclass(frozen=True, slots=True)
class Lit:
    """One firing in a recording, in samples."""

    first: int  # where light stands out
    last: int
    begins: int  # what belongs to it and to no other one: from here
    ends: int  # to before here
    flickers: bool = False  # whether these are very many firings, taken as one


def lit(value: NDArray[np.float64], noise: float) -> tuple[Lit, ...]:
    """The firings in a recording, in the order of time; none where nothing stands out.

    Parameters
    ----------
    value : (samples,) above the baseline.
    noise : standard deviation of a value that is dark.

    Notes
    -----
    A single sample that sticks out is no light. Long recordings are looked at in blocks.
    """
    block = -(-value.size // MOST_BLOCKS)
    if block > 1:
        whole = value.size // block
        pairs = np.minimum(value[:-1], value[1:])
        pairs = np.append(pairs, pairs[-1])  # what two samples in a row reach
        most = pairs[: whole * block].reshape(whole, block).max(1)
        mean = block_means(value, block)
    else:
        most = without_spikes(value)
        mean = np.convolve(np.pad(value, 1, mode="edge"), np.full(3, 1 / 3), mode="valid")
    high = max(STANDS_OUT * noise, WEAKEST * float(most.max()))
    dark = SEEMS_DARK * noise / max(block, 3) ** 0.5
    runs = list(_runs(most > high))
    joined = _joined(runs, most, mean, dark)
    flickers = len(joined) > MOST_FIRINGS
    if flickers:
        joined = [(joined[0][0], joined[-1][1])]
    found = []
    begins = 0
    for n, (first, last) in enumerate(joined):
        ends = value.size
        if n + 1 < len(joined):
            between = mean[last : joined[n + 1][0] + 1]
            # Where the light is out is near the next one, if that comes before it is.
            ends = (last + int(between.size - 1 - between[::-1].argmin())) * block
            if float(between.min()) < dark:
                ends = (last + joined[n + 1][0]) // 2 * block if between.size > 4 else ends
        until = min((last + 1) * block, value.size) - 1
        found.append(Lit(first * block, until, begins, ends, flickers))
        begins = ends
    return tuple(found)


def _runs(bright: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """First and last place of each run of bright ones."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], bright, [False]]).astype(np.int8)))
    for first, beyond in edges.reshape(-1, 2):
        yield int(first), int(beyond) - 1


def _joined(
    runs: list[tuple[int, int]],
    most: NDArray[np.float64],
    mean: NDArray[np.float64],
    dark: float,
) -> list[tuple[int, int]]:
    """Runs with those between which the light is not out taken as one."""
    joined: list[tuple[int, int]] = []
    for first, last in runs:
        if joined:
            begun, until = joined[-1]
            weaker = min(float(most[begun : until + 1].max()), float(most[first : last + 1].max()))
            between = mean[until + 1 : first]
            if not between.size or float(between.min()) > max(DARK_BETWEEN * weaker, dark):
                joined[-1] = begun, last
                continue
        joined.append((first, last))
    return joined


def dark_around(
    value: NDArray[np.float64], noise: float, firings: tuple[Lit, ...]
) -> tuple[slice, slice]:
    """What is surely dark before the first firing, and after the last one.

    Light that goes from half the peak to where it stands out in some time goes on as it did, as an
    exponential would, until next to nothing is left.
    """
    first, last = firings[0], firings[-1]
    before = first.first - _fades(value[first.first : first.last + 1], noise)
    before -= min(LEAST_AROUND, first.first // 4)
    after = last.last + 1 + LEAST_AROUND + _fades(value[last.first : last.last + 1][::-1], noise)
    return slice(0, max(before, 0)), slice(min(after, value.size), value.size)


def _fades(value: NDArray[np.float64], noise: float) -> int:
    """Samples before the first of a firing that may still have light in them."""
    peak = max(float(value.max()), STANDS_OUT * noise)
    share = min(max(STANDS_OUT * noise / peak, WEAKEST), FAINTEST_KNOWN)
    to_half = int((value > 0.5 * peak).argmax())
    return int(to_half * math.log(share / NOTHING) / math.log(0.5 / share))
