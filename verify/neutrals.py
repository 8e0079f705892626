"""The neutral patches of a chart or a step wedge: measured, and held against reflectances."""

import math
from dataclasses import dataclass

from verify.frames.frame import Frame
from verify.linearity import (
    REFLECTANCES,
    Linearity,
    equal_steps,
    linearity,
    reflectances_of,
)
from verify.measure import PatchReading, measure
from verify.target.patch_boxes import NeutralPatch
from verify.target.records import Target


@dataclass(frozen=True, slots=True)
class MeasuredPatch:
    """One neutral patch."""

    name: str  # "neutral 5" of a chart, "step 1" of a wedge
    reflectance: float | None  # published, or by the plan's densities; None where it is not known
    reading: PatchReading


@dataclass(frozen=True, slots=True)
class Neutrals:
    """All neutral patches of one target, the lightest first."""

    patches: tuple[MeasuredPatch, ...]
    linearity: Linearity | None  # None where too few of them can be used

    def reflectance_at(self, target: Target) -> float | None:
        """Reflectance of the patch that a target is; None where it is none of them, or unknown."""
        return next((p.reflectance for p in self.patches if p.reading.target == target), None)


def measured_neutrals(
    frame: Frame,
    patches: tuple[NeutralPatch, ...],
    densities: tuple[float, ...],
    flat: Frame | None,
) -> Neutrals | None:
    """Measure the patches and hold them against their reflectances; None without patches.

    Parameters
    ----------
    frame : an open frame.
    patches : as found in it.
    densities : of a step wedge by the plan, the lightest first; empty where it gives none.
    flat : an open frame of an even surface, as :func:`verify.measure.measure` takes it.
    """
    if not patches:
        return None
    readings = [measure(frame, Target(p.box, p.corners, "chart"), flat) for p in patches]
    signals = [r.signal if r.bound is None else math.nan for r in readings]
    uncertain = [math.hypot(r.u_terms["noise"], r.u_terms["evenness"]) for r in readings]
    names = [p.name for p in patches]
    known: tuple[float, ...] = ()
    if all(name in REFLECTANCES for name in names):
        known = tuple(REFLECTANCES[name] for name in names)
    elif len(densities) == len(patches):
        known = reflectances_of(densities)
    assumed = known or equal_steps(signals)
    return Neutrals(
        tuple(
            MeasuredPatch(name, known[n] if known else None, reading)
            for n, (name, reading) in enumerate(zip(names, readings, strict=True))
        ),
        linearity(assumed, signals, uncertain, steps_known=bool(known)),
    )
