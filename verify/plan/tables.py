"""The tables of a plan about exposure as a person writes them, and what each key allows."""

import math
from collections.abc import Callable
from itertools import pairwise
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
    parse_seconds,
    parse_shutter,
    parse_step,
)
from verify.plan.load import quoted
from verify.plan.records import Aimed, Light, Method, Receptor

# What a calibration constant can be: well beyond what ISO 2720 recommends, and far from each other.
CONSTANTS = {"incident": ("C", 150.0, 700.0), "reflected": ("K", 5.0, 30.0)}
BULB = math.inf  # a shutter time held open by hand: known to be set, not how long


def _shutter(value: object) -> float:
    """Exact seconds of a shutter time; bulb is :data:`BULB`."""
    seconds = parse_shutter(value)
    return BULB if seconds is None else seconds


def seconds(shortest_s: float, longest_s: float, what: str) -> Callable[[Any], float]:
    """A parser of times that are never snapped; ``what`` says in a refusal what is allowed."""

    def parse(value: Any) -> float:
        time_s = parse_seconds(value)
        if not shortest_s <= time_s <= longest_s:
            msg = f"{quoted(value)} is not {what}"
            raise PlanError(msg)
        return time_s

    return parse


def typed(parse: Callable[[Any], Any]) -> PlainValidator:
    """A validator that reads a value as people type it."""
    return PlainValidator(parse)


Shutter = Annotated[float, typed(_shutter)]
Speed = Annotated[float, typed(parse_iso)]
Step = Annotated[float, typed(parse_step)]
Travel = Annotated[float, typed(seconds(1e-6, 10, "a time from 1 us to 10 s"))]
Delay = Annotated[float, typed(seconds(0, 10, "a time from 0 to 10 s"))]


def number(low: float, high: float, what: str, above: bool = False) -> Any:
    """A number from ``low`` (or ``above`` it) to ``high``; a refusal says what is allowed."""
    allowed = f"{what} {'above' if above else 'from'} {low:g} {'up ' if above else ''}to {high:g}"
    bounds: dict[str, Any] = {"gt" if above else "ge": low, "le": high}
    return Field(**bounds, allow_inf_nan=False, description=allowed)


