"""verify/carried.py: the last card's error, carried on by the scene."""

from dataclasses import replace

import pytest
from taken_frames import bare, card, taken, tiles

from verify.carried import carried
from verify.compare import FrameCheck


def pair(stops: float, *warnings: str) -> tuple[FrameCheck, FrameCheck]:
    """A card with a fitted offset, 0.05 stop over its plan, and a frame so many stops lighter."""
    first = replace(
        card(1, 0.0), offset_stops=0.0, error_stops=0.05, settings_stops=0.0, rest_stops=0.05,
        u_stops=0.06, warnings=warnings,
    )  # fmt: skip
    one, other = carried([taken(first, tiles()), taken(bare(2), tiles(stops))])
    return one, other


@pytest.mark.parametrize(("stops", "verdict"), [(0.0, "within"), (0.3, "over"), (-0.5, "under")])
def test_the_error_is_carried_on(stops: float, verdict: str) -> None:
    first, found = pair(stops)
    assert found.error_stops == pytest.approx(0.05 + stops, abs=0.01)
    assert found.difference_stops == pytest.approx(stops, abs=0.01)
    assert found.verdict == verdict
    assert found.judged_by == "plan"
    assert first.u_stops is not None
    assert found.u_stops is not None
    assert found.u_stops > first.u_stops
    assert found.problem is None
    assert "by-scene" in found.warnings


def test_of_a_rendered_picture_only_differences_count() -> None:
    """A tone curve may be in it: 0.14 stop is within the plan's 0.17, and not within 0.1."""
    _, found = pair(0.14, "rendered")
    assert found.judged_by == "reference"
    assert found.verdict == "over"
    assert "rendered" in found.warnings
    _, raw = pair(0.1)
    assert raw.judged_by == "plan"
    assert raw.verdict == "within"


def test_a_frame_without_a_card_before_it_stays_as_it_was() -> None:
    (alone,) = carried([taken(bare(1), tiles())])
    assert alone.problem == "no card was found in it"
    assert "by-scene" not in alone.warnings
