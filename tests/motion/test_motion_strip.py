"""verify/motion/strip.py: an edge that moves, by the flash and by the ambient light.

Expected values are derived: the edge response is the running share of the pulse laid along the
path, the mean over each pixel. An exponential's blur is exp(-x / a) / a (check-values 7.4).
"""

import math

import numpy as np
import pytest

from verify.motion.records import Ghost
from verify.motion.strip import (
    DARK_ON_GREY,
    LIGHT_ON_BLACK,
    Scene,
    Trail,
    edge_strip,
    narrowest_from_s,
    trail_of,
)
from verify.pulse.records import Course
from verify.pulse.shutter import light_out

WHITE = Scene(subject=1.0, ground=0.0)
RECTANGLE = Course(np.array([0.0, 1e-3]), np.ones(2))
TIME_S = np.linspace(0, 0.02, 20_001)
EXPONENTIAL = Course(TIME_S, np.exp(-TIME_S / 1e-3))
PITCH_UM = 4.0
COARSE = 1e-6  # of a share: steps of the running sum


def test_a_rectangle_is_a_ramp() -> None:
    # 10 px/ms: it covers pixel n for 1 - (n + 0.5) / 10 of the light.
    strip = edge_strip(RECTANGLE, 1e4 * PITCH_UM, PITCH_UM, -3, 16, scene=WHITE)
    expected = np.clip(1 - (strip.left_px + 0.5) / 10, 0, 1)
    expected[:3] = 1
    assert strip.flash == pytest.approx(expected)
    assert strip.left_px.tolist() == list(range(-3, 13))


def test_an_exponential_falls_as_it_does() -> None:
    a = 7.0  # [px], speed x time constant
    strip = edge_strip(EXPONENTIAL, a * 1e3 * PITCH_UM, PITCH_UM, 0, 40, scene=WHITE)
    left = strip.left_px
    expected = a * (np.exp(-left / a) - np.exp(-(left + 1) / a))
    assert strip.flash == pytest.approx(expected, abs=COARSE)


def test_what_is_much_finer_than_a_pixel_is_sharp_but_for_its_mean() -> None:
    a = 0.01
    strip = edge_strip(EXPONENTIAL, a * 1e3 * PITCH_UM, PITCH_UM, -2, 5, scene=WHITE)
    assert strip.flash == pytest.approx([1, 1, a, 0, 0], abs=COARSE)


def test_what_stands_still_is_sharp() -> None:
    strip = edge_strip(EXPONENTIAL, 1e6, PITCH_UM, -3, 6)
    assert strip.still.tolist() == [0.9, 0.9, 0.9, 0, 0, 0]


def test_cells_of_several_pixels_are_their_means() -> None:
    fine = edge_strip(EXPONENTIAL, 2e4, PITCH_UM, -8, 40)
    wide = edge_strip(EXPONENTIAL, 2e4, PITCH_UM, -8, 10, 4)
    assert wide.flash == pytest.approx(fine.flash.reshape(10, 4).mean(axis=1))
    assert wide.left_px.tolist() == list(range(-8, 32, 4))


def test_light_is_conserved() -> None:
    trail = Trail(level=0.25, length_px=40.0, subject_px=12.5)
    strip = edge_strip(EXPONENTIAL, 8e3, PITCH_UM, -80, 240, scene=WHITE, trail=trail)
    assert strip.both is not None
    assert strip.still.sum() == pytest.approx(12.5)
    assert strip.flash.sum() == pytest.approx(12.5)
    assert (strip.both - strip.flash).sum() == pytest.approx(0.25 * 12.5)


@pytest.mark.parametrize(("subject_px", "cover"), [(10.0, 0.25), (100.0, 1.0), (math.inf, 1.0)])
def test_a_trail_has_its_level_and_its_length(subject_px: float, cover: float) -> None:
    trail = Trail(level=0.125, length_px=40.0, subject_px=subject_px)
    strip = edge_strip(EXPONENTIAL, 8e3, PITCH_UM, -150, 240, scene=WHITE, trail=trail)
    assert strip.both is not None
    ambient = strip.both - strip.flash
    assert ambient.max() == pytest.approx(0.125 * cover)
    lit = strip.left_px[ambient > 1e-9]
    assert lit[-1] + 1 == 40
    assert lit[0] == (-subject_px if math.isfinite(subject_px) else -150)
    # It thins over the last part, where the subject stands for a while only: derived.
    at = strip.left_px == 39
    assert ambient[at] == pytest.approx(0.125 * 0.5 / 40)


def test_a_dark_subject_takes_light_from_the_ground() -> None:
    trail = Trail(level=0.25, length_px=20.0, subject_px=5.0)
    strip = edge_strip(EXPONENTIAL, 1e3, PITCH_UM, -40, 80, scene=DARK_ON_GREY, trail=trail)
    assert strip.both is not None
    assert strip.both.max() == pytest.approx(0.18 * 1.25)
    at = strip.left_px == 10
    assert strip.both[at] == pytest.approx(0.18 * (1 + 0.25 * (1 - 0.25)))
    assert strip.still.min() == 0


def test_no_trail_without_its_length_or_its_strength() -> None:
    assert trail_of(None) is None
    assert trail_of(Ghost(4.0)) is None
    assert trail_of(Ghost(4.0, trail_px=30.0)) is None
    assert trail_of(Ghost(4.0, trail_px=0.0, strength=0.1)) is None
    assert edge_strip(RECTANGLE, 1e4, PITCH_UM, 0, 4).both is None


def test_the_strength_tells_the_subjects_length() -> None:
    thinned = trail_of(Ghost(2.0, trail_px=80.0, strength=0.25 * 0.3))
    assert thinned is not None
    assert (thinned.level, thinned.subject_px) == pytest.approx((0.25, 24.0))
    whole = trail_of(Ghost(2.0, trail_px=80.0, strength=0.25))
    assert whole == Trail(0.25, 80.0, math.inf)


def test_where_most_of_the_light_falls() -> None:
    time_s = np.array([0.0, 1.0, 1.0 + 1e-9, 2.0, 2.0 + 1e-9, 3.0])
    late = Course(time_s, np.array([0.1, 0.1, 1.0, 1.0, 0.1, 0.1]))
    assert narrowest_from_s(light_out(late.time_s, late.value)) == pytest.approx(1.0, abs=0.05)
    begin = narrowest_from_s(light_out(EXPONENTIAL.time_s, EXPONENTIAL.value))
    assert begin == 0


def test_a_strip_needs_light() -> None:
    with pytest.raises(ValueError, match="no light"):
        edge_strip(Course(np.arange(3.0), np.zeros(3)), 1e4, PITCH_UM, 0, 4, scene=LIGHT_ON_BLACK)
