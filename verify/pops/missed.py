"""What a pop that fails costs, and up to how many pops that shows."""

import math

from scipy import stats

SURE = 0.95  # a count less likely than this is not told
MOST_COUNTED = 1000  # pops, as in a plan


def missed_stops(count: int, missed: int = 1) -> float:
    """What pops that fail cost of an exposure of ``count`` pops: log2((n - m)/n), 0 or less.

    Parameters
    ----------
    count : 1 or more.
    missed : below 0 for pops too many.
    """
    return math.log2((count - missed) / count) if count > missed else -math.inf


def most_by_tolerance(tolerance_stops: float) -> int:
    """The largest count in which one missed pop costs more than a tolerance (check-values 6.3)."""
    return math.ceil(1 / (1 - math.exp2(-tolerance_stops))) - 1


def most_tellable(scatter_stops: float, sure: float = SURE) -> int:
    """The largest count that the level of a frame gives right: the nearest whole number is it.

    Parameters
    ----------
    scatter_stops : standard deviation of a frame's light.
    sure : how often that is to be so, 0 to 1.
    """
    off = (
        float(stats.norm.ppf(0.5 + sure / 2)) * scatter_stops * math.log(2)
    )  # half a pop of n: 1/2n
    return int(1 / (2 * off)) if off > 0.5 / MOST_COUNTED else MOST_COUNTED
