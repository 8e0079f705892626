"""Checked frames to series: one set-up and body each, in the order of time, each frame's light.

Where the card is measured its light counts; in between that of the scene, carried on from the last
frame with a card of the same stretch.
"""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Literal

from verify.compare import FrameCheck
from verify.diagnose.order import Ordered, in_order
from verify.diagnose.records import By, CardPlace, Seen
from verify.exposure import exact_f_number, exact_iso, exact_shutter_s
from verify.frames.frame import Settings
from verify.plan.records import SetUp
from verify.scene.records import Change, Tiles
from verify.scene.stretches import InStretch, Shown, stretches_of

Wanted = Literal["card", "scene", "either"]
LEAST_U = 0.003  # stop; no light is surer than that
NO_LIGHT = {
    "card": "its card was not measured",
    "scene": "its picture could not be compared with the others",
    "either": "neither its card was measured nor its picture compared with the others",
}


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """A frame as it was checked."""

    check: FrameCheck
    setup: SetUp
    body: str  # camera body, in words
    tiles: Tiles | None = None  # its picture; None where only the card counts


@dataclass(frozen=True, slots=True, eq=False)
class InTime:
    """One series."""

    setup: str
    body: str
    frames: tuple[Seen, ...]  # in the order of time
    between_frames: float  # tolerance [stop]
    left_out: tuple[tuple[Path, str], ...]  # frames without light, and why
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Usual:
    """The settings that others are held against."""

    stops: float  # exposure by them [stop]
    iso: float | None  # exact
    timed: bool  # the light is continuous


@dataclass(frozen=True, slots=True, eq=False)
class _Lit:
    """A frame of a series with the light that was measured in it."""

    ordered: Ordered
    taken: Taken
    settings_stops: float  # exposure by its settings, against any fixed ones [stop]
    shown: InStretch | None


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
    settings = [_settings_stops(one.check.settings, timed) for _, one in frames]
    shown: Iterable[InStretch | None] = [None] * len(frames)
    if by != "card":
        shown = stretches_of(
            Shown(one.tiles, stops) for (_, one), stops in zip(frames, settings, strict=True)
        )
    lit = [
        _Lit(ordered, one, stops, its)
        for (ordered, one), stops, its in zip(frames, settings, shown, strict=True)
    ]
    usual = _usual(setup, frames, settings)
    seen: list[Seen] = []
    left_out: list[tuple[Path, str]] = []
    anchors = _anchors(lit, by)
    for at, one in enumerate(lit):
        light = _light(lit, at, anchors, by)
        if light is None:
            left_out.append((one.taken.check.file, one.taken.check.problem or NO_LIGHT[by]))
        else:
            seen.append(_with_settings(light, one, setup, usual))
    first = next((frame.at_s for frame in seen if frame.at_s is not None), None)
    if first is not None:
        seen = [
            replace(frame, at_s=None if frame.at_s is None else frame.at_s - first)
            for frame in seen
        ]
    return InTime(name, body, tuple(seen), setup.tolerance.between_frames, tuple(left_out), notes)


def _anchors(lit: Sequence[_Lit], by: Wanted) -> dict[int, list[int]]:
    """Frames whose card was measured, by their stretch."""
    found: dict[int, list[int]] = {}
    for at, one in enumerate(lit):
        stretch = None if one.shown is None else one.shown.stretch
        told = one.shown is not None and _told(one.shown.change)
        if stretch is not None and told and _card_light(one.taken.check) is not None:
            found.setdefault(stretch, []).append(at)
    return {} if by == "scene" else found


def _light(lit: Sequence[_Lit], at: int, anchors: dict[int, list[int]], by: Wanted) -> Seen | None:
    """The light of one frame; None where nothing tells it."""
    one = lit[at]
    card = None if by == "scene" else _card_light(one.taken.check)
    if card is not None:
        return _seen(one, "card", *card)
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
    return replace(_seen(one, "scene", stops, u), carried_from=carried_from)


def _card_light(check: FrameCheck) -> tuple[float, float] | None:
    """Light of a frame by its card, settings taken out, and its uncertainty [stop]."""
    if check.patch is None or check.doubtful or check.difference_stops is None:
        return None
    return check.difference_stops, max(check.repeat_u_stops or 0.0, LEAST_U)


def _told(change: Change | None) -> bool:
    """Whether a change of the scene is known."""
    return change is not None and change.stops is not None and change.bound is None


