"""Frames of several pops, what is found in them, and an exposure that is planned from pops."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Adding = Literal["adds", "bends", "averages", "no-growth", "unknown"]


@dataclass(frozen=True, slots=True)
class PopFrame:
    """One frame and the pops that were meant to be in it."""

    file: Path
    planned: int  # 0: shot with the flash off
    signal: float | None  # of the card, at the settings that all are brought to; None: not measured
    noise: float = 0.0  # standard error of that
    open_s: float | None = None  # how long the shutter was open, exact [s]
    problem: str | None = None  # why it could not be measured, in one line


@dataclass(frozen=True, slots=True)
class PopCount:
    """How many pops one frame holds, by its level."""

    frame: PopFrame
    fired: int | None = None  # most probable number; None: not measured, or pops do not add
    probability: float | None = None  # that this is the number, 0 to 1
    tellable: bool = False  # whether that is sure enough to say it
    worth: float | None = None  # light in it that is no ambient, in pops

    @property
    def off(self) -> int | None:
        """Pops more (+) or fewer (-) than planned; None where it cannot be told."""
        return self.fired - self.frame.planned if self.tellable and self.fired is not None else None


@dataclass(frozen=True, slots=True)
class PopStudy:
    """Frames of several pops together. None: not known. Signals are at one aperture and ISO."""

    frames: tuple[PopCount, ...]
    adding: Adding  # whether light grows with the pops as it should
    per_pop_signal: float | None = None  # of each pop; of the first one where later ones are weaker
    per_pop_u: float | None = None  # standard uncertainty
    ambient_per_s: float | None = None  # signal by ambient light, per second
    ambient_per_s_u: float | None = None
    ambient_signal: float | None = None  # in each frame, where open times are not known
    linearity_stops: float | None = None  # the largest count against the line through smaller ones
    linearity_u_stops: float | None = None
    sag_share: float | None = None  # of the first pop's light that each pop gives less than the
    sag_u: float | None = None  # one before it
    first_pop_stops: float | None = None  # the first pop against each of the others, where it lags
    scatter_stops: float | None = None  # standard deviation of a frame about the fit
    most_tellable: int | None = None  # largest count in which one missing pop can be told by level
    one_count: bool = False  # all frames have one count: most are taken to hold all their pops
    flicker_per_s: float | None = None  # pops in a second, where some came at a rate to be wary of
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PopChoice:
    """A number of pops, and what the power must change by to make it come out even."""

    pops: int
    power_change_stops: float  # in tenths of a stop, + is more
    difference_stops: float  # that is left, + is over


@dataclass(frozen=True, slots=True)
class PopPlan:
    """An exposure built from pops."""

    metered: str  # what one reading showed: "f/16, 1 pop, ISO 100"
    wanted: str  # aperture, as it reads
    lost_stops: float  # in bellows and filters
    missing_stops: float  # from the light of one pop to what is wanted
    exact_pops: float
    chosen: PopChoice  # the nearest whole number, the power left as it is
    alternatives: tuple[PopChoice, ...]  # smaller or rounder counts, with the power to set
    one_missed_stops: float | None  # what one pop that fails costs; None of one pop
    interval_s: float  # from pop to pop
    interval_given: bool
    open_s: float  # total open time
    ambient_under_stops: float | None = None  # under the light of all pops; None: not known
    ambient_adds_stops: float | None = None
    notes: tuple[str, ...] = ()
