"""verify/frames/overview.py: where cells lie in the upright picture, and how it is shown."""

from typing import Any

import numpy as np
import pytest
from memory_frames import frame_of
from overviews import FLOATS, cell_means

from verify.frames.frame import Settings
from verify.frames.geometry import Size
from verify.frames.overview import Overview, Reduced, turned
from verify.simulate.camera import to_sensor


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("size", [(1205, 803), (802, 1206), (1200, 800), (97, 64)])
def test_what_is_seen_in_the_overview_is_at_its_place(
    size: tuple[int, int], orientation: int
) -> None:
    """A light block, put into the upright picture and turned by the simulator's own rules."""
    picture = np.zeros((size[1], size[0]))
    block = (size[0] // 8, size[1] // 3, size[0] // 4, size[1] // 9)  # col, row, width, height
    col, row, width, height = block
    picture[row : row + height, col : col + width] = 0.5
    stored = np.ascontiguousarray(to_sensor(picture, orientation))
    frame = frame_of(stored, Settings(orientation=orientation), pattern=None)
    overview = frame.overview()
    assert (frame.size.width, frame.size.height) == size
    # The middle of what is lighter, each cell counted by how much of it is. Cells at its edges
    # count at their middles, which is off by a hundredth of a pixel.
    more = np.asarray(overview.signal[..., 0], float)
    assert more.sum() * overview.cell**2 == pytest.approx(0.5 * width * height, rel=1e-6)
    middles = np.stack(np.meshgrid(*(np.arange(n) + 0.5 for n in more.shape[::-1])), axis=-1)
    seen = overview.to_upright((middles * more[..., None]).sum((0, 1)) / more.sum())
    assert seen == pytest.approx((col + width / 2, row + height / 2), abs=0.02)
    # Its first and last cells too, as nearly as cells tell.
    rows, cols = np.nonzero(more >= 0.25)
    first = overview.to_upright(np.array([cols.min(), rows.min()], float))
    last = overview.to_upright(np.array([cols.max() + 1, rows.max() + 1], float))
    assert first == pytest.approx((col, row), abs=overview.cell / 2 + 1e-6)
    assert last == pytest.approx((col + width, row + height), abs=overview.cell / 2 + 1e-6)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_mosaic_turned(orientation: int) -> None:
    """Every cell of a mosaic is where its own photosites are, each colour by itself."""
    signal = np.random.default_rng(2).uniform(0, 1, (87, 121))
    frame = frame_of(signal, Settings(orientation=orientation))
    overview = frame.overview()
    assert overview.cell == 2
    assert overview.colors == ("blue", "green", "red")
    assert np.abs(overview.signal - cell_means(frame, overview)).max() <= FLOATS
    left_over = {side % 2 for side in (frame.size.width, frame.size.height)}
    assert left_over == {1}
    at_start = [at == 1 for at in overview.corner]  # the odd line is the first, or the last
    mirrored = {1: (0, 0), 2: (1, 0), 3: (1, 1), 4: (0, 1), 5: (0, 0), 6: (1, 0), 7: (1, 1),
                8: (0, 1)}[orientation]  # fmt: skip
    assert at_start == [bool(m) for m in mirrored]


@pytest.mark.parametrize("orientation", range(1, 9))
def test_cells_to_pixels_and_back(orientation: int) -> None:
    reduced = Reduced(np.zeros((5, 7, 1), np.float32), ("grey",), 12.5, corner=(3.0, 4.5))
    overview = turned(reduced, Size(100, 80), orientation)
    points = np.random.default_rng(1).uniform(-3, 9, (4, 6, 2))
    assert overview.to_cells(overview.to_upright(points)) == pytest.approx(points, abs=1e-12)
    assert overview.to_upright(overview.to_cells(points)) == pytest.approx(points, abs=1e-12)
    assert overview.to_upright(np.zeros(2)) == pytest.approx(overview.corner)
    one = overview.to_upright(np.ones(2)) - overview.to_upright(np.zeros(2))
    assert one == pytest.approx((12.5, 12.5))


@pytest.mark.parametrize(
    ("orientation", "corner"),
    [
        (1, (3.0, 4.5)),
        (2, (100 - 3 - 7 * 12.5, 4.5)),
        (3, (100 - 3 - 7 * 12.5, 80 - 4.5 - 5 * 12.5)),
        (4, (3.0, 80 - 4.5 - 5 * 12.5)),
        (5, (4.5, 3.0)),
        (6, (80 - 4.5 - 5 * 12.5, 3.0)),
        (7, (80 - 4.5 - 5 * 12.5, 100 - 3 - 7 * 12.5)),
        (8, (4.5, 100 - 3 - 7 * 12.5)),
    ],
)
def test_where_the_first_cell_begins(orientation: int, corner: tuple[float, float]) -> None:
    """TIFF 6.0, Orientation: 2 mirrors columns, 3 turns by 180°, 4 mirrors rows, 5 to 8 swap."""
    reduced = Reduced(
        np.zeros((5, 7, 2), np.float32), ("red", "green"), 12.5, (0.5, 1.0), 0.75, (3.0, 4.5),
        "embedded",
    )  # fmt: skip
    overview = turned(reduced, Size(100, 80), orientation)
    assert overview.corner == pytest.approx(corner)
    assert overview.signal.shape[:2] == ((5, 7) if orientation < 5 else (7, 5))
    kept = overview.colors, overview.cell, overview.neutral, overview.clips_at, overview.made_from
    assert kept == (("red", "green"), 12.5, (0.5, 1.0), 0.75, "embedded")


def overview_of(signal: Any, colors: tuple[str, ...], neutral: Any = None) -> Overview:
    reduced = Reduced(np.asarray(signal, np.float32), colors, 1, neutral)
    return turned(reduced, Size(len(signal[0]), len(signal)), 1)


def test_a_neutral_surface_is_shown_grey() -> None:
    neutral = np.array([0.4, 1.0, 0.7])
    levels = np.array([[0.0, 0.1, 0.2], [0.4, 0.9, 0.9]])
    shown = overview_of(levels[..., None] * neutral, ("red", "green", "blue"), neutral).shown()
    assert shown.dtype == np.uint8
    assert shown.shape == (2, 3, 3)
    assert (shown == shown[..., :1]).all()
    assert shown[..., 0].tolist()[0][0] == 0
    assert shown[1, 2, 0] == 255
    assert (np.diff(shown[..., 0].ravel().astype(int)[:5]) > 0).all()
    # A gamma of 2.2: 0.2 of 0.9 is 129 of 255.
    assert shown[0, 2, 0] == pytest.approx(255 * (0.2 / 0.9) ** (1 / 2.2), abs=1)


def test_colours_are_shown_in_their_order() -> None:
    one = np.array([[[0.9, 0.5, 0.1]]])  # blue, green, red
    red, green, blue = overview_of(one, ("blue", "green", "red")).shown()[0, 0].tolist()
    assert red < green < blue


@pytest.mark.parametrize("colors", [("grey",), ("cyan", "magenta", "yellow", "green")])
def test_without_red_green_and_blue_all_is_grey(colors: tuple[str, ...]) -> None:
    signal = np.random.default_rng(1).uniform(0, 1, (4, 5, len(colors)))
    shown = overview_of(signal, colors).shown()
    assert shown.shape == (4, 5, 3)
    assert (shown == shown[..., :1]).all()


@pytest.mark.parametrize("level", [0.0, -0.01, 1e-6])
def test_a_black_picture_is_shown(level: float) -> None:
    shown = overview_of(np.full((4, 5, 1), level), ("grey",)).shown()
    assert shown.max() == (255 if level > 0 else 0)
