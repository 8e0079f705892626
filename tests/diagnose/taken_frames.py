"""Frames as they were checked, with pictures in tiles, for the tests of series."""

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from readings import AS_PLANNED, checked, set_up

from verify.compare import FrameCheck
from verify.diagnose.from_check import Taken
from verify.frames.geometry import Size
from verify.scene.records import Tiles

NOON = datetime(2026, 3, 4, 12, 0, 0)
SETUP = set_up()


def tiles(stops: float = 0.0, seed: int = 1) -> Tiles:
    """A picture in tiles, so many stops lighter than another of the same seed."""
    rng = np.random.default_rng(seed)
    grid, cells = (16, 24), (128, 192)
    level = rng.uniform(0.02, 0.3, grid)
    signal = level * 2**stops
    full = np.kron(signal, np.ones((8, 8)))[..., None].astype(np.float16)
    assert full.shape[:2] == cells
    return Tiles(
        Size(1920, 1280), ("green",), full, np.zeros(cells, bool), signal[..., None],
        np.zeros(grid), np.zeros(grid, bool), np.full(grid, 1e-4), np.zeros(grid), 3e-5,
    )  # fmt: skip


def card(number: int, stops: float, seconds: float | None = None) -> FrameCheck:
    """A frame whose card got so many stops more than the reference."""
    settings = AS_PLANNED
    if seconds is not None:
        settings = replace(settings, captured=NOON + timedelta(seconds=seconds))
    check = checked(settings=settings)
    return replace(
        check, file=Path(f"a_{number:04d}.dng"), difference_stops=stops, repeat_u_stops=0.02,
        size=Size(1920, 1280),
    )  # fmt: skip


def bare(number: int, seconds: float | None = None) -> FrameCheck:
    """A frame without a card."""
    whole = card(number, 0.0, seconds)
    return replace(whole, patch=None, difference_stops=None, problem="no card was found in it")


def taken(check: FrameCheck, picture: Tiles | None = None, body: str = "TW-7 1") -> Taken:
    return Taken(check, SETUP, body, picture)
