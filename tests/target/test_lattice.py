"""Patches on a lattice: which is which, and the homography that says where all of them are."""

import numpy as np
import pytest
from numpy.typing import NDArray

from verify.target.lattice import (
    cell_sides,
    fitted,
    inverse,
    mapped,
    pitch_at,
    places,
    scaled,
)
from verify.target.patches import Patches, groups, linked

EXACT = 1e-9
TURNED = np.array([[20.0, -8, 100], [9, 18, 50], [0, 0, 1]])
TILTED = np.array([[24.0, -6, 100], [5, 22, 50], [0.02, 0.015, 1]])


def seen_patches(homography: NDArray[np.float64], columns: int = 6, rows: int = 4) -> Patches:
    """Patches of a lattice, each 0.86 of a pitch wide and high."""
    middles = np.array([(c + 0.5, r + 0.5) for r in range(rows) for c in range(columns)])
    sides = [0.86 * cell_sides(homography, (c, r)) for c, r in middles]
    return Patches(
        mapped(homography, middles),
        np.array([s @ s.T / 12 for s in sides]),
        np.array([abs(np.linalg.det(s)) for s in sides]),
    )


@pytest.mark.parametrize("homography", [TURNED, TILTED, np.diag([30.0, 15.0, 1])])
def test_every_patch_gets_its_place(homography: NDArray[np.float64]) -> None:
    patches = seen_patches(homography)
    steps = linked(patches)
    members, cells = places(patches, steps, groups(steps, 24, 24)[0])
    assert sorted(members) == list(range(24))
    found = {m: tuple(c) for m, c in zip(members, cells, strict=True)}
    # From anywhere and in any of four turns: steps along a row are all alike, as are those down.
    along = {tuple(np.subtract(found[n + 1], found[n])) for n in range(23) if n % 6 != 5}
    down = {tuple(np.subtract(found[n + 6], found[n])) for n in range(18)}
    assert len(along) == len(down) == 1
    (a, b), (c, d) = along.pop(), down.pop()
    assert (abs(a) + abs(b), abs(c) + abs(d), a * d - b * c) == (1, 1, 1)  # never mirrored


def test_a_patch_off_the_lattice_gets_no_place() -> None:
    patches = seen_patches(TURNED)
    patches.centres[23] += 0.4 * TURNED[:2, 0]
    steps = linked(patches)
    members, _ = places(patches, steps, list(range(24)))
    assert 23 not in members


@pytest.mark.parametrize("homography", [TURNED, TILTED])
def test_a_lattice_is_fitted_and_outliers_are_left_out(homography: NDArray[np.float64]) -> None:
    points = np.array([(c, r) for r in range(4) for c in range(6)], float)
    seen = mapped(homography, points)
    seen[[3, 17]] += 9
    found = fitted(points, seen, 1.0)
    assert found is not None
    assert np.flatnonzero(~found[1]).tolist() == [3, 17]
    assert mapped(found[0], points) == pytest.approx(mapped(homography, points), abs=1e-3)


def test_points_on_one_line_fit_nothing() -> None:
    points = np.array([(c, 0) for c in range(8)], float)
    assert fitted(points, mapped(TURNED, points), 1.0) is None


def test_points_there_and_back() -> None:
    points = np.array([[[0, 0], [6, 0]], [[6, 4], [0.5, 3.25]]])
    assert mapped(inverse(TILTED), mapped(TILTED, points)) == pytest.approx(points, abs=EXACT)


def test_a_larger_picture() -> None:
    point = np.array([2.5, 1.0])
    larger = mapped(scaled(TILTED, 8, (3, -2)), point)
    assert larger == pytest.approx(8 * mapped(TILTED, point) + (3, -2), abs=EXACT)


def test_sides_and_pitch_of_a_cell() -> None:
    assert cell_sides(TURNED, (1.5, 2.5)) == pytest.approx(TURNED[:2, :2], abs=EXACT)
    pitch = pitch_at(TURNED, np.array([1.5, 2.5]))
    assert pitch == pytest.approx(np.sqrt(20 * 18 + 8 * 9), rel=1e-4)  # corners as float32
