"""What the rows of a wall show, and what a shutter did to a flash."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from verify.frames.geometry import Edge

Verdict = Literal["cut", "none", "unsure", "unmeasured"]
Kind = Literal["edge", "gradient"]
MOST = 8.0  # stops of loss; with more a row is as good as dark


@dataclass(frozen=True, slots=True, eq=False)
class RowProfile:
    """Light of a wall along the way of the curtains: the short side of the picture.

    A bin is a thin row across that way, from the first of ``edges`` to the second; a strip is a
    piece of it.
    """

    edges: tuple[Edge, Edge]  # of the upright picture, where place is 0 and where it is 1
    place: NDArray[np.float64]  # (bins,) of their middles, as a share of the picture's short side
    signal: NDArray[np.float64]  # (bins,) mean linear signal of the main colour
    u_signal: NDArray[np.float64]  # (bins,) standard uncertainty of it, in linear signal
    clipped: NDArray[np.bool_]  # (bins,) too much of the bin is at clipping: no value
    strips: NDArray[np.float64]  # (bins, strips) linear signal; NaN where it clips
    scatter_stops: float  # of strips beside the product of rows and columns, typical of a lit bin


@dataclass(frozen=True, slots=True)
class Loss:
    """Stops of light lost at three places along the part that was measured.

    Each is the loss, >= 0, and its standard uncertainty [stop]; (MOST, None) for MOST or more.
    """

    first: tuple[float, float | None]  # at the edge that loses most
    middle: tuple[float, float | None]
    last: tuple[float, float | None]  # at the edge opposite


@dataclass(frozen=True, slots=True)
class Cut:
    """What the shutter did to the flash in one frame."""

    file: Path
    verdict: Verdict
    kind: Kind | None = None  # of a cut
    loss_stops: Loss | None = None  # of a cut; against the reference where there is one
    edge: Edge | None = None  # of the upright picture, which loses: covered first
    blocked_share: float | None = None  # of the short side, that got none of the flash; of an edge
    travel_s: float | None = None  # of the curtains, from an edge; at most so long [s]
    travel_u_s: float | None = None  # its standard uncertainty [s]
    excluded_stops: float | None = None  # a loss above this would have been seen; without a cut
    shutter_s: float | None = None  # exact [s]; None where the file does not record it
    reference: Path | None = None  # the frame at a slower shutter time it was held against
    notes: tuple[str, ...] = ()  # sentences: what was assumed, and what else to know
    problem: str | None = None  # why it could not be measured, in one line


@dataclass(frozen=True, slots=True)
class RowStudy:
    """Frames of one wall, or of several."""

    cuts: tuple[Cut, ...]  # one for each frame, in the order given

    @property
    def any_cut(self) -> bool:
        """Whether the shutter cut the flash in some frame."""
        return any(cut.verdict == "cut" for cut in self.cuts)
