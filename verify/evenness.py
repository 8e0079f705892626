"""How even the light is over a box: means of blocks, the plane through them, and the noise."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

BLOCKS = 8  # along each side of the box


@dataclass(frozen=True, slots=True)
class Blocks:
    """Mean signal of the blocks of a box, and the noise within them."""

    means: NDArray[np.float64]  # (BLOCKS, BLOCKS); NaN where a block holds no photosite
    counts: NDArray[np.float64]  # (BLOCKS, BLOCKS) photosites
    variance: float  # of single photosites within a block and phase [signal squared]

    @property
    def mean(self) -> float:
        """Mean signal over all photosites."""
        return float(np.nansum(self.means * self.counts) / self.counts.sum())

    @property
    def noise(self) -> float:
        """Standard error of :attr:`mean` from the noise of single photosites."""
        return math.sqrt(self.variance / float(self.counts.sum()))

    def over(self, flat: "Blocks", centre: float) -> "Blocks":
        """These blocks as if every place got as much light as a flat frame's middle."""
        gain = flat.means / centre
        scale = float(np.nanmean(gain))
        of_flat = flat.variance * (self.mean / flat.mean) ** 2
        return Blocks(self.means / gain, self.counts, (self.variance + of_flat) / scale**2)


def blocks_of(
    values: NDArray[np.float64],
    rows: NDArray[np.intp],
    cols: NDArray[np.intp],
    shape: tuple[int, int],
) -> Blocks:
    """Gather photosites into blocks.

    Noise is taken within each block and each phase of a 2 x 2 repeat: two greens that differ a
    little, or a mosaic stored as one plane, are no noise.

    Parameters
    ----------
    values, rows, cols : (n,) finite signal of each photosite and its place in the box.
    shape : rows and columns of the box.
    """
    index = rows * BLOCKS // shape[0] * BLOCKS + cols * BLOCKS // shape[1]
    means, counts = _means(values, index, BLOCKS**2)
    phase = index * 4 + rows % 2 * 2 + cols % 2
    phase_means, phase_counts = _means(values, phase, 4 * BLOCKS**2)
    off = values - phase_means[phase]
    freedom = max(values.size - int(np.count_nonzero(phase_counts)), 1)
    square = (BLOCKS, BLOCKS)
    return Blocks(means.reshape(square), counts.reshape(square), float(off @ off) / freedom)


def _means(
    values: NDArray[np.float64], index: NDArray[np.intp], count: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean and number of the values under each index; NaN where there is none."""
    counts = np.bincount(index, minlength=count).astype(float)
    with np.errstate(invalid="ignore"):
        return np.bincount(index, values, count) / counts, counts


def evenness(blocks: Blocks) -> tuple[float, float]:
    """Gradient end to end across the box, and what lies beside a plane, both in stops.

    What noise alone would give is taken out of both, so that a dark patch is not called uneven.
    A box with too few blocks for a plane, or no light, gives (0, 0).
    """
    there = blocks.counts > 0
    mean = blocks.mean
    if np.count_nonzero(there) < 6 or not mean > 0:
        return 0.0, 0.0
    middle = (np.arange(BLOCKS) + 0.5) / BLOCKS - 0.5
    y, x = (axis[there] for axis in np.meshgrid(middle, middle, indexing="ij"))
    level = blocks.means[there] / mean
    weight = np.sqrt(blocks.counts[there])
    design = np.column_stack([np.ones_like(x), y, x])
    fit = np.linalg.lstsq(design * weight[:, None], level * weight, rcond=None)[0]
    relative = blocks.noise / mean
    slopes = [math.sqrt(max(0.0, float(slope) ** 2 - 12 * relative**2)) for slope in fit[1:]]
    end_to_end = min(sum(slopes), 1.9)
    off = level - design @ fit
    by_noise = blocks.variance / mean**2 / blocks.counts[there]
    beside = math.sqrt(max(0.0, float(np.mean(off**2 - by_noise))))
    return math.log2((1 + end_to_end / 2) / (1 - end_to_end / 2)), beside / math.log(2)
