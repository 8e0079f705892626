"""A calibration set to its result, read top to bottom."""

import math
from collections import Counter
from collections.abc import Callable, Collection, Hashable, Iterator, Sequence
from dataclasses import replace
from typing import TypeVar

from verify.calibrate.advice import advise
from verify.calibrate.fit import Common, Fit, fit, slope_of
from verify.calibrate.groups import Level, levels_of, testable
from verify.calibrate.records import (
    Advice,
    Calibration,
    CalibrationFrame,
    Excluded,
    Match,
)
from verify.calibrate.remarks import notes_of, reasons_of, warnings_of
from verify.calibrate.sift import Shot, sift
from verify.exposure import exact_iso
from verify.frames.frame import Settings
from verify.notation import stops_text
from verify.offsets.records import BelongsTo
from verify.plan.records import OffsetPart, Reading

OF_ONE = "an offset belongs to one, so calibrate each by itself"
T = TypeVar("T", bound=Hashable)
NOTHING = "No frame of the set counts, so there is nothing to advise: see why each was left out."


def calibrated(
    shots: Sequence[Shot], match: Callable[[Sequence[Shot]], Match], left_out: Sequence[Excluded]
) -> Calibration:
    """Fit the offset of a set and say what to set on the meter.

    Parameters
    ----------
    shots : frames with their checks and readings, in the order given.
    match : from the frames that count to what they are to match.
    left_out : frames that could not be looked at.
    """
    sifted = sift(shots)
    frames, counted = sifted.frames, sifted.shots
    wanted = match(counted)
    excluded = [*left_out, *sifted.excluded]
    if not frames:
        return Calibration(
            None, None, None, None, None, None, None, wanted, None, (), tuple(excluded),
            Advice(None, None, NOTHING), (), (),
        )  # fmt: skip
    levels = levels_of(frames)
    tested = testable(levels)
    fitted = fit(frames, levels, _common(counted), tested)
    slope = slope_of(frames, fitted)
    reasons = reasons_of(frames, fitted)
    excluded += [Excluded(frames[at].file, reason) for at, reason in reasons.items()]
    good = tuple(frame for at, frame in enumerate(frames) if at not in reasons)
    kept = [shot for at, shot in enumerate(counted) if at not in reasons]
    reading = _usual_reading(kept)
    camera_iso = _usual_iso([shot for shot in kept if shot.setup.reading == reading])
    tolerance = counted[0].setup.tolerance.absolute
    meters = {frame.meter for frame in good}
    cards = {shot.setup.card.name for shot in kept}
    return Calibration(
        offset_stops=fitted.offset,
        u_stops=fitted.u,
        u_same_card=fitted.u_same_card,
        interval_stops=(fitted.offset - fitted.half, fitted.offset + fitted.half),
        slope=None if slope is None else slope[0],
        slope_interval=None if slope is None else slope[1:],
        scatter_stops=fitted.scatter,
        match=wanted,
        belongs=_belongs(good, kept, reading),
        groups=fitted.groups,
        excluded=tuple(excluded),
        advice=_advice(
            fitted,
            tested,
            wanted,
            advise(fitted.offset, fitted.half, wanted, reading, camera_iso, tolerance),
        ),
        frames=good,
        residuals=tuple(fitted.residuals[fitted.kept].tolist()),
        warnings=tuple(dict.fromkeys(warnings_of(counted, fitted, levels))),
        notes=tuple(notes_of(frames, fitted, levels, tested, slope)),
        parts=_parts(fitted, tested),
        half_same_card=None if len(cards) > 1 else fitted.half_same_card,
        mixed=tuple(_mixed(fitted, tested, meters, cards)),
    )


