"""How far the ambient light lies under the flash, from whatever tells it.

It is a ratio of two lights in one exposure: neither f-number nor ISO change it, the shutter time
does, for the flash is over long before.
"""

from verify.exposure import aperture_stops, pops_stops, stops_between
from verify.plan.motion import Ambient


def ambient_stated(
    ambient: Ambient | None, flash_n: float | None, camera_pops: int = 1, reading_pops: int = 1
) -> float | None:
    """Stops under the flash at the plan's shutter time; None where the plan does not tell them.

    Parameters
    ----------
    flash_n : exact f-number of the meter's reading of the flash; None where there is none.
    camera_pops, reading_pops : see :func:`by_meter`.
    """
    if ambient is None:
        return None
    if ambient.n is not None and flash_n is not None:
        return by_meter(flash_n, ambient.n, camera_pops, reading_pops)
    return ambient.stops_under_flash


def at_shutter(stops_under: float, stated_s: float | None, shutter_s: float | None) -> float:
    """Stops under the flash at another shutter time.

    Parameters
    ----------
    stops_under : at the shutter time ``stated_s`` [s].
    shutter_s : the other one [s]. Where one of the two is not known, as of bulb, the statement is
        taken to be about the exposure as it is.
    """
    if stated_s is None or shutter_s is None:
        return stops_under
    return stops_under + stops_between(stated_s, shutter_s)


def by_meter(
    flash_n: float, ambient_n: float, camera_pops: int = 1, reading_pops: int = 1
) -> float:
    """Stops under the flash, from two readings at one ISO and the camera's shutter time.

    Parameters
    ----------
    flash_n, ambient_n : exact f-numbers that the meter showed. The flash's reading holds the
        ambient light inside its gate too (ISO 10157): at 4 stops that is 0.09 stop, and left.
    camera_pops : that the exposure is built from; ``reading_pops`` : that the meter added up.
    """
    return aperture_stops(flash_n, ambient_n) + pops_stops(camera_pops, reading_pops)
