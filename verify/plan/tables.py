"""The tables of a plan file as a person writes them, and what each key allows."""

import math
from collections.abc import Callable
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    PlainValidator,
    ValidationInfo,
    field_validator,
    model_validator,
)

from verify.errors import PlanError
from verify.exposure import C_DOME, C_FLAT, K_REFLECTED, bellows_stops
from verify.notation import (
    Aperture,
    parse_camera_aperture,
    parse_iso,
    parse_reading_aperture,
    parse_shutter,
    parse_step,
)
from verify.plan.records import Aimed, Light, Method, Receptor

BULB = math.inf  # a shutter time held open by hand: known to be set, not how long


def _shutter(value: object) -> float:
    """Exact seconds of a shutter time; bulb is :data:`BULB`."""
    seconds = parse_shutter(value)
    return BULB if seconds is None else seconds


def _typed(parse: Callable[[Any], Any]) -> PlainValidator:
    """A validator that reads a value as people type it."""
    return PlainValidator(parse)


Shutter = Annotated[float, _typed(_shutter)]
Speed = Annotated[float, _typed(parse_iso)]
Step = Annotated[float, _typed(parse_step)]
Stops = Annotated[float, Field(ge=-10, le=10, allow_inf_nan=False)]
Loss = Annotated[float, Field(ge=0, le=20, allow_inf_nan=False)]
Scale = Annotated[float, Field(ge=0, le=20, allow_inf_nan=False)]
Deviation = Annotated[float, Field(ge=0, le=3, allow_inf_nan=False)]
Pops = Annotated[int, Field(ge=1, le=1000)]
Name = Annotated[str, Field(min_length=1)]


class Table(BaseModel):
    """A table of the plan: unknown keys and values of the wrong kind are refused."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class ReadingTable(Table):
    """[reading]: what the meter showed."""

    step: Step = 0.1
    aperture: Annotated[Aperture, PlainValidator(lambda value: value)]
    iso: Speed = 100.0
    shutter: Shutter | None = None
    light: Light = "flash"
    method: Method = "incident"
    receptor: Receptor = "flat"
    aimed: Aimed = "as-card"
    constant: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)] | None = None
    pops: Pops = 1
    meter: Name | None = None
    correction: Stops = 0.0

    @field_validator("aperture", mode="after")
    @classmethod
    def _as_the_meter_shows(cls, value: object, info: ValidationInfo) -> Aperture:
        """What an f-number can mean depends on the meter's step."""
        return parse_reading_aperture(value, info.data.get("step", 0.1))

    @model_validator(mode="after")
    def _continuous_has_a_time(self) -> Self:
        """Continuous light is metered for a shutter time."""
        if self.light != "flash" and (self.shutter is None or self.shutter == BULB):
            msg = f'light = "{self.light}" needs the shutter time of the reading: shutter = "1/125"'
            raise PlanError(msg)
        return self

    def calibration(self) -> float:
        """C or K of the meter: as given, else the usual one of its receptor."""
        if self.constant is not None:
            return self.constant
        if self.method == "reflected":
            return K_REFLECTED
        return C_FLAT if self.receptor == "flat" else C_DOME


class CameraTable(Table):
    """[camera]: how the frames are to be shot; what is not given follows from the reading."""

    aperture: Annotated[Aperture, _typed(parse_camera_aperture)] | None = None
    step: Step = 1 / 3
    iso: Speed | None = None
    shutter: Shutter | None = None
    sync: Shutter | None = None
    shutter_kind: Literal["curtain", "leaf"] = "curtain"
    pops: Pops | None = None
    over: Stops = 0.0
    filters: Loss = 0.0
    magnification: Scale | None = None
    extension_mm: Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)] | None = None
    focal_mm: Annotated[float, Field(gt=0, le=5000, allow_inf_nan=False)] | None = None
    bellows_stops: Loss | None = None
    pupil_magnification: Annotated[float, Field(ge=0.1, le=10, allow_inf_nan=False)] = 1.0
    f_number_written: Literal["marked", "effective"] = "marked"

    @model_validator(mode="after")
    def _one_way_to_say_bellows(self) -> Self:
        """Extension is said once: as magnification, as a length, or in stops."""
        ways = [
            name
            for name in ("magnification", "extension_mm", "bellows_stops")
            if getattr(self, name) is not None
        ]
        if len(ways) > 1:
            msg = f"{' and '.join(ways)} say the same thing twice: keep one"
            raise PlanError(msg)
        if self.extension_mm is not None and self.focal_mm is None:
            msg = "extension_mm needs focal_mm, the focal length of the lens"
            raise PlanError(msg)
        if self.sync == BULB:
            msg = 'sync is a shutter time, such as "1/200"'
            raise PlanError(msg)
        return self

    def lost_in_bellows(self) -> float:
        """Stops lost to extension, however it was said."""
        if self.bellows_stops is not None:
            return self.bellows_stops
        magnification = self.magnification or 0.0
        if self.extension_mm is not None and self.focal_mm is not None:
            magnification = self.extension_mm / self.focal_mm
        return bellows_stops(magnification, self.pupil_magnification)


class CardTable(Table):
    """[card]: the grey card and where it stands in the picture."""

    name: Name | None = None
    reflectance: Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)] = 0.18
    box: list[float] | str | None = None
    flat: Name | None = None


class ToleranceTable(Table):
    """[tolerance]: how far off is still good, in stops."""

    absolute: Annotated[float, Field(gt=0, le=5, allow_inf_nan=False)] = 0.17
    between_frames: Annotated[float, Field(gt=0, le=5, allow_inf_nan=False)] = 0.1


class UncertaintyTable(Table):
    """[uncertainty]: one standard deviation each, in stops."""

    card: Deviation = 0.08
    placing: Deviation = 0.1
    meter: Deviation | None = None
    lens: Deviation = 0.05


class SectionsTable(Table):
    """The sections that every set-up has, inherited or its own."""

    reading: ReadingTable | None = None
    camera: CameraTable = CameraTable()
    card: CardTable = CardTable()
    tolerance: ToleranceTable = ToleranceTable()
    uncertainty: UncertaintyTable = UncertaintyTable()


class SetUpTable(SectionsTable):
    """[[setup]]: changes some of the sections for the frames it names."""

    name: Name
    frames: Name | None = None
    start: Annotated[str | None, Field(alias="from", pattern=r"^\s*\d+\s*$")] = None
    serial: Name | None = None

    @model_validator(mode="after")
    def _names_its_frames(self) -> Self:
        """A set-up that names no frames would never be used."""
        if not any((self.frames, self.start, self.serial)):
            msg = 'which frames? Give frames = "0123-0168", from = "0123" or serial = "..."'
            raise PlanError(msg)
        return self
