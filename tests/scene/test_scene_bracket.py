"""The change of light by scene between real frames whose shutter times are known."""

import math
import re
from collections import defaultdict
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from verify.frames.open import open_frame
from verify.scene.change import change_between
from verify.scene.records import Change
from verify.scene.tiles import tiles_of

NEAR, FAR = 1.4, 2.4  # stops between frames; neighbouring times, and those with one between them


class Pair(NamedTuple):
    """Two frames of a band."""

    change: Change  # with the stops of the times taken out: 0 is true
    apart: float  # stops between the times


@pytest.fixture(scope="module")
def pairs(real_frames: Path) -> list[Pair]:
    """Every two frames of each band of light."""
    name = re.compile(r"_(\d+)nm_(\d+)ms_")
    bands: dict[int, dict[int, Path]] = defaultdict(dict)
    for path in (real_frames / "bracket" / "frames").iterdir():
        band, time = map(int, name.search(path.name).groups())  # type: ignore[union-attr]
        bands[band][time] = path
    found = []
    for times in bands.values():
        shown = {}
        for time, path in times.items():
            with open_frame(path, "linear") as frame:
                shown[time] = tiles_of(frame)
        order = sorted(times)
        for short, long in [*pairwise(order), *zip(order, order[2:], strict=False)]:
            apart = math.log2(long / short)
            found.append(Pair(change_between(shown[short], shown[long], apart), apart))
    return found


def told(pairs: list[Pair], most: float) -> list[float]:
    return [
        pair.change.stops
        for pair in pairs
        if pair.change.majority and pair.change.stops is not None and pair.apart <= most
    ]


def test_changes_follow_the_shutter_times(pairs: list[Pair]) -> None:
    """The README beside the frames: patches follow the times with a deviation of 0.010, none above
    0.03; no dark frame is taken off here.
    """
    near = told(pairs, NEAR)
    assert len(near) >= 14
    assert np.abs(near).max() <= 0.02
    assert abs(np.mean(near)) <= 0.01
    far = told(pairs, FAR)
    assert len(far) >= 22
    assert np.abs(far).max() <= 0.04


def test_u_holds_the_truth(pairs: list[Pair]) -> None:
    for pair in pairs:
        if pair.change.majority:
            assert pair.change.stops is not None
            assert pair.change.u_stops is not None
            assert abs(pair.change.stops) <= 2 * pair.change.u_stops


def test_what_is_clipped_is_never_a_majority(pairs: list[Pair]) -> None:
    """Photosites clip while the mean of a cell is far below: of the longest times hardly a tile is
    left, and what is said then is a bound, or nothing.
    """
    bounds = [pair.change for pair in pairs if not pair.change.majority]
    assert len(bounds) >= 10
    for change in bounds:
        assert change.same_set is not False
        assert change.stops is None or (change.bound == "at-least" and change.stops <= 0.05)
