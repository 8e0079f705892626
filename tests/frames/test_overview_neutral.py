"""What a neutral surface gives, by what files say of the camera's white balance."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from overviews import COLS, ROWS
from small_files import (
    BYTE,
    LEVELS,
    RATIONAL,
    random_codes,
    tag,
    write_dng,
)

from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.simulate import camera as simulated
from verify.simulate.camera import CMYG, SIX_BY_SIX, CameraModel
from verify.simulate.dng import write_dng as write_simulated

NEUTRAL, PLANE_COLORS = 50728, 50710  # AsShotNeutral, CFAPlaneColor


def test_neutral_from_as_shot_neutral(tmp_path: Path) -> None:
    neutral = tag(NEUTRAL, RATIONAL, 2, 5, 4, 5, 3, 5)
    path = write_dng(tmp_path / "a.dng", random_codes(ROWS, COLS), *LEVELS, neutral)
    with open_frame(path) as frame:
        overview = frame.overview()
    assert overview.neutral == pytest.approx((0.5, 1, 0.75))
    expected = overview.signal / np.array([0.5, 1, 0.75])
    assert overview.balanced() == pytest.approx(expected, rel=1e-6)
    assert overview.balanced().dtype == np.float32


def test_neutral_in_the_order_of_the_planes(tmp_path: Path) -> None:
    """CFAPlaneColor says which number of AsShotNeutral belongs to which colour (blue first)."""
    path = write_dng(
        tmp_path / "a.dng", random_codes(ROWS, COLS), *LEVELS,
        tag(NEUTRAL, RATIONAL, 3, 5, 4, 5, 2, 5), tag(PLANE_COLORS, BYTE, bytes((2, 1, 0))),
    )  # fmt: skip
    with open_frame(path) as frame:
        assert frame.overview().neutral == pytest.approx((0.5, 1, 0.75))


@pytest.mark.parametrize(
    "tags",
    [
        (),
        (tag(NEUTRAL, RATIONAL, 2, 5, 0, 1, 3, 5),),
        (tag(NEUTRAL, RATIONAL, 2, 5, 0, 0, 3, 5),),
        (tag(NEUTRAL, RATIONAL, 2, 5, 1, 1),),
    ],
)
def test_what_says_nothing_of_neutral_is_not_guessed(tags: tuple[Any, ...], tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", random_codes(ROWS, COLS), *LEVELS, *tags)
    with open_frame(path) as frame:
        overview = frame.overview()
    assert overview.neutral is None
    assert overview.balanced() is overview.signal


def test_neutral_of_simulated_cameras(tmp_path: Path) -> None:
    for name, pattern in (("bayer", ("GR", "BG")), ("six", SIX_BY_SIX), ("cmyg", CMYG)):
        body = CameraModel(pattern=pattern, red_gain=0.4, blue_gain=0.8)
        path = write_simulated(
            tmp_path / f"{name}.dng", random_codes(ROWS, COLS), body, simulated.Settings()
        )
        with open_frame(path) as frame:
            overview = frame.overview()
        gains = [body.gain(color[0].upper()) for color in overview.colors]
        assert overview.neutral == pytest.approx(gains, rel=1e-5)


def test_neutral_of_real_files(real_frames: Path) -> None:
    folder = real_frames / "raw"
    chart = folder / "canon550d_magiclantern_colorchecker.dng"
    with tifffile.TiffFile(chart) as file:
        first = file.pages.first
        values = np.array(first.tags[NEUTRAL].value, float).reshape(-1, 2)
    stated = values[:, 0] / values[:, 1]
    with open_frame(chart) as frame:
        assert frame.overview().neutral == pytest.approx(stated / stated[1], rel=1e-9)
    # A mosaic of green, magenta, cyan and yellow: the gains that LibRaw 0.22 reads from the file,
    # in its own order GMCY, are those of the camera's white balance.
    with open_frame(folder / "RAW_CANON_G1.CRW") as frame:
        overview = frame.overview()
    gains = {"green": 1307, "magenta": 1274, "cyan": 838, "yellow": 857}
    expected = [1307 / gains[color] for color in overview.colors]
    assert overview.neutral == pytest.approx(expected, rel=1e-6)


def test_grey_paving_is_grey_by_the_cameras_white_balance(real_frames: Path) -> None:
    with open_frame(real_frames / "raw" / "RAW_NIKON_D1.NEF") as frame:
        overview = frame.overview()
        region = frame.signal(Box(1568, 800, 64, 64))  # shared/frames/README.md
    first, last = overview.to_cells(np.array([[1568, 800], [1632, 864]], float)).astype(int)
    seen = overview.balanced()[first[1] : last[1], first[0] : last[0]].mean((0, 1))
    assert np.log2(seen / seen[1]) == pytest.approx((0, 0, 0), abs=0.15)
    green = overview.colors.index("green")
    expected = float(region.values("green", "signal").mean())
    assert overview.signal[first[1] : last[1], first[0] : last[0], green].mean() == pytest.approx(
        expected, abs=0.5 / 4095
    )
