"""What a plan says of flash durations, of what moves and of the room's light: exact records."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

LampKind = Literal["decaying", "cut"]
Direction = Literal["across", "along"]
Against = Literal["grey", "black"]
LevelEdge = Literal["top", "bottom"]


@dataclass(frozen=True, slots=True)
class FlashLamp:
    """One lamp's quoted durations. At least one of the two is given."""

    name: str | None
    share: float  # of the flash light at the card; of all lamps they need not add up to 1
    power: float | str | None  # as set on the unit
    quoted_at: float | str | None  # the power at which its durations are quoted
    half_s: float | None  # t.5 [s]
    tenth_s: float | None  # t.1 [s]
    kind: LampKind  # decaying by itself, or cut by the unit


@dataclass(frozen=True, slots=True)
class Subject:
    """What moves."""

    speed_m_s: float  # above 0 [m/s]
    direction: Direction = "across"  # of the motion, against the picture's long side
    size_m: float | None = None  # along the motion [m]; None: not said
    magnification: float | None = None  # image : subject; None where nothing gives it
    field_width_m: float | None = None  # what the picture's long side shows [m]
    against: Against = "grey"  # what the ghost is judged on: mid-grey, or light subject on black


@dataclass(frozen=True, slots=True)
class Sensor:
    """What frames do not tell of the sensor."""

    pitch_um: float | None = None  # distance between photosites [um]
    width_mm: float | None = None  # of its long side
    height_mm: float | None = None  # of its short side
    covered_first: LevelEdge = "bottom"  # edge of the level picture that the shutter covers first


@dataclass(frozen=True, slots=True)
class Ambient:
    """What is known of the ambient light; one of the three is given."""

    stops_under_flash: float | None = None  # at the plan's shutter time
    n: float | None = None  # meter's f-number for it at the plan's ISO and shutter time, exact
    frame: Path | None = None  # shot with the flash off


@dataclass(frozen=True, slots=True)
class Limits:
    """From where on blur counts."""

    sharp_px: float = 1.5  # up to here it is sharp [pixel]
    slight_px: float = 3.0  # up to here it is slight; beyond, smeared [pixel]
    print_mm: float | None = None  # long side of the print that it is for, instead [mm]
    viewing_mm: float | None = None  # distance from which that is viewed [mm]


@dataclass(frozen=True, slots=True)
class ShutterPlan:
    """The shutter, as far as the plan says."""

    time_s: float | None = None  # exact [s]; None for bulb or where nothing gives it
    sync_s: float | None = None  # shortest shutter time with the whole frame open [s], exact
    kind: Literal["curtain", "leaf"] = "curtain"
    travel_s: float | None = None  # curtain travel, or readout of an electronic shutter [s]
    delay_s: float | None = None  # from all open to the first light [s]; None: not known
    opening_s: float = 0.0  # of a leaf shutter [s]
    closing_s: float = 0.0


@dataclass(frozen=True, slots=True)
class MotionPlan:
    """All of it."""

    lamps: tuple[FlashLamp, ...] = ()
    subject: Subject | None = None
    sensor: Sensor = Sensor()
    ambient: Ambient | None = None
    limits: Limits = Limits()
    shutter: ShutterPlan = ShutterPlan()


NO_MOTION = MotionPlan()  # of a plan that says nothing of it