def _seen(one: _Lit, by: By, stops: float, u_stops: float) -> Seen:
    """A frame with its light, and what its picture shows."""
    check, change = one.taken.check, None if one.shown is None else one.shown.change
    warnings = list(check.warnings) if by == "card" else []
    seen = Seen(
        check.file,
        check.setup,
        by,
        stops,
        max(u_stops, LEAST_U),
        at_s=one.ordered.at_s,
        gap_s=one.ordered.gap_s,
        captured=None if check.settings is None else check.settings.captured,
        bound=check.bound if by == "card" else None if change is None else change.bound,
    )
    if by == "card":
        red, blue, u_color = _card_colors(check)
        seen = replace(
            seen,
            place=_place(check),
            red_green_stops=red,
            blue_green_stops=blue,
            u_color_stops=u_color,
        )
    if change is not None and one.shown is not None:
        warnings += change.warnings
        seen = replace(
            seen,
            tiles=change.tiles,
            agreed_share=change.agreed_share,
            stretch=one.shown.stretch or 0,
        )
        if by == "scene":
            seen = replace(
                seen,
                red_green_stops=change.red_green_stops,
                blue_green_stops=change.blue_green_stops,
                u_color_stops=change.u_color_stops,
            )
    return replace(seen, warnings=tuple(dict.fromkeys(warnings)))


def _usual(
    setup: SetUp, frames: Sequence[tuple[Ordered, Taken]], settings: Sequence[float]
) -> _Usual:
    """The planned settings; without a plan those of most frames."""
    camera = setup.camera
    timed = setup.reading is not None and setup.reading.timed
    if camera is not None:
        planned = Settings(f_number=camera.aperture.n, iso=camera.iso, shutter_s=camera.shutter_s)
        return _Usual(_settings_stops(planned, timed), camera.iso, timed)
    most = Counter(round(stops, 2) for stops in settings).most_common(1)[0][0]
    at = next(n for n, stops in enumerate(settings) if round(stops, 2) == most)
    its = frames[at][1].check.settings
    iso = None if its is None or its.iso is None else exact_iso(its.iso)
    return _Usual(settings[at], iso, timed)


def _with_settings(seen: Seen, one: _Lit, setup: SetUp, usual: _Usual) -> Seen:
    """A frame with its camera settings and what the plan says of it."""
    check = one.taken.check
    settings = check.settings or Settings()
    under = None if check.flash is None else check.flash.ambient_under_stops
    if under is None and setup.motion.ambient is not None:
        under = setup.motion.ambient.stops_under_flash
    return replace(
        seen,
        settings_stops=(
            one.settings_stops - usual.stops
            if check.settings_stops is None
            else check.settings_stops
        ),
        iso_stops=_iso_stops(check, settings, usual),
        shutter_s=None if settings.shutter_s is None else exact_shutter_s(settings.shutter_s),
        f_number=check.f_number
        or (None if settings.f_number is None else exact_f_number(settings.f_number)),
        iso=None if settings.iso is None else exact_iso(settings.iso),
        timed=usual.timed,
        pops=1 if setup.camera is None else setup.camera.pops,
        ambient_under_stops=under,
    )


def _iso_stops(check: FrameCheck, settings: Settings, usual: _Usual) -> float:
    """What of the settings is ISO [stop]."""
    if check.iso_stops is not None:
        return check.iso_stops
    if settings.iso is None or usual.iso is None:
        return 0.0
    return math.log2(exact_iso(settings.iso) / usual.iso)


def _card_colors(check: FrameCheck) -> tuple[float | None, float | None, float | None]:
    """Red and blue of the card against its green, and how sure either is [stop]."""
    patch = check.patch
    if patch is None or patch.green is None or patch.green <= 0 or patch.signal <= 0:
        return None, None, None
    red, blue = (
        None if color is None or color <= 0 else math.log2(color / patch.green)
        for color in (patch.red, patch.blue)
    )
    noise = patch.noise / patch.signal / math.log(2)
    return red, blue, max(2 * noise, LEAST_U)


def _place(check: FrameCheck) -> CardPlace | None:
    """Where the card is, in shares of the picture's longer side."""
    if check.patch is None or check.size is None:
        return None
    side = max(check.size.width, check.size.height)
    cols, rows = zip(*check.patch.target.corners, strict=True)
    return CardPlace(
        sum(cols) / len(cols) / side,
        sum(rows) / len(rows) / side,
        (max(cols) - min(cols)) / side,
        (max(rows) - min(rows)) / side,
    )


def _captured(one: Taken) -> datetime | None:
    """When a frame was taken."""
    return None if one.check.settings is None else one.check.settings.captured


def _settings_stops(settings: Settings | None, timed: bool) -> float:
    """Exposure by settings, against f/1, ISO 1 and, with continuous light, 1 s [stop].

    What is not recorded counts as the same in all frames.
    """
    if settings is None:
        return 0.0
    stops = 0.0
    if settings.f_number is not None:
        stops -= 2 * math.log2(exact_f_number(settings.f_number))
    if settings.iso is not None:
        stops += math.log2(exact_iso(settings.iso))
    if timed and settings.shutter_s is not None:
        stops += math.log2(exact_shutter_s(settings.shutter_s))
    return stops
