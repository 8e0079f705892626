"""Frames without a card: the last card's error carried on by what most of the picture shares."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from verify.compare import FrameCheck
from verify.diagnose.from_check import Taken
from verify.diagnose.in_time import series_in_time
from verify.diagnose.records import Seen
from verify.judge import with_verdict
from verify.notation import stops_text
from verify.plan.records import Tolerance

WARNING = "by-scene"


def carried(taken: Sequence[Taken]) -> tuple[FrameCheck, ...]:
    """The checks of frames, those without a card held against the last card of their stretch.

    Parameters
    ----------
    taken : each frame as it was judged, with its picture, in any order.

    Returns
    -------
    In the same order. A frame in which nothing tells the light stays as it was.
    """
    by_file = {one.check.file: one for one in taken}
    seen = {
        frame.file: frame
        for series in series_in_time(taken, "either")
        for frame in series.frames
        if frame.by == "scene" and frame.carried_from is not None
    }
    return tuple(_one(one, seen.get(one.check.file), by_file) for one in taken)


def _one(one: Taken, seen: Seen | None, by_file: Mapping[Path, Taken]) -> FrameCheck:
    """One frame's check."""
    if seen is None or seen.carried_from is None:
        return one.check
    last = by_file[seen.carried_from].check
    error = None
    if last.error_stops is not None and last.rest_stops is not None:
        rest = last.rest_stops + seen.rest_stops - (last.difference_stops or 0.0)
        error = rest + seen.settings_stops
    u = None if last.u_stops is None else math.hypot(last.u_stops, seen.u_stops)
    note = (
        f"its light is that of {last.file.name}, carried on by the scene:"
        f" {stops_text(seen.rest_stops - (last.difference_stops or 0.0))} stop since"
    )
    if seen.agreed_share is not None:
        note += f", in {100 * seen.agreed_share:.0f} % of the picture"
    check = replace(
        one.check,
        problem=None,
        expected_signal=last.expected_signal,
        offset_stops=last.offset_stops,
        offset_name=last.offset_name,
        error_stops=error,
        settings_stops=seen.settings_stops if error is not None else None,
        rest_stops=None if error is None else error - seen.settings_stops,
        difference_stops=seen.rest_stops,
        u_stops=None if error is None else u,
        repeat_u_stops=seen.u_stops,
        warnings=tuple(dict.fromkeys((*one.check.warnings, *seen.warnings, *_kept(last), WARNING))),
        notes=(*one.check.notes, note),
    )
    return _judged(check, one.setup.tolerance)


def _kept(last: FrameCheck) -> list[str]:
    """Warnings about the last card's light that hold for what is carried on from it."""
    return [name for name in ("no-offset", "dome-on-card", "rendered") if name in last.warnings]


def _judged(check: FrameCheck, tolerance: Tolerance) -> FrameCheck:
    """A carried check with its verdict: by the plan with an offset, else by the reference."""
    by_plan = check.offset_stops is not None and "rendered" not in check.warnings
    if by_plan and check.error_stops is not None and check.u_stops is not None:
        value, u, limit = check.error_stops, check.u_stops, tolerance.absolute
    elif check.difference_stops is not None and check.repeat_u_stops is not None:
        value, u, limit = check.difference_stops, check.repeat_u_stops, tolerance.between_frames
        by_plan = False
    else:
        return check
    return with_verdict(check, value, u, limit, by_plan)
