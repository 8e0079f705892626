"""How large and how fast a moving subject's image is on the sensor, and what is missing to know."""

from dataclasses import replace

from verify.plan.motion import MotionPlan, Sensor, Subject

SPEED = "[subject] speed"
MAGNIFICATION = "[subject] magnification (or focal_mm with distance_m, or field_width_m)"
PITCH = "[sensor] pixel_pitch_um"
WIDTH = "[sensor] width_mm"
FLASH = "[[flash]]"
READING = "[reading] aperture"
AMBIENT = "[ambient] stops_under_flash (or aperture, or frame)"
SHUTTER = "[camera] shutter"


def sensor_of(stated: Sensor, told: Sensor) -> Sensor:
    """What the plan states of the sensor, and where it says nothing, what frames tell."""
    return replace(
        stated,
        pitch_um=told.pitch_um if stated.pitch_um is None else stated.pitch_um,
        width_mm=told.width_mm if stated.width_mm is None else stated.width_mm,
        height_mm=told.height_mm if stated.height_mm is None else stated.height_mm,
    )


def magnification_of(subject: Subject, width_mm: float | None) -> float | None:
    """Image : subject; from the width of the field where that is given instead.

    Parameters
    ----------
    width_mm : of the sensor's long side.
    """
    if subject.magnification is not None:
        return subject.magnification
    if subject.field_width_m is None or width_mm is None:
        return None
    return width_mm / (1000 * subject.field_width_m)


def image_speed_um_s(speed_m_s: float, magnification: float) -> float:
    """Speed of the image on the sensor [um/s]."""
    return speed_m_s * magnification * 1e6


def image_speed_of(subject: Subject | None, sensor: Sensor) -> float | None:
    """Speed of a subject's image on the sensor [um/s]; None where the plan does not give it."""
    if subject is None:
        return None
    magnification = magnification_of(subject, sensor.width_mm)
    return None if magnification is None else image_speed_um_s(subject.speed_m_s, magnification)


def missing_for_blur(plan: MotionPlan, told: Sensor, recorded: bool) -> tuple[str, ...]:
    """Keys of the plan without which the blur cannot be judged.

    Parameters
    ----------
    told : what frames tell of the sensor.
    recorded : there is a recording of the flash.
    """
    sensor = sensor_of(plan.sensor, told)
    missing = [] if recorded or plan.lamps else [FLASH]
    missing += _missing_of_image(plan.subject, sensor)
    prints = plan.limits.print_mm is not None
    if prints and sensor.width_mm is None and WIDTH not in missing:
        missing.append(WIDTH)
    return tuple(missing)


def missing_for_ghost(
    plan: MotionPlan,
    told: Sensor,
    ambient_known: bool,
    shutter_known: bool,
    flash_metered: bool = True,
) -> tuple[str, ...]:
    """Keys of the plan without which the ghost cannot be judged.

    Parameters
    ----------
    told : what frames tell of the sensor.
    ambient_known : the ambient light is measured or typed elsewhere.
    shutter_known : there are frames, which tell their shutter time.
    flash_metered : there is a reading of the flash, against which one of the ambient light counts.
    """
    missing = _missing_of_image(plan.subject, sensor_of(plan.sensor, told))
    if not (ambient_known or plan.ambient):
        missing.append(AMBIENT)
    elif not ambient_known and plan.ambient and plan.ambient.n and not flash_metered:
        missing.append(READING)
    if not shutter_known and plan.shutter.time_s is None:
        missing.append(SHUTTER)
    return tuple(missing)


def _missing_of_image(subject: Subject | None, sensor: Sensor) -> list[str]:
    """Keys without which an image's speed is not known in pixels."""
    missing = []
    if subject is None:
        missing += [SPEED, MAGNIFICATION]
    elif magnification_of(subject, sensor.width_mm) is None:
        missing.append(MAGNIFICATION if subject.field_width_m is None else WIDTH)
    if sensor.pitch_um is None:
        missing.append(PITCH)
    return missing
