"""The signal to expect by a plan, and the plan read back in words."""

import math

from verify.exposure import (
    aperture_value,
    card_luminance,
    f_number_of,
    light_for_reading,
    nearest_f_number,
    sensor_exposure,
    sensor_signal,
)
from verify.notation import Aperture, aperture_text, iso_text, shutter_text, stops_text
from verify.plan.records import CameraPlan, MeterOffset, Reading, SetUp

AS_METERED = 0.005  # stop; a smaller departure is not shown


def derived_aperture(
    reading: Reading,
    iso: float,
    shutter_s: float | None,
    pops: int,
    lost_stops: float,
    over: float,
    step: float,
) -> Aperture:
    """Camera f-number that gives the reading's exposure (and ``over``), on the camera's steps."""
    av = aperture_value(reading.aperture.n)
    av += math.log2(iso / reading.iso) + math.log2(pops / reading.pops) - lost_stops - over
    if reading.timed and shutter_s is not None and reading.shutter_s is not None:
        av += math.log2(shutter_s / reading.shutter_s)
    n = nearest_f_number(f_number_of(av), step)
    return Aperture(n, aperture_text(n, step=step), t_stop=False)


def departure_stops(reading: Reading, camera: CameraPlan) -> float:
    """Stops by which the planned settings expose more (+) or less (-) than the meter asked for."""
    stops = 2 * math.log2(reading.aperture.n / camera.aperture.n)
    stops += math.log2(camera.iso / reading.iso) + math.log2(camera.pops / reading.pops)
    if reading.timed and camera.shutter_s is not None and reading.shutter_s is not None:
        stops += math.log2(camera.shutter_s / reading.shutter_s)
    return stops - camera.filter_stops - camera.bellows_stops


def expected_signal(setup: SetUp, offset: MeterOffset | None = None) -> float | None:
    """Linear signal of the card that the reading's light gives at the planned settings.

    Returns
    -------
    Signal, 1 at clipping by the standard's saturation speed; None where nothing was metered.

    References
    ----------
    ISO 2720:1974 for the light, ISO 12232:2006 for the signal; a reflected reading is of the card
    itself, so its reflectance drops out.
    """
    reading, camera = setup.reading, setup.camera
    if reading is None or camera is None:
        return None
    light = light_for_reading(reading.aperture.n, reading.iso, reading.constant, reading.correction)
    if reading.method == "incident":
        light = card_luminance(light, setup.card.reflectance)
    light = light * camera.pops / reading.pops
    if reading.timed and camera.shutter_s is not None and reading.shutter_s is not None:
        light = light * camera.shutter_s / reading.shutter_s
    lost = camera.filter_stops + camera.bellows_stops
    exposure = sensor_exposure(light, camera.aperture.n, lost, camera.aperture.t_stop)
    signal = float(sensor_signal(exposure, camera.iso))
    return signal * 2**offset.stops if offset is not None else signal


def standard_signal(setup: SetUp) -> float | None:
    """Signal of the card at the metered setting by the standards, no correction dialled in.

    None where nothing was metered.
    """
    expected = expected_signal(setup)
    if expected is None or setup.reading is None or setup.camera is None:
        return None
    beside = departure_stops(setup.reading, setup.camera) + setup.reading.correction
    return float(expected / 2**beside)


def offset_applies(reading: Reading, offset: MeterOffset | None) -> bool:
    """Whether an offset was fitted with the receptor used and aimed as here."""
    return offset is not None and (offset.receptor, offset.aimed) == (
        reading.receptor,
        reading.aimed,
    )


def dome_on_card(reading: Reading) -> bool:
    """Whether the meter saw the light otherwise than a flat card does."""
    return reading.method == "incident" and (
        reading.receptor != "flat" or reading.aimed != "as-card"
    )


def departure_text(setup: SetUp) -> str | None:
    """A sentence where the plan departs from the reading by other than what was asked for."""
    reading, camera = setup.reading, setup.camera
    if reading is None or camera is None:
        return None
    beside = departure_stops(reading, camera) - camera.over
    if abs(beside) < AS_METERED:
        return None
    side = "more" if beside > 0 else "less"
    asked = f" and the {stops_text(camera.over)} asked for" if camera.over else ""
    return f"the planned settings expose {abs(beside):.2f} stop {side} than the reading{asked}"


def plan_in_words(setup: SetUp) -> str:
    """The plan read back: what was metered, how the camera is set, by how much they differ."""
    reading, camera = setup.reading, setup.camera
    if reading is None or camera is None:
        return "No reading: frames are compared with the reference frame, not with a plan"
    by = departure_stops(reading, camera)
    if abs(by) < AS_METERED:
        result = "planned as metered"
    else:
        result = f"planned {abs(by):.2f} {'over' if by > 0 else 'under'} the meter"
    if camera.over:
        result += f" ({abs(camera.over):.2f} {'over' if camera.over > 0 else 'under'} asked for)"
    meter, set_so = _meter_words(reading), _camera_words(reading, camera)
    return f"{meter} \N{RIGHTWARDS ARROW} {set_so}: {result}"


def _meter_words(reading: Reading) -> str:
    """What the meter showed, and how it was used where that is not the usual way."""
    kind = []
    if reading.method == "reflected":
        kind.append("reflected")
    elif reading.receptor == "dome":
        kind.append("dome")
    if reading.method == "incident" and reading.aimed != "as-card":
        kind.append(f"aimed at the {reading.aimed}")
    if reading.correction:
        kind.append(f"correction {stops_text(reading.correction)}")
    parts = [f"{reading.aperture.text} at ISO {iso_text(reading.iso)}"]
    parts += _time_words(reading, reading.shutter_s, reading.pops)
    used = f" ({', '.join(kind)})" if kind else ""
    return f"Meter{used} {', '.join(parts)}"


def _camera_words(reading: Reading, camera: CameraPlan) -> str:
    """How the camera is set."""
    bellows = f"bellows {camera.bellows_stops:.2f} stop" if camera.bellows_stops else "no bellows"
    filters = f"filters {camera.filter_stops:.2f} stop" if camera.filter_stops else "no filter"
    parts = [camera.aperture.text, f"ISO {iso_text(camera.iso)}"]
    parts += _time_words(reading, camera.shutter_s, camera.pops)
    return f"camera {', '.join([*parts, bellows, filters])}"


def _time_words(reading: Reading, shutter_s: float | None, pops: int) -> list[str]:
    """The shutter time where it counts, the pops where there are any."""
    time = [shutter_text(shutter_s)] if reading.timed else []
    if reading.timed and pops == 1:
        return time
    return [*time, f"{pops} pop{'' if pops == 1 else 's'}"]
