"""In which order to offer several things that look alike: by what their levels would mean.

Whatever comes first, there is doubt: the trap that a white surface in too little light has the
level of a grey card cannot be told apart by anything in one picture. But one of two things that
are offered is measured, and that had better be the card.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

# Flat neutral things on a set, in stops from an 18 % card: white paper and board (70 to 90 %),
# black cloth and board (2 to 6 %), and greys of any kind. From memory; common practice, no source.
WHITE_STOPS, WHITE_SPREAD, WHITE_SHARE = 2.15, 0.35, 0.5
BLACK_STOPS, BLACK_SPREAD, BLACK_SHARE = -2.3, 0.6, 0.15
GREY_FROM, GREY_TO, GREY_SHARE = -2.0, 2.4, 0.35
ELSE_SHARE = 0.01  # a stop: lighter than white, or in other light
BELOW_WHITE, BELOW_SPREAD = 2.0, 1.0  # stops of a card below the lightest parts of a picture
ERROR_SPREAD = 1.1  # stop; exposures that went wrong


def order(
    levels: Sequence[float], looks: Sequence[float], expected: float | None, white: float
) -> NDArray[np.intp]:
    """Places of the things, the one that is most likely the card first.

    Parameters
    ----------
    levels : of each thing [stop of signal 1].
    looks : of each, what its looks say for it, as a logarithm.
    expected : level of a card if all went to plan; None where that is not known.
    white : level of the lightest parts of the picture.
    """
    level = np.asarray(levels, float)
    evidence = np.array(looks, float)
    if expected is not None:
        evidence = evidence - 0.5 * ((level - expected) / ERROR_SPREAD) ** 2
    evidence = evidence - 0.5 * ((white - level - BELOW_WHITE) / BELOW_SPREAD) ** 2
    for card in range(level.size):
        others = np.delete(level, card) - level[card]
        evidence[card] += np.log(_share_of_things(others)).sum()
    return np.argsort(-evidence, kind="stable")


def _share_of_things(stops: NDArray[np.float64]) -> NDArray[np.float64]:
    """How common flat neutral things are so many stops above an 18 % card [share a stop]."""
    white = WHITE_SHARE * _bell(stops, WHITE_STOPS, WHITE_SPREAD)
    black = BLACK_SHARE * _bell(stops, BLACK_STOPS, BLACK_SPREAD)
    grey = np.where(
        (stops >= GREY_FROM) & (stops <= GREY_TO), GREY_SHARE / (GREY_TO - GREY_FROM), 0.0
    )
    return np.asarray(white + black + grey + ELSE_SHARE)


def _bell(x: NDArray[np.float64], middle: float, spread: float) -> NDArray[np.float64]:
    """Normal density."""
    return np.asarray(np.exp(-0.5 * ((x - middle) / spread) ** 2) / (spread * np.sqrt(2 * np.pi)))
