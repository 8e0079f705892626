"""verify/ambient: the card by ambient light at other settings, and what of a signal is flash."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from readings import patch

from verify.ambient.reading import (
    AmbientReading,
    ambient_reading,
    ambient_warnings,
    flash_part,
)
from verify.errors import NotAFrame
from verify.frames.frame import Settings

FILE = Path("room.dng")
SHOT = Settings(model="TW-7", lens="one", f_number=11.0, iso=100.0, shutter_s=0.25)
"""The frame of the room."""


def room(signal: float = 0.01, at_most: bool = False) -> AmbientReading:
    return AmbientReading(FILE, signal, signal / 20, 2**3.5, 100.0, 0.25, at_most, "TW-7", "one")


@pytest.mark.parametrize(
    ("n", "iso", "shutter_s", "factor"),
    [
        (2**3.5, 100.0, 0.25, 1.0),
        (8.0, 100.0, 0.25, 2.0),  # a stop wider
        (2**3.5, 400.0, 0.25, 4.0),
        (2**3.5, 100.0, 1 / 128, 1 / 32),
        (None, None, 0.5, 2.0),  # not recorded: the same
    ],
)
def test_ambient_light_at_other_settings(
    n: float | None, iso: float | None, shutter_s: float, factor: float
) -> None:
    """H is proportional to S t / N^2 (ISO 2720, ISO 12232)."""
    signal, u = room().at(n, iso, shutter_s)
    assert signal == pytest.approx(0.01 * factor)
    assert u == pytest.approx(0.0005 * factor)


@given(st.floats(0.001, 0.5), st.floats(0.5, 12.0))
def test_flash_and_ambient_are_told_apart(flash: float, under: float) -> None:
    """Linear light adds; check-values 6.4."""
    ambient = flash * 2.0**-under
    found = flash_part(flash + ambient, 0.0, ambient, 0.0)
    assert found.signal == pytest.approx(flash)
    assert found.ambient_under_stops == pytest.approx(under, abs=1e-6)
    assert not found.hidden


def test_a_frame_that_the_ambient_light_explains() -> None:
    found = flash_part(0.0101, 0.0001, 0.01, 0.0005)
    assert found.hidden
    assert found.signal == pytest.approx(2 * math.hypot(0.0005, 0.0001))
    assert found.ambient_under_stops is None


def test_no_ambient_light_at_all() -> None:
    found = flash_part(0.1, 0.0, 0.0, 0.0)
    assert found.signal == 0.1
    assert found.ambient_under_stops is None


def test_the_reading_of_a_frame() -> None:
    measured = replace(patch(0.02), noise=1e-5)
    found = ambient_reading(FILE, SHOT, measured)
    assert found.n == pytest.approx(2**3.5)
    assert (found.iso, found.shutter_s) == (100.0, 0.25)
    assert found.signal == 0.02
    assert found.u_signal == pytest.approx(0.05 * math.log(2) * 0.02, rel=0.01)
    assert not found.at_most


def test_a_card_at_black_is_a_bound() -> None:
    measured = replace(patch(1e-5), noise=1e-5, bound="at-most", black_shift=3e-5)
    found = ambient_reading(FILE, SHOT, measured)
    assert found.at_most
    assert found.signal == pytest.approx(1e-5 + 3e-5 + 2e-5)
    part = flash_part(0.1, 0.0, *found.at(None, None, 0.25))
    assert list(ambient_warnings(found, SHOT, part)) == ["ambient-at-black"]


def test_another_camera_or_lens_is_told() -> None:
    part = flash_part(0.1, 0.0, 0.01, 0.0)
    for other in (replace(SHOT, model="TW-9"), replace(SHOT, lens="two")):
        assert list(ambient_warnings(room(), other, part)) == ["ambient-frame-differs"]
    assert list(ambient_warnings(room(), replace(SHOT, model=None, lens=None), part)) == []


def test_frames_that_tell_nothing_are_refused() -> None:
    clipped = replace(patch(0.9), bound="at-least")
    with pytest.raises(NotAFrame, match="clipped"):
        ambient_reading(FILE, SHOT, clipped)
    with pytest.raises(NotAFrame, match="no shutter time"):
        ambient_reading(FILE, replace(SHOT, shutter_s=None), patch(0.02))
