"""Frames in the order in which they were taken, and the gaps between them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

from verify.frames.gather import frame_number

WRAP_FROM, WRAP_TO = 9000, 1000  # file numbers begin anew after 9999
LEAST_BACK_S = 30.0  # that a clock is set back by; files can be numbered out of order
FEW = 0.1  # of the frames, whose times may run back where a clock was set


@dataclass(frozen=True, slots=True)
class Ordered:
    """A frame in its place."""

    number: int  # of the frame, in the list that was given
    at_s: float | None  # since the first frame of known time [s]
    gap_s: float | None  # since the frame before [s]; None where not known, or the clock ran back


def in_order(
    frames: Sequence[tuple[Path, datetime | None]],
) -> tuple[tuple[Ordered, ...], tuple[str, ...]]:
    """Frames of one body in the order in which they were taken, and what is to be said of it.

    By time with its fraction, by file number where times tie or are lacking. A clock that was set
    back shows in numbers that go on while times run back: then numbers count.

    Parameters
    ----------
    frames : file and time of each, in any order.
    """
    times = [_seconds(captured) for _, captured in frames]
    numbers = [frame_number(file) for file, _ in frames]
    everything = range(len(frames))
    by_name = sorted(everything, key=lambda n: (numbers[n] is None, numbers[n] or 0, frames[n][0]))
    if any(time is None for time in times):
        return _placed(by_name, times), _notes(times)
    rank = {n: at for at, n in enumerate(by_name)}
    by_time = sorted(everything, key=lambda n: (times[n], rank[n]))
    if _set_back(by_time, numbers):
        back = [(times[a] or 0) - (times[b] or 0) for a, b in pairwise(by_name)]
        back = [seconds for seconds in back if seconds > 0]
        if min(back) >= LEAST_BACK_S and len(back) <= max(1, FEW * len(frames)):
            return _placed(by_name, times), (
                "the camera's clock ran back while file numbers went on: frames are in the order of"
                " their numbers, and the gap there is not known",
            )
    return _placed(by_time, times), ()


def _seconds(captured: datetime | None) -> float | None:
    """Seconds of a time; one without a zone is taken as all others of its body are."""
    if captured is None:
        return None
    return (captured if captured.tzinfo else captured.replace(tzinfo=UTC)).timestamp()


def _set_back(by_time: Sequence[int], numbers: Sequence[int | None]) -> bool:
    """Whether file numbers, in the order of time, run back other than where they begin anew."""
    known = [numbers[n] for n in by_time]
    if any(number is None for number in known) or len(set(known)) < len(known):
        return False
    steps = pairwise([number for number in known if number is not None])
    return any(b < a and not (a >= WRAP_FROM and b <= WRAP_TO) for a, b in steps)


def _placed(order: Sequence[int], times: Sequence[float | None]) -> tuple[Ordered, ...]:
    """Each frame with its time since the first and since the one before."""
    first = next((times[n] for n in order if times[n] is not None), None)
    found = []
    before: float | None = None
    for n in order:
        time = times[n]
        gap = None if time is None or before is None or time < before else time - before
        at = None if time is None or first is None else time - first
        found.append(Ordered(n, at, gap))
        before = time
    return tuple(found)


def _notes(times: Sequence[float | None]) -> tuple[str, ...]:
    """What is to be said where times are lacking."""
    lacking = sum(time is None for time in times)
    if lacking == len(times):
        return ("no frame records its time: frames are in the order of their file numbers",)
    return (
        f"{lacking} of {len(times)} frames record no time: frames are in the order of their file "
        "numbers, and some gaps are not known",
    )
