"""Where the patches of a lattice really end: their edges in the picture, to a part of a pixel."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.target.lattice import Homography, fitted, mapped, pitch_at
from verify.target.patches import brightest

SAMPLES = (12, 48)  # along one pitch of the flattened picture
PLATEAU = 0.2  # of a pitch to each side of a patch's middle: surely inside it
GAP = 0.15  # of a pitch to each side of a cell's border: where the gap is darkest
LEAST_CONTRAST = 6.0  # codes of a patch above the gap; less is lost in noise and in the frame
ROUNDS = 3
FITS = 0.08  # of a pitch by which a patch's middle may lie off the lattice


@dataclass(frozen=True, slots=True)
class Fit:
    """A lattice held against the edges of its patches."""

    homography: Homography  # from lattice coordinates to the picture
    size: tuple[float, float]  # width and height of a patch against the pitch
    seen: int  # patches whose four edges were seen and that lie on the lattice
    residual_px: float  # root mean square of their middles from the lattice [picture pixel]


def fit_to_edges(
    picture: NDArray[np.uint8], homography: Homography, columns: int, rows: int, fewest: int
) -> Fit | None:
    """Bring a lattice to the edges of the patches that stand out from the dark gaps between them.

    A patch's middle lies halfway between opposite edges, so that blur and the level at which an
    edge is taken cancel.

    Parameters
    ----------
    picture : (rows, cols, 3), gamma-encoded.
    homography : roughly, within a fifth of a pitch.
    columns, rows : of the lattice.
    fewest : patches that must be seen.
    """
    level = brightest(picture)
    nominal = np.array([(c + 0.5, r + 0.5) for r in range(rows) for c in range(columns)])
    middle = np.array([columns / 2, rows / 2])
    for _ in range(ROUNDS):
        edges = _edges(level, homography, columns, rows)
        measured = np.stack([edges[:, :2].mean(1), edges[:, 2:].mean(1)], axis=1)
        known = np.isfinite(measured).all(1)
        if known.sum() < max(fewest, 6):
            return None
        seen = mapped(homography, measured[known])
        better = fitted(nominal[known], seen, FITS * pitch_at(homography, middle))
        if better is None or better[1].sum() < fewest:
            return None
        homography, fits = better
    off = (mapped(homography, nominal[known]) - seen)[fits]
    widths = (edges[:, 1] - edges[:, 0])[known][fits]
    heights = (edges[:, 3] - edges[:, 2])[known][fits]
    return Fit(
        homography=homography,
        size=(float(np.median(widths)), float(np.median(heights))),
        seen=int(fits.sum()),
        residual_px=float(np.sqrt((off**2).sum(1).mean())),
    )


def _edges(
    level: NDArray[np.uint8], homography: Homography, columns: int, rows: int
) -> NDArray[np.float64]:
    """Left, right, top and bottom edge (patches, 4) in lattice coordinates, NaN where unseen."""
    side = int(np.clip(pitch_at(homography, np.array([columns / 2, rows / 2])), *SAMPLES))
    flat = _flattened(level, homography, columns, rows, side)
    edges = np.full((rows * columns, 4), np.nan)
    for row in range(rows):
        for column in range(columns):
            n = row * columns + column
            across = flat[_middle(row, side), _around(column, side)].mean(0)
            down = flat[_around(row, side), _middle(column, side)].mean(1)
            edges[n, 0], edges[n, 1] = _ends(across, side, column)
            edges[n, 2], edges[n, 3] = _ends(down, side, row)
    return edges


def _flattened(
    level: NDArray[np.uint8], homography: Homography, columns: int, rows: int, side: int
) -> NDArray[np.float64]:
    """The lattice and half a cell around it seen straight on, ``side`` samples to a cell."""
    first = 0.5 / side - 0.5  # lattice coordinate of the first sample
    to_lattice = np.array([[1 / side, 0, first], [0, 1 / side, first], [0, 0, 1]])
    to_index = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1]])
    flat = cv2.warpPerspective(
        level,
        to_index @ homography @ to_lattice,
        ((columns + 1) * side, (rows + 1) * side),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return flat.astype(float)


def _middle(cell: int, side: int) -> slice:
    """Samples of the inner part of a cell of the flattened picture."""
    return slice(round((cell + 1 - PLATEAU) * side), round((cell + 1 + PLATEAU) * side))


def _around(cell: int, side: int) -> slice:
    """Samples of a cell of the flattened picture and of a quarter of a cell on both sides."""
    return slice(round((cell + 0.25) * side), round((cell + 1.75) * side))


def _ends(profile: NDArray[np.float64], side: int, cell: int) -> tuple[float, float]:
    """Where a patch ends on both sides of a profile through it, in lattice coordinates."""
    start = round((cell + 0.25) * side)
    at = (start + np.arange(len(profile)) + 0.5) / side - 0.5 - cell  # 0 to 1 in the cell
    inside = np.abs(at - 0.5) < PLATEAU
    plateau = float(profile[inside].mean())
    high = _end(profile, at, plateau, 1.0)
    low = _end(profile[::-1], at[::-1], plateau, 0.0)
    return cell + low, cell + high


def _end(
    profile: NDArray[np.float64], at: NDArray[np.float64], plateau: float, border: float
) -> float:
    """Where the profile, walked outwards, has fallen halfway from the patch to the gap."""
    gap = np.flatnonzero(np.abs(at - border) < GAP)
    lowest = int(gap[np.argmin(profile[gap])])
    if plateau - profile[lowest] < LEAST_CONTRAST:
        return float("nan")
    half = (plateau + profile[lowest]) / 2
    first = int(np.argmin(np.abs(at - 0.5)))
    below = first + np.flatnonzero(profile[first : lowest + 1] < half)
    if not len(below) or below[0] == first:
        return float("nan")
    n = int(below[0])
    part = (profile[n - 1] - half) / (profile[n - 1] - profile[n])
    return float(at[n - 1] + part * (at[n] - at[n - 1]))
