"""What goes into a calibration and what comes out of it."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from verify.offsets.records import BelongsTo
from verify.plan.records import OffsetPart

By = Literal["iso", "aperture", "lens", "meter", "receptor"]


@dataclass(frozen=True, slots=True)
class CalibrationFrame:
    """A frame that counts."""

    file: Path
    reading: int  # frames with the same number were shot by one reading of the meter
    planned_stops: float  # log2 of the signal to expect at the frame's own settings
    rest_stops: float  # measured - planned, the correction taken out
    repeat_u_stops: float  # what of its uncertainty varies at random from frame to frame
    common_u_stops: float  # what of it all frames share, without card, placing and meter
    metered_stops: float  # log2 of the light that its reading states, in a unit of its own
    iso: float | None  # exact
    aperture: float | None  # exact f-number of the frame, or of the plan where it records none
    lens: str | None
    meter: str | None
    receptor: str
    metered: str = ""  # how: metered_stops of readings of one kind can be compared


@dataclass(frozen=True, slots=True)
class Excluded:
    """A frame that does not count."""

    file: Path
    reason: str  # in one line


@dataclass(frozen=True, slots=True)
class Group:
    """The frames of one ISO, aperture, lens, meter or receptor."""

    by: By
    value: float | str  # exact ISO or f-number, or a name
    offset_stops: float  # of its frames alone
    interval_stops: tuple[float, float]  # 95 %
    frames: int
    differs: bool  # from the others, by more than chance


@dataclass(frozen=True, slots=True)
class Match:
    """What the frames are to match."""

    how: Literal["standard", "headroom", "frame"]
    stops: float  # wanted signal of the card against the standard's at the metered setting
    words: str  # what is wanted, for a person


@dataclass(frozen=True, slots=True)
class Advice:
    """What to set on the meter."""

    correction_stops: (
        float | None
    )  # whole correction to set; 0: none needed; None: none can be told
    iso: float | None  # exact ISO to set on the meter instead
    text: str  # sentences for a person


@dataclass(frozen=True, slots=True)
class Calibration:
    """The offset of a set, and how sure it is. All intervals are 95 %."""

    offset_stops: float | None  # None: no frame counts
    u_stops: float | None  # its standard uncertainty
    u_same_card: float | None  # the same without the term of the card
    interval_stops: tuple[float, float] | None
    slope: float | None  # of measured against planned stops; None for a set at one level
    slope_interval: tuple[float, float] | None
    scatter_stops: float | None  # standard deviation from frame to frame
    match: Match
    belongs: BelongsTo | None
    groups: tuple[Group, ...]
    excluded: tuple[Excluded, ...]
    advice: Advice
    frames: tuple[CalibrationFrame, ...]  # those that count, in the order given
    residuals: tuple[float, ...]  # of each, rest - offset and - what its groups add [stop]
    warnings: tuple[str, ...] = ()  # names from the table of warnings
    notes: tuple[str, ...] = ()  # sentences
    half_same_card: float | None = None  # half of the interval without the card's term
    mixed: tuple[str, ...] = ()  # why it cannot be kept: what is more than one in the set
    parts: tuple[OffsetPart, ...] = ()  # what the offset is more or less at an ISO or aperture
