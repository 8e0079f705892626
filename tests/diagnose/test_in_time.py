"""verify/diagnose/in_time.py: checked frames to series."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from readings import AS_PLANNED
from taken_frames import bare, card, taken, tiles

from verify.diagnose.from_check import Taken
from verify.diagnose.in_time import series_in_time
from verify.plan.file import read_plan


def test_frames_with_a_card() -> None:
    frames = [taken(card(2, -0.1, 9)), taken(card(1, 0.0, 0))]
    (series,) = series_in_time(frames, "card")
    assert [frame.file.name for frame in series.frames] == ["a_0001.dng", "a_0002.dng"]
    assert [frame.rest_stops for frame in series.frames] == [0.0, -0.1]
    assert [frame.at_s for frame in series.frames] == [0, 9]
    assert [frame.gap_s for frame in series.frames] == [None, 9]
    first = series.frames[0]
    assert first.by == "card"
    assert first.u_stops == 0.02
    assert first.settings_stops == pytest.approx(0)
    assert first.f_number == pytest.approx(2**3.5)
    assert first.shutter_s == 1 / 128
    assert first.place is not None
    assert first.place.col == pytest.approx(50 / 1920)
    assert series.left_out == ()


def test_between_cards_the_scene_carries_on() -> None:
    frames = [
        taken(card(1, 0.2), tiles(0.2)),
        taken(bare(2), tiles(0.5)),
        taken(bare(3), tiles(-0.4)),
        taken(card(4, 0.0), tiles(0.0)),
        taken(bare(5), tiles(0.1)),
    ]
    (series,) = series_in_time(frames, "either")
    assert [frame.by for frame in series.frames] == ["card", "scene", "scene", "card", "scene"]
    found = [frame.rest_stops for frame in series.frames]
    assert found == pytest.approx([0.2, 0.5, -0.4, 0.0, 0.1], abs=0.01)
    last = [None if f.carried_from is None else f.carried_from.stem for f in series.frames]
    assert last == [None, "a_0001", "a_0001", None, "a_0004"]
    assert series.frames[1].u_stops > series.frames[0].u_stops
    assert {frame.stretch for frame in series.frames} == {0}
    assert series.frames[1].agreed_share == 1


def test_where_the_card_was_is_no_part_of_the_scene() -> None:
    """The card was pulled out: what was behind it is no change of the set."""
    frames = [taken(card(1, 0.0), tiles()), taken(bare(2), tiles()), taken(bare(3), tiles())]
    (series,) = series_in_time(frames, "either")
    for frame in series.frames:
        assert frame.tiles is not None
        hidden = np.isnan(frame.tiles)
        assert hidden[0, 0]  # the card's corners are (40, 40) and (60, 60) of 1920 x 1280
        assert hidden.sum() == 1
    (kept,) = series_in_time([taken(card(n, 0.0), tiles()) for n in (1, 2)], "either")
    assert all(f.tiles is not None and np.isfinite(f.tiles).all() for f in kept.frames)


def test_another_picture_is_another_stretch() -> None:
    frames = [taken(bare(n), tiles(0.0, seed=1 if n < 3 else 9)) for n in range(1, 6)]
    (series,) = series_in_time(frames, "scene")
    assert [frame.stretch for frame in series.frames] == [0, 0, 1, 1, 1]
    assert all(frame.carried_from is None for frame in series.frames)


def test_what_tells_no_light_is_left_out() -> None:
    frames = [taken(card(1, 0.0)), taken(bare(2))]
    (series,) = series_in_time(frames, "either")
    assert [frame.file.stem for frame in series.frames] == ["a_0001"]
    assert series.left_out == ((Path("a_0002.dng"), "no card was found in it"),)


def test_a_doubtful_card_is_none() -> None:
    doubtful = replace(card(2, 3.0), warnings=("card-unsure",))
    (series,) = series_in_time([taken(card(1, 0.0)), taken(doubtful)], "card")
    assert len(series.frames) == 1
    assert series.left_out[0][0] == Path("a_0002.dng")


def test_bodies_and_set_ups_apart() -> None:
    plan = read_plan(None, {"reading": {"aperture": "f/8"}})
    frames = [
        taken(card(1, 0.0, 0)),
        taken(card(2, 0.0, 5), body="TW-7 2"),
        Taken(card(3, 0.0, 9), replace(plan.main, name="second"), "TW-7 1"),
    ]
    found = series_in_time(frames, "card")
    assert {(one.body, one.setup, len(one.frames)) for one in found} == {
        ("TW-7 1", "main", 1), ("TW-7 2", "main", 1), ("TW-7 1", "second", 1),
    }  # fmt: skip
    # The gap is that of the body: its flash has to recycle whatever the set-up.
    second = next(one for one in found if one.setup == "second")
    assert second.frames[0].gap_s == 9


def test_without_a_plan_the_usual_settings_count() -> None:
    unplanned = read_plan(None).main
    frames = []
    for n, iso in enumerate((100.0, 100.0, 400.0, 100.0)):
        check = card(n, 0.0)
        settings = replace(AS_PLANNED, iso=iso)
        check = replace(check, settings=settings, settings_stops=None, iso_stops=None)
        frames.append(Taken(check, unplanned, "TW-7 1"))
    (series,) = series_in_time(frames, "card")
    assert [frame.settings_stops for frame in series.frames] == pytest.approx([0, 0, 2, 0])
    assert [frame.iso_stops for frame in series.frames] == pytest.approx([0, 0, 2, 0])