def _advice(fitted: Fit, tested: Sequence[Level], match: Match, advice: Advice) -> Advice:
    """Advice with where it does not hold; none where the chain is not linear."""
    if fitted.selected.courses:
        text = (
            f"No correction is given, for measured and planned stops do not rise together: mend "
            f"that first. In the middle of this set it would be "
            f"{stops_text(match.stops - fitted.offset)} stop."
        )
        return Advice(None, None, text)
    text = advice.text
    for at, shift in zip(fitted.selected.groups, fitted.shifts, strict=True):
        there = stops_text(match.stops - fitted.offset - shift)
        text += f" This does not hold {tested[at].placed}: there the whole correction is {there}."
    return replace(advice, text=text)


def _mixed(
    fitted: Fit,
    tested: Sequence[Level],
    meters: Collection[str | None],
    cards: Collection[str | None],
) -> Iterator[str]:
    """Why the offset of a set belongs to nothing that it could be kept for."""
    for what, names in (("meters", meters), ("cards", cards)):
        if len(names) > 1:
            told = ", ".join(sorted(name or "one without a name" for name in names))
            yield f"the set has several {what} ({told}); {OF_ONE}"
    for at in fitted.selected.groups:
        if tested[at].by in ("lens", "receptor"):
            yield f"frames {tested[at].placed} differ; {OF_ONE}"
    if fitted.selected.courses:
        yield "the chain is not linear, so no one figure is its offset"


def _common(shots: Sequence[Shot]) -> Common:
    """What does not average out, by the plan.

    Placing counts where the plan states it. Else the meter lay at the card, as a calibration set
    is shot: the usual figure is that of work on a set.
    """
    setup = shots[0].setup
    placing = setup.scatter.placing if setup.scatter.placing_given else 0.0
    incident = any(
        s.setup.reading is not None and s.setup.reading.method == "incident" for s in shots
    )
    return Common(
        card=setup.scatter.card if incident else 0.0,
        of_reading=math.hypot(placing, setup.scatter.meter),
    )


def _parts(fitted: Fit, tested: Sequence[Level]) -> tuple[OffsetPart, ...]:
    """What the offset is more or less at an ISO or an aperture that differs."""
    parts = []
    for at, shift in zip(fitted.selected.groups, fitted.shifts, strict=True):
        by, value = tested[at].by, tested[at].value
        if by in ("iso", "aperture") and not isinstance(value, str):
            parts.append(OffsetPart(by, value, shift))
    return tuple(parts)


def _usual_reading(shots: Sequence[Shot]) -> Reading:
    """The reading that most frames were shot by."""
    readings = [shot.setup.reading for shot in shots if shot.setup.reading is not None]
    return Counter(readings).most_common(1)[0][0]


def _usual_iso(shots: Sequence[Shot]) -> float:
    """The exact ISO that most frames were shot at, the planned one where they record none."""
    isos = []
    for shot in shots:
        settings = shot.check.settings or Settings()
        if settings.iso is not None:
            isos.append(exact_iso(settings.iso))
        elif shot.setup.camera is not None:
            isos.append(shot.setup.camera.iso)
    return Counter(isos).most_common(1)[0][0]


def _belongs(
    frames: Sequence[CalibrationFrame], shots: Sequence[Shot], reading: Reading
) -> BelongsTo:
    """What all frames have in common; the receptor is that of most, by their usual reading."""
    settings = [shot.check.settings or Settings() for shot in shots]
    return BelongsTo(
        meter=_one([frame.meter for frame in frames]),
        light=reading.light,
        method=reading.method,
        receptor=reading.receptor,
        aimed=reading.aimed,
        card=_one([shot.setup.card.name for shot in shots]),
        make=_one([s.make for s in settings]),
        model=_one([s.model for s in settings]),
        serial=_one([s.serial for s in settings]),
        lens=_one([s.lens for s in settings]),
        iso=_range([frame.iso for frame in frames]),
        aperture=_range([frame.aperture for frame in frames]),
    )


def _one(values: Sequence[T | None]) -> T | None:
    """The value that all have; None where they differ."""
    distinct = set(values)
    return distinct.pop() if len(distinct) == 1 else None


def _range(values: Sequence[float | None]) -> tuple[float, float] | None:
    """The lowest and the highest of those that are known."""
    known = [value for value in values if value is not None]
    return (min(known), max(known)) if known else None
