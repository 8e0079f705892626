"""Light row by row: its way, its level and its uncertainty, things on the wall, refusals."""

import numpy as np
import pytest
from memory_frames import frame_of, noisy
from shot_walls import CAMERA, Taken

from verify.errors import FrameError
from verify.frames.frame import Settings
from verify.frames.geometry import Box
from verify.rows.profile import profile_of, row_profile, way_of

SLOW = 1 / 30  # nothing is cut


@pytest.mark.parametrize(
    ("size", "orientation", "edges"),
    [
        ((320, 480), 1, ("top", "bottom")),
        ((320, 480), 4, ("top", "bottom")),
        ((320, 480), 6, ("left", "right")),  # stored (rows, columns)
        ((320, 480), 8, ("left", "right")),
        ((480, 320), 1, ("left", "right")),  # stored upright: the short side is still the way
        ((400, 400), 1, ("top", "bottom")),
        ((400, 400), 6, ("left", "right")),  # square: along the stored rows
    ],
)
def test_the_way_of_the_curtains(
    size: tuple[int, int], orientation: int, edges: tuple[str, str]
) -> None:
    frame = frame_of(np.full(size, 0.2), Settings(orientation=orientation))
    assert way_of(frame) == edges
    assert row_profile(frame).edges == edges


def test_an_even_wall_is_even_and_its_uncertainty_is_that_of_the_mean() -> None:
    profile = row_profile(frame_of(noisy(0.2, 0.01, size=(320, 480))))
    assert profile.place[0] == pytest.approx(0.5 / len(profile.place))
    assert len(profile.place) == 160
    off = (profile.signal - 0.2) / profile.u_signal
    assert float(off.std()) == pytest.approx(1.0, abs=0.35)  # 24 strips say little of a deviation
    # Two greens in a cell of 2 x 2, 70 % of 240 cells: sums of independent noise.
    assert np.median(profile.u_signal) == pytest.approx(0.01 / np.sqrt(2 * 168), rel=0.3)


def test_light_from_the_side_is_taken_out() -> None:
    falling = np.exp2(np.linspace(0, -1, 480))[None] * np.full((320, 1), 0.3)
    profile = row_profile(frame_of(falling))
    assert np.ptp(profile.signal) < 1e-9
    assert profile.scatter_stops < 1e-9


def test_things_on_the_wall_do_not_move_it() -> None:
    bare = row_profile(Taken(SLOW).shot()[0])
    signal = Taken(SLOW).shot()[0].source.read(Box(0, 0, 480, 320)).signal.copy()
    signal[60:160, 100:220] *= 0.2
    signal[200:300, 300:400] *= 1.6
    hung = row_profile(frame_of(signal))
    assert np.abs(np.log2(hung.signal / bare.signal)).max() < 0.01


def test_clipped_rows_have_no_value() -> None:
    rows = np.full((320, 480), 0.3)
    rows[:30] = 1.0
    profile = row_profile(frame_of(rows))
    assert profile.clipped.nonzero()[0].tolist() == list(range(15))
    assert np.isnan(profile.signal[:15]).all()
    assert np.isfinite(profile.signal[15:]).all()


def test_a_few_clipped_photosites_do_not_lower_a_bin() -> None:
    """A strip with a clipped cell is left out, whatever the others of the bin say."""
    rows = np.full((320, 480), 0.3)
    rows[100:110, 200:210] = 1.0
    profile = row_profile(frame_of(rows))
    assert not profile.clipped.any()
    assert profile.signal == pytest.approx(0.3)


def test_a_card_gives_the_part_of_the_way_that_it_covers() -> None:
    profile = row_profile(frame_of(np.full((320, 480), 0.2)), Box(100, 80, 200, 160))
    assert profile.place[[0, -1]] == pytest.approx([81 / 320, 239 / 320])
    frame = frame_of(np.full((320, 480), 0.2), Settings(orientation=6))
    turned = row_profile(frame, Box(80, 100, 160, 200))
    assert turned.place[[0, -1]] == pytest.approx([81 / 320, 239 / 320])
    assert turned.edges == ("left", "right")


@pytest.mark.parametrize(
    ("signal", "box", "says"),
    [
        (np.full((320, 480), 0.2), Box(100, 80, 200, 100), "covers only 31% of the way"),
        (np.full((320, 480), 1.0), None, "100% of its rows are clipped"),
        (np.full((320, 480), 2e-4), None, "hardly any light"),
        (np.full((60, 90), 0.2), None, "only 30 rows to tell apart, and 40 are needed"),
    ],
)
def test_what_cannot_be_measured_says_why(signal: np.ndarray, box: Box | None, says: str) -> None:
    with pytest.raises(FrameError, match=says):
        row_profile(frame_of(signal), box)


def test_strips_without_any_value_are_a_profile_without_values() -> None:
    profile = profile_of(np.full((50, 8), np.nan), np.linspace(0, 1, 50), ("top", "bottom"))
    assert profile.clipped.all()
    assert np.isnan(profile.signal).all()


def test_the_simulated_camera_has_the_levels_of_memory_frames() -> None:
    assert (CAMERA.mean_black(), CAMERA.white) == (512, 16383)
