"""What a flash does to things that photographers often freeze."""

from dataclasses import dataclass

from verify.motion.blur import blur_of
from verify.motion.image import image_speed_um_s
from verify.motion.kernel import Spread
from verify.motion.records import BlurVerdict
from verify.plan.motion import Sensor

COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Example:
    """Something that moves."""

    name: str
    speed_m_s: float  # typical [m/s]
    basis: str = COMMON_PRACTICE  # what the speed rests on


@dataclass(frozen=True, slots=True)
class ExampleBlur:
    """What becomes of it. None: not known."""

    example: Example
    width_px: float | None
    verdict: BlurVerdict | None
    longest_tenth_s: float | None  # t.1 at which the same pulse would just be sharp [s]


EXAMPLES = (
    Example("hair", 2.0),  # thrown back with the head
    Example("jump", 3.0),  # v = sqrt(2 g h): leaves the ground so to rise by 0.46 m
    Example("pour", 1.5),  # after a fall of 0.11 m
    Example("splash", 5.0),  # the fastest drops of it; the crown itself is nearer to 1 m/s
)


def examples_of(
    spread: Spread, magnification: float, sensor: Sensor, limits: tuple[float, float] | None
) -> tuple[ExampleBlur, ...]:
    """Every example under a flash.

    Parameters
    ----------
    spread : of the flash in time.
    magnification : image : subject, above 0.
    sensor : what is known of it.
    limits : sharp and slight [pixel], of :func:`verify.motion.blur.limits_px`.
    """
    found = []
    for example in EXAMPLES:
        speed = image_speed_um_s(example.speed_m_s, magnification)
        blur = blur_of(spread, speed, sensor, limits)
        found.append(ExampleBlur(example, blur.width_px, blur.verdict, blur.longest_tenth_s))
    return tuple(found)
