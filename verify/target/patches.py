"""Small even patches of a picture that stand side by side: what a chart or a step wedge is made of.

Cheap on purpose, for it looks at every picture: a patch is a connected piece that is brighter, or
more even, than what lies around it. No contour is followed and no network is asked.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

SIDES = (5, 64)  # of the rectangle around a patch at its own level of reduction [pixel]
AREAS = (24, 1600)  # [pixel squared]
MOST = 1500  # patches of one level: more are texture, the largest stay
COMPACT = 0.9  # area against that of a parallelogram with the same second moments
NEAREST = 8  # neighbours looked at
APART = (3.2, 5.6)  # from one patch to the next, in standard deviations of a patch (see linked)
ALIKE = 2.0  # ratio of areas that two neighbours may have


@dataclass(frozen=True, slots=True)
class Patches:
    """Patches that were seen in a picture, in its own pixels from the corner of the first one."""

    centres: NDArray[np.float64]  # (n, 2) column, row
    spread: NDArray[np.float64]  # (n, 2, 2) second central moments of the shape [pixel squared]
    areas: NDArray[np.float64]  # (n,) [pixel squared]


@dataclass(frozen=True, slots=True)
class Step:
    """From a patch to one beside it."""

    to: int  # index of the other patch
    by: NDArray[np.float64]  # (2,) column, row [pixel]
    far: float  # the same in standard deviations of the two patches along it


def brightest(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The brightest of the three colours of each pixel of a picture (rows, cols, 3)."""
    red, green, blue = cv2.split(picture)
    return np.asarray(cv2.max(cv2.max(red, green), blue), np.uint8)


def blurred(picture: NDArray[np.uint8], side: int) -> NDArray[np.uint8]:
    """Means of the squares of ``side`` pixels around each pixel."""
    return np.asarray(cv2.blur(picture, (side, side)), np.uint8)


def halved(level: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A picture (rows, cols) at half its size."""
    half = level.shape[1] // 2, level.shape[0] // 2
    return np.asarray(cv2.resize(level, half, interpolation=cv2.INTER_AREA), np.uint8)


def patches_in(mask: NDArray[np.uint8], scale: float) -> Patches:
    """The connected pieces of a mask that have the shape of a patch.

    Parameters
    ----------
    mask : (rows, cols), not 0 where the picture is bright or even.
    scale : pixels of the whole picture to one of the mask.
    """
    _, labels, stats, centres = cv2.connectedComponentsWithStats(mask, connectivity=4)
    width, height, area = stats[1:, 2], stats[1:, 3], stats[1:, 4]
    shaped = (area >= AREAS[0]) & (area <= AREAS[1]) & (area >= 0.4 * width * height)
    shaped &= (np.minimum(width, height) >= SIDES[0]) & (np.maximum(width, height) <= SIDES[1])
    chosen = np.flatnonzero(shaped) + 1
    if len(chosen) > MOST:
        chosen = chosen[np.argsort(-stats[chosen, 4])[:MOST]]
    spread = np.empty((len(chosen), 2, 2))
    for n, label in enumerate(chosen.tolist()):
        col, row, wide, high, _ = stats[label].tolist()
        own = labels[row : row + high, col : col + wide] == label
        found = cv2.moments(own.view(np.uint8), True)
        spread[n] = [[found["mu20"], found["mu11"]], [found["mu11"], found["mu02"]]]
    areas = stats[chosen, 4].astype(float)
    spread /= areas[:, None, None]
    # A parallelogram with sides u and v has the moments (u u' + v v') / 12, so that its area is
    # 12 times the root of their determinant; a ragged or hollow piece has less.
    whole = areas > COMPACT * 12 * np.sqrt(np.maximum(np.linalg.det(spread), 1e-9))
    return Patches(
        (centres[chosen][whole] + 0.5) * scale, spread[whole] * scale**2, areas[whole] * scale**2
    )


def linked(patches: Patches) -> list[list[Step]]:
    """For each patch the steps to the patches beside it.

    Distances count in standard deviations of the patch along the way, of which a patch is √12
    wide from any side and in any perspective: the next one of a row is 3.5 (touching) to 4.6
    (a gap of a quarter) away, the next across a corner at least 4.9.
    """
    count = len(patches.centres)
    steps: list[list[Step]] = [[] for _ in range(count)]
    if count < 2:
        return steps
    tree = cKDTree(patches.centres)
    _, near = tree.query(patches.centres, k=min(NEAREST + 1, count))
    start = np.repeat(np.arange(count), near.shape[1])
    end = near.ravel()
    by = patches.centres[end] - patches.centres[start]
    both = (patches.spread[start] + patches.spread[end]) / 2
    weighed = np.linalg.solve(both, by[..., None])[..., 0]
    far = np.sqrt((by * weighed).sum(1))
    ratio = patches.areas[end] / patches.areas[start]
    beside = (far > APART[0]) & (far < APART[1]) & (ratio > 1 / ALIKE) & (ratio < ALIKE)
    for n in np.flatnonzero(beside).tolist():
        steps[start[n]].append(Step(int(end[n]), by[n], float(far[n])))
    return steps


def groups(steps: list[list[Step]], fewest: int, most: int) -> list[list[int]]:
    """Patches that hang together by steps, in groups of ``fewest`` to ``most``."""
    seen = [False] * len(steps)
    found = []
    for first in range(len(steps)):
        if seen[first]:
            continue
        seen[first] = True
        group = [first]
        for patch in group:  # grows while it is walked
            for step in steps[patch]:
                if not seen[step.to]:
                    seen[step.to] = True
                    group.append(step.to)
        if fewest <= len(group) <= most:
            found.append(group)
    return found
