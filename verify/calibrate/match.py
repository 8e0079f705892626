"""What the frames of a calibration are to match: the standard, a headroom, or an approved frame."""

import math
import re
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from verify.calibrate.records import Match
from verify.calibrate.sift import Shot
from verify.compare import FrameCheck, with_own_reflectance
from verify.errors import PlanError
from verify.plan.expected import standard_signal
from verify.plan.records import SetUp

DIFFUSE_WHITE = 0.9  # reflectance
MOST_HEADROOM = 6.0  # stops
FORMS = 'write "standard", "headroom:0.5" (stops of white below clipping) or "frame:FILE"'
STANDARD = Match("standard", 0.0, "what the standards promise for the card")

Matcher = Callable[[Sequence[Shot]], Match]


def parse_match(text: str) -> float | Path | None:
    """What was typed: stops of headroom, the file of an approved frame, or None for the standard.

    Raises
    ------
    PlanError
        If it is none of these.
    """
    kind, _, value = text.strip().partition(":")
    if kind.lower() == "standard" and not value:
        return None
    if kind.lower() == "frame" and value.strip():
        return Path(value.strip())
    if kind.lower() == "headroom" and re.fullmatch(r"\s*\d+(?:[.,]\d+)?\s*", value):
        stops = float(value.replace(",", "."))
        if stops <= MOST_HEADROOM:
            return stops
    msg = f'--match "{text}": {FORMS}'
    raise PlanError(msg)


def headroom(stops: float) -> Matcher:
    """Diffuse white so many stops below clipping."""

    def match(shots: Sequence[Shot]) -> Match:
        wanted = []
        for shot in shots:
            patch = shot.check.patch
            if patch is None:
                continue
            setup = with_own_reflectance(shot.setup, patch, shot.check.neutrals)
            standard = standard_signal(setup)
            if standard is not None:
                white = patch.clips_at * 2**-stops
                wanted.append(math.log2(white * setup.card.reflectance / DIFFUSE_WHITE / standard))
        middle = float(np.median(wanted)) if wanted else 0.0
        return Match("headroom", middle, f"diffuse white (90 %) {stops:g} stop below clipping")

    return match


def approved(check: FrameCheck, setup: SetUp) -> Match:
    """A frame that the photographer approved.

    Raises
    ------
    PlanError
        If it cannot be measured.
    """
    patch = check.patch
    if patch is not None:
        setup = with_own_reflectance(setup, patch, check.neutrals)
    standard = standard_signal(setup)
    if patch is None or patch.bound is not None or check.doubtful or patch.signal <= 0:
        why = check.problem or "its card cannot be measured for sure"
        msg = f"--match frame:{check.file}: {why}"
        raise PlanError(msg)
    if standard is None:
        msg = "--match frame: nothing was metered for it: give the reading in the plan"
        raise PlanError(msg)
    return Match(
        "frame", math.log2(patch.signal / standard), f"the approved frame {check.file.name}"
    )


def standard(_: Sequence[Shot]) -> Match:
    """What the standards promise."""
    return STANDARD
