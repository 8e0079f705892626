"""Simulated walls: how much of a pulse each row got, in closed form, and where it is seen."""

import numpy as np
import pytest

from verify.simulate.camera import CameraModel, Settings
from verify.simulate.wall import DEEPEST, CutFlash, Thing, Wall, WallShot, shoot_wall

CAMERA = CameraModel()
ROWS = np.array([0.0, 0.5, 1.0])
CODE = 1 / (16383 - 512)  # signal of one DN


def signal(shot: WallShot) -> np.ndarray:
    """Green photosites of the even rows, as stored (rows, columns)."""
    return (shot.mosaic[::2, 1::2] - 512.0) * CODE


@pytest.mark.parametrize(
    ("shutter_s", "tenth", "lost"),
    [
        (0.004, 250, [1.192, 0.391, 0.152]),
        (0.004, 500, [0.548, 0.084, 0.015]),
        (0.005, 500, [0.152, 0.026, 0.005]),
        (0.00625, 250, [0.241, 0.097, 0.040]),
    ],
)
def test_losses_of_a_decaying_pulse(shutter_s: float, tenth: float, lost: list[float]) -> None:
    """Check-values 3.7: travel of 3 ms."""
    flash = CutFlash(travel_s=0.003, t_tenth_s=1 / tenth)
    assert flash.losses(shutter_s, ROWS) == pytest.approx(lost, abs=6e-4)


def test_losses_of_a_pulse_of_even_strength() -> None:
    """A rectangle of 2 ms: a row open for 1 ms gets half (check-values 3.3)."""
    flash = CutFlash(travel_s=0.003, t_tenth_s=0.002, kind="cut")
    assert flash.losses(0.004, np.array([0.0, 1 / 3, 1.0])) == pytest.approx([1, 0, 0], abs=1e-9)
    assert flash.losses(0.002, np.array([0.0]))[0] == DEEPEST


@pytest.mark.parametrize(
    ("travel_s", "shutter", "blocked"),
    [(0.004, 320, 0.2188), (0.004, 1000, 0.75), (0.0025, 400, 0)],
)
def test_what_is_covered_before_the_flash(travel_s: float, shutter: int, blocked: float) -> None:
    """Check-values 3.7; a delay takes the place of so much of the shutter time."""
    assert CutFlash(travel_s).blocked(1 / shutter) == pytest.approx(blocked, abs=1e-4)
    late = CutFlash(travel_s, delay_s=0.0005)
    assert late.blocked(1 / shutter + 0.0005) == pytest.approx(blocked, abs=1e-4)


@pytest.mark.parametrize(
    ("orientation", "edge"),
    [(1, "top"), (2, "top"), (3, "bottom"), (4, "bottom"), (5, "left"), (6, "right"), (7, "right"),
     (8, "left")],
)  # fmt: skip
def test_the_rows_that_are_covered_first_are_the_stored_ones(orientation: int, edge: str) -> None:
    """TIFF 6.0, tag 274: where the 0th row is seen."""
    size = (120, 80) if orientation < 5 else (80, 120)
    settings = Settings(shutter_s=1 / 500, orientation=orientation)
    shot = shoot_wall(Wall(size), CutFlash(t_tenth_s=1e-4), CAMERA, settings)
    rows = signal(shot).mean(axis=1)
    assert rows[0] == pytest.approx(0, abs=CODE)
    assert rows[-1] == pytest.approx(0.4, abs=CODE)
    assert shot.truth.edge == edge
    other = shoot_wall(
        Wall(size), CutFlash(t_tenth_s=1e-4, covered_first="bottom"), CAMERA, settings
    )
    assert {shot.truth.edge, other.truth.edge} in ({"top", "bottom"}, {"left", "right"})
    assert signal(other).mean(axis=1)[-1] == pytest.approx(0, abs=CODE)


def test_falloff_of_lamp_and_lens() -> None:
    """The ratio of the edges is what was asked for; cos^4 loses in the corner what it is to."""
    slow = Settings(shutter_s=1 / 30)
    lamp = signal(shoot_wall(Wall(lamp_stops=1.0), CutFlash(), CAMERA, slow))
    middle = lamp[len(lamp) // 2]
    assert np.log2(middle[-1] / middle[0]) == pytest.approx(1.0, abs=0.02)
    lens = signal(shoot_wall(Wall(lens_stops=0.8), CutFlash(), CAMERA, slow))
    assert np.log2(lens.max() / lens[0, 0]) == pytest.approx(0.8, abs=0.02)
    below = signal(shoot_wall(Wall(lamp_stops=1.0, lamp_deg=90), CutFlash(), CAMERA, slow))
    assert below[-1, 120] > 1.8 * below[0, 120]


def test_a_thing_the_room_and_the_pop() -> None:
    slow = Settings(shutter_s=1 / 32)
    thing = Thing((0.5, 0.5, 0.25, 0.25), 0.5)
    wall = Wall(signal=0.3, things=(thing,))
    found = signal(shoot_wall(wall, CutFlash(), CAMERA, slow))
    assert (found[0, 0], found[100, 150]) == pytest.approx((0.3, 0.15), abs=CODE)
    room = CutFlash(ambient_per_s=8.0)
    lit = signal(shoot_wall(wall, room, CAMERA, slow, pop_stops=1.0))
    assert lit[0, 0] == pytest.approx(0.3 * (2 + 8 / 32), rel=0.01)
