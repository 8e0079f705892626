"""Values that no light gives: of floats in damaged files, and of damaged opcodes."""

import struct
from pathlib import Path

import numpy as np
import pytest
from small_files import (
    HEIGHT,
    LEVELS,
    LIST_2,
    UNDEFINED,
    WHOLE,
    WIDTH,
    random_codes,
    read,
    tag,
    write_dng,
    write_tiff,
)

from verify.errors import NotAFrame
from verify.frames.frame import Frame
from verify.frames.open import open_frame
from verify.measure import measure
from verify.target.records import Target


def in_floats(path: Path, low: float, high: float, share: float) -> Frame:
    """A float TIFF of two values in no order; ``share`` of them are ``high``."""
    high_ones = np.random.default_rng(1).random((HEIGHT, WIDTH)) < share
    write_tiff(path, np.where(high_ones, high, low))
    return open_frame(path, "linear")


@pytest.mark.parametrize(
    ("low", "high", "share", "says"),
    [
        (1e300, -1e300, 0.5, "100% of the box is not a number"),
        (0.1, 1e300, 0.5, "of the box is not a number"),
        (0.1, 1e7, 0.05, "of the box is not a number"),
        (-0.5, 1.5, 0.05, "clipped and below black at once"),
    ],
)
def test_floats_that_no_light_gives(
    low: float, high: float, share: float, says: str, tmp_path: Path
) -> None:
    frame = in_floats(tmp_path / "a.tif", low, high, share)
    with frame, pytest.raises(NotAFrame, match=says):
        measure(frame, Target(WHOLE, WHOLE.corners(), "given"))


def test_a_few_such_floats_are_left_out(tmp_path: Path) -> None:
    with in_floats(tmp_path / "a.tif", 0.125, -1e300, 0.005) as frame:
        patch = measure(frame, Target(WHOLE, WHOLE.corners(), "given"))
        assert patch.signal == pytest.approx(0.125, abs=1e-12)
        assert patch.bound is None
        assert "not-finite" in [doubt.warning for doubt in patch.doubts]
        assert frame.scene_mean() == pytest.approx(0.125, abs=1e-12)


def test_floats_of_next_to_nothing_are_black(tmp_path: Path) -> None:
    with in_floats(tmp_path / "a.tif", 1e-45, 1e-45, 0) as frame:
        assert measure(frame, Target(WHOLE, WHOLE.corners(), "given")).bound == "at-most"


def test_opcodes_that_no_light_bears(tmp_path: Path) -> None:
    area = struct.pack(">8I", 0, 0, HEIGHT, WIDTH, 0, 1, 1, 1)
    polynomial = area + struct.pack(">I2d", 1, 0.0, 1e300)
    opcode = struct.pack(">4I", 8, 0x01030000, 0, len(polynomial)) + polynomial
    listed = tag(LIST_2, UNDEFINED, struct.pack(">I", 1) + opcode)
    path = write_dng(tmp_path / "a.dng", random_codes(HEIGHT, WIDTH), *LEVELS, listed)
    assert np.isnan(read(path).signal).all()
