"""The colours of a sensor: which of them stands for the exposure, and what is neutral."""

from collections.abc import Sequence

import numpy as np


def main_color(colors: Sequence[str]) -> str:
    """The colour that stands for the exposure: green, else the one closest to luminance."""
    return next((c for c in ("green", "grey", "white", "yellow") if c in colors), colors[0])


def neutral_of(signals: Sequence[float], colors: Sequence[str]) -> tuple[float, ...] | None:
    """Signals of a neutral surface against that of the main colour; None where one is unknown."""
    values = np.asarray(signals, float)
    if len(values) != len(colors) or not (np.isfinite(values).all() and (values > 0).all()):
        return None
    main = values[colors.index(main_color(colors))]
    return tuple((values / main).tolist())
