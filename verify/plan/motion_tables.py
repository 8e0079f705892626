"""The tables of a plan about flash durations, what moves and the room's light, as written."""

import math
from typing import Annotated, Any, Self

from pydantic import PlainValidator, model_validator

from verify.errors import PlanError
from verify.plan.load import quoted
from verify.plan.motion import Against, Direction, LampKind, LevelEdge
from verify.plan.tables import Name, Table, Words, number, seconds, typed

DECAY = math.log2(10)  # t.1/t.5 of an exponential decay that nothing cuts
LONGEST_TAIL = 100.0  # t.1/t.5; far above any flash, and what mixed-up units give
LONGEST_POWER = 40  # characters
MOST_POWER = 1e6  # as a number: units show stops, shares of full power, or watt-seconds


def _power(value: Any) -> float | str:
    """A power as it stands on a unit: a number, or text such as "1/4"."""
    if isinstance(value, str) and 0 < len(value.strip()) <= LONGEST_POWER:
        return value.strip()
    if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= MOST_POWER:
        return float(value)
    msg = (
        f"{quoted(value)} is not a power as set on a unit: write a number such as 7.0, or text "
        'such as "1/4"'
    )
    raise PlanError(msg)


Power = Annotated[float | str, typed(_power)]
Duration = Annotated[
    float,
    typed(seconds(1e-9, 1, 'the duration of a flash: write it as "1/800" or "250 us", up to 1 s')),
]
Metres = Annotated[float, number(0, 1000, "a length in metres", above=True)]
Millimetres = Annotated[float, number(0, 100_000, "a length in millimetres", above=True)]
Side = Annotated[float, number(1, 500, "a side of a sensor in millimetres")]
Pixels = Annotated[float, number(0, 1000, "a number of pixels", above=True)]


class FlashTable(Table):
    """[[flash]]: a lamp's durations as its data sheet quotes them."""

    lamp: Name | None = None
    share: Annotated[float, number(0, 100, "a share of the flash light", above=True)] = 1.0
    power: Power | None = None
    quoted_at: Power | None = None
    t_half: Duration | None = None
    t_tenth: Duration | None = None
    kind: LampKind = "decaying"

    @model_validator(mode="after")
    def _durations_that_a_flash_can_have(self) -> Self:
        """t.1 is the longer one, and what is cut can have no longer tail than a decay."""
        if self.t_half is None and self.t_tenth is None:
            msg = 'how long is it? Give t_half = "1/800", t_tenth = "1/250", or both'
            raise PlanError(msg)
        if self.t_half is None or self.t_tenth is None:
            return self
        half, tenth, ratio = _time(self.t_half), _time(self.t_tenth), self.t_tenth / self.t_half
        if ratio < 1:
            msg = (
                f"t_tenth = {tenth} is shorter than t_half = {half}: light is above a tenth of the "
                "peak for longer than above half of it; are they the wrong way round?"
            )
            raise PlanError(msg)
        if ratio > LONGEST_TAIL:
            msg = (
                f"t_tenth = {tenth} is {ratio:.4g} times t_half = {half}, and no flash has such a "
                "tail: check the units"
            )
            raise PlanError(msg)
        if self.kind == "cut" and ratio > DECAY:
            msg = (
                f"t_tenth = {tenth} is {ratio:.4g} times t_half = {half}, and a decay that is cut "
                f'has no more than {DECAY:.4f} times: write kind = "decaying"'
            )
            raise PlanError(msg)
        return self


