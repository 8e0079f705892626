"""A card off the axis: what falloff may cost there, and the flat frame that corrects it."""

import math
from dataclasses import replace

import numpy as np
import pytest
from memory_frames import EXACT, even, frame_of, middle, names, noisy, of_box, read, turned

from verify.frames.frame import Doubt, Frame, Settings
from verify.frames.geometry import Box
from verify.measure import measure
from verify.target.records import Target


@pytest.mark.parametrize(
    ("degrees", "stops"),
    [(10, 0.0883), (20, 0.3590), (30, 0.8301), (45, 2)],  # check-values 8.2
)
def test_cos4_where_the_card_stands(degrees: float, stops: float) -> None:
    # A photosite of 10 um and a lens of 20 mm: the box's middle 700 photosites off the axis.
    away = 700
    focal_mm = away * 0.01 / math.tan(math.radians(degrees))
    settings = Settings(focal_mm=focal_mm, pixel_pitch_um=10)
    frame = frame_of(even(size=(40, 1600)), settings)
    patch = of_box(frame, 800 + away - 20, 0, 40, 40)
    assert patch.u_terms["falloff"] == pytest.approx(stops, abs=5e-5)
    assert "off-centre" in names(patch)


@pytest.mark.parametrize(
    "known", [Settings(focal_mm=20.0), Settings(pixel_pitch_um=10.0), Settings()]
)
def test_a_lens_or_a_sensor_that_is_not_known_counts_as_normal(known: Settings) -> None:
    patch = of_box(frame_of(even(size=(40, 1600)), known), 1480, 0, 40, 40)
    tangent = 0.5 * 700 / math.hypot(20, 800)
    expected = -4 * math.log2(math.cos(math.atan(tangent)))
    assert patch.u_terms["falloff"] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("place", "off"), [(0.29, False), (0.31, True)])
def test_off_centre_starts_at_a_share_of_the_half_diagonal(place: float, off: bool) -> None:
    half = math.hypot(600, 800) / 2
    frame = frame_of(even(size=(600, 800)))
    patch = of_box(frame, round(400 + place * half) - 20, 280, 40, 40)
    assert ("off-centre" in names(patch)) is off
    # An unknown lens counts as a normal one, whose focal length is the picture's diagonal.
    normal = -4 * math.log2(math.cos(math.atan(place / 2)))
    assert patch.u_terms.get("falloff", 0) == pytest.approx(normal if off else 0, abs=0.002)


def test_a_flat_frame_takes_falloff_out() -> None:
    y, x = np.indices((240, 320))
    falloff = 1 / (1 + ((x - 159.5) ** 2 + (y - 119.5) ** 2) / 300**2) ** 2
    box = Box(230, 40, 60, 60)
    target = Target(box, box.corners(), "given")
    frame, flat = frame_of(0.12 * falloff), frame_of(0.4 * falloff)
    uncorrected = measure(frame, target)
    patch = measure(frame, target, flat)
    assert math.log2(uncorrected.signal / 0.12) < -0.35
    assert math.log2(patch.signal / 0.12) == pytest.approx(0, abs=0.005)
    assert "off-centre" in names(uncorrected)
    assert (names(patch), patch.steps[-1]) == ([], "flat frame")
    assert "falloff" not in patch.u_terms
    # What is left below clipping is the sensor's, and so is the noise in stops: the correction
    # moves both ends alike.
    assert patch.clips_at / patch.signal == pytest.approx(1 / uncorrected.signal, rel=1e-3)
    assert patch.u_terms["noise"] == pytest.approx(uncorrected.u_terms["noise"], rel=1e-3)
    for limit, near in ((0.13, False), (0.06, True)):  # the sensor is at 0.09, the card at 0.12
        limited = replace(frame_of(0.12 * falloff), linear_limit=limit)
        assert ("near-clipping" in names(measure(limited, target, flat))) is near
    limited = replace(frame_of(0.12 * falloff), linear_limit=0.1)
    assert "near-clipping" not in names(measure(limited, target, flat))


def test_a_flat_moves_the_card_and_what_is_unsure_alike() -> None:
    falloff = np.tile(np.linspace(1, 0.5, 320), (240, 1))
    box = Box(260, 100, 40, 40)
    target = Target(box, box.corners(), "given")
    doubt = Doubt("black-unsure", "", 0.002)
    frame = frame_of(0.12 * falloff, doubts=(doubt,), scene=0.3)
    plain, patch = measure(frame, target), measure(frame, target, frame_of(0.4 * falloff))
    brighter = patch.signal / plain.signal
    assert brighter > 1.2
    for term in ("black", "glare"):
        assert patch.u_terms[term] == pytest.approx(plain.u_terms[term], rel=EXACT)
    assert patch.black_shift == pytest.approx(0.002 * brighter, rel=0.01)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_flat_shot_with_the_camera_turned_lies_on_the_same_photosites(orientation: int) -> None:
    x = np.arange(320)
    falloff = np.tile(1 - 0.001 * x, (240, 1))
    frame = frame_of(0.12 * falloff)
    patch = measure(frame, middle(frame), turned(frame_of(0.4 * falloff), orientation))
    assert patch.gradient_stops == pytest.approx(0, abs=1e-3)


def test_a_flats_own_noise_is_in_u() -> None:
    frame, flat = frame_of(even(size=(400, 600))), frame_of(noisy(0.4, 0.02, size=(400, 600)))
    patch = read(frame, flat)
    centre = 30 * 20 // 2  # the greens of a twentieth of each side
    expected = 0.05 * math.hypot(1 / math.sqrt(centre), 1 / math.sqrt(1200)) / math.log(2)
    assert patch.u_terms["flat"] == pytest.approx(expected, rel=0.08)
    assert patch.u_terms["noise"] == pytest.approx(0, abs=EXACT)


@pytest.mark.parametrize(
    "flat",
    [
        frame_of(even(0.4, (160, 242))),  # another size
        frame_of(even(0.0)),  # black
        frame_of(noisy(0.0, 0.01)),
        frame_of(even(1.0)),  # clipped: it would say that the light was even
        frame_of(even(np.nan)),
        frame_of(even(0.4, (10, 10))),
    ],
)
def test_a_flat_that_does_not_fit(flat: Frame) -> None:
    patch = read(frame_of(even()), flat)
    assert names(patch) == ["flat-not-used"]
    assert patch.signal == pytest.approx(0.12, rel=EXACT)
    assert patch.steps == ("black", "scale to white")
