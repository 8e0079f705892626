"""A frame as it was checked to what diagnosis sees of it."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from verify.compare import FrameCheck
from verify.diagnose.order import Ordered
from verify.diagnose.records import By, CardPlace, Seen
from verify.exposure import exact_f_number, exact_iso, exact_shutter_s
from verify.frames.frame import Settings
from verify.plan.records import SetUp
from verify.scene.records import Tiles
from verify.scene.stretches import InStretch

LEAST_U = 0.003  # stop; no light is surer than that


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """A frame as it was checked."""

    check: FrameCheck
    setup: SetUp
    body: str  # camera body, in words
    tiles: Tiles | None = None  # its picture; None where only the card counts


@dataclass(frozen=True, slots=True, eq=False)
class Lit:
    """A frame of a series with the light that was measured in it."""

    ordered: Ordered
    taken: Taken
    settings_stops: float  # exposure by its settings, against any fixed ones [stop]
    shown: InStretch | None


@dataclass(frozen=True, slots=True)
class Usual:
    """The settings that others are held against."""

    stops: float  # exposure by them [stop]
    iso: float | None  # exact
    timed: bool  # the light is continuous


def usual_settings(
    setup: SetUp, frames: Sequence[tuple[Ordered, Taken]], settings: Sequence[float]
) -> Usual:
    """The planned settings; without a plan those of most frames."""
    camera = setup.camera
    timed = setup.reading is not None and setup.reading.timed
    if camera is not None:
        planned = Settings(f_number=camera.aperture.n, iso=camera.iso, shutter_s=camera.shutter_s)
        return Usual(settings_stops_of(planned, timed), camera.iso, timed)
    most = Counter(round(stops, 2) for stops in settings).most_common(1)[0][0]
    at = next(n for n, stops in enumerate(settings) if round(stops, 2) == most)
    its = frames[at][1].check.settings
    iso = None if its is None or its.iso is None else exact_iso(its.iso)
    return Usual(settings[at], iso, timed)


def seen_of(one: Lit, by: By, stops: float, u_stops: float) -> Seen:
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


def with_settings(seen: Seen, one: Lit, setup: SetUp, usual: Usual) -> Seen:
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


def without_cards(seen: Sequence[Seen]) -> list[Seen]:
    """Frames without the tiles that a card stood before in some of them: it was pulled out."""
    places = {frame.place for frame in seen if frame.place is not None}
    masks: dict[tuple[int, ...], NDArray[np.bool_]] = {}
    found = []
    for frame in seen:
        tiles = frame.tiles
        if tiles is not None:
            if tiles.shape not in masks:
                masks[tiles.shape] = _behind(places, (tiles.shape[0], tiles.shape[1]))
            tiles = np.where(masks[tiles.shape], np.nan, tiles)
        found.append(replace(frame, tiles=tiles))
    return found


def _behind(places: set[CardPlace], grid: tuple[int, int]) -> NDArray[np.bool_]:
    """Tiles (rows, cols) that a card at any of some places covers, or touches."""
    rows, cols = grid
    side = max(grid)  # tiles are square, or nearly so
    behind = np.zeros(grid, bool)
    for place in places:
        left, right = ((place.col + way * place.width / 2) * side for way in (-1, 1))
        top, bottom = ((place.row + way * place.height / 2) * side for way in (-1, 1))
        behind[
            max(math.floor(top), 0) : min(math.ceil(bottom), rows),
            max(math.floor(left), 0) : min(math.ceil(right), cols),
        ] = True
    return behind


def _iso_stops(check: FrameCheck, settings: Settings, usual: Usual) -> float:
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


def settings_stops_of(settings: Settings | None, timed: bool) -> float:
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
