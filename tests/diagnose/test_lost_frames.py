"""verify/diagnose/lost.py, place.py, picture.py: what tells causes of the same loss apart."""

from dataclasses import replace

import numpy as np
import pytest
from series_frames import gaps, scatter, seen

from verify.diagnose.diagnosis import diagnose
from verify.diagnose.picture import look_at
from verify.diagnose.place import moved, near
from verify.diagnose.records import CardPlace, Seen
from verify.diagnose.series import Series, series_of

ROWS, COLS = 8, 12


def tiled(light: np.ndarray, change: np.ndarray, **columns: object) -> Series:
    noise = np.random.default_rng(6).normal(0, 0.012, change.shape)
    tiles = light[:, None, None] + change + noise
    return series_of(seen(light, gaps(len(light)), tiles=list(tiles), **columns), 0.1)


def unchanged(count: int = 30) -> np.ndarray:
    return np.zeros((count, ROWS, COLS))


def test_the_scene_is_what_most_tiles_show() -> None:
    light, change = scatter(30), unchanged()
    change[:, :3] += 0.7  # three rows in eight are another thing
    found = look_at(tiled(light, change))
    assert found.has_tiles
    assert np.abs(found.scene - light).max() < 0.06
    assert found.blocked is None
    assert found.cut is None


def test_a_blocked_part_has_size_and_share() -> None:
    change = unchanged()
    change[10:12, :4, :6] -= 1.0
    found = look_at(tiled(scatter(30), change)).blocked
    assert found is not None
    assert np.flatnonzero(found.frames).tolist() == [10, 11]
    assert found.loss_stops == pytest.approx(-1.0, abs=0.05)
    assert found.share == pytest.approx(0.25, abs=0.02)


def test_a_lamp_that_fails_is_not_something_in_its_way() -> None:
    light, change = scatter(30), unchanged()
    light[10] -= 0.6
    change[10] += np.linspace(0.5, -0.5, COLS)
    assert look_at(tiled(light, change)).blocked is None


@pytest.mark.parametrize(
    ("side", "turned"),
    [
        ("top", lambda fall: fall[:, None]),
        ("bottom", lambda fall: fall[::-1, None]),
        ("left", lambda fall: np.interp(np.linspace(0, 7, COLS), np.arange(ROWS), fall)[None, :]),
    ],
)
def test_a_cut_names_its_side(side: str, turned: object) -> None:
    assert callable(turned)
    fall = np.clip(np.linspace(-0.8, 0.8, ROWS), None, 0)
    shutter = np.where(np.arange(30) % 3 == 0, 1 / 500, 1 / 60)
    change = unchanged()
    change[::3] += turned(fall)
    found = look_at(tiled(scatter(30), change, shutter_s=shutter)).cut
    assert found is not None
    assert found.side == side
    assert np.flatnonzero(found.frames).tolist() == list(range(0, 30, 3))
    # the same fall in frames of all shutter times is how the set is lit
    change[:] = turned(fall)
    assert look_at(tiled(scatter(30), change, shutter_s=shutter)).cut is None


def test_too_few_tiles_say_nothing() -> None:
    frames = seen(scatter(20), gaps(20))
    assert not look_at(series_of(frames, 0.1)).has_tiles
    other = [replace(f, tiles=np.full((ROWS, COLS), np.nan)) for f in frames]
    found = look_at(series_of(other, 0.1))
    assert not found.has_tiles
    assert np.isnan(found.scene).all()


def places(*those: CardPlace) -> list[Seen]:
    return [replace(f, place=p) for f, p in zip(seen(np.zeros(len(those))), those, strict=True)]


def test_a_place_moves_beyond_its_jitter() -> None:
    rng = np.random.default_rng(1)
    col = 0.5 + rng.normal(0, 0.004, 20)
    col[10:] += 0.008  # twice the jitter: no more than it does anyway
    jittering = [CardPlace(float(c), 0.4, 0.08, 0.05) for c in col]
    before, after = near(10, 20)
    still = moved(series_of(places(*jittering), 0.1), np.full(20, np.nan), before, after, 0.3)
    assert still.chance < 0.5
    jumped = [CardPlace(0.5 + 0.03 * (n >= 10), 0.4, 0.08, 0.05) for n in range(20)]
    gone = moved(series_of(places(*jumped), 0.1), np.full(20, np.nan), before, after, 0.3)
    assert gone.chance > 0.5
    assert gone.shift == pytest.approx(0.03)


def test_a_scene_that_drifts_with_the_card_rules_out_a_moved_card() -> None:
    # a recharge moves both; the step is of the light, for card and scene stay together
    gap = gaps(60)
    light = scatter(60, sd=0.02)
    light[1:] += np.log2(1 - 0.8 * np.exp(-gap[1:] / 1.5))
    light[30:] -= 0.25
    tiles = light[:, None, None] + np.random.default_rng(2).normal(0, 0.015, (60, ROWS, COLS))
    place = CardPlace(0.5, 0.4, 0.08, 0.05)
    said = diagnose(seen(light, gap, tiles=list(tiles), place=place), 0.1)
    assert {f.cause for f in said.findings} == {"recycle", "step"}


def test_one_frame_as_far_off_as_others_are_high_is_scatter_with_long_tails() -> None:
    light = scatter(80)
    light[[11, 60]] += 0.2
    light[35] -= 0.2
    assert [f.cause for f in diagnose(seen(light, gaps(80)), 0.1).findings] == ["steady"]
    light[35] -= 0.2
    said = diagnose(seen(light, gaps(80)), 0.1)
    assert [f.cause for f in said.findings] == ["lamp-missing"]
    assert any("no cause that is known" in note for note in said.notes)
