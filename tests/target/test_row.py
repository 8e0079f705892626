"""A row of touching patches: roughly from its pieces, then brought to its edges."""

import numpy as np
import pytest
from drawn_targets import Picture, Pose, exposed, in_stops, plain, seen, wedge
from numpy.typing import NDArray

from verify.target.lattice import cell_sides, mapped
from verify.target.patches import Patches
from verify.target.row import fit_row, level_at, rough_row

HEIGHT = 1.5
COUNT = 8
CORNERS = np.array([[0, 0], [COUNT, 0], [COUNT, 1], [0, 1]], float)
MIDDLES = np.array([(n + 0.5, 0.5) for n in range(COUNT)])


def wedge_and_truth(pose: Pose) -> tuple[Picture, NDArray[np.float64]]:
    """A wedge of eight steps in stops, and from its lattice to the picture."""
    picture, truth = seen(wedge(COUNT, 0.2, frame=0.9), plain(level=0.05), pose, HEIGHT)
    return in_stops(exposed(picture, noise=0.002)), truth


@pytest.mark.parametrize("pose", [Pose(0.6), Pose(0.6, 25, (20, -15)), Pose(0.5, 200)])
def test_a_shifted_row_comes_to_its_edges(pose: Pose) -> None:
    stops, truth = wedge_and_truth(pose)
    shift = np.array([[1.01, 0, 0.06], [0, 0.94, 0.02], [0, 0, 1]])
    found = fit_row(stops, truth @ shift, COUNT)
    assert found is not None
    assert np.abs(mapped(found.homography, CORNERS) - mapped(truth, CORNERS)).max() < 1.5
    assert found.residual < 0.015


@pytest.mark.parametrize("shrinks", [True, False])
def test_widths_and_heights_must_shrink_together(shrinks: bool) -> None:
    """Widths that shrink as in perspective are those of equal patches only if heights do too."""
    away = 0.05
    col = np.arange(750) + 0.5 - 60  # = 90 x / (1 + away x) at column x of the row
    x = col / (90 - away * col)
    row = np.arange(500)[:, None] + 0.5 - 200
    inside = (x > 0) & (x < COUNT) & (row > 0) & (row < 100 / (1 + away * x * shrinks))
    light = np.where(inside, 2.0 ** (-0.66 * np.floor(x) - 0.2), 0.05)
    picture = np.repeat(light[..., None], 3, axis=2).astype(np.float32)
    homography = np.array([[90 + 60 * away, 0, 60], [200 * away, 100, 200], [away, 0, 1.0]])
    found = fit_row(in_stops(exposed(picture, noise=0.002)), homography, COUNT)
    assert (found is not None) is shrinks


@pytest.mark.parametrize("by", [0, 6])
def test_all_borders_must_be_in_place(by: int) -> None:
    picture = plain(500, 750, 0.05)
    borders = 60 + 70 * np.arange(COUNT + 1)
    borders[3] += by
    for n in range(COUNT):
        picture[200:300, borders[n] : borders[n + 1]] = 2.0 ** (-0.66 * n - 0.2)
    homography = np.array([[70.0, 0, 60], [0, 100, 200], [0, 0, 1]])
    found = fit_row(in_stops(exposed(picture, noise=0.002)), homography, COUNT)
    assert (found is not None) is (by == 0)


def test_an_even_field_is_no_row() -> None:
    _, truth = wedge_and_truth(Pose(0.6))
    assert fit_row(in_stops(plain()), truth, COUNT) is None


@pytest.mark.parametrize("pose", [Pose(0.6, 10), Pose(0.6, 100, (20, 15))])
def test_a_row_from_its_pieces(pose: Pose) -> None:
    _, truth = wedge_and_truth(pose)
    sides = [cell_sides(truth, (n + 0.5, 0.5)) for n in range(COUNT)]
    lengths = np.linalg.norm(np.array(sides), axis=1)
    pieces = [s * (1 - 3 / length) for s, length in zip(sides, lengths, strict=True)]  # 3 px less
    patches = Patches(
        mapped(truth, MIDDLES),
        np.array([p @ p.T / 12 for p in pieces]),
        np.array([abs(np.linalg.det(p)) for p in pieces]),
    )
    rough = rough_row(patches, np.arange(COUNT))
    assert rough is not None
    assert np.abs(mapped(rough, CORNERS) - mapped(truth, CORNERS)).max() < 3


def test_pieces_of_many_heights_are_no_row() -> None:
    patches = Patches(
        np.array([(20.0 * n, 50) for n in range(COUNT)]),
        np.array([np.diag([20, 20 * 4 ** (n % 2)]) for n in range(COUNT)], float),
        np.full(COUNT, 200.0),
    )
    assert rough_row(patches, np.arange(COUNT)) is None


def test_levels_are_read_at_lattice_points() -> None:
    ramp = np.tile(np.arange(40, dtype=np.float32), (30, 1))
    homography = np.array([[10.0, 0, 2], [0, 10, 3], [0, 0, 1]])
    points = np.array([[[0.1, 0.5], [1.3, 0.5]]])
    assert level_at(ramp, homography, points) == pytest.approx(np.array([[2.5, 14.5]]))
    both = np.stack([ramp, -ramp], axis=-1)
    assert level_at(both, homography, points)[0, 1] == pytest.approx([14.5, -14.5])
