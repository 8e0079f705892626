"""verify/motion/losses.py: losses at the edges, how fast, and what cannot be told."""

import math

import numpy as np
import pytest

from verify.motion.losses import RowLoss, shutter_study
from verify.plan.motion import ShutterPlan
from verify.pulse.model import LampPulse, modelled
from verify.pulse.records import Firing

PRINTED = 6e-4  # stop; check-values prints three or four decimals


def flash(tenth_s: float) -> Firing:
    return modelled([LampPulse(1.0, None, tenth_s, "decaying")])


def rows(loss: RowLoss) -> list[float | None]:
    return [loss.first, loss.middle, loss.last]


def test_losses_by_row_and_profile() -> None:
    """Check-values 3.7: travel 3 ms, 1/200 s, t.1 1/250 s."""
    shutter = ShutterPlan(travel_s=0.003, delay_s=0.0)
    (one,) = shutter_study(flash(1 / 250), shutter, [0.005], 0.1).shutters
    assert rows(one.loss) == pytest.approx([0.548, 0.207, 0.084], abs=PRINTED)
    assert one.loss.most == one.loss.first
    profile = np.array(one.profile)
    assert profile[[0, 50, 100]] == pytest.approx(rows(one.loss))
    assert (np.diff(profile) < 0).all()
    assert one.blocked_share == 0


@pytest.mark.parametrize(
    ("shutter_s", "blocked"), [(1 / 320, 0.2188), (1 / 400, 0.375), (1 / 1000, 0.75)]
)
def test_past_sync_a_part_is_dark(shutter_s: float, blocked: float) -> None:
    """Check-values 3.7: 4 ms of travel, a flash so short that it is an edge."""
    shutter = ShutterPlan(travel_s=0.004, sync_s=1 / 256)
    (one,) = shutter_study(flash(1e-7), shutter, [shutter_s], 0.1).shutters
    assert one.blocked_share == pytest.approx(blocked, abs=1e-3)
    assert one.within_sync is False
    assert one.loss.first is not None
    assert math.isinf(one.loss.first)


def test_a_delay_that_is_not_known_is_tried() -> None:
    """Check-values 3.7: a delay replaces t by t - delay."""
    known = ShutterPlan(travel_s=0.003, delay_s=0.001)
    (late,) = shutter_study(flash(1 / 500), known, [0.005], 0.1).shutters
    study = shutter_study(flash(1 / 500), ShutterPlan(travel_s=0.003), [0.005], 0.1)
    assert study.delay_s is None
    delays = dict(study.shutters[0].delayed)
    assert rows(delays[0.001]) == pytest.approx(rows(late.loss))
    assert late.delayed == ()


def test_travel_by_sync_is_an_assumption_that_is_told() -> None:
    study = shutter_study(flash(1 / 1000), ShutterPlan(sync_s=0.004), [], 0.1)
    assert study.travel_s == pytest.approx(0.003)
    assert study.warnings == ("travel-assumed",)
    # By the sums it could be faster, but no shutter is to be set past sync.
    assert study.fastest_s == pytest.approx(0.0042, abs=2e-4)
    short = shutter_study(flash(1e-5), ShutterPlan(sync_s=0.004), [], 0.1)
    assert short.fastest_s == 0.004


def test_the_fastest_time_on_the_dial_keeps_the_tolerance() -> None:
    shutter = ShutterPlan(travel_s=0.003)
    study = shutter_study(flash(1 / 500), shutter, [], 0.1)
    assert study.fastest_s is not None
    assert study.fastest_marked_s is not None
    assert study.fastest_marked_s >= study.fastest_s
    (kept,) = shutter_study(flash(1 / 500), shutter, [study.fastest_marked_s], 0.1).shutters
    (cut,) = shutter_study(flash(1 / 500), shutter, [study.fastest_marked_s / 1.26], 0.1).shutters
    assert (kept.loss.most or 0) <= 0.1 < (cut.loss.most or 0)


def test_a_curtain_of_unknown_travel() -> None:
    study = shutter_study(flash(1 / 250), ShutterPlan(), [0.004], 0.1)
    assert rows(study.shutters[0].loss)[:2] == [None, None]
    assert study.shutters[0].loss.last == pytest.approx(0.1520, abs=PRINTED)
    assert study.shutters[0].profile == ()
    assert study.fastest_s is None
    assert any("travel" in note for note in study.notes)


def test_a_leaf_has_no_edges() -> None:
    leaf = ShutterPlan(kind="leaf", opening_s=0.001, closing_s=0.001)
    (one,) = shutter_study(flash(1 / 250), leaf, [0.004], 0.1).shutters
    assert one.edges is None
    assert one.within_sync is None
    assert one.loss.first == one.loss.last


def test_edges_follow_the_camera_and_how_it_was_held() -> None:
    shutter = ShutterPlan(travel_s=0.003)
    level = shutter_study(flash(1 / 500), shutter, [0.004], 0.1).shutters[0]
    assert level.edges == ("bottom", "top")
    other = shutter_study(flash(1 / 500), shutter, [0.004], 0.1, "top", 6).shutters[0]
    assert other.edges == ("right", "left")
