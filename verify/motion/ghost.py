"""The second image that ambient light draws of what moves, and whether it is seen.

The shutter is open far longer than the flash burns. Where the subject has moved on, its ambient
image is drawn out into a trail; what shows is the difference that this makes in lightness.

References
----------
CIE 15:2018 and ISO/CIE 11664-4: lightness L* of a luminance relative to white.
"""

from dataclasses import replace

from verify.motion.records import Ghost, GhostVerdict
from verify.plan.motion import Against, Subject

MID_GREY = 0.18  # reflectance
LIGHT_SUBJECT = 0.9  # reflectance of a light subject; the black that it moves before returns none
# One unit of CIELAB was meant to be about one just noticeable difference (CIE 1976).
HIDDEN_BELOW = 1.0  # L*
# The mean just noticeable difference that Mahy, Van Eycken and Oosterlinck measured in CIELAB
# (1994, Color Research & Application 19(2): 105-121; from memory).
FAINT_BELOW = 2.3  # L*
# CIE 15: below this luminance the cube root gives way to a straight line of slope 903.3.
STRAIGHT_BELOW = (6 / 29) ** 3
STRAIGHT_SLOPE = (29 / 3) ** 3


def lightness(luminance: float) -> float:
    """CIELAB L*, 0 to 100, of a luminance relative to white, 0 or more; beyond white it is 100."""
    luminance = min(luminance, 1.0)
    if luminance <= STRAIGHT_BELOW:
        return STRAIGHT_SLOPE * luminance
    return float(116 * luminance ** (1 / 3) - 16)


def luminance_at(lightness_: float) -> float:
    """Luminance relative to white that has an L*, 0 or more."""
    if lightness_ <= STRAIGHT_SLOPE * STRAIGHT_BELOW:
        return lightness_ / STRAIGHT_SLOPE
    return float(((lightness_ + 16) / 116) ** 3)


def coverage(subject: Subject, shutter_s: float | None) -> float:
    """Share of the shutter time during which the subject covers a point of its trail, at most.

    1 where its size along the motion or the shutter time is not known: nothing is thinned then.
    """
    if subject.size_m is None or not shutter_s:
        return 1.0
    return min(1.0, subject.size_m / (subject.speed_m_s * shutter_s))


def delta_l(strength: float, against: Against) -> float:
    """Difference in lightness that a ghost makes, 0 or more [L*].

    Parameters
    ----------
    strength : of the flash image's light.
    against : "grey": how much darker than a mid-grey in both lights one is that misses the ambient
        light; "black": a light subject's trail before black.
    """
    if against == "grey":
        return lightness(MID_GREY) - lightness(MID_GREY / (1 + strength))
    return lightness(LIGHT_SUBJECT * strength) - lightness(0.0)


def strength_at(delta: float, against: Against) -> float:
    """Strength of the ghost that makes a difference in lightness: :func:`delta_l` turned round."""
    if against == "grey":
        return MID_GREY / luminance_at(lightness(MID_GREY) - delta) - 1
    return luminance_at(delta) / LIGHT_SUBJECT


def ghost_verdict(delta: float) -> GhostVerdict:
    """The verdict on a difference in lightness [L*]."""
    if delta < HIDDEN_BELOW:
        return "hidden"
    return "faint" if delta < FAINT_BELOW else "visible"


def ghost_of(
    stops_under: float,
    subject: Subject | None,
    shutter_s: float | None,
    speed_um_s: float | None,
    pitch_um: float | None,
    sharp_px: float | None,
) -> Ghost:
    """The ghost of one exposure.

    Parameters
    ----------
    stops_under : how far the ambient light lies under the flash, at this shutter time.
    subject : what moves; None: nothing is known of it.
    shutter_s : how long the shutter is open [s]; None where that is not known.
    speed_um_s : of the image [um/s]; ``pitch_um`` between photosites. None: not known.
    sharp_px : a trail no longer than this is no second image [pixel].
    """
    trail_um = None if speed_um_s is None or shutter_s is None else speed_um_s * shutter_s
    trail_px = None if trail_um is None or pitch_um is None else trail_um / pitch_um
    ghost = Ghost(stops_under, trail_um=trail_um, trail_px=trail_px)
    if subject is None:
        return ghost
    strength = 2.0**-stops_under * coverage(subject, shutter_s)
    ghost = replace(
        ghost,
        strength=strength,
        delta_l_grey=delta_l(strength, "grey"),
        delta_l_black=delta_l(strength, "black"),
        against=subject.against,
    )
    short = trail_px is not None and sharp_px is not None and trail_px <= sharp_px
    verdict = "hidden" if short else ghost_verdict(delta_l(strength, subject.against))
    return replace(ghost, verdict=verdict)
