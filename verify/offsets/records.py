"""A fitted offset as it is kept: its figures, and the meter, camera and card that it belongs to."""

from dataclasses import dataclass
from datetime import datetime

from verify.plan.records import Aimed, Light, MeterOffset, Method, OffsetPart, Receptor


@dataclass(frozen=True, slots=True)
class BelongsTo:
    """What an offset was fitted with. None: not known, or not one for all frames."""

    meter: str | None  # name, as the reading gives it
    light: Light
    method: Method
    receptor: Receptor
    aimed: Aimed
    card: str | None  # name, as the plan gives it
    make: str | None  # of the camera
    model: str | None
    serial: str | None  # of the body
    lens: str | None
    iso: tuple[float, float] | None  # lowest and highest exact ISO of its frames
    aperture: tuple[float, float] | None  # lowest and highest exact f-number of its frames


@dataclass(frozen=True, slots=True)
class SavedOffset:
    """An offset under its name."""

    name: str
    stops: float  # measured - the standard's expectation, the correction taken out
    u_stops: float  # standard uncertainty [stop]
    u_same_card: float  # the same where the card it was fitted with is used again [stop]
    interval_stops: tuple[float, float]  # 95 %
    parts: tuple[OffsetPart, ...]  # what it is more or less at some ISO or aperture
    belongs: BelongsTo
    frames: int  # that it was fitted to
    saved: datetime  # with its time zone
    greyproof: str  # version that fitted it

    def as_offset(self) -> MeterOffset:
        """The offset as it is used in what is expected."""
        return MeterOffset(
            stops=self.stops,
            u_stops=self.u_stops,
            receptor=self.belongs.receptor,
            aimed=self.belongs.aimed,
            card=self.belongs.card,
            u_same_card=self.u_same_card,
            parts=self.parts,
            name=self.name,
        )
