"""Checked frames to series: one set-up and body each, in the order of time, each frame's light.

Where the card is measured its light counts; in between that of the scene, carried on from the last
frame with a card of the same stretch.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Literal

from verify.compare import FrameCheck
from verify.diagnose.from_check import (
    LEAST_U,
    Lit,
    Taken,
    seen_of,
    settings_stops_of,
    usual_settings,
    with_settings,
    without_cards,
)
from verify.diagnose.order import Ordered, in_order
from verify.diagnose.records import Seen
from verify.scene.records import Change
from verify.scene.stretches import InStretch, Shown, stretches_of

Wanted = Literal["card", "scene", "either"]
NO_LIGHT = {
    "card": "its card was not measured",
    "scene": "its picture could not be compared with the others",
    "either": "neither its card was measured nor its picture compared with the others",
}


@dataclass(frozen=True, slots=True, eq=False)
class InTime:
    """One series."""

    setup: str
    body: str
    frames: tuple[Seen, ...]  # in the order of time
    between_frames: float  # tolerance [stop]
    left_out: tuple[tuple[Path, str], ...]  # frames without light, and why
    notes: tuple[str, ...] = ()


def series_in_time(taken: Sequence[Taken], by: Wanted) -> tuple[InTime, ...]:
    """All series of a shoot.

    Parameters
    ----------
    taken : in any order.
    by : how light is measured: by the card, by the scene, or by whichever there is.
    """
    bodies: dict[str, list[Taken]] = {}
    for one in taken:
        bodies.setdefault(one.body, []).append(one)
    found: list[InTime] = []
    for body, own in bodies.items():
        ordered, notes = in_order([(one.check.file, _captured(one)) for one in own])
        setups: dict[str, list[tuple[Ordered, Taken]]] = {}
        for place in ordered:
            one = own[place.number]
            setups.setdefault(one.setup.name, []).append((place, one))
        found += [_series(name, body, frames, by, notes) for name, frames in setups.items()]
    return tuple(found)


def _series(
    name: str, body: str, frames: list[tuple[Ordered, Taken]], by: Wanted, notes: tuple[str, ...]
) -> InTime:
    """One set-up and body."""
    setup = frames[0][1].setup
    timed = setup.reading is not None and setup.reading.timed
    settings = [settings_stops_of(one.check.settings, timed) for _, one in frames]
    shown: Iterable[InStretch | None] = [None] * len(frames)
    if by != "card":
        shown = stretches_of(
            Shown(one.tiles, stops) for (_, one), stops in zip(frames, settings, strict=True)
        )
    lit = [
        Lit(ordered, one, stops, its)
        for (ordered, one), stops, its in zip(frames, settings, shown, strict=True)
    ]
    usual = usual_settings(setup, frames, settings)
    seen: list[Seen] = []
    left_out: list[tuple[Path, str]] = []
    anchors = _anchors(lit, by)
    for at, one in enumerate(lit):
        light = _light(lit, at, anchors, by)
        if light is None:
            left_out.append((one.taken.check.file, one.taken.check.problem or NO_LIGHT[by]))
        else:
            seen.append(with_settings(light, one, setup, usual))
    if any(frame.place is None for frame in seen):
        seen = without_cards(seen)
    first = next((frame.at_s for frame in seen if frame.at_s is not None), None)
    if first is not None:
        seen = [
            replace(frame, at_s=None if frame.at_s is None else frame.at_s - first)
            for frame in seen
        ]
    return InTime(name, body, tuple(seen), setup.tolerance.between_frames, tuple(left_out), notes)


def _anchors(lit: Sequence[Lit], by: Wanted) -> dict[int, list[int]]:
    """Frames whose card was measured, by their stretch."""
    found: dict[int, list[int]] = {}
    for at, one in enumerate(lit):
        stretch = None if one.shown is None else one.shown.stretch
        told = one.shown is not None and _told(one.shown.change)
        if stretch is not None and told and _card_light(one.taken.check) is not None:
            found.setdefault(stretch, []).append(at)
    return {} if by == "scene" else found


def _light(lit: Sequence[Lit], at: int, anchors: dict[int, list[int]], by: Wanted) -> Seen | None:
    """The light of one frame; None where nothing tells it."""
    one = lit[at]
    card = None if by == "scene" else _card_light(one.taken.check)
    if card is not None:
        return seen_of(one, "card", *card)
    change = None if one.shown is None else one.shown.change
    if by == "card" or one.shown is None or change is None or change.stops is None:
        return None
    stops, u = change.stops, change.u_stops or LEAST_U
    carried_from: Path | None = None
    near = anchors.get(one.shown.stretch if one.shown.stretch is not None else -1, [])
    if near:  # the last card before it, or the first one after
        anchor = lit[max((n for n in near if n < at), default=near[0])]
        there = None if anchor.shown is None else anchor.shown.change
        light = _card_light(anchor.taken.check)
        if there is not None and there.stops is not None and light is not None:
            stops += light[0] - there.stops
            u = math.hypot(u, light[1], there.u_stops or LEAST_U)
            carried_from = anchor.taken.check.file
    return replace(seen_of(one, "scene", stops, u), carried_from=carried_from)


def _card_light(check: FrameCheck) -> tuple[float, float] | None:
    """Light of a frame by its card, settings taken out, and its uncertainty [stop]."""
    if check.patch is None or check.doubtful or check.difference_stops is None:
        return None
    return check.difference_stops, max(check.repeat_u_stops or 0.0, LEAST_U)


def _told(change: Change | None) -> bool:
    """Whether a change of the scene is known."""
    return change is not None and change.stops is not None and change.bound is None


def _captured(one: Taken) -> datetime | None:
    """When a frame was taken."""
    return None if one.check.settings is None else one.check.settings.captured
