"""Checks of a calibration set to the frames that count, and why the others do not."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from verify.calibrate.records import CalibrationFrame, Excluded
from verify.checking import body
from verify.compare import DOUBTS, FrameCheck
from verify.exposure import exact_iso
from verify.frames.frame import Settings
from verify.plan.records import Reading, SetUp

# Terms of a check's budget that vary from frame to frame, and those that are counted by themselves.
RANDOM = ("noise", "lens")
APART = ("card", "placing", "meter", "offset")


@dataclass(frozen=True, slots=True)
class Shot:
    """A frame of a set with all that is known of it."""

    check: FrameCheck
    setup: SetUp
    reading: int  # shots with the same number were made by one reading of the meter


@dataclass(frozen=True, slots=True)
class Sifted:
    """A set divided."""

    frames: tuple[CalibrationFrame, ...]
    shots: tuple[Shot, ...]  # of the frames, in the same order
    excluded: tuple[Excluded, ...]


def sift(shots: Sequence[Shot]) -> Sifted:
    """Tell the frames that count; of several bodies or ways to meter those with most frames."""
    sorted_out = [(shot, _frame(shot)) for shot in shots]
    usable = [(shot, found) for shot, found in sorted_out if not isinstance(found, str)]
    bodies = Counter(body(_settings(shot)) for shot, _ in usable)
    main = bodies.most_common(1)[0][0] if bodies else ""
    ways = Counter(found.metered for _, found in usable)
    usual = ways.most_common(1)[0][0] if ways else ""
    frames, counted, excluded = [], [], []
    for shot, found in sorted_out:
        own = body(_settings(shot))
        if isinstance(found, str):
            excluded.append(Excluded(shot.check.file, found))
        elif own != main:
            reason = (
                f"it is of another body ({own or 'not recorded'}) than most ({main or 'unknown'}): "
                "calibrate each by itself"
            )
            excluded.append(Excluded(shot.check.file, reason))
        elif found.metered != usual:
            reason = (
                f"it was metered in another way ({found.metered}) than most ({usual}): calibrate "
                "each by itself"
            )
            excluded.append(Excluded(shot.check.file, reason))
        else:
            frames.append(found)
            counted.append(shot)
    return Sifted(tuple(frames), tuple(counted), tuple(excluded))


def _settings(shot: Shot) -> Settings:
    return shot.check.settings or Settings()


def _frame(shot: Shot) -> CalibrationFrame | str:
    """What the fit needs of a shot, or why it cannot count."""
    check, setup, settings = shot.check, shot.setup, _settings(shot)
    if check.problem is not None or check.patch is None:
        return (check.problem or "it was not measured").rstrip(".")
    reading, camera = setup.reading, setup.camera
    expected, set_stops = check.expected_signal, check.settings_stops
    if reading is None or camera is None or expected is None or check.rest_stops is None:
        return "nothing was metered for it: give the reading in the plan or in a readings file"
    if check.patch.bound == "at-least":
        return "its card is clipped, so its exposure is only known to be at least what is shown"
    if check.patch.bound == "at-most":
        return "its card is at black, so its exposure is only known to be at most what is shown"
    if check.doubtful:
        names = ", ".join(name for name in check.warnings if name in DOUBTS)
        return f"what was measured need not be the card ({names}): look at it, or give its place"
    if "part-clipped" in check.warnings:
        return "a part of its card is clipped, so its mean is too low"
    terms = dict(check.budget)
    common = [u for name, u in terms.items() if name not in (*RANDOM, *APART)]
    return CalibrationFrame(
        file=check.file,
        reading=shot.reading,
        planned_stops=math.log2(expected) + (set_stops or 0.0),
        rest_stops=check.rest_stops,
        repeat_u_stops=math.hypot(*(terms.get(name, 0.0) for name in RANDOM)),
        common_u_stops=math.hypot(*common),
        metered_stops=metered_stops(reading),
        metered=_way(reading),
        iso=None if settings.iso is None else exact_iso(settings.iso),
        aperture=camera.aperture.n if check.f_number is None else check.f_number,
        lens=settings.lens,
        meter=reading.meter,
        receptor=reading.receptor,
    )


def _way(reading: Reading) -> str:
    """How the light was metered, in words; a set has one way. Receptors are compared as groups."""
    aim = "" if reading.aimed == "as-card" else f", aimed at the {reading.aimed}"
    return f"{reading.method}, {reading.light}{aim}"


def metered_stops(reading: Reading) -> float:
    """The light of one pop, or in one second, that a reading states [stop of its own unit]."""
    stops = 2 * math.log2(reading.aperture.n) - math.log2(reading.iso) + reading.correction
    stops += math.log2(reading.constant) - math.log2(reading.pops)
    if reading.timed and reading.shutter_s is not None:
        stops -= math.log2(reading.shutter_s)
    return stops
