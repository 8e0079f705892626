"""A frame of an even wall to the light of its rows, along the way of the curtains.

The reduced picture is enough: it averages photosites of each colour in linear signal. Its cells
are gathered into strips across the way. What differs from strip to strip in the same way in every
row (a lamp to one side) is taken out, and of each bin those strips are averaged that agree with
most of them, so that a few things on the wall do no harm.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from verify.errors import FrameError
from verify.frames.colors import main_color
from verify.frames.frame import Frame
from verify.frames.geometry import Box, Edge, upright_edge
from verify.frames.overview import Overview
from verify.rows.records import RowProfile

WANTED = 300  # cells along the long side; not the usual number, which may be an embedded picture
FEWEST = 40  # bins
LEAST_SPAN = 0.4  # of the short side, that a card must cover
CENTRAL = 0.7  # of the side across, that is looked at
STRIPS = 24
FEWEST_STRIPS = 6
AGREES = 3.0  # robust deviations from the median of a bin, that a strip may be off
NEAR_CLIPPING = 0.95  # of clipping: single photosites of such a cell clip
CLIPPED_STRIPS = 1 / 3  # of a bin's strips; with more it has no value
CLIPPED_BINS = 0.2  # with more the frame is refused
LIT = 0.1  # of the brightest rows' signal
DARK = 1e-3  # signal of the brightest rows; with less there is no flash in the frame
TINY = 1e-9  # signal, for a frame without any light
NOISE_OVER = 9  # bins, whose noise is taken together
MAD = 1.4826  # a normal standard deviation over the median deviation


def row_profile(frame: Frame, box: Box | None = None) -> RowProfile:
    """The light of a wall, or of a card, row by row.

    Parameters
    ----------
    frame : an open frame.
    box : of a card, in upright pixels; None for a wall that fills the frame.

    Raises
    ------
    FrameError
        If the pixels cannot be decoded, or the box is too small, the light too little or too much.
    """
    edges = way_of(frame)
    overview = frame.overview(WANTED)
    cells = overview.signal[..., overview.colors.index(main_color(overview.colors))]
    down = edges[0] == "top"
    rows, columns = _inside(overview, cells.shape, box)
    inside = np.asarray(cells[rows, columns], np.float64)
    inside = inside if down else inside.T
    first = rows.start if down else columns.start
    side = min(frame.size.width, frame.size.height)
    if box is not None:
        _check_span((box.height if down else box.width) / side)
    if len(inside) < FEWEST or inside.shape[1] < FEWEST_STRIPS:
        what = "picture" if box is None else "card"
        msg = (
            f"its {what} has only {len(inside)} rows to tell apart, and {FEWEST} are needed: "
            "use the full-size raw file, or a larger card"
        )
        raise FrameError(msg)
    strips = _strips(inside, overview.clips_at)
    corner = overview.corner[1 if down else 0]
    place = (corner + (first + np.arange(len(strips)) + 0.5) * overview.cell) / side
    profile = profile_of(strips, place, edges)
    _check_light(profile)
    return profile


def way_of(frame: Frame) -> tuple[Edge, Edge]:
    """The two edges of the upright picture between which the curtains run.

    Along the short side; of a square picture along the stored rows.
    """
    size = frame.size
    down = size.height < size.width
    if size.height == size.width:
        down = upright_edge("top", frame.settings.orientation) in {"top", "bottom"}
    return ("top", "bottom") if down else ("left", "right")


def profile_of(
    strips: NDArray[np.float64], place: NDArray[np.float64], edges: tuple[Edge, Edge]
) -> RowProfile:
    """Strips to a profile.

    Parameters
    ----------
    strips : (bins, strips) linear signal or a ratio of two; NaN where there is no value.
    place : (bins,) along the way, 0 to 1.
    """
    clipped = np.isnan(strips).mean(axis=1) > CLIPPED_STRIPS
    signal_of, u_of = np.full(len(strips), np.nan), np.full(len(strips), np.nan)
    if clipped.all():
        return RowProfile(edges, place, signal_of, u_of, clipped, strips, 0.0)
    even = strips[~clipped] / _across(strips[~clipped])
    signal, spread, count = _mean_of_most(even)
    spread = median_filter(spread, NOISE_OVER, mode="nearest")
    lit = signal >= LIT * np.quantile(signal, 0.9)
    signal_of[~clipped], u_of[~clipped] = signal, spread / np.sqrt(count)
    return RowProfile(
        edges=edges,
        place=place,
        signal=signal_of,
        u_signal=u_of,
        clipped=clipped,
        strips=strips,
        scatter_stops=float(np.median(spread[lit] / np.maximum(signal[lit], TINY))) / math.log(2),
    )


def _check_light(profile: RowProfile) -> None:
    """Refuse a wall that is clipped, or dark."""
    share = float(profile.clipped.mean())
    if share > CLIPPED_BINS:
        msg = (
            f"{share:.0%} of its rows are clipped, so what is lost cannot be told: expose a stop "
            "less"
        )
        raise FrameError(msg)
    if not np.nanquantile(profile.signal, 0.9) > DARK:
        msg = "there is hardly any light in it: shoot an even wall lit by the flash"
        raise FrameError(msg)


def _inside(overview: Overview, shape: tuple[int, ...], box: Box | None) -> tuple[slice, slice]:
    """Rows and columns of the cells that lie wholly inside a box; all without one."""
    if box is None:
        return slice(0, shape[0]), slice(0, shape[1])
    ends = overview.to_cells(np.array(box.corners())[[0, 2]])
    (left, top), (right, bottom) = np.ceil(ends[0] - 1e-6), np.floor(ends[1] + 1e-6)
    return (
        slice(max(int(top), 0), min(int(bottom), shape[0])),
        slice(max(int(left), 0), min(int(right), shape[1])),
    )


def _check_span(span: float) -> None:
    """Refuse a card that covers too little of the way."""
    if span < LEAST_SPAN:
        msg = (
            f"the card covers only {span:.0%} of the way of the shutter's curtains (the short "
            f"side), and {LEAST_SPAN:.0%} is needed: shoot it closer, or shoot an even wall"
        )
        raise FrameError(msg)


def _strips(cells: NDArray[np.float64], clips_at: float) -> NDArray[np.float64]:
    """Means of the cells (bins, cells across) in strips of the central part; NaN: some clip."""
    wide = cells.shape[1]
    margin = int(wide * (1 - CENTRAL) / 2)
    parts = np.array_split(np.arange(margin, wide - margin), min(STRIPS, wide - 2 * margin))
    cells = np.where(cells < NEAR_CLIPPING * clips_at, cells, np.nan)
    return np.column_stack([cells[:, part].mean(axis=1) for part in parts])


def _across(strips: NDArray[np.float64]) -> NDArray[np.float64]:
    """Level of each strip (strips,) against the middle of them, the same in all rows.

    NaN for a strip that is dark all along: something stands before the wall there.
    """
    across = np.ones(strips.shape[1])
    with np.errstate(invalid="ignore", divide="ignore"):
        for _ in range(3):  # medians of rows and columns in turn settle at once
            rows = np.nanmedian(strips / across, axis=1, keepdims=True)
            lit = rows[:, 0] > LIT * np.nanmax(rows)
            if not lit.any():
                break
            across = np.nanmedian(strips[lit] / rows[lit], axis=0)
            across = np.where(across > LIT, across / np.nanmedian(across), np.nan)
    return across


def _mean_of_most(
    even: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Mean of those strips of each bin that agree with most of them, their deviation and number."""
    middle = np.nanmedian(even, axis=1, keepdims=True)
    off = np.abs(even - middle)
    limit = AGREES * MAD * np.nanmedian(off, axis=1, keepdims=True)
    kept = np.where(off <= limit, even, np.nan)
    count = np.isfinite(kept).sum(axis=1).astype(float)
    return np.nanmean(kept, axis=1), np.nanstd(kept, axis=1), count
