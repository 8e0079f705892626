"""verify/checking.py: what is done for one file, and what it hands on to the next."""

import pickle
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from checked_files import Told, done
from readings import plan_of
from small_shoots import (
    BODY,
    GELLED,
    METER_ONLY,
    NO_CARD,
    NOISE,
    SET,
    TWO_CARDS,
    Make,
    writer,
)

from verify.checking import COLORED, NO_CHART, NO_DENSITIES, Checker, Wanted
from verify.checking import NO_CARD as NO_CARD_FOUND
from verify.frames.geometry import Box, Size
from verify.place import Place
from verify.simulate.scene import Prop

BOXED = METER_ONLY + "[card]\nbox = [0.45, 0.4, 0.1, 0.2]\n"
KEY = (0, "TW-14 0047", Size(240, 160))  # what frames of SET by BODY share


@pytest.fixture
def make(tmp_path: Path) -> Make:
    """What writes frames of the card."""
    return writer(tmp_path)


def test_the_place_of_the_last_card_is_asked_for_by_framing_and_handed_on(
    make: Make, tmp_path: Path
) -> None:
    told = Told()
    first = done(tmp_path, make("a_0001.dng", scene=SET), told)
    assert (told.asked, told.waited) == ([KEY], 1)
    assert (first.framing, first.setup, first.check.verdict) == (KEY, 0, "unreadable")
    assert first.card is not None
    assert first.check.patch is not None
    assert first.card == first.check.patch.target
    assert first.card.found_by == "shape"
    # The next one is measured at the very same place, though its own search would differ a little.
    darker = make("a_0002.dng", -0.4, scene=SET)
    alone, after = done(tmp_path, darker), done(tmp_path, darker, Told(first.card))
    assert alone.card is not None
    assert alone.card != first.card
    assert after.card == first.card
    assert after.check.error_stops == pytest.approx(-0.4, abs=NOISE)
    assert after.check.warnings == ("no-offset",)


def test_of_two_equal_cards_the_last_place_tells_which(make: Make, tmp_path: Path) -> None:
    last = done(tmp_path, make("a_0001.dng", scene=SET)).card
    two = make("a_0002.dng", scene=TWO_CARDS)
    doubtful, told = done(tmp_path, two), done(tmp_path, two, Told(last))
    assert "several-cards" in doubtful.check.warnings
    assert len(doubtful.check.sightings) == 2
    assert (doubtful.framing, doubtful.card) == (KEY, None)  # what is doubtful is not handed on
    assert told.check.doubtful is False
    assert told.card == last


@pytest.mark.parametrize("at_once", [True, False])
def test_a_card_that_has_moved_is_found_where_it_is(
    make: Make, tmp_path: Path, at_once: bool
) -> None:
    last = done(tmp_path, make("a_0001.dng", scene=SET)).card
    moved = make("a_0002.dng", scene=replace(SET, card_box=(0.05, 0.5, 0.2, 0.3)))
    told = Told(last, at_once)
    found = done(tmp_path, moved, told)
    assert told.waited == 1
    assert found.card is not None
    assert found.card.box.col < 60
    assert found.check.error_stops == pytest.approx(0, abs=NOISE)


def test_an_answer_that_is_late_changes_nothing(make: Make, tmp_path: Path) -> None:
    """A worker looks all over the picture meanwhile: the same comes of it."""
    last = done(tmp_path, make("a_0001.dng", scene=SET)).card
    for scene in (SET, TWO_CARDS, NO_CARD):
        file = make("a_0002.dng", -0.2, scene=scene)
        for answer in (last, None):
            early, late = (done(tmp_path, file, Told(answer, at_once)) for at_once in (True, False))
            assert early == late


def test_frames_of_one_framing(make: Make, tmp_path: Path) -> None:
    """Set-up, body and upright size."""
    plan = METER_ONLY + '[[setup]]\nname = "rim"\nframes = "5"\n'
    told = Told()
    other = replace(BODY, serial="0099")
    for file in (
        make("a_0001.dng", scene=SET),
        make("a_0002.dng", 0.3, scene=SET, f_number=8.0),
        make("a_0005.dng", scene=SET),
        make("a_0003.dng", scene=SET, camera=other),
        make("a_0004.dng", scene=SET, orientation=6),
        make("a_0006.dng", scene=replace(SET, size=(160, 240))),
    ):
        done(tmp_path, file, told, plan)
    of_other = (0, "TW-14 0099", Size(240, 160))
    tall = (0, "TW-14 0047", Size(160, 240))
    assert told.asked == [KEY, KEY, (1, *KEY[1:]), of_other, KEY, tall]


def test_nobody_is_asked_where_the_place_is_given(make: Make, tmp_path: Path) -> None:
    file, told = make("a_0001.dng", scene=SET), Told()
    by_plan = done(tmp_path, file, told, BOXED)
    typed = done(tmp_path, file, told, place=Place((0.45, 0.4, 0.1, 0.2), True))
    assert (told.asked, told.waited) == ([], 0)
    assert by_plan == typed
    assert (by_plan.framing, by_plan.card, by_plan.picture) == (None, None, None)
    assert by_plan.check.patch is not None
    assert by_plan.check.patch.target.box == Box(108, 64, 24, 32)
    assert by_plan.check.patch.target.found_by == "given"
    # What is typed stands over the plan.
    assert done(tmp_path, file, told, BOXED, place="find").card is not None
    assert told.asked == [KEY]


def test_a_given_place_is_no_candidate(make: Make, tmp_path: Path) -> None:
    """The schema: "candidates" is empty where the place was given."""
    assert done(tmp_path, make("a_0001.dng", scene=SET), text=BOXED).check.sightings == ()


