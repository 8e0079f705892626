"""An offset to what to set on the meter, in words that cannot be read the wrong way round.

Offset and correction have opposite signs: a camera that gets more light than the meter promised
(offset > 0) needs a meter that asks for less (correction < 0).
"""

import math

from verify.calibrate.records import Advice, Match
from verify.exposure import aperture_value, f_number_of
from verify.notation import aperture_text, iso_text, stops_text
from verify.plan.records import Reading

# Steps that advice is given in, by what the meter shows; the first no finer than it is sure.
# One that is less sure than the last of them is no advice.
COARSER = {0.1: (1, 2, 5, 10), 1 / 3: (1, 2, 3), 1 / 2: (1, 2), 1.0: (1,)}
CLOSE = 1e-9  # stop, within which two steps are one
THIRD = 1 / 3  # stop, between two ISO of a meter
REVERSE = "If it moves the other way, reverse the sign: makers differ."


def advise(
    offset: float, half: float, match: Match, reading: Reading, camera_iso: float, tolerance: float
) -> Advice:
    """What to set.

    Parameters
    ----------
    offset : [stop], and ``half`` of its 95 % interval.
    match : what the frames are to match.
    reading : one of the set, for an example.
    camera_iso : exact, as the camera was set for it.
    tolerance : stops off the plan that are still good.
    """
    wanted = match.stops - offset
    low, high = wanted - half, wanted + half
    step = step_for(half, reading.step)
    rounded = round(round(wanted / step) * step, 6)
    now = reading.correction
    if low <= 0 <= high and max(-low, high) <= tolerance:
        return Advice(0.0, None, _none_needed(low, high, now))
    between = (
        f"it would be {stops_text(wanted)} stop, and lies between {stops_text(low)} and "
        f"{stops_text(high)}. Shoot a better set."
    )
    if low <= 0 <= high:
        return Advice(None, None, f"Whether a correction is needed cannot be told: {between}")
    fine = abs(wanted) <= reading.step / 2
    if half > step + CLOSE or (rounded == 0 and abs(wanted) > tolerance and not fine):
        return Advice(None, None, f"How much correction is needed cannot be told: {between}")
    if rounded == 0:
        return _too_fine(wanted, needed=abs(wanted) > tolerance, now=now)
    text = _dial(rounded, reading, camera_iso)
    thirds = round(rounded / THIRD)
    if abs(thirds * THIRD - rounded) > abs(rounded) / 2 - CLOSE:  # thirds are too coarse for it
        return Advice(rounded, None, text)
    iso = camera_iso * 2.0 ** (-thirds * THIRD)
    return Advice(rounded, iso, f"{text} {_iso(rounded, iso, reading, camera_iso)}")


def step_for(half: float, meter_step: float) -> float:
    """The finest step that the meter shows and the interval allows [stop]."""
    nearest = min(COARSER, key=lambda step: abs(step - meter_step))
    steps = [nearest * times for times in COARSER[nearest]]
    return next((step for step in steps if step >= half - CLOSE), steps[-1])


def in_stops(x: float) -> str:
    """A size in stops as meters show it: tenths, or thirds where it is some of them."""
    size = abs(x)
    thirds = size * 3
    if abs(size * 10 - round(size * 10)) > 1e-3 and abs(thirds - round(thirds)) < 1e-3:
        whole, part = divmod(round(thirds), 3)
        text = f"{whole} {part}/3" if whole and part else f"{part}/3" if part else f"{whole}"
    else:
        text = f"{size:.1f}".removesuffix(".0")
    return f"{text} stop" if size <= 1 else f"{text} stops"


def _too_fine(wanted: float, needed: bool, now: float) -> Advice:
    """What to do where the nearest correction that can be set is none."""
    if not needed:
        text = f"No correction is needed: {stops_text(wanted)} stop is less than can be set."
        return Advice(0.0, None, text + _back_to_zero(now))
    text = (
        f"{stops_text(wanted)} stop of correction is needed, and the meter's steps are too coarse "
        "for it: keep the offset (--save), and checks allow for it."
    )
    return Advice(None, None, text)


def _none_needed(low: float, high: float, now: float) -> str:
    text = (
        f"No correction is needed: what it could be, {stops_text(low)} to {stops_text(high)} stop, "
        "is within the tolerance."
    )
    return text + _back_to_zero(now)


def _back_to_zero(now: float) -> str:
    return "" if not now else f" The meter's correction is {stops_text(now)} now: set it to 0."


def _dial(correction: float, reading: Reading, camera_iso: float) -> str:
    """The correction in words, with what a reading becomes."""
    now = reading.correction
    change = correction - now
    if abs(change) < 0.05:
        return f"Leave the meter's correction at {stops_text(now)} stop: that is what is needed."
    more = "more" if change > 0 else "less"
    # What the meter shows with the camera's ISO set, for only then does a correction stand alone.
    other_iso = math.log2(camera_iso / reading.iso)
    av = aperture_value(reading.aperture.n) + other_iso
    before, shown = (
        aperture_text(f_number_of(x), tenths=reading.step < THIRD, step=reading.step)
        for x in (av, av - change)
    )
    first = "Set" if abs(other_iso) < 0.01 else f"With ISO {iso_text(camera_iso)} on the meter, set"
    by = f"asks for {in_stops(change)} {more} exposure"
    whole = ""
    if now:
        whole = (
            f" It is at {stops_text(now)} stop now; the whole correction is then "
            f"{stops_text(correction)}, not {stops_text(correction)} on top of it."
        )
        by += " than now"
    return (
        f"{first} the meter's correction so that it {by}: where it reads {before} now it will read "
        f"{shown}.{whole} {REVERSE}"
    )


def _iso(correction: float, iso: float, reading: Reading, camera_iso: float) -> str:
    """The other way to say it: an ISO on the meter alone.

    In a plan that is a correction: its ISO is that of meter and camera alike.
    """
    without = ", its correction at 0" if reading.correction else ""
    text = (
        f"Or set ISO {iso_text(iso)} on the meter only{without}; leave the camera at "
        f"{iso_text(camera_iso)}."
    )
    dialled = math.log2(camera_iso / iso)
    text += f" In the plan then write iso = {iso_text(camera_iso)} and correction = {dialled:.2f}."
    left = dialled - correction
    if abs(left) >= 0.1:
        more = "more" if left > 0 else "less"
        text += f" (ISO goes in thirds: that is {abs(left):.2f} stop {more} than needed.)"
    return text
