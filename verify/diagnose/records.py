"""A shoot in the order of time, as diagnosis sees it, and what it finds."""

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

By = Literal["card", "scene"]
Cause = Literal[
    "settings",
    "card-moved",
    "first-pop",
    "recycle",
    "drift",
    "step",
    "lamp-missing",
    "blocked",
    "pop-missing",
    "no-flash",
    "scatter",
    "colour",
    "shutter-cut",
    "ambient",
    "flicker",
    "lens",
    "iso-not-in-signal",
    "steady",
]


@dataclass(frozen=True, slots=True)
class CardPlace:
    """Where the card is in the upright picture, in shares of its longer side."""

    col: float  # of its middle
    row: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One frame of a series: one set-up and body, in the order of time. None: not known."""

    file: Path
    setup: str
    by: By  # how its light was measured
    rest_stops: float  # its light, what camera settings explain taken out [stop]
    u_stops: float  # standard uncertainty of that, of what varies from frame to frame [stop]
    settings_stops: float = 0.0  # what camera settings explain, against the plan or the reference
    iso_stops: float = 0.0  # of it by ISO
    captured: datetime | None = None
    at_s: float | None = None  # since the first frame of the series [s]
    gap_s: float | None = None  # since the frame before of the same body, of any series [s]
    red_green_stops: float | None = None  # red against green, as measured
    blue_green_stops: float | None = None
    u_color_stops: float | None = None  # standard uncertainty of either of them
    shutter_s: float | None = None  # exact [s]
    f_number: float | None = None  # exact
    iso: float | None = None  # exact
    timed: bool = False  # the light is continuous: the shutter time is part of the exposure
    pops: int = 1  # planned
    ambient_under_stops: float | None = None  # ambient light under the flash, on the card
    bound: Literal["at-least", "at-most"] | None = None  # the light is only a bound
    place: CardPlace | None = None  # of the card
    tiles: NDArray[np.float64] | None = None  # (rows, cols) light of parts of the picture against
    # those of the reference, settings taken out [stop]; NaN where not known
    agreed_share: float | None = None  # of the picture, that shows the same change of light
    carried_from: Path | None = None  # by the scene: the frame whose card its light rests on
    stretch: int = 0  # counted from 0; within one the picture shows the same set
    warnings: tuple[str, ...] = ()  # names from the table of warnings


@dataclass(frozen=True, slots=True)
class Finding:
    """A cause proposed for what a series shows."""

    cause: Cause
    frames: tuple[Path, ...]  # that it is about
    size_stops: float  # + is more light
    probability: float  # 0 to 1, of the cause, given what was weighed
    evidence: str  # a sentence with figures
    action: str  # what to do, and what to shoot to be surer
    detail: dict[str, Any] = field(default_factory=dict)  # plain values


@dataclass(frozen=True, slots=True)
class Signal:
    """A frame that is outside of its usual spread."""

    file: Path
    rule: str  # by which


@dataclass(frozen=True, slots=True)
class ChartLimits:
    """An individuals and moving-range chart of the light [stop]."""

    centre_stops: float
    upper_stops: float
    lower_stops: float
    moving_range_stops: float  # upper limit of the difference between neighbours
    signals: tuple[Signal, ...] = ()


@dataclass(frozen=True, slots=True)
class Stretch:
    """Frames that show the same set, and how even they are."""

    number: int
    frames: int
    spread_stops: float | None  # standard deviation; None of fewer than two
    range_stops: float | None  # largest less smallest


@dataclass(frozen=True, slots=True, eq=False)
class Diagnosis:
    """What is found in one series."""

    frames: tuple[Seen, ...]  # in the order of time
    findings: tuple[Finding, ...]  # most probable first; steady alone where nothing is supported
    limits: ChartLimits | None
    stretches: tuple[Stretch, ...]
    spread_stops: float | None
    range_stops: float | None
    within_share: float | None  # of the frames, within tolerance of the reference
    longest_within: tuple[Path, ...]  # the longest run of frames within tolerance
    worst: tuple[Path, ...]  # frames farthest off, worst first
    color_spread_stops: float | None  # of red and blue against green, the larger
    notes: tuple[str, ...] = ()
