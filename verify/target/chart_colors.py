"""The colours of the 24-patch chart, and how well those of 24 patches of a picture agree.

No picture has the published colours: the light, the camera's colours and the exposure stand
between. All of them together are close to one 3 x 3 matrix on linear light, which is fitted; what
it cannot explain tells a chart from any other row of patches.
"""

import numpy as np
from numpy.typing import NDArray

ROWS, COLUMNS = 4, 6
NEUTRALS = (18, 19, 20, 21, 22, 23)  # the last row, white to black
NEUTRAL_NAMES = (
    "white 9.5",
    "neutral 8",
    "neutral 6.5",
    "neutral 5",
    "neutral 3.5",
    "black 2",
)
GAMMA = 2.2  # of the picture
CLIPPED = 250  # code from which on a colour may be cut off
FEWEST = 14  # patches that are not clipped
OUTLIERS = 3  # patches that may be covered or shine
UNLIKE = 0.06  # share of white in the cube root, on which lightness goes; a chart gives < 0.02
NEUTRAL_WITHIN = 0.25  # stop of red or blue against green, from one neutral to the other
STEP_WITHIN = (0.4, 1.8)  # of the published step from one neutral to the next
HUE_WITHIN = 45.0  # degree
COLOURFUL = 0.05  # of white: how far from grey a patch must be published for its hue to count
LEAST_VIVID = 0.15  # of the published distance from grey; a camera's own colours are paler
RIGHT_SHARE = 0.8  # of the colourful patches

# Chromaticity x, y and luminous reflectance Y of the patches row by row, under D50: the set of
# 2005, as the dataset of 24-patch charts in colour-science 0.4.7 gives it.
PUBLISHED_XYY = np.array([
    [0.4316, 0.3777, 0.1008], [0.4197, 0.3744, 0.3495], [0.2760, 0.3016, 0.1836],
    [0.3703, 0.4499, 0.1325], [0.2999, 0.2856, 0.2304], [0.2848, 0.3911, 0.4178],
    [0.5295, 0.4055, 0.3118], [0.2305, 0.2106, 0.1126], [0.5012, 0.3273, 0.1938],
    [0.3319, 0.2482, 0.0637], [0.3984, 0.5008, 0.4446], [0.4957, 0.4427, 0.4357],
    [0.2018, 0.1692, 0.0575], [0.3253, 0.5032, 0.2318], [0.5686, 0.3303, 0.1257],
    [0.4697, 0.4734, 0.5981], [0.4159, 0.2688, 0.2009], [0.2131, 0.3023, 0.1930],
    [0.3469, 0.3608, 0.9131], [0.3440, 0.3584, 0.5894], [0.3432, 0.3581, 0.3632],
    [0.3446, 0.3579, 0.1915], [0.3401, 0.3548, 0.0883], [0.3406, 0.3537, 0.0311],
])  # fmt: skip
_X, _Y, _LUMINOUS = PUBLISHED_XYY.T
PUBLISHED = np.stack([_X / _Y * _LUMINOUS, _LUMINOUS, (1 - _X - _Y) / _Y * _LUMINOUS], axis=1)
# Tristimulus values under D50 (row vectors) to linear sRGB, adapted by Bradford's method: as
# colour-science 0.4.7 computes it.
_TO_RGB = np.array([
    [3.1338, -0.9784, 0.0720], [-1.6170, 1.9160, -0.2290], [-0.4907, 0.0334, 1.4058],
])  # fmt: skip
_WEIGHT = (_LUMINOUS + 0.02) ** (-2 / 3)  # makes errors count as on the cube root


def unlikeness(colors: NDArray[np.float64]) -> float:
    """What the published colours cannot explain of 24 patches, as a share of white.

    Parameters
    ----------
    colors : (24, 3) mean codes, 0 to 255, gamma-encoded, row by row from dark skin.

    Returns
    -------
    Root mean square on the cube root of linear light, the worst patches left out; 0 for a perfect
    chart, infinity where most is clipped.
    """
    light = (colors / 255) ** GAMMA
    usable = np.asarray(colors < CLIPPED)
    if (usable.sum(0) < FEWEST).any():
        return float("inf")
    off = _unexplained(light, usable)
    worst = np.argsort(-(off**2).mean(1))[:OUTLIERS]
    usable[worst] = False
    if (usable.sum(0) < FEWEST - OUTLIERS).any():
        return float("inf")
    off = _unexplained(light, usable)[usable.any(1)]
    return float(np.sqrt((off**2).mean()))


def _unexplained(light: NDArray[np.float64], usable: NDArray[np.bool_]) -> NDArray[np.float64]:
    """What the best matrix leaves of the usable colours, on the cube root, as shares of white."""
    explained = np.empty_like(light)
    for channel in range(3):
        use = usable[:, channel]
        weight = _WEIGHT[use]
        column = np.linalg.lstsq(
            PUBLISHED[use] * weight[:, None], light[use, channel] * weight, rcond=None
        )[0]
        explained[:, channel] = np.cbrt(np.maximum(PUBLISHED @ column, 0))
    white = np.maximum(explained[NEUTRALS[0]], 1e-3)
    return np.where(usable, (explained - np.cbrt(light)) / white, 0)


def neutral_and_falling(colors: NDArray[np.float64]) -> bool:
    """Whether the six neutrals have one colour and fall in level about as published."""
    neutral = colors[list(NEUTRALS)]
    stops = np.log2(np.maximum((neutral / 255) ** GAMMA, 1e-6))
    whole = np.all(neutral < CLIPPED, axis=1)
    if whole.sum() < 3:
        return False
    # The darkest one is left out: a little stray light gives it any colour.
    tint = (stops[:, [0, 2]] - stops[:, [1]])[:-1][whole[:-1]]
    if np.abs(tint - np.median(tint, axis=0)).max() > NEUTRAL_WITHIN:
        return False
    published = np.log2(PUBLISHED[list(NEUTRALS), 1])
    least, most = STEP_WITHIN
    share = np.diff(stops[:, 1]) / np.diff(published)
    counts = whole[:-1]  # from a clipped patch the step says nothing
    return bool(((share > least) & (share < most))[counts].all())


def hues_in_order(colors: NDArray[np.float64]) -> bool:
    """Whether the colourful patches have about the published hues against the neutrals.

    The matrix alone would also let a grey chart pass, or one with its colours turned.
    """
    light = (colors / 255) ** GAMMA
    neutral = light[[20, 21]].mean(0) / PUBLISHED[[20, 21], 1].mean()
    seen = _opponent(light / np.maximum(neutral, 1e-6))
    published = _opponent(PUBLISHED @ _TO_RGB)
    chosen = (np.hypot(*published.T) > COLOURFUL) & np.all(colors < CLIPPED, axis=1)
    if chosen.sum() < FEWEST - len(NEUTRALS):
        return False
    turned = np.arctan2(*published[chosen].T) - np.arctan2(*seen[chosen].T)
    apart = np.abs((np.degrees(turned) + 180) % 360 - 180)
    vivid = np.hypot(*seen[chosen].T) > LEAST_VIVID * np.hypot(*published[chosen].T)
    return bool(((apart < HUE_WITHIN) & vivid).mean() > RIGHT_SHARE)


def _opponent(rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    """Red against green, and yellow against blue, of linear colours (n, 3)."""
    red, green, blue = rgb.T
    return np.stack([red - green, (red + green) / 2 - blue], axis=1)