Stops = Annotated[float, number(-10, 10, "a number of stops")]
Loss = Annotated[float, number(0, 20, "a number of stops")]
Scale = Annotated[float, number(0, 20, "a magnification")]
Length = Annotated[float, number(0, 5000, "a length in millimetres")]
Deviation = Annotated[float, number(0, 3, "a number of stops")]
Density = Annotated[float, number(0, 5, "a density")]
# Not strict, for TOML has lists; what is in them is.
Densities = Annotated[
    tuple[Density, ...],
    Field(strict=False, description="a list of densities, each a number from 0 to 5"),
]
Limit = Annotated[float, number(0, 5, "a number of stops", above=True)]
Pops = Annotated[int, Field(ge=1, le=1000, description="a whole number from 1 to 1000")]
Words = Annotated[str, Field(min_length=1, description="text in quotation marks")]
Name = Annotated[
    str,
    Field(
        min_length=1, max_length=200, description="text in quotation marks, of up to 200 characters"
    ),
]


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
    constant: Annotated[float, number(1, 1000, "a calibration constant")] | None = None
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

    @model_validator(mode="after")
    def _constant_is_of_the_method(self) -> Self:
        """250 as K, or 12.5 as C, would be more than four stops off."""
        letter, low, high = CONSTANTS[self.method]
        if self.constant is not None and not low <= self.constant <= high:
            msg = (
                f"constant = {self.constant:g} cannot be {letter}, the calibration constant of a "
                f'reading with method = "{self.method}": it lies from {low:g} to {high:g}'
            )
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

    step: Step = 1 / 3
    aperture: Annotated[Aperture, PlainValidator(lambda value: value)] | None = None
    iso: Speed | None = None
    shutter: Shutter | None = None
    sync: Shutter | None = None
    shutter_kind: Literal["curtain", "leaf"] = "curtain"
    pops: Pops | None = None
    over: Stops = 0.0
    filters: Loss = 0.0
    magnification: Scale | None = None
    extension_mm: Length | None = None
    focal_mm: Annotated[float, number(1, 5000, "a focal length in millimetres")] | None = None
    bellows_stops: Loss | None = None
    pupil_magnification: Annotated[float, number(0.1, 10, "a pupil magnification")] = 1.0
    f_number_written: Literal["marked", "effective"] = "marked"
    travel: Travel | None = None  # of a curtain; readout of an electronic shutter
    delay: Delay | None = None
    opening: Delay | None = None  # of a leaf shutter
    closing: Delay | None = None

    @field_validator("aperture", mode="after")
    @classmethod
    def _as_the_camera_prints(cls, value: object, info: ValidationInfo) -> Aperture | None:
        """What a printed f-number stands for depends on the camera's steps."""
        return parse_camera_aperture(value, info.data.get("step", 1 / 3))

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
        self._extension_has_one_meaning()
        if self.sync == BULB:
            msg = 'sync is a shutter time, such as "1/200"'
            raise PlanError(msg)
        return self

    @model_validator(mode="after")
    def _of_its_kind_of_shutter(self) -> Self:
        """Curtains travel, the blades of a leaf shutter open and close."""
        if self.shutter_kind == "leaf" and self.travel is not None:
            msg = (
                "travel is that of curtains, and a leaf shutter has none: give opening and "
                'closing, or write shutter_kind = "curtain"'
            )
            raise PlanError(msg)
        if self.shutter_kind == "curtain" and (self.opening, self.closing) != (None, None):
            msg = (
                "opening and closing are of a leaf shutter: give travel, or write "
                'shutter_kind = "leaf"'
            )
            raise PlanError(msg)
        return self

    def _extension_has_one_meaning(self) -> None:
        """A length of a focal length or more can be the whole draw from lens to sensor."""
        length, focal = self.extension_mm, self.focal_mm
        if length is None or focal is None or length < focal:
            return
        beyond, whole = length / focal, length / focal - 1
        msg = (
            f"extension_mm = {length:g} could be {length:g} mm beyond infinity with a lens of "
            f"{focal:g} mm, or the whole draw from lens to sensor: write magnification = "
            f"{beyond:.3g} or magnification = {whole:.3g}"
        )
        raise PlanError(msg)

    def lost_in_bellows(self) -> float:
        """Stops lost to extension, however it was said."""
        if self.bellows_stops is not None:
            return self.bellows_stops
        return bellows_stops(self.close_up(), self.pupil_magnification)

    def close_up(self) -> float:
        """Magnification, as given or by the extension; 0 where neither says it."""
        if self.extension_mm is not None and self.focal_mm is not None:
            return self.extension_mm / self.focal_mm
        return self.magnification or 0.0


class CardTable(Table):
    """[card]: the grey card and where it stands in the picture."""

    name: Name | None = None
    reflectance: Annotated[float, number(0, 1, "a share of the light", above=True)] = 0.18
    box: Any = None  # what it may be is checked where it is read
    flat: Words | None = None
    densities: Densities = ()  # of the steps of a wedge

    @field_validator("densities", mode="after")
    @classmethod
    def _lightest_first(cls, value: tuple[float, ...]) -> tuple[float, ...]:
        """The other way round, every step would count with another one's reflectance."""
        if any(darker <= lighter for lighter, darker in pairwise(value)):
            msg = "the densities of a step wedge rise from step to step: write the lightest first"
            raise PlanError(msg)
        return value


class ToleranceTable(Table):
    """[tolerance]: how far off is still good, in stops."""

    absolute: Limit = 0.17
    between_frames: Limit = 0.1


class UncertaintyTable(Table):
    """[uncertainty]: one standard deviation each, in stops."""

    card: Deviation = 0.08
    placing: Deviation | None = None
    meter: Deviation | None = None
    lens: Deviation = 0.05
