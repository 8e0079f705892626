"""What of a flash's light a shutter lets through: at several times, at the edges, and how fast."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from verify.frames.geometry import Edge, upright_edge
from verify.motion.curtain import fastest_within, shutter_of, travel_of
from verify.motion.dial import marked_no_faster
from verify.plan.motion import LevelEdge, ShutterPlan
from verify.pulse.records import Firing
from verify.pulse.shutter import Curtain, Leaf, LightOut, light_out

RADIO_DELAYS_S = (0.0005, 0.001)  # of radio triggers, where the delay is not known
PROFILE = 101  # rows across the frame
BLOCKED_STOPS = 5.0  # a row that loses more of the flash is as good as dark
SAME = 1 + 1e-9


@dataclass(frozen=True, slots=True)
class RowLoss:
    """Stops of flash lost, 0 or more; infinite where a row gets none. None: not known."""

    first: float | None  # in the row that is covered first
    middle: float | None
    last: float | None  # in the row that is covered last

    @property
    def most(self) -> float | None:
        """The largest that is known."""
        return max((x for x in (self.first, self.middle, self.last) if x is not None), default=None)


@dataclass(frozen=True, slots=True)
class ShutterLoss:
    """What is lost at one shutter time."""

    shutter_s: float  # exact [s]
    loss: RowLoss  # with the stated delay; where it is not known, without one: the best case
    delayed: tuple[tuple[float, RowLoss], ...]  # for delays [s] of radios, where it is not known
    edges: tuple[Edge, Edge] | None  # covered first and last; None for a leaf
    within_sync: bool | None  # None where the sync time is not known
    blocked_share: float | None  # of the frame, that is as good as dark
    profile: tuple[float, ...]  # stops lost in rows covered first to last, evenly spaced


@dataclass(frozen=True, slots=True)
class ShutterStudy:
    """What is lost at all times asked for, and how fast the shutter may be."""

    shutters: tuple[ShutterLoss, ...]
    kind: Literal["curtain", "leaf"]
    travel_s: float | None  # of the curtain [s]; None where not known, and of a leaf
    delay_s: float | None  # None: not known, best case
    tolerance_stops: float
    fastest_s: float | None  # shortest time that loses no more, not past sync [s]
    fastest_marked_s: float | None  # the next time on a dial of thirds [s], exact
    warnings: tuple[str, ...]
    notes: tuple[str, ...]


def shutter_study(
    firing: Firing,
    shutter: ShutterPlan,
    times_s: Sequence[float],
    tolerance_stops: float,
    covered_first: LevelEdge = "bottom",
    orientation: int = 1,
) -> ShutterStudy:
    """What a shutter does to a flash.

    Parameters
    ----------
    firing : the flash light.
    shutter : kind, travel or sync, delay. Its own time is not used.
    times_s : exact shutter times [s].
    tolerance_stops : loss that is still good, above 0.
    covered_first : edge of the level picture that is covered first.
    orientation : of the picture, Exif 1 to 8; edges are those of the upright picture.
    """
    light = light_out(firing.course.time_s, firing.course.value)
    kept = shutter_of(shutter)
    travel = travel_of(shutter)
    leaf = isinstance(kept, Leaf)
    last_edge: LevelEdge = "top" if covered_first == "bottom" else "bottom"
    edges = upright_edge(covered_first, orientation), upright_edge(last_edge, orientation)
    warnings, notes = [], []
    if travel is not None and travel[1] and not leaf:
        warnings.append("travel-assumed")
    if kept is None and times_s:
        notes.append(
            "the curtain's travel is not known (--travel, or sync in a plan): only the row that is"
            " covered last can be told"
        )
    shutters = tuple(
        ShutterLoss(
            time_s,
            _row_loss(kept, light, time_s, shutter.delay_s or 0.0),
            ()
            if shutter.delay_s is not None
            else tuple((d, _row_loss(kept, light, time_s, d)) for d in RADIO_DELAYS_S),
            None if leaf else edges,
            None if shutter.sync_s is None or leaf else time_s * SAME >= shutter.sync_s,
            _blocked(kept, light, time_s),
            _profile(kept, light, time_s),
        )
        for time_s in times_s
    )
    fastest = fastest_within(kept, light, shutter.sync_s, tolerance_stops)
    if any((one.loss.most or 0.0) > tolerance_stops for one in shutters):
        warnings.append("shutter-cuts")
    return ShutterStudy(
        shutters,
        "leaf" if leaf else "curtain",
        None if travel is None or leaf else travel[0],
        shutter.delay_s,
        tolerance_stops,
        fastest,
        None if fastest is None else marked_no_faster(fastest),
        tuple(warnings),
        tuple(notes),
    )


def _row_loss(
    kept: Curtain | Leaf | None, light: LightOut, shutter_s: float, delay_s: float
) -> RowLoss:
    """Losses in the rows that are told."""
    if kept is None:
        last = Curtain(0.0, delay_s).losses(light, shutter_s, np.ones(1))
        return RowLoss(None, None, float(last[0]))
    first, middle, last_ = replace(kept, delay_s=delay_s).losses(
        light, shutter_s, np.array([0.0, 0.5, 1.0])
    )
    return RowLoss(float(first), float(middle), float(last_))


def _profile(kept: Curtain | Leaf | None, light: LightOut, shutter_s: float) -> tuple[float, ...]:
    """Losses from the row covered first to the last; empty where the travel is not known."""
    if kept is None:
        return ()
    return tuple(map(float, kept.losses(light, shutter_s, np.linspace(0, 1, PROFILE))))


def _blocked(kept: Curtain | Leaf | None, light: LightOut, shutter_s: float) -> float | None:
    """Share of the frame that loses so much that it is as good as dark."""
    if kept is None:
        return None
    rows = (np.arange(2000) + 0.5) / 2000
    return float(np.mean(kept.losses(light, shutter_s, rows) > BLOCKED_STOPS))
