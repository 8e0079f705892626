"""verify/scene/change.py: the change of light of pictures with a known one."""

import numpy as np
import pytest
from scene_pictures import SIZE, beside, colored, replaced, shot, wall

from verify.scene.change import change_between
from verify.scene.records import Tiles
from verify.warnings import WARNINGS

WITHIN = 0.02  # stop; issue 6
FIRST = wall()


@pytest.fixture(scope="module")
def first() -> Tiles:
    return shot(FIRST, 1)


@pytest.mark.parametrize("stops", [-2.0, -0.5, 0.0, 0.1, 1.0])
def test_the_same_set_in_other_light(first: Tiles, stops: float) -> None:
    change = change_between(first, shot(FIRST * 2.0**stops, 2))
    assert change.stops is not None
    assert change.stops == pytest.approx(stops, abs=0.004)
    assert change.u_stops is not None
    assert abs(change.stops - stops) <= 2 * change.u_stops
    assert change.u_stops < 0.01
    assert change.majority
    assert change.same_set
    assert change.why == ""
    assert change.agreed_share is not None
    assert change.agreed_share > 0.95
    assert change.warnings == ()
    assert change.bound is None


def test_against_itself(first: Tiles) -> None:
    change = change_between(first, first)
    assert (change.stops, change.shift, change.uneven_stops) == (0.0, (0.0, 0.0), 0.0)
    assert np.nanmax(np.abs(change.tiles)) == 0


def test_settings_are_taken_out(first: Tiles) -> None:
    change = change_between(first, shot(FIRST * 2.0**0.7, 2), settings_stops=0.5)
    assert change.stops == pytest.approx(0.2, abs=0.004)
    assert np.nanmedian(change.tiles) == pytest.approx(0.2, abs=0.01)


@pytest.mark.parametrize("seed", range(6))
def test_forty_per_cent_replaced(first: Tiles, seed: int) -> None:
    change = change_between(first, shot(replaced(FIRST, 0.4, seed) * 2.0**-0.4, seed))
    assert change.stops == pytest.approx(-0.4, abs=WITHIN)
    assert change.majority
    assert change.agreed_share == pytest.approx(0.6, abs=0.1)


def test_a_nudged_camera(first: Tiles) -> None:
    """3 and 2 pixels, which are parts of a cell of 4."""
    change = change_between(first, shot(beside(FIRST, 3, -2) * 2.0**0.3, 2))
    assert change.stops == pytest.approx(0.3, abs=WITHIN)
    assert change.majority
    assert change.shift == pytest.approx((0.75, -0.5), abs=0.1)


def test_colour_of_the_light(first: Tiles) -> None:
    own = colored(replaced(FIRST, 0.3), 0.15, -0.1)
    change = change_between(first, shot(own * 2.0**0.2, 3))
    assert change.stops == pytest.approx(0.2, abs=WITHIN)
    assert change.u_color_stops is not None
    assert change.u_color_stops < 0.01
    assert change.red_green_stops == pytest.approx(0.15, abs=2 * change.u_color_stops)
    assert change.blue_green_stops == pytest.approx(-0.1, abs=2 * change.u_color_stops)


def test_one_plane_has_no_colours() -> None:
    change = change_between(shot(FIRST, 1, pattern=None), shot(FIRST, 2, pattern=None))
    assert change.red_green_stops is change.blue_green_stops is change.u_color_stops is None
    assert change.majority


def test_another_set(first: Tiles) -> None:
    change = change_between(first, shot(wall(9), 2))
    assert not change.majority
    assert change.same_set is False
    assert change.why == "other-picture"
    assert change.stops is change.u_stops is change.red_green_stops is None


def test_a_camera_that_was_moved_far(first: Tiles) -> None:
    change = change_between(first, shot(np.roll(FIRST, (60, 110), (0, 1)), 2))
    assert not change.majority
    assert change.same_set is False


@pytest.mark.parametrize("size", [(600, 400), (360, 540)])
def test_another_size(first: Tiles, size: tuple[int, int]) -> None:
    change = change_between(first, shot(wall(1, size), 2))
    assert (change.stops, change.majority, change.why) == (None, False, "other-size")
    assert np.isnan(change.tiles).all()


def test_a_lamp_that_is_missing_is_no_other_set(first: Tiles) -> None:
    """Light falls from nothing at the left to 1.5 stops at the right."""
    loss = 1.5 * np.linspace(0, 1, SIZE[1]) ** 1.5
    change = change_between(first, shot(FIRST * 2.0**-loss, 2))
    assert change.same_set
    assert change.uneven_stops == pytest.approx(1.3, abs=0.2)
    assert change.warnings == ("scene-uneven",)
    assert change.stops is not None
    assert change.u_stops is not None
    assert -1.5 < change.stops < 0
    assert change.u_stops > 0.3


