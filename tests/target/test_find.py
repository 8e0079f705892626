"""A frame to its card, all the way: turned, in noise, again, in a chart, in photographs."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from drawn_scenes import (
    ALLOWED_STOPS,
    CARD,
    CARD_SIGNAL,
    COLORS,
    NEUTRAL,
    SIGMA_3200,
    SKIN,
    Picture,
    apart,
    cover,
    error_stops,
    exposed,
    frame_in,
    laid,
    lit,
    moved,
    on_set,
    plain,
    right_of,
    shining,
    standing,
    wrinkled,
)
from drawn_targets import Pose, chart, seen, wedge
from memory_frames import BAYER, frame_of

from verify.compare import expected_here
from verify.frames.frame import Settings
from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.measure import measure
from verify.plan.file import read_plan
from verify.simulate.camera import to_sensor
from verify.simulate.pictures.photograph import (
    Photograph,
    photograph,
    plan_tables,
    write_photograph,
)
from verify.simulate.pictures.sets import Kind
from verify.target.find import Finder
from verify.target.quads import Quad
from verify.target.records import Search, Target

pytestmark = pytest.mark.filterwarnings("error")

PLACE = (180.0, 120.0)
QUAD = standing(PLACE, 90, 70, 12)
SET = on_set(laid(wrinkled(), QUAD))
NEAR = 1.0  # cells
WEDGE_HEIGHT = 1.5  # of a drawn step against its width


def searched(signal: Picture, expected: float | None = CARD_SIGNAL, **source: Any) -> Search:
    """What a search of a frame comes to."""
    return Finder(frame_in(signal, **source), expected).search()


def test_the_card_in_upright_pixels() -> None:
    search = searched(exposed(SET))
    assert (search.sure, search.doubts, search.again, search.patches) == (True, (), False, ())
    (card,) = search.found
    assert card.found_by == "shape"
    assert apart(card.corners, QUAD) < NEAR
    box = card.box
    assert cover(SET.shape, QUAD)[
        box.row : box.row + box.height, box.col : box.col + box.width
    ].all()
    assert box.width * box.height > 0.3 * 90 * 70
    assert abs(error_stops(exposed(SET), card)) < 0.005


@pytest.mark.parametrize("stops", [-3.0, 1.0])
def test_never_chosen_by_its_level(stops: float) -> None:
    box = searched(exposed(SET)).found[0].box
    for expected in (None, CARD_SIGNAL):
        assert searched(exposed(SET, stops), expected).found[0].box == box


def sensor_of(upright: Picture, orientation: int) -> Picture:
    """What a sensor of a Bayer mosaic, held as an orientation says, records of a picture."""
    stored = np.ascontiguousarray(to_sensor(upright, orientation))
    mosaic = np.empty(stored.shape[:2])
    for row, colors in enumerate(BAYER):
        for col, color in enumerate(colors):
            mosaic[row::2, col::2] = stored[row::2, col::2, COLORS.index(color)]
    return mosaic


@pytest.mark.parametrize("orientation", range(1, 9))
def test_however_the_camera_was_held(orientation: int) -> None:
    """Cells of two by two photosites, upright twice as many pixels as the drawing has cells."""
    signal = np.repeat(np.repeat(exposed(SET), 2, axis=0), 2, axis=1)
    stored = sensor_of(signal, orientation)
    blue, green, red = NEUTRAL[2], NEUTRAL[1], NEUTRAL[0]  # colours of a mosaic are in order
    frame = frame_of(stored, Settings(orientation=orientation), neutral=(blue, green, red))
    assert (frame.size.width, frame.size.height) == (720, 480)
    search = Finder(frame, CARD_SIGNAL).search()
    assert search.sure
    card = search.found[0]
    assert apart(card.corners, 2 * QUAD) < 2 * NEAR
    assert measure(frame, card).signal == pytest.approx(CARD_SIGNAL, rel=0.005)
    if orientation in (1, 6):
        last = Finder(frame, CARD_SIGNAL).found(card)
        assert last == Search((card,), again=True)


CHANGED: dict[str, Callable[[Picture], Picture]] = {
    "a shadow": lambda p: lit(p, right_of(205), -1.5),
    "a soft shadow": lambda p: lit(p, right_of(205), -0.6, 15),
    "a lamp mirrored in it": lambda p: shining(p, (160, 105), 28, 0.12),
    "a hand": lambda p: laid(p, standing((224, 138), 50, 22, 15), SKIN),
    "warmer light": lambda p: p * np.exp2(np.array([0.15, 0, -0.15])),
}


@pytest.mark.parametrize("what", CHANGED)
def test_what_is_measured_is_the_card_in_full_light(what: str) -> None:
    frame = frame_in(exposed(CHANGED[what](SET), sigma=0.01))
    search = Finder(frame, CARD_SIGNAL).search()
    signal = measure(frame, search.found[0]).signal
    assert np.log2(signal / CARD_SIGNAL) == pytest.approx(0, abs=ALLOWED_STOPS)


@pytest.mark.parametrize("seed", [1, 2])
def test_noise_as_at_iso_3200(seed: int) -> None:
    signal = exposed(SET, sigma=SIGMA_3200, seed=seed)
    search = searched(signal)
    assert apart(search.found[0].corners, QUAD) < 1.5 * NEAR
    assert abs(error_stops(signal, search.found[0])) < ALLOWED_STOPS


def test_a_monochrome_sensor_and_an_unknown_white_balance() -> None:
    for signal in (exposed(SET)[..., 1], exposed(SET)):
        search = searched(signal, neutral=None)
        assert search.sure
        assert apart(search.found[0].corners, QUAD) < NEAR
        assert abs(error_stops(signal, search.found[0])) < ALLOWED_STOPS


def test_a_search_is_done_once() -> None:
    finder = Finder(frame_in(exposed(SET)), CARD_SIGNAL)
    assert finder.search() is finder.search()
    assert finder.found(None) is finder.search()


def test_the_place_of_the_last_frame() -> None:
    card = searched(exposed(SET)).found[0]
    elsewhere = on_set(laid(wrinkled(), moved(QUAD, 40, -10)))
    grain = 0.0005 * np.random.default_rng(1).standard_normal(SET.shape)
    black, clipped = exposed(SET, -12) + grain, np.ones_like(SET)
    for signal in (exposed(SET, -1, SIGMA_3200), black, clipped):
        assert Finder(frame_in(signal), CARD_SIGNAL).found(card) == Search((card,), again=True)
    new = Finder(frame_in(exposed(elsewhere)), CARD_SIGNAL).found(card)
    assert not new.again
    assert apart(new.found[0].corners, moved(QUAD, 40, -10)) < NEAR
    covered = laid(SET, standing(PLACE, 40, 30, 25), SKIN)
    hand = Finder(frame_in(exposed(covered)), CARD_SIGNAL).found(card)
    assert not hand.again
    assert hand.found == () or abs(error_stops(exposed(covered), hand.found[0])) < ALLOWED_STOPS
    gone = Finder(frame_in(exposed(on_set(wrinkled()))), CARD_SIGNAL).found(card)
    assert gone == Search(())


@pytest.mark.parametrize("found_by", ["given", "chart", "marker"])
def test_only_what_was_found_by_its_shape_is_looked_for_at_its_place(found_by: Any) -> None:
    card = replace(searched(exposed(SET)).found[0], found_by=found_by)
    assert not Finder(frame_in(exposed(SET)), CARD_SIGNAL).found(card).again


def in_cells(picture: Any, stops: float = -0.3) -> Picture:
    """The signal of a drawn target, its own white balance that of the frame."""
    return np.asarray(np.asarray(picture, float) * np.asarray(NEUTRAL) * 2.0**stops)


def test_a_chart_stands_for_the_card() -> None:
    backdrop = plain(0.15, 320, 480).astype(np.float32)
    picture, _ = seen(chart(), backdrop, Pose(0.5, 8))
    picture = np.asarray(laid(np.asarray(picture, float), standing((420, 60), 80, 60)), np.float32)
    for chart_only in (False, True):
        search = Finder(frame_in(in_cells(picture)), None, chart_only=chart_only).search()
        assert [p.name for p in search.patches][::5] == ["white 9.5", "black 2"]
        (card,) = search.found
        assert card.found_by == "chart"
        assert card.box == search.patches[3].box
        assert search.patches[3].name == "neutral 5"


def test_where_nothing_but_a_chart_will_do_a_card_is_none() -> None:
    assert Finder(frame_in(exposed(SET)), CARD_SIGNAL, chart_only=True).search() == Search(())


def test_a_step_wedge_stands_for_the_card_where_its_densities_are_known() -> None:
    backdrop = plain(0.1, 320, 480).astype(np.float32)
    picture, _ = seen(wedge(8, 0.15), backdrop, Pose(0.6, 5), WEDGE_HEIGHT)
    frame = frame_in(in_cells(picture))
    densities = tuple(0.05 + 0.15 * n for n in range(8))
    search = Finder(frame, None, densities).search()
    assert len(search.patches) == 8
    assert search.found[0].box == search.patches[5].box  # D 0.80 is 16 %, 0.65 is 22 %
    assert search.found[0].found_by == "chart"
    unknown = Finder(frame, None, densities[:5]).search()
    assert unknown.patches == search.patches
    assert not unknown.sure


SHAPES = [(1, 1), (1, 2), (2, 1), (3, 3), (5, 9), (12, 12), (20, 20), (1, 480), (480, 2), (9, 480)]


@pytest.mark.parametrize("shape", SHAPES)
def test_pictures_of_any_shape(shape: tuple[int, int]) -> None:
    rows, cols = shape
    rng = np.random.default_rng(1)
    card = standing((cols / 2, rows / 2), 0.6 * cols, 0.6 * rows)
    whole = Target(Box(0, 0, cols, rows), Box(0, 0, cols, rows).corners(), "shape")
    for signal in (
        exposed(laid(plain(0.4, rows, cols), card)),
        rng.uniform(0, 1, (rows, cols, 3)),
        0.01 * rng.standard_normal((rows, cols)),
        np.zeros((rows, cols)),
        np.ones((rows, cols, 3)),
    ):
        frame = frame_in(signal)
        finder = Finder(frame, CARD_SIGNAL)
        for search in (finder.search(), finder.found(whole)):
            assert all(t.box.inside(frame.size) for t in search.found)


@pytest.mark.parametrize("level", [0.0, CARD, 5.0])
def test_no_card_in_an_even_picture(level: float) -> None:
    assert searched(exposed(plain(level))) == Search(())


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_a_photosite_that_is_no_number(value: float) -> None:
    """As a file of floating-point samples can have."""
    signal = exposed(SET)
    signal[40, 300] = value
    search = searched(signal)
    assert search.sure
    assert apart(search.found[0].corners, QUAD) < NEAR


def photographed(tmp_path: Path, kind: Kind, number: int) -> tuple[Photograph, Search, list[float]]:
    """A simulated photograph, what a search comes to, and the errors of what was found [stop]."""
    shot = photograph(kind, 20, number, (600, 400))
    path = write_photograph(tmp_path / "frame.dng", shot)
    setup = read_plan(None, plan_tables(shot.iso)).setups[0]
    with open_frame(path) as frame:
        expected = expected_here(frame.settings, setup, None)
        assert expected is not None
        search = Finder(frame, expected).search()
        signals = [measure(frame, target).signal for target in search.found]
    return shot, search, [float(np.log2(s / expected)) for s in signals]


def beside(corners: Quad | tuple[tuple[float, float], ...], search: Search) -> float:
    """How far the nearest of what was found is off, in shorter sides."""
    side = float(np.linalg.norm(np.diff(np.array(corners), axis=0), axis=1).min())
    return min((apart(t.corners, corners) / side for t in search.found), default=np.inf)


@pytest.mark.parametrize("number", [0, 1, 4])
def test_a_photograph_with_a_card(tmp_path: Path, number: int) -> None:
    shot, search, errors = photographed(tmp_path, "card", number)
    truth = shot.cards[0]
    assert beside(truth.corners, search) < 0.15
    assert errors[0] == pytest.approx(truth.error_stops, abs=ALLOWED_STOPS)


@pytest.mark.parametrize("number", [3, 6])
def test_a_photograph_with_a_small_card_and_a_lighter_paper(tmp_path: Path, number: int) -> None:
    """Where it is not the card that is measured, there is doubt."""
    shot, search, errors = photographed(tmp_path, "card", number)
    right = bool(errors) and abs(errors[0] - shot.cards[0].error_stops) < ALLOWED_STOPS
    assert right or not search.sure


@pytest.mark.parametrize("number", [3])
def test_a_photograph_without_a_card(tmp_path: Path, number: int) -> None:
    assert not photographed(tmp_path, "no-card", number)[1].sure


@pytest.mark.parametrize("number", range(2))
def test_a_photograph_with_two_equal_cards(tmp_path: Path, number: int) -> None:
    shot, search, _ = photographed(tmp_path, "two-cards", number)
    assert "several-cards" in search.doubts
    assert all(beside(card.corners, search) < 0.15 for card in shot.cards)


@pytest.mark.parametrize("number", [1])
def test_a_photograph_under_a_gel(tmp_path: Path, number: int) -> None:
    assert photographed(tmp_path, "coloured", number)[1].doubts == ("coloured-light",)