def test_a_picture_without_a_card(make: Make, tmp_path: Path) -> None:
    file = make("a_0001.dng", scene=NO_CARD)
    found = done(tmp_path, file)
    check = found.check
    assert (check.verdict, check.problem) == ("no-card", NO_CARD_FOUND)
    assert (check.patch, check.sightings, check.warnings) == (None, (), ())
    assert (check.file, check.setup) == (file, "main")
    assert check.settings is not None
    assert (check.settings.iso, check.settings.serial) == (100, "0047")
    assert (found.framing, found.card) == (None, None)
    # A card that was there before is not taken for one that is.
    last = done(tmp_path, make("a_0002.dng", scene=SET)).card
    assert done(tmp_path, file, Told(last)) == found


def test_a_picture_in_coloured_light(make: Make, tmp_path: Path) -> None:
    found = done(tmp_path, make("a_0001.dng", scene=SET, seen_by=GELLED))
    check = found.check
    assert (check.verdict, check.problem) == ("no-card", COLORED)
    assert check.warnings == ("coloured-light",)
    assert check.doubtful
    assert found.card is None
    # With a box it is measured like any other.
    boxed = done(tmp_path, make("a_0002.dng", scene=SET, seen_by=GELLED), text=BOXED).check
    assert (boxed.problem, boxed.doubtful) == (None, False)
    assert boxed.error_stops == pytest.approx(0, abs=NOISE)


def test_a_card_is_no_chart(make: Make, tmp_path: Path) -> None:
    file = make("a_0001.dng", scene=SET)
    found = done(tmp_path, file, place="chart")
    assert (found.check.verdict, found.check.problem) == ("no-card", NO_CHART)
    assert (found.check.patch, found.check.sightings, found.card) == (None, (), None)


@pytest.mark.parametrize("place", ["find", "chart"])
def test_a_real_chart_is_measured_and_found_again(
    tmp_path: Path, real_frames: Path, place: Any
) -> None:
    file = real_frames / "raw" / "canon550d_magiclantern_colorchecker.dng"
    first = done(tmp_path, file, place=place)
    assert first.check.neutrals is not None
    assert len(first.check.neutrals.patches) == 6
    assert first.check.patch is not None
    # The patch nearest 18 %, neutral 5: shared/frames/README.md has it at 1006,902,56,56.
    box = first.check.patch.target.box
    assert (box.col + box.width / 2, box.row + box.height / 2) == pytest.approx((1034, 930), abs=3)
    again = done(tmp_path, file, Told(first.card), place=place)
    assert again.check.neutrals is not None
    assert again.check.patch == first.check.patch


def test_what_problems_say_is_one_line_with_what_to_do() -> None:
    for problem in (NO_CARD_FOUND, COLORED):
        assert "--card COL,ROW,WIDTH,HEIGHT" in problem
    assert "--card find" in NO_CHART
    assert "densities under [card]" in NO_DENSITIES
    assert "\n" not in NO_CARD_FOUND + COLORED + NO_CHART + NO_DENSITIES


def test_the_level_that_is_expected_raises_doubt(make: Make, tmp_path: Path) -> None:
    """Two stops under: by the plan it is no card's level. The frame's own settings are in that."""
    dark = done(tmp_path, make("a_0001.dng", -2, scene=SET))
    assert "unlikely-level" in dark.check.warnings
    assert dark.card is None
    # The same light on the sensor, because the camera was stopped down: as expected.
    stopped = done(tmp_path, make("a_0002.dng", scene=SET, f_number=22.0))
    assert stopped.check.settings_stops == pytest.approx(-2, abs=0.001)
    assert not stopped.check.doubtful
    # Without a reading nothing is expected.
    assert not done(tmp_path, make("a_0003.dng", -2, scene=SET), text="").check.doubtful


def test_a_lighter_thing_beside_the_card_is_not_chosen_for_its_level(
    make: Make, tmp_path: Path
) -> None:
    """A sheet of paper as large: by level alone either might be the card."""
    paper = replace(SET, props=(*SET.props, Prop((0.05, 0.55, 0.2, 0.3), 0.7)))
    for stops in (0.0, -1.9):  # in the second the paper has the level of a card
        check = done(tmp_path, make("a_0001.dng", stops, scene=paper)).check
        assert check.doubtful


@pytest.mark.parametrize("place", ["find", Place((0.45, 0.4, 0.1, 0.2), True)])
def test_small_pictures_where_they_are_wanted(make: Make, tmp_path: Path, place: Any) -> None:
    file = make("a_0001.dng", scene=SET, orientation=6)
    shown = done(tmp_path, file, place=place, pictures=True)
    assert shown.picture is not None
    assert shown.picture.signal.shape == (80, 120, 3)
    plain = done(tmp_path, file, place=place)
    assert plain.picture is None
    assert replace(shown, picture=None) == plain
    bare = make("a_0002.dng", scene=NO_CARD)
    nothing = done(tmp_path, bare, place="find", pictures=True)
    assert nothing.check.verdict == "no-card"
    assert nothing.picture is not None
    gone = done(tmp_path, tmp_path / "gone.dng", place=place, pictures=True)
    assert (gone.check.problem, gone.picture) == ("there is no such file", None)


def test_what_is_done_travels_between_processes(make: Make, tmp_path: Path) -> None:
    shown = done(tmp_path, make("a_0001.dng", scene=SET), pictures=True)
    again = pickle.loads(pickle.dumps(shown))
    assert again.picture is not None
    assert shown.picture is not None
    assert np.array_equal(again.picture.signal, shown.picture.signal)
    assert replace(again, picture=None) == replace(shown, picture=None)
    checker = Checker(plan_of(tmp_path, METER_ONLY), Wanted())
    assert pickle.loads(pickle.dumps(checker)) == checker