def test_a_part_that_is_blocked_leaves_the_rest(first: Tiles) -> None:
    own = FIRST.copy()
    own[:, :200] *= 0.3
    change = change_between(first, shot(own, 2))
    assert change.stops == pytest.approx(0, abs=0.01)
    assert change.majority
    assert np.nanmedian(change.tiles[:, :7]) == pytest.approx(np.log2(0.3), abs=0.03)


@pytest.mark.parametrize("share", [0.48, 0.5, 0.52])
def test_two_halves_are_doubted(first: Tiles, share: float) -> None:
    own = FIRST.copy()
    own[:, : round(share * SIZE[1])] *= 2.0**0.5
    change = change_between(first, shot(own, 2))
    assert not change.majority or set(change.warnings) & {"scene-split", "scene-uneven"}
    assert change.u_stops is not None
    assert change.u_stops > 0.1


def test_what_is_clipped_is_left_out(first: Tiles) -> None:
    """2.5 stops over: the lightest parts clip, and would say less."""
    own = FIRST * 2.0**2.5
    change = change_between(first, shot(own, 2))
    assert (own > 1).mean() > 0.02
    assert change.stops == pytest.approx(2.5, abs=WITHIN)
    assert 0.2 < change.usable_share < 0.95


@pytest.mark.parametrize(
    ("stops", "bound", "why"), [(-14, "at-most", "dark"), (5, "at-least", "clipped")]
)
def test_all_dark_or_clipped_is_a_bound(first: Tiles, stops: float, bound: str, why: str) -> None:
    change = change_between(first, shot(FIRST * 2.0**stops, 2))
    assert (change.bound, change.why, change.same_set) == (bound, why, None)
    assert change.stops is not None
    assert change.stops > stops if bound == "at-most" else change.stops < stops
    assert abs(change.stops) > 2


def test_a_lamp_in_the_picture_does_not_speak_for_a_set_gone_dark(first: Tiles) -> None:
    """No flash: only a bulb and what it lights look as before."""
    own = FIRST * 2.0**-14
    own[:120, :180] = FIRST[:120, :180]
    change = change_between(first, shot(own, 2))
    assert not change.majority
    assert change.bound == "at-most"
    assert change.stops is not None
    assert change.stops < -2


def test_a_reference_without_light_tells_nothing() -> None:
    dark = shot(FIRST * 2.0**-14, 1)
    change = change_between(dark, shot(FIRST, 2))
    assert (change.stops, change.same_set, change.majority, change.why) == (
        None,
        None,
        False,
        "dark",
    )


def test_black_that_is_unsure_is_in_u() -> None:
    """An error of black of 1e-3 is 0.026 stop of a signal of 0.056 against one of 0.11."""
    first, own = (
        shot(FIRST * 2.0**stops, seed, black=0.0, white=500.0)
        for seed, stops in ((1, 0.0), (2, -1.0))
    )
    change = change_between(first, own)
    assert change.u_stops is not None
    assert 0.01 < change.u_stops < 0.04


def test_a_plain_wall_seen_from_elsewhere_is_doubted() -> None:
    """Most of a wall with a soft gradient agrees, but nothing that has outlines is in its place."""
    rng = np.random.default_rng(1)
    x = np.mgrid[0 : SIZE[0], 0 : SIZE[1]][1] / SIZE[1]
    plain = 0.2 * 2.0 ** (0.35 * x**2)
    things = np.ones(SIZE)
    things[260:380, 60:240] = 2.0 ** rng.uniform(-2, 0, (12, 18)).repeat(10, 0).repeat(10, 1)
    far = 0.2 * 2.0 ** (0.35 * (x - 0.12) ** 2) * np.roll(things, 300, 1)
    change = change_between(shot(plain * things, 1), shot(far, 2))
    assert change.same_set is False or "scene-moved" in change.warnings


def test_small_pictures_tell_what_they_can() -> None:
    for size in ((2, 2), (12, 18), (40, 60)):
        picture = wall(1, size)
        change = change_between(shot(picture, 1), shot(picture * 2, 2))
        assert change.stops is None or abs(change.stops - 1) < 0.2


def test_every_warning_is_in_the_table() -> None:
    assert {f"scene-{n}" for n in ("changed", "split", "uneven", "moved", "little")} <= set(
        WARNINGS
    )
