"""verify/diagnose/diagnosis.py: a series to its causes, one cause at a time and several at once."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from series_frames import gaps, scatter, seen

from verify.diagnose.diagnosis import diagnose
from verify.diagnose.records import CardPlace, Diagnosis, Finding, Seen

TOLERANCE = 0.1
ROWS, COLS = 8, 12


def causes(frames: list[Seen], tolerance: float = TOLERANCE) -> list[str]:
    return [finding.cause for finding in diagnose(frames, tolerance).findings]


def first(frames: list[Seen]) -> Finding:
    return diagnose(frames, TOLERANCE).findings[0]


def tiles_of(light: np.ndarray, seed: int = 3) -> np.ndarray:
    """(frames, rows, cols) that all show the light."""
    noise = np.random.default_rng(seed).normal(0, 0.015, (len(light), ROWS, COLS))
    return np.asarray(light[:, None, None] + noise)


def numbers(finding: Finding) -> list[int]:
    return [int(file.stem[-3:]) for file in finding.frames]


def test_a_steady_series_is_steady_alone() -> None:
    said = diagnose(seen(scatter(60), gaps(60)), TOLERANCE)
    assert [f.cause for f in said.findings] == ["steady"]
    assert said.findings[0].frames == tuple(frame.file for frame in said.frames)
    assert said.limits is not None


def test_a_step_is_placed_and_sized() -> None:
    light = scatter(60)
    light[23:] -= 0.3
    found = first(seen(light, gaps(60)))
    assert found.cause == "step"
    assert found.size_stops == pytest.approx(-0.3, abs=0.03)
    assert found.detail["begins"] == "frame_023.dng"
    assert numbers(found) == list(range(23, 60))
    low, high = found.detail["between"]
    assert low <= "frame_023.dng" <= high


def test_a_step_inside_a_drift() -> None:
    light = scatter(80) + np.linspace(0, 0.4, 80)
    light[30:] -= 0.3
    said = diagnose(seen(light, gaps(80)), TOLERANCE)
    found = {f.cause: f for f in said.findings}
    assert set(found) == {"step", "drift"}
    assert found["step"].detail["begins"] == "frame_030.dng"
    assert found["drift"].size_stops == pytest.approx(0.4, abs=0.06)


def test_a_drift_that_levels_off_in_time() -> None:
    gap = np.full(80, 5.0)
    gap[40] = 3000.0  # by frame number there is a kink, by time there is none
    at = np.concatenate([[0.0], np.cumsum(gap[1:])])
    found = first(seen(scatter(80) - 0.5 * (1 - np.exp(-at / 1500)), gap))
    assert found.cause == "drift"
    assert found.detail["by"] == "time"


def test_recycle_gives_the_shortest_gap() -> None:
    gap = gaps(90)
    light = scatter(90)
    light[1:] += np.log2(1 - 0.7 * np.exp(-gap[1:] / 1.5))
    found = first(seen(light, gap))
    # log2(1 - 0.7 exp(-g / 1.5)) = -0.1 at g = 1.5 ln(0.7 / 0.066967) = 3.52 s
    assert found.cause == "recycle"
    assert found.detail["shortest_gap_s"] == pytest.approx(3.52, rel=0.1)
    low, high = found.detail["shortest_gap_interval_s"]
    assert low < 3.52 < high
    assert "duty cycle" in found.action


def test_without_times_a_recharge_cannot_be_told() -> None:
    light = scatter(60)
    light[1:] += np.log2(1 - 0.7 * np.exp(-gaps(60)[1:] / 1.5))
    said = diagnose(seen(light), TOLERANCE)
    assert "recycle" not in [f.cause for f in said.findings]
    assert any("had recharged cannot be told" in note for note in said.notes)


def test_first_pops_after_idle_gaps() -> None:
    gap = gaps(70)
    light = scatter(70)
    idle = gap > 50
    idle[0] = True
    light[idle] += 0.35
    found = first(seen(light, gap))
    assert found.cause == "first-pop"
    assert numbers(found) == np.flatnonzero(idle).tolist()
    assert found.size_stops == pytest.approx(0.35, abs=0.05)


def test_first_pops_that_are_higher_are_no_slow_recharge() -> None:
    gap = np.full(60, 2.5) + scatter(60, seed=9, sd=0.4)
    gap[[12, 25, 37, 50]] = [120.0, 140.0, 135.0, 150.0]
    light = scatter(60)
    light[[0, 12, 25, 37, 50]] += 0.3
    assert causes(seen(light, gap)) == ["first-pop"]


def test_missing_lamps_in_a_large_scatter() -> None:
    light = scatter(100, sd=0.15)
    light[[12, 40, 77]] -= 1.4
    said = diagnose(seen(light, gaps(100)), TOLERANCE)
    found = {f.cause: f for f in said.findings}
    assert set(found) == {"scatter", "lamp-missing"}
    assert numbers(found["lamp-missing"]) == [12, 40, 77]
    assert "discharge" in found["lamp-missing"].action


def test_a_run_of_three_frames_without_a_lamp_is_no_step() -> None:
    light = scatter(60)
    light[20:23] -= 0.5
    found = first(seen(light, gaps(60)))
    assert found.cause == "lamp-missing"
    assert numbers(found) == [20, 21, 22]


def test_a_missing_pop_has_its_own_size() -> None:
    light = scatter(50)
    light[[8, 31]] += math.log2(3 / 4)  # one of four: -0.415 (check-values 6.3)
    found = first(seen(light, gaps(50), pops=4))
    assert found.cause == "pop-missing"
    assert found.detail["missing"] == 1
    # with another colour and pattern of light it is a lamp, although the loss would fit
    red = np.random.default_rng(5).normal(0, 0.005, 50)
    red[[8, 31]] += 0.12
    other = first(seen(light, gaps(50), pops=4, red_green_stops=red, blue_green_stops=-red))
    assert other.cause == "lamp-missing"
    assert "pop-missing" in other.detail.get("rivals", {"pop-missing": 0})


def test_no_flash_by_depth_and_by_bound() -> None:
    light = scatter(40)
    light[[5, 30]] = -5.0
    frames = seen(light, gaps(40))
    frames[30] = replace(frames[30], bound="at-most")
    found = first(frames)
    assert found.cause == "no-flash"
    assert numbers(found) == [5, 30]


def test_light_of_one_stop_less_is_no_flash_where_the_room_is_so_bright() -> None:
    light = scatter(40)
    light[[5, 30]] -= 1.5
    assert causes(seen(light, gaps(40)))[0] == "lamp-missing"
    assert causes(seen(light, gaps(40), ambient_under_stops=1.4))[0] == "no-flash"


def test_settings_are_told_from_the_light() -> None:
    settings = np.zeros(30)
    settings[12:15] = -1.0
    found = first(seen(scatter(30), gaps(30), settings_stops=settings))
    assert (found.cause, numbers(found)) == ("settings", [12, 13, 14])
    assert found.size_stops == pytest.approx(-1.0)


def test_an_iso_that_the_signal_does_not_follow_is_no_change_of_settings() -> None:
    iso = np.where(np.arange(40) % 3 == 0, 1.0, 0.0)
    frames = seen(scatter(40) - iso, gaps(40), settings_stops=iso, iso_stops=iso)
    assert causes(frames) == ["iso-not-in-signal"]


def test_a_moved_card_by_its_place_and_by_the_scene() -> None:
    light = scatter(50)
    light[20:] += 0.25
    here, there = CardPlace(0.5, 0.4, 0.08, 0.05), CardPlace(0.53, 0.4, 0.088, 0.055)
    places = np.array([here] * 20 + [there] * 30, object)
    assert causes(seen(light, gaps(50), place=places)) == ["card-moved"]
    still = np.array([here] * 50, object)
    assert causes(seen(light, gaps(50), place=still)) == ["step"]
    # a tilt leaves the place alone: the scene shows that its light is the same
    scene = tiles_of(scatter(50))
    found = first(seen(light, gaps(50), place=still, tiles=list(scene)))
    assert found.cause == "card-moved"
    # the scene changes as the card does: it is the light, wherever the card went
    lit = tiles_of(light)
    assert causes(seen(light, gaps(50), place=places, tiles=list(lit))) == ["step"]


def test_dials_are_left_alone_until_card_and_stands_are_ruled_out() -> None:
    light = scatter(50)
    light[20:] += 0.25
    assert first(seen(light, gaps(50))).action.startswith("Turn no dial yet")
    place = CardPlace(0.5, 0.4, 0.08, 0.05)
    sure = first(seen(light, gaps(50), place=place, tiles=list(tiles_of(light))))
    assert "Turn no dial yet" not in sure.action


def test_something_before_a_part_of_the_picture() -> None:
    light = scatter(50)
    parts = tiles_of(light)
    parts[20:23, 2:6, 3:7] -= 0.8
    light[20:23] -= 0.8  # the card is in that part
    found = first(seen(light, gaps(50), tiles=list(parts)))
    assert (found.cause, numbers(found)) == ("blocked", [20, 21, 22])
    # things that are moved on the set lose and gain
    moved = tiles_of(scatter(50))
    moved[20:23, 2:6, 3:5] -= 0.8
    moved[20:23, 2:6, 5:7] += 0.8
    assert causes(seen(scatter(50), gaps(50), tiles=list(moved))) == ["steady"]


def test_a_curtain_cuts_one_side_in_short_frames() -> None:
    light = scatter(50)
    shutter = np.where(np.arange(50) % 2, 1 / 256, 1 / 64)
    parts = tiles_of(light)
    parts[1::2] -= np.clip(np.linspace(-1, 0.6, ROWS), 0, None)[:, None]
    found = first(seen(light, gaps(50), shutter_s=shutter, tiles=list(parts)))
    assert (found.cause, found.detail["side"]) == ("shutter-cut", "bottom")
    assert numbers(found) == list(range(1, 50, 2))


def test_ambient_light_grows_with_the_shutter_time() -> None:
    shutter = np.random.default_rng(2).choice([1 / 8, 1 / 32, 1 / 128], 60)
    light = scatter(60) + np.log2(1 + 4 * shutter)
    found = first(seen(light, gaps(60), shutter_s=shutter))
    assert found.cause == "ambient"
    # 4 / s in 1/8 s is half the flash: one stop under it
    assert found.detail["ambient_stops_at_longest"] == pytest.approx(-1.0, abs=0.2)


def test_flicker_by_the_shutter_times_that_let_it_through() -> None:
    rng = np.random.default_rng(4)
    shutter = rng.choice([1 / 50, 1 / 100, 1 / 256, 1 / 512], 80)
    ripple = np.sinc(100 * shutter) * np.cos(rng.uniform(0, 7, 80))
    light = scatter(80, sd=0.02) + np.log2(1 + 0.4 * ripple)
    found = first(seen(light, gaps(80), shutter_s=shutter, timed=True))
    assert found.cause == "flicker"
    assert found.detail["mains_hz"] == 50


def test_a_lens_by_the_apertures_that_scatter() -> None:
    f_number = np.where(np.arange(60) % 2, 11.3, 2.8)
    light = scatter(60, sd=0.02)
    light[1::2] += scatter(30, seed=9, sd=0.2)
    found = first(seen(light, gaps(60), f_number=f_number))
    assert (found.cause, numbers(found)[0]) == ("lens", 1)
    slow = seen(scatter(60, sd=0.2), gaps(60), timed=True, shutter_s=1.0)
    assert causes(slow) == ["lens"]


def test_scatter_is_one_where_one_frame_in_twenty_is_out() -> None:
    # the limit is 0.1 / 1.96 = 0.051
    within, beyond = scatter(120), scatter(120)
    within *= 0.048 / within.std(ddof=1)
    beyond *= 0.062 / beyond.std(ddof=1)
    assert causes(seen(within, gaps(120))) == ["steady"]
    assert causes(seen(beyond, gaps(120))) == ["scatter"]


def test_colour_that_moves_with_time_and_with_light() -> None:
    rng = np.random.default_rng(8)
    red = rng.normal(0, 0.006, 60) + np.linspace(0, 0.2, 60)
    blue = rng.normal(0, 0.006, 60) - np.linspace(0, 0.1, 60)
    found = first(seen(scatter(60), gaps(60), red_green_stops=red, blue_green_stops=blue))
    assert found.cause == "colour"
    assert found.detail["warmer_stops"] == pytest.approx(0.3, abs=0.03)
    assert found.detail["units"] == pytest.approx(0.2 / 0.033, rel=0.1)
    assert "warmer" in found.evidence
    light = scatter(60) + 0.5 * np.sin(np.linspace(0, 9, 60))
    red = rng.normal(0, 0.006, 60) + 0.3 * light
    said = diagnose(seen(light, gaps(60), red_green_stops=red, blue_green_stops=0.0), TOLERANCE)
    with_light = next(f for f in said.findings if f.cause == "colour")
    assert with_light.detail["with"] == "light"


def test_findings_are_in_the_order_of_their_chance() -> None:
    light = scatter(90) + np.linspace(0, 0.3, 90)
    light[[4, 50]] -= 0.7
    light[60:] += 0.2
    found = diagnose(seen(light, gaps(90)), TOLERANCE).findings
    chances = [f.probability for f in found]
    assert len(found) >= 3
    assert chances == sorted(chances, reverse=True)
    assert all(f.evidence and f.action for f in found)


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_few_frames_say_little(count: int) -> None:
    said = diagnose(seen(np.linspace(0, 0.5, count), np.ones(count)), TOLERANCE)
    assert [f.cause for f in said.findings] == ["steady"]
    assert said.findings[0].probability <= 0.5
    assert said.notes


def test_identical_times_and_clocks_that_jump_back() -> None:
    light = scatter(40)
    light[15:] += 0.4
    frames = seen(light, np.zeros(40))
    assert causes(frames) == ["step"]
    back = [replace(f, at_s=-float(n), gap_s=-1.0) for n, f in enumerate(frames)]
    assert causes(back) == ["step"]


def test_what_is_not_known_is_left_out() -> None:
    light = scatter(40)
    light[15:] += 0.4
    light[::2] = np.nan
    parts = np.full((40, ROWS, COLS), np.nan)
    said = diagnose(seen(light, gaps(40), tiles=list(parts)), TOLERANCE)
    assert [f.cause for f in said.findings] == ["step"]
    assert any("20 of 40" in note for note in said.notes)
    nothing = diagnose(seen(np.full(20, np.nan), gaps(20)), TOLERANCE)
    assert [f.cause for f in nothing.findings] == ["steady"]
    assert nothing.spread_stops is None


def test_stretches_seen_by_scene_have_a_zero_each() -> None:
    light = scatter(40)
    light[20:] += 0.6
    stretch = np.repeat([0, 1], 20)
    frames = seen(light, gaps(40), by="scene", stretch=stretch.tolist())
    said = diagnose(frames, TOLERANCE)
    assert [f.cause for f in said.findings] == ["steady"]
    assert [s.frames for s in said.stretches] == [20, 20]
    assert causes(seen(light, gaps(40), by="scene")) == ["step"]


def figures() -> Diagnosis:
    light = np.zeros(10)
    light[4], light[7] = 0.5, -0.3
    return diagnose(seen(light), TOLERANCE)


def test_figures_of_a_series() -> None:
    said = figures()
    assert said.range_stops == pytest.approx(0.8)
    assert said.within_share == pytest.approx(0.8)
    assert said.worst == (Path("frame_004.dng"), Path("frame_007.dng"))
    assert said.longest_within == tuple(Path(f"frame_00{n}.dng") for n in range(4))


def test_bounds_count_where_they_are_out_of_tolerance() -> None:
    frames = seen(np.zeros(10))
    frames[3] = replace(frames[3], bound="at-least", rest_stops=0.4)
    frames[5] = replace(frames[5], bound="at-least", rest_stops=-0.4)
    said = diagnose(frames, TOLERANCE)
    assert said.within_share == pytest.approx(8 / 9)
    assert said.worst == (Path("frame_003.dng"),)
