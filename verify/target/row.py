"""A straight row of equal patches that touch: roughly from its even pieces, then from its edges.

Lattice coordinates: patch n of the row reaches from column n to n + 1 and from row 0 to 1.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.target.lattice import Homography, cell_sides, fitted, mapped
from verify.target.patches import Patches

HEIGHTS = 1.5  # ratio of the largest to the least height of the pieces
ROUNDS = 7
STRICT_ROUNDS = 2  # the last ones
LEAST_POINTS = 8  # on edges that must be seen
TRACKS = (0.3, 0.7)  # heights in the row along which the borders are looked for
TRACK = np.linspace(-0.1, 0.1, 5)  # of the height: a track is that wide
FINE = np.linspace(0.0, 1.0, 41)  # from the middle of a patch to the next one's
OUTWARD = np.linspace(0.35, -0.35, 57)  # from within a patch over its upper side, of the height
WITHIN = 12  # samples of that way that lie well within the patch
NEAR = 5  # samples about the place where the level leaves the patch's: there is its side
LEAST_SIDE = 0.06  # stop by which the level must leave it
SIDE_SHARE = 0.4  # of a step by which the level must leave it
FITS = (1.2, 0.03)  # cells, or of a pitch where that is more: how far an edge may be off
ROUGHLY = 0.15  # the same in the first rounds, of a pitch
BORDERS_FIT = 0.9  # share of the points on borders that must fit
SIDES_SEEN = 0.4  # share of the patches whose upper, and whose lower side must be seen
SIDES_FIT = 0.75  # share of those that must fit


@dataclass(frozen=True, slots=True)
class Row:
    """A row of patches held against its edges."""

    homography: Homography  # from the row's lattice coordinates to the picture
    count: int  # patches
    residual: float  # root mean square of the borders from where they should be, in pitches


def rough_row(patches: Patches, order: NDArray[np.intp]) -> Homography | None:
    """From the row's lattice coordinates to the picture, by the middles and shapes of pieces.

    An even piece has the moments (u u' + v v') / 12 of a parallelogram a little smaller than its
    patch. u lies along the row; how long it is follows from v v' having no second direction.

    Parameters
    ----------
    patches, order : pieces, and those of the row one after the other.
    """
    centres = patches.centres[order]
    along = np.gradient(centres, axis=0)
    down = np.empty_like(along)
    for n, moments in enumerate(12 * patches.spread[order]):
        step = along[n]
        share = 1 / np.sqrt(step @ np.linalg.solve(moments, step))  # of the step that u is
        values, axes = np.linalg.eigh(moments - share**2 * np.outer(step, step))
        seen = axes[:, -1] * np.sqrt(max(values[-1], 1e-6))
        turn = np.sign(step[0] * seen[1] - step[1] * seen[0])
        lost = (1 - share) * np.linalg.norm(step)  # to the edges, on all sides alike
        down[n] = turn * seen * (1 + lost / np.linalg.norm(seen))
    heights = np.linalg.norm(down, axis=1)
    if np.quantile(heights, 0.8) > HEIGHTS * np.quantile(heights, 0.2):
        return None
    columns = np.arange(len(order)) + 0.5
    points = np.concatenate([np.stack([columns, np.full(len(order), y)], 1) for y in (0.0, 1.0)])
    fit = fitted(
        points,
        np.concatenate([centres - down / 2, centres + down / 2]),
        0.25 * float(np.median(np.linalg.norm(along, axis=1))),
    )
    return None if fit is None else fit[0]


def fit_row(stops: NDArray[np.float32], homography: Homography, count: int) -> Row | None:
    """Bring a row to the borders between its patches and to their upper and lower sides.

    None where the edges are not those of equal patches in one plane: widths and heights must
    shrink together in perspective.

    Parameters
    ----------
    stops : (rows, cols, planes) the picture, level first.
    homography : roughly.
    count : patches.
    """
    level = np.ascontiguousarray(stops[..., 0])
    for left in reversed(range(ROUNDS)):
        nominal, measured = _edge_points(level, homography, count)
        known = np.all(np.isfinite(measured), axis=1)
        if known.sum() < LEAST_POINTS:
            return None
        width = float(np.linalg.norm(cell_sides(homography, (count / 2, 0.5))[:, 0]))
        within = max(FITS[0], (FITS[1] if left < STRICT_ROUNDS else ROUGHLY) * width)
        fit = fitted(nominal[known], mapped(homography, measured[known]), within)
        if fit is None:
            return None
        fits = np.zeros(len(nominal), bool)
        fits[np.flatnonzero(known)[fit[1]]] = True
        homography = fit[0]
    borders = 2 * (count - 1)
    if fits[:borders].mean() < BORDERS_FIT:
        return None
    for side in (slice(borders, borders + count), slice(borders + count, None)):
        if known[side].mean() < SIDES_SEEN or fits[side].sum() < SIDES_FIT * known[side].sum():
            return None
    off = (measured - nominal)[:borders][fits[:borders], 0]
    return Row(homography, count, float(np.sqrt((off**2).mean())))


def _edge_points(
    level: NDArray[np.float32], homography: Homography, count: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points on the edges where they should be, and where they are, in lattice coordinates.

    First those on the borders along both tracks, then the upper sides, then the lower ones. Each
    is measured across its edge only, along it it stays: a fit takes some rounds.
    """
    columns = np.arange(count) + 0.5
    inner = np.arange(1.0, count)
    nominal = [np.stack([inner, np.full(count - 1, y)], axis=1) for y in TRACKS]
    nominal += [np.stack([columns, np.full(count, y)], axis=1) for y in (0.0, 1.0)]
    measured = [_borders(level, homography, count, y) for y in TRACKS]
    measured += [_sides(level, homography, count, down) for down in (False, True)]
    return np.concatenate(nominal), np.concatenate(measured)


