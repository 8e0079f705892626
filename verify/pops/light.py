"""Checked frames to the light of their pops, all brought to one aperture and ISO."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from verify.compare import DOUBTS, FrameCheck
from verify.exposure import aperture_stops, exact_iso, exact_shutter_s
from verify.plan.records import CameraPlan, Plan, Selection, SetUp
from verify.pops.records import PopFrame
from verify.warnings import WARNINGS

FRAMING = "pops"  # of all set-ups: one card, seen again and again


def plan_of_counts(setup: SetUp, counts: Mapping[Path, int]) -> Plan:
    """The plan with a set-up for each count, so that each frame is expected at its own level.

    Parameters
    ----------
    setup : that all frames belong to.
    counts : planned pops of each; 0 where the flash was off, and nothing is expected then.
    """
    setups = []
    for count in dict.fromkeys(counts.values()):
        own = tuple(file for file, planned in counts.items() if planned == count)
        off = count == 0 or setup.camera is None
        setups.append(
            replace(
                setup,
                name=f"{count} pops",
                selection=Selection(files=own),
                framing=FRAMING,
                reading=None if off else setup.reading,
                camera=None if off or setup.camera is None else replace(setup.camera, pops=count),
            )
        )
    return Plan(None, tuple(setups))


def pop_frames(
    checks: Sequence[FrameCheck], counts: Mapping[Path, int], camera: CameraPlan | None
) -> tuple[PopFrame, ...]:
    """The light of each frame at the plan's settings, or without a plan at those of the first.

    Parameters
    ----------
    checks : in the order of the frames.
    counts : planned pops of each.
    camera : as planned; what a frame does not record counts as planned.
    """
    usable = [check for check in checks if problem_of(check) is None]
    n = None if camera is None else camera.aperture.n
    if camera is not None and camera.writes_effective:
        n = camera.aperture.n * 2 ** (camera.bellows_stops / 2)
    iso = None if camera is None else camera.iso
    if camera is None:
        n = next((check.f_number for check in usable if check.f_number is not None), None)
        recorded = (check.settings.iso for check in usable if check.settings is not None)
        iso = next((exact_iso(one) for one in recorded if one is not None), None)
    return tuple(_frame(check, counts[check.file], camera, n, iso) for check in checks)


def problem_of(check: FrameCheck) -> str | None:
    """Why the light of a frame does not count; None where it does. A card at black does."""
    if check.problem is not None or check.patch is None:
        return check.problem or "it could not be measured"
    if check.patch.bound == "at-least":
        return WARNINGS["clipped"].rstrip(".")
    doubt = next((name for name in DOUBTS if name in check.warnings), None)
    return None if doubt is None else WARNINGS[doubt].rstrip(".")


def expected_of_one(checks: Sequence[FrameCheck], counts: Mapping[Path, int]) -> float | None:
    """Signal of one pop by the meter, at the planned settings; None without a reading."""
    found = (
        check.expected_signal / counts[check.file]
        for check in checks
        if check.expected_signal is not None and counts[check.file]
    )
    return next(found, None)


def _frame(
    check: FrameCheck, planned: int, camera: CameraPlan | None, n: float | None, iso: float | None
) -> PopFrame:
    """One frame, its signal brought to an exact aperture and ISO."""
    settings = check.settings
    shutter_s = None if settings is None else settings.shutter_s
    open_s = None if shutter_s is None else exact_shutter_s(shutter_s)
    if open_s is None and camera is not None:
        open_s = camera.shutter_s
    problem = problem_of(check)
    if problem is not None or check.patch is None:
        return PopFrame(check.file, planned, None, 0.0, open_s, problem)
    stops = 0.0
    if n is not None and check.f_number is not None:
        stops += aperture_stops(n, check.f_number)
    if iso is not None and settings is not None and settings.iso is not None:
        stops += math.log2(exact_iso(settings.iso) / iso)
    factor = 2.0**-stops
    return PopFrame(
        check.file, planned, check.patch.signal * factor, check.patch.noise * factor, open_s
    )
