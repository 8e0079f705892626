"""Checks of one set-up and body, side by side: differences from the reference, and verdicts."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from verify.compare import FrameCheck, Verdict
from verify.exposure import aperture_stops, exact_f_number, exact_iso
from verify.frames.frame import Settings
from verify.plan.records import SetUp, Tolerance

ISO_STEP = 0.3  # stop; smaller changes of ISO show nothing about the signal following it
ISO_BEYOND_OFFSET = 0.6  # stop; what the standards leave open between meter and camera is less
ISO_MATCH = 0.1  # stop; settings and rest are equal and opposite when this close
UNUSABLE: tuple[Verdict, ...] = ("clipped", "dark", "card-doubtful", "unreadable")


@dataclass(frozen=True, slots=True)
class Summary:
    """One set-up and body in figures."""

    name: str
    count: int  # all frames
    within: int
    over: int
    under: int
    unusable: int  # clipped, dark, doubtful or unreadable
    no_card: int  # without a card, which is no failure: of the subject, before or after
    mean_error_stops: float | None  # of the frames with a value; None without a plan
    spread_stops: float | None  # their standard deviation; None for fewer than two


def chance_within(value: float, u: float, tolerance: float) -> float:
    """Probability that the true value lies within ``tolerance`` of 0, all in stops.

    The true value is taken as normal around ``value`` with standard deviation ``u``.
    """
    if u <= 0:
        return 1.0 if abs(value) <= tolerance else 0.0
    scale = u * math.sqrt(2)
    return 0.5 * (math.erf((tolerance - value) / scale) + math.erf((tolerance + value) / scale))


def judge(checks: Sequence[FrameCheck], setup: SetUp, reference: Path | None) -> list[FrameCheck]:
    """Give each check of one set-up and body its difference and verdict.

    Parameters
    ----------
    checks : in the order the frames were given.
    setup : their set-up.
    reference : the frame to compare with; None for the first one that was measured, which also
        stands in, with a warning, for a reference that could not be.
    """
    usable = [c for c in checks if c.patch is not None and c.bound is None and not c.doubtful]
    chosen = next((c for c in usable if c.file == reference), None)
    if chosen is None and usable:
        chosen = usable[0]
    judged = [_judged(check, chosen, setup.tolerance) for check in checks]
    if reference is not None and chosen is not None and chosen.file != reference:
        judged = [_warned(c, "no-reference") if c.patch is not None else c for c in judged]
    return [_warned(c, "iso-not-in-signal") if _only_noted(c, chosen) else c for c in judged]


def summary(name: str, checks: Iterable[FrameCheck]) -> Summary:
    """Count the verdicts of one set-up and body."""
    checks = list(checks)
    verdicts = [c.verdict for c in checks]
    sure = [c for c in checks if c.bound is None and not c.doubtful]
    errors = [c.error_stops for c in sure if c.error_stops is not None]
    mean = sum(errors) / len(errors) if errors else None
    spread = None
    if mean is not None and len(errors) > 1:
        spread = math.sqrt(sum((e - mean) ** 2 for e in errors) / (len(errors) - 1))
    return Summary(
        name=name,
        count=len(checks),
        within=verdicts.count("within"),
        over=verdicts.count("over"),
        under=verdicts.count("under"),
        unusable=sum(verdicts.count(v) for v in UNUSABLE),
        no_card=verdicts.count("no-card"),
        mean_error_stops=mean,
        spread_stops=spread,
    )


def _judged(check: FrameCheck, reference: FrameCheck | None, tolerance: Tolerance) -> FrameCheck:
    """One check with its difference, verdict and chance."""
    patch = check.patch
    if patch is None:
        return check
    difference = None if reference is None else _difference(check, reference)
    check = replace(check, difference_stops=difference)
    if check.doubtful:
        return replace(check, verdict="card-doubtful")
    if patch.bound is not None:
        return replace(check, verdict="clipped" if patch.bound == "at-least" else "dark")
    by_plan = check.offset_stops is not None and "rendered" not in check.warnings
    if by_plan and check.error_stops is not None and check.u_stops is not None:
        value, u, limit = check.error_stops, check.u_stops, tolerance.absolute
    elif difference is not None and check.repeat_u_stops is not None:
        value, limit, by_plan = difference, tolerance.between_frames, False
        same = reference is not None and check.file == reference.file
        u = 0.0 if same else math.sqrt(2) * check.repeat_u_stops
    else:
        return check
    return with_verdict(check, value, u, limit, by_plan)


def with_verdict(
    check: FrameCheck, value: float, u: float, limit: float, by_plan: bool
) -> FrameCheck:
    """A check judged by a value.

    Parameters
    ----------
    value, u : error or difference, and its standard uncertainty [stop].
    limit : how far off is still good [stop].
    by_plan : whether it is judged by the plan; else by the reference frame.
    """
    verdict: Verdict = "within" if abs(value) <= limit else "over" if value > 0 else "under"
    return replace(
        check,
        verdict=verdict,
        judged_by="plan" if by_plan else "reference",
        chance_within=chance_within(value, u, limit),
    )


def _difference(check: FrameCheck, reference: FrameCheck) -> float | None:
    """Rest of a frame against the reference's; without a plan the reference's settings stand
    for the planned ones.
    """
    if check.rest_stops is not None and reference.rest_stops is not None:
        return check.rest_stops - reference.rest_stops
    own, other = check.signal, reference.signal
    if own is None or other is None or min(own, other) <= 0:
        return None
    change = math.log2(own / other)
    return change - _settings_between(check.settings, reference.settings)


def _settings_between(own: Settings | None, other: Settings | None) -> float:
    """Stops of aperture and ISO between two frames; what either does not record counts as equal.

    Without a plan nothing says whether the light is flash; then the shutter time is no part.
    """
    if own is None or other is None:
        return 0.0
    stops = 0.0
    if own.f_number is not None and other.f_number is not None:
        stops += aperture_stops(exact_f_number(other.f_number), exact_f_number(own.f_number))
    if own.iso is not None and other.iso is not None:
        stops += math.log2(exact_iso(own.iso) / exact_iso(other.iso))
    return stops


def _only_noted(check: FrameCheck, reference: FrameCheck | None) -> bool:
    """Whether the signal does not follow the recorded ISO: its part and the rest cancel.

    Judged against the reference frame where that was shot at another ISO, else against the plan;
    there an unknown offset can make a rest that only looks like it.
    """
    if check.patch is None or check.bound is not None:
        return False
    iso, rest = check.iso_stops, check.rest_stops
    least = ISO_BEYOND_OFFSET if check.offset_stops is None else ISO_STEP
    own = None if check.settings is None else check.settings.iso
    other = None if reference is None or reference.settings is None else reference.settings.iso
    if own is not None and other is not None:
        between = math.log2(exact_iso(own) / exact_iso(other))
        if abs(between) >= ISO_STEP:
            iso, rest, least = between, check.difference_stops, ISO_STEP
    if iso is None or rest is None:
        return False
    return abs(iso) >= least and abs(iso + rest) <= ISO_MATCH


def _warned(check: FrameCheck, name: str) -> FrameCheck:
    """A check with one more warning."""
    return replace(check, warnings=tuple(dict.fromkeys((*check.warnings, name))))