def level_at(
    level: NDArray[np.float32], homography: Homography, points: NDArray[np.float64]
) -> NDArray[np.float64]:
    """A picture (rows, cols[, planes]) at lattice points (..., 2)."""
    index = (mapped(homography, points) - 0.5).astype(np.float32).reshape(len(points), -1, 2)
    taken = cv2.remap(
        level, index[..., 0], index[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(taken, np.float64).reshape(*points.shape[:-1], *level.shape[2:])


def _borders(
    level: NDArray[np.float32], homography: Homography, count: int, y: float
) -> NDArray[np.float64]:
    """Where (count - 1, 2) the level is halfway from each patch to the next, along one track."""
    at = np.arange(count - 1)[:, None, None] + 0.5 + FINE[None, :, None] + 0 * TRACK
    points = np.stack([at, y + np.broadcast_to(TRACK, at.shape)], axis=-1)
    profiles = level_at(level, homography, points).mean(-1)
    found = np.full((count - 1, 2), np.nan)
    for n, profile in enumerate(profiles):
        first, last = profile[:5].mean(), profile[-5:].mean()
        share = (profile - last) / (first - last) if first != last else np.zeros_like(profile)
        beyond = np.flatnonzero(share < 0.5)
        if len(beyond) and beyond[0] > 0:
            k = int(beyond[0])
            part = (share[k - 1] - 0.5) / (share[k - 1] - share[k])
            found[n] = n + 0.5 + FINE[k - 1] + part * (FINE[k] - FINE[k - 1]), y
    return found


def _sides(
    level: NDArray[np.float32], homography: Homography, count: int, down: bool
) -> NDArray[np.float64]:
    """Where (count, 2) the upper, or the lower side of each patch is, NaN where it is not seen.

    Walked outwards: the first place where the level leaves the patch's own for good part of a
    step, and there where it changes most. What follows farther out is not the patch's.
    """
    columns = np.arange(count) + 0.5
    rows = 1 - OUTWARD if down else OUTWARD
    across = columns[:, None, None] + 2 * TRACK
    at = np.broadcast_to(across, (count, len(rows), len(TRACK)))
    points = np.stack([at, np.broadcast_to(rows[:, None], at.shape)], axis=-1)
    profiles = level_at(level, homography, points).mean(-1)
    own = profiles[:, :WITHIN].mean(1)
    least = max(LEAST_SIDE, SIDE_SHARE * float(np.median(np.abs(np.diff(own)))))
    found = np.full((count, 2), np.nan)
    for n, profile in enumerate(profiles):
        left = np.flatnonzero(np.abs(profile - own[n]) > least)
        if len(left) and left[0] > WITHIN:
            first = max(int(left[0]) - NEAR, 0)
            change = np.abs(np.diff(profile[first : int(left[0]) + NEAR]))
            k = first + int(change.argmax())
            found[n] = columns[n], (rows[k] + rows[k + 1]) / 2
    return found
