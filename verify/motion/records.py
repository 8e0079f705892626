"""What blur and what ghost to expect of something that moves."""

from dataclasses import dataclass
from typing import Literal

from verify.plan.motion import Against
from verify.pulse.records import RestsOn

BlurVerdict = Literal["sharp", "slight", "smeared"]
GhostVerdict = Literal["hidden", "faint", "visible"]


@dataclass(frozen=True, slots=True)
class Blur:
    """Smear of a moving subject during the flash. None: not known."""

    width_um: float  # narrowest width on the sensor in which 80 % of the light falls [um]
    edge_um: float  # of an edge, from 10 % to 90 % [um]
    equivalent_s: float  # even exposure with the same MTF50 [s]
    mtf50_cycles_per_mm: float  # on the sensor
    width_px: float | None = None
    edge_px: float | None = None
    height_share: float | None = None  # the width as a share of the upright level picture's height
    verdict: BlurVerdict | None = None
    longest_tenth_s: float | None = None  # t.1 at which the same pulse would just be sharp [s]


@dataclass(frozen=True, slots=True)
class Ghost:
    """A moving subject's second image, by the ambient light. None: not known."""

    ambient_under_flash_stops: float  # > 0 where the ambient light is the weaker
    trail_um: float | None = None  # how far the image moves while the shutter is open [um]
    trail_px: float | None = None
    strength: float | None = None  # of the flash image's light, thinned by the motion
    delta_l_grey: float | None = None  # CIELAB lightness between with and without, on mid-grey
    delta_l_black: float | None = None  # the same of a light subject's trail on black
    against: Against = "grey"  # which of the two is judged
    verdict: GhostVerdict | None = None

    @property
    def delta_l(self) -> float | None:
        """The difference in lightness that is judged."""
        return self.delta_l_grey if self.against == "grey" else self.delta_l_black


@dataclass(frozen=True, slots=True)
class MotionRisk:
    """What of motion and of the shutter is to be expected of an exposure."""

    rests_on: RestsOn | None  # None where nothing tells the flash
    blur: Blur | None = None  # None where too little is known
    ghost: Ghost | None = None
    shutter_loss_stops: float | None = None  # >= 0, of flash, in the row that loses most
    advice: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()  # names from the table of warnings
    notes: tuple[str, ...] = ()  # sentences with figures
