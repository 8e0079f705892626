"""Where a card is in one frame, and what a search for it came to."""

from dataclasses import dataclass
from typing import Literal

from verify.frames.geometry import Box
from verify.target.patch_boxes import NeutralPatch

FoundBy = Literal["given", "shape", "marker", "chart"]


@dataclass(frozen=True, slots=True)
class Target:
    """The card in one frame."""

    box: Box  # what is measured, in upright pixels
    corners: tuple[tuple[float, float], ...]  # (col, row) of the card's corners, upright
    found_by: FoundBy


@dataclass(frozen=True, slots=True)
class Search:
    """What a search for the card came to."""

    found: tuple[Target, ...]  # the surest first, then what is as good; empty: no card
    doubts: tuple[str, ...] = ()  # names of warnings: why the first need not be the card
    again: bool = False  # it is where the last frame had it
    patches: tuple[NeutralPatch, ...] = ()  # of a chart or a step wedge, the lightest first

    @property
    def sure(self) -> bool:
        """Whether the first is the card."""
        return bool(self.found) and not self.doubts
