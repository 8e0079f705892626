"""The smear of a moving subject while the flash burns, and whether it counts."""

from dataclasses import replace

from verify.motion.kernel import Spread
from verify.motion.records import Blur, BlurVerdict
from verify.plan.motion import Limits, Sensor

PRINT_CIRCLE_MM = 0.2  # circle of confusion on a print at READING_MM (check-values 7)
READING_MM = 250.0  # distance from which a print is read [mm]
FINEST_PX = 1.0  # no limit is finer: a picture does not show what its pixels do not


def limits_px(limits: Limits, sensor: Sensor) -> tuple[float, float] | None:
    """Widths up to which blur is sharp, and slight [pixel].

    By the circle of confusion of a print as it is viewed, where the plan states both the print and
    the distance; slight is up to twice that. None where the sensor is not known well enough.
    """
    if limits.print_mm is None or limits.viewing_mm is None:
        return limits.sharp_px, limits.slight_px
    if sensor.width_mm is None or sensor.pitch_um is None:
        return None
    circle_mm = PRINT_CIRCLE_MM * limits.viewing_mm / READING_MM
    on_sensor_um = 1000 * circle_mm * sensor.width_mm / limits.print_mm
    sharp = max(on_sensor_um / sensor.pitch_um, FINEST_PX)
    return sharp, 2 * sharp


def blur_verdict(width_px: float, sharp_px: float, slight_px: float) -> BlurVerdict:
    """The verdict on a width in pixels."""
    if width_px <= sharp_px:
        return "sharp"
    return "slight" if width_px <= slight_px else "smeared"


def blur_of(
    spread: Spread, speed_um_s: float, sensor: Sensor, limits: tuple[float, float] | None
) -> Blur:
    """The blur of an image that moves over the sensor.

    Parameters
    ----------
    spread : of the flash in time.
    speed_um_s : of the image [um/s], above 0.
    sensor : what is known of it; without a pitch there is no verdict.
    limits : sharp and slight [pixel], of :func:`limits_px`.
    """
    width_um, edge_um = speed_um_s * spread.narrowest_s, speed_um_s * spread.edge_s
    blur = Blur(
        width_um=width_um,
        edge_um=edge_um,
        equivalent_s=spread.equivalent_s,
        mtf50_cycles_per_mm=spread.mtf50_per_s / speed_um_s * 1000,
        height_share=None if sensor.height_mm is None else width_um / (1000 * sensor.height_mm),
    )
    if sensor.pitch_um is None:
        return blur
    width_px = width_um / sensor.pitch_um
    blur = replace(blur, width_px=width_px, edge_px=edge_um / sensor.pitch_um)
    if limits is None:
        return blur
    longest_s = None if spread.tenth_s is None else spread.tenth_s * limits[0] / width_px
    return replace(blur, verdict=blur_verdict(width_px, *limits), longest_tenth_s=longest_s)
