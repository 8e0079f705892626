"""What a plan says, checked and with exact values: the records that the arithmetic works on."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from verify.notation import Aperture
from verify.place import Looked, Place
from verify.plan.motion import NO_MOTION, MotionPlan

Light = Literal["flash", "continuous", "high-speed-sync"]
Method = Literal["incident", "reflected"]
Receptor = Literal["flat", "dome"]
Aimed = Literal["as-card", "camera", "lamp"]


@dataclass(frozen=True, slots=True)
class Reading:
    """What the meter showed."""

    aperture: Aperture  # f-number with tenths, exact
    iso: float  # exact speed the meter was set to
    shutter_s: float | None  # exact [s]; None where it was not given, or bulb
    light: Light
    method: Method
    receptor: Receptor
    aimed: Aimed
    constant: float  # C [lx s] of an incident reading, K [cd s/m2] of a reflected one
    step: float  # smallest step that the meter shows [stop]
    pops: int  # pops that the meter added up
    meter: str | None  # name, matched to a fitted offset
    correction: float  # stops dialled into the meter; > 0 asks for more exposure

    @property
    def timed(self) -> bool:
        """Whether the shutter time is part of the exposure (not with flash alone)."""
        return self.light != "flash"


@dataclass(frozen=True, slots=True)
class CameraPlan:
    """How the frames are to be shot, what was not given already derived from the reading."""

    aperture: Aperture  # exact f-number or T-stop at the lens
    step: float  # of the camera's dials [stop]
    iso: float  # exact
    shutter_s: float | None  # exact [s]; None for bulb or where nothing gives it
    sync_s: float | None  # shortest shutter time with the whole frame open [s]
    shutter_kind: Literal["curtain", "leaf"]
    pops: int
    over: float  # deliberate stops over (+) or under (-) the reading
    filter_stops: float  # lost in filters on the lens
    bellows_stops: float  # lost to extension
    writes_effective: bool  # the file's f-number already has the extension in it
    iso_given: bool  # written in the plan, not taken over from the reading


@dataclass(frozen=True, slots=True)
class Card:
    """The grey card."""

    name: str | None
    reflectance: float  # 0 to 1
    place: Place | Looked  # where it is, or what to look for
    flat: Path | None  # frame of an even surface, corrects falloff
    densities: tuple[float, ...] = ()  # of the steps of a wedge, the lightest first; empty: unknown


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far from the plan is still good [stop]."""

    absolute: float  # of the error, with a fitted offset
    between_frames: float  # of the difference from the reference frame


@dataclass(frozen=True, slots=True)
class Scatter:
    """One standard deviation each [stop]."""

    card: float  # reflectance of the card
    placing: float  # of meter and card
    meter: float  # rounding of what it shows
    lens: float  # stopping down, from frame to frame
    placing_given: bool = False  # written in the plan: else placing is that of work on a set


@dataclass(frozen=True, slots=True)
class Selection:
    """Which frames belong to a set-up; a frame that no set-up names belongs to the main one."""

    ranges: tuple[tuple[int, int], ...] = ()  # first and last number in the file names
    start: int | None = None  # from this number on, until another set-up starts
    serial: str | None = None  # frames of this body
    files: tuple[Path, ...] = ()  # exactly these frames, if any are named; nothing else counts then


@dataclass(frozen=True, slots=True)
class SetUp:
    """One arrangement of lights and camera within a plan."""

    name: str
    reading: Reading | None  # None: nothing was metered, frames are only compared
    camera: CameraPlan | None  # None without a reading
    card: Card
    tolerance: Tolerance
    scatter: Scatter
    selection: Selection
    framing: str | None = None  # set-ups with the same word show the card at the same place
    motion: MotionPlan = NO_MOTION  # flash durations, what moves, ambient light, the shutter


@dataclass(frozen=True, slots=True)
class OffsetPart:
    """What an offset is more or less at one ISO or one aperture."""

    by: Literal["iso", "aperture"]
    value: float  # exact ISO or f-number of the frames it is for
    stops: float  # on top of the offset


@dataclass(frozen=True, slots=True)
class MeterOffset:
    """Constant part of the rest for one meter, camera, lens and card, as fitted."""

    stops: float  # measured minus the standard's expectation, the correction taken out
    u_stops: float  # its standard uncertainty [stop]
    receptor: Receptor = "flat"  # it holds for readings made with this receptor,
    aimed: Aimed = "as-card"  # aimed in this way
    card: str | None = None  # name of the card it was fitted with
    u_same_card: float | None = None  # u_stops where that card is used again; None: the same
    parts: tuple[OffsetPart, ...] = ()  # where it differs by ISO or aperture
    name: str | None = None  # under which it is kept


@dataclass(frozen=True, slots=True)
class Plan:
    """All set-ups of a plan file; the first is the main one."""

    source: str | None  # the plan file, None for a plan made on the command line
    setups: tuple[SetUp, ...]

    @property
    def main(self) -> SetUp:
        """The set-up of every frame that no other set-up names."""
        return self.setups[0]
