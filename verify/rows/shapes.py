"""What a shutter leaves of a flash, row by row, as curves with few parameters.

x runs along the short side from the edge that is covered first, 0, to the opposite one, 1. Every
row gets a share of the flash and, added to it, a share that no shutter takes: the room's light.

- "tail": a pulse that decays. A row that is open for the time s from the first light gets
  1 - exp(-s/tau) of it, and s grows along the way: 1 - exp(-(a + k x)), with k = travel/tau; rows
  before -a/k get nothing.
- "ramp": a pulse of even strength, or a short one: nothing up to a place, then more and more of it
  over a width, then all.
- "bell": a pulse that rises and falls alike, or a short one behind a curtain whose edge is not
  sharp on the sensor: the running share of a normal curve, which begins two of its deviations
  before the middle.

References
----------
check-values 3.6 and 3.7; the geometry of a focal-plane shutter.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]
Share = Callable[[Array, Array], Array]

BELL_BEFORE = 2.0  # deviations before its middle; 2.3 % of its light is out by then
FLOOR_SHARE = 1e-4  # of the light; a row that gets less is at 13 stops, which no frame shows


@dataclass(frozen=True, slots=True)
class Shape:
    """A family of curves: where the light begins, the logarithm of how fast, and the room's share.

    Before the place where it begins, from 0 to 1, rows get nothing of the flash.
    """

    share: Share  # (x, parameters) to the share of the flash, 0 to 1; parameters (2, ...)
    lowest: tuple[float, float]  # of the parameters
    highest: tuple[float, float]
    seeds: Array  # (2, curves) to start a fit from


def _tail(x: Array, parameters: Array) -> Array:
    """1 - exp(-(k (x - b))): b is where it begins, and the logarithm of k is fitted."""
    begins, log_k = parameters
    since = np.exp(log_k) * np.maximum(x - begins, 0.0)
    return np.asarray(-np.expm1(-since))


def _ramp(x: Array, parameters: Array) -> Array:
    """Rising from 0 at b to 1 a width later, whose logarithm is fitted."""
    begins, log_width = parameters
    return np.asarray(np.clip((x - begins) / np.exp(log_width), 0.0, 1.0))


def _bell(x: Array, parameters: Array) -> Array:
    """Running share of a normal curve that begins at b, and the logarithm of whose deviation."""
    begins, log_deviation = parameters
    return np.asarray(ndtr((x - begins) / np.exp(log_deviation) - BELL_BEFORE))


def _grid(begins: Array, logs: Array) -> Array:
    """All pairs of two parameters, (2, pairs)."""
    return np.array(np.meshgrid(begins, logs)).reshape(2, -1)


TAIL = Shape(
    _tail,
    (-4.0, np.log(0.3)),
    (0.99, np.log(200.0)),
    np.column_stack(
        [
            _grid(np.arange(0.0, 0.95, 0.04), np.log(np.geomspace(1, 100, 7))),
            _grid(-np.geomspace(0.03, 3, 10), np.log(np.geomspace(0.5, 8, 8))),
        ]
    ),
)
RAMP = Shape(
    _ramp,
    (-4.0, np.log(0.004)),
    (0.99, np.log(6.0)),
    np.column_stack(
        [
            _grid(np.arange(0.0, 0.95, 0.02), np.log(np.geomspace(0.01, 1, 6))),
            _grid(-np.geomspace(0.03, 2, 8), np.log(np.geomspace(0.1, 4, 8))),
        ]
    ),
)
BELL = Shape(
    _bell,
    (-4.0, np.log(0.002)),
    (0.99, np.log(2.0)),
    np.column_stack(
        [
            _grid(np.arange(0.0, 0.95, 0.04), np.log(np.geomspace(0.005, 0.4, 7))),
            _grid(-np.geomspace(0.03, 2, 10), np.log(np.geomspace(0.05, 1, 8))),
        ]
    ),
)
SHAPES = (TAIL, RAMP, BELL)


def light(shape: Shape, x: Array, parameters: Array) -> Array:
    """Share of the light in rows at x, by (begin, logarithm, room's share)."""
    room = parameters[2]
    return np.asarray(room + (1 - room) * shape.share(x, parameters[:2]))


def lost(shape: Shape, x: Array, parameters: Array) -> Array:
    """Stops of light lost in rows at x, 0 or more."""
    return np.asarray(-np.log2(np.maximum(light(shape, x, parameters), FLOOR_SHARE)))
