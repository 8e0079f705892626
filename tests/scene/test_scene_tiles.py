"""verify/scene/tiles.py: what a picture is reduced to, and what of it is marked as not usable."""

import numpy as np
import pytest
from memory_frames import even, frame_of, noisy
from scene_pictures import shot, wall

from verify.errors import NotAFrame
from verify.frames.frame import Doubt, Settings
from verify.scene.tiles import BLACK_U, grid_of, sums, tiles_of

HALF = 2.0**-11  # relative; cells are kept as floats of 16 bits


@pytest.mark.parametrize(
    ("rows", "cols", "grid"),
    [
        (128, 192, (16, 24)),
        (192, 128, (24, 16)),
        (150, 150, (20, 20)),
        (5, 7, (5, 7)),
        (1, 1, (1, 1)),
    ],
)
def test_tiles_are_about_square(rows: int, cols: int, grid: tuple[int, int]) -> None:
    assert grid_of(rows, cols) == grid


def test_every_cell_is_in_one_tile() -> None:
    cells = np.random.default_rng(1).uniform(0, 1, (131, 197))
    tiles = sums(cells, (16, 24))
    assert tiles.shape == (16, 24)
    assert tiles.sum() == pytest.approx(cells.sum())
    assert tiles[0, 0] == pytest.approx(cells[:9, :9].sum())


def test_an_even_picture() -> None:
    tiles = tiles_of(frame_of(even(0.12, (400, 600))))
    assert tiles.grid == (16, 24)
    assert tiles.colors == ("blue", "green", "red")
    assert tiles.cells.astype(float) == pytest.approx(0.12, rel=HALF)
    assert tiles.signal == pytest.approx(0.12, rel=1e-6)
    assert not tiles.lost.any()
    assert not tiles.floored.any()
    assert tiles.texture.max() < 1e-3
    assert (tiles.size.width, tiles.size.height) == (600, 400)


def test_noise_is_that_of_a_cell() -> None:
    """A cell of 4 x 4 photosites has 8 green ones."""
    tiles = tiles_of(frame_of(noisy(0.12, 0.01, size=(400, 600))))
    assert np.median(tiles.noise) == pytest.approx(0.01 / np.sqrt(8), rel=0.2)


def test_texture_is_the_spread_in_a_tile() -> None:
    assert np.median(shot(wall()).texture) > 0.1
    assert shot(even(0.1, (400, 600))).texture.max() < 0.05  # chance, of 64 cells


def test_what_clips_is_lost_and_what_is_beside_it() -> None:
    signal = even(0.12, (400, 600))
    signal[100:140, 200:240] = 1.0
    tiles = tiles_of(frame_of(signal))
    rows, cols = np.nonzero(tiles.lost)
    cell = 600 / tiles.lost.shape[1]
    assert rows.min() * cell <= 100 - cell + 1e-9
    assert cols.max() * cell >= 240 - 1e-9
    assert 0 < tiles.lost_share.mean() < 0.05


def test_single_clipped_photosites_are_seen_though_the_mean_is_low() -> None:
    """One colour of a narrow band of light clips, and nothing tells which photosites have it."""
    signal = even(0.1, (400, 600))
    signal[::2, ::2] = 1.0
    tiles = tiles_of(frame_of(signal, pattern=None))
    assert tiles.signal.max() < 0.4
    assert tiles.lost.all()


def test_photosites_at_the_lowest_code() -> None:
    """Of 8 bits: where half of them are at the lowest, the mean of 1 code is lifted."""
    codes = np.random.default_rng(1).integers(0, 3, (400, 600))
    dark = tiles_of(frame_of(codes / 255, pattern=None, floor=0.0, white=255.0, black=0.0))
    assert dark.floored.all()
    lighter = tiles_of(frame_of((codes + 40) / 255, pattern=None, floor=0.0))
    assert not lighter.floored.any()


def test_how_unsure_black_is() -> None:
    """Half a code, and what the file leaves in doubt."""
    assert shot(even(0.1, SMALL)).black_u == pytest.approx(max(0.5 / 15871, BLACK_U))
    doubts = (Doubt("black-unsure", signal=0.001),)
    assert shot(even(0.1, SMALL), doubts=doubts).black_u == pytest.approx(0.001, rel=1e-2)


SMALL = (60, 90)


def test_the_picture_is_upright() -> None:
    signal = even(0.05, (400, 600))
    signal[:, :100] = 0.4  # stored left; seen on top when the camera was turned (orientation 6)
    tiles = tiles_of(frame_of(signal, Settings(orientation=6)))
    assert tiles.grid == (24, 16)
    assert tiles.signal[0].min() > 0.3
    assert tiles.signal[-1].max() < 0.1


@pytest.mark.parametrize("size", [(2, 2), (3, 40), (9, 13), (40, 41)])
def test_small_pictures(size: tuple[int, int]) -> None:
    tiles = tiles_of(frame_of(even(0.1, size)))
    assert tiles.signal.shape[:2] == tiles.grid == tiles.noise.shape
    assert np.isfinite(tiles.signal).all()


def test_a_picture_too_small_is_refused() -> None:
    with pytest.raises(NotAFrame, match="too small"):
        tiles_of(frame_of(even(0.1, (1, 1))))