class SubjectTable(Table):
    """[subject]: what moves, and how large it is on the sensor."""

    speed: Annotated[float, number(0, 1000, "a speed in metres a second", above=True)]
    direction: Direction = "across"
    size_m: Metres | None = None
    magnification: Annotated[float, number(0, 20, "a magnification", above=True)] | None = None
    focal_mm: Annotated[float, number(1, 5000, "a focal length in millimetres")] | None = None
    distance_m: Metres | None = None
    field_width_m: Metres | None = None
    against: Against = "grey"

    @model_validator(mode="after")
    def _one_way_to_say_how_large(self) -> Self:
        """How large the subject is on the sensor is said once."""
        ways = {
            "magnification": self.magnification is not None,
            "focal_mm with distance_m": (self.focal_mm, self.distance_m) != (None, None),
            "field_width_m": self.field_width_m is not None,
        }
        said = [way for way, is_said in ways.items() if is_said]
        if len(said) > 1:
            msg = f"{' and '.join(said)} say the same thing twice: keep one"
            raise PlanError(msg)
        if (self.focal_mm is None) != (self.distance_m is None):
            has, lacks = "focal_mm", "distance_m, the distance from the lens to the subject"
            if self.focal_mm is None:
                has, lacks = "distance_m", "focal_mm, the focal length of the lens"
            msg = f"{has} needs {lacks}"
            raise PlanError(msg)
        if self.focal_mm and self.distance_m and 1000 * self.distance_m <= self.focal_mm:
            msg = (
                f"distance_m = {self.distance_m:g} is not beyond the focal length of "
                f"{self.focal_mm:g} mm, where nothing can be sharp: give the distance in metres"
            )
            raise PlanError(msg)
        return self

    def scale(self) -> float | None:
        """Magnification as given, or by focal length and distance; None where neither says it.

        References
        ----------
        The thin lens, 1/f = 1/d + 1/d' and m = d'/d, with the distance d of the subject.
        """
        if self.focal_mm is not None and self.distance_m is not None:
            return self.focal_mm / (1000 * self.distance_m - self.focal_mm)
        return self.magnification


class SensorTable(Table):
    """[sensor]: what frames do not tell of it."""

    pixel_pitch_um: Annotated[float, number(0.2, 200, "a distance in micrometres")] | None = None
    width_mm: Side | None = None
    height_mm: Side | None = None
    covered_first: LevelEdge = "bottom"

    @model_validator(mode="after")
    def _width_is_the_long_side(self) -> Self:
        """Width and height are those of a level picture."""
        if self.width_mm and self.height_mm and self.height_mm > self.width_mm:
            msg = (
                f"height_mm = {self.height_mm:g} is more than width_mm = {self.width_mm:g}: width "
                "is the sensor's long side, however the camera is held"
            )
            raise PlanError(msg)
        return self


class AmbientTable(Table):
    """[ambient]: what is known of the light that is no flash."""

    stops_under_flash: Annotated[float, number(-10, 30, "a number of stops")] | None = None
    aperture: Annotated[object, PlainValidator(lambda value: value)] | None = None  # by the meter
    frame: Words | None = None

    @model_validator(mode="after")
    def _one_way_to_say_it(self) -> Self:
        """Two of them could contradict each other."""
        said = [name for name in type(self).model_fields if getattr(self, name) is not None]
        if not said:
            msg = (
                "how strong is it? Give stops_under_flash = 4.0, or aperture, what the meter reads "
                "of it, or frame, a picture shot with the flash off"
            )
            raise PlanError(msg)
        if len(said) > 1:
            msg = f"{' and '.join(said)} say the same thing twice: keep one"
            raise PlanError(msg)
        return self


class LimitsTable(Table):
    """[limits]: from where on blur counts."""

    sharp_px: Pixels | None = None
    slight_px: Pixels | None = None
    print_mm: Millimetres | None = None
    viewing_mm: Millimetres | None = None

    @model_validator(mode="after")
    def _pixels_or_a_print(self) -> Self:
        """Limits are given in pixels, or by a print and the distance that it is seen from."""
        if (self.print_mm is None) != (self.viewing_mm is None):
            has, lacks = "print_mm", "viewing_mm, the distance from which the print is viewed"
            if self.print_mm is None:
                has, lacks = "viewing_mm", "print_mm, the long side of the print"
            msg = f"{has} needs {lacks}"
            raise PlanError(msg)
        if self.print_mm is not None and (self.sharp_px, self.slight_px) != (None, None):
            msg = (
                "a print's size and viewing distance give the limits in pixels: leave out sharp_px "
                "and slight_px, or print_mm and viewing_mm"
            )
            raise PlanError(msg)
        return self


def _time(time_s: float) -> str:
    """A duration for a message."""
    return f"{time_s * 1000:.4g} ms" if time_s >= 1e-3 else f"{time_s * 1e6:.4g} us"
