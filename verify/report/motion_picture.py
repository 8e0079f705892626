"""What the plot of a motion is drawn from."""

from dataclasses import dataclass

from verify.motion.records import Blur, Ghost
from verify.pulse.records import Course, RestsOn


@dataclass(frozen=True, slots=True, eq=False)
class MotionPicture:
    """What there is to draw of a motion."""

    course: Course  # of the flash light
    image_um_s: float  # speed of the image on the sensor, above 0 [um/s]
    pitch_um: float  # of the sensor's pixels [um]
    blur: Blur
    ghost: Ghost | None  # None: nothing is known of the ambient light
    rests_on: RestsOn = "recording"  # what the course is
