"""Pictures of sets: the truth that is kept of them against what the sensor really got.

What a card should give is worked out here from ISO 2720 and ISO 12232 with q = 0.65 (check-values
2.5), and where it is seen from its corners, not with the code that painted it.
"""

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from small_shots import by_tifffile

from verify.frames.open import open_frame
from verify.simulate.camera import SIX_BY_SIX, CameraModel, Settings
from verify.simulate.pictures.canvas import Canvas, grey
from verify.simulate.pictures.photograph import (
    READING,
    Photograph,
    Setting,
    as_seen,
    expose_picture,
    photograph,
    photograph_sequence,
    write_photograph,
)
from verify.simulate.pictures.rendering import any_preview
from verify.simulate.pictures.sets import KINDS, Kind, Picture, draw_picture
from verify.simulate.pictures.shapes import capsule, ellipse, polygon, rectangle, tilted

METERED = 0.65 * 250 * 0.18 / math.pi / 78  # signal of an 18 % card at the reading: 0.11937
SIZE = (300, 200)
NUMBERS = range(40)
BODY = CameraModel(black=((512.0,),))
SEED = 77

Point = tuple[float, float]


@cache
def drawn(kind: Kind, number: int) -> Picture:
    return draw_picture(kind, SEED, number, SIZE)


def inside(corners: tuple[Point, ...], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Pixels whose middle lies within a convex outline, clockwise as it is seen."""
    column, row = np.meshgrid(np.arange(shape[1]) + 0.5, np.arange(shape[0]) + 0.5)
    within = np.ones(shape, bool)
    for (x, y), (x_next, y_next) in zip(corners, [*corners[1:], corners[0]], strict=True):
        within &= (x_next - x) * (row - y) - (y_next - y) * (column - x) >= 0
    return within


def shrunk(corners: tuple[Point, ...], share: float) -> tuple[Point, ...]:
    """The outline about the point where its diagonals meet: the card's own middle."""
    (a, b), (c, d), (e, f), (g, h) = corners
    along, across = (e - a, f - b), (g - c, h - d)
    cross = along[0] * across[1] - along[1] * across[0]
    t = ((c - a) * across[1] - (d - b) * across[0]) / cross
    x, y = a + t * along[0], b + t * along[1]
    return tuple((x + share * (p - x), y + share * (q - y)) for p, q in corners)


def clear(picture: Picture) -> bool:
    """Whether nothing lies on the card's middle."""
    return {"hand", "hard shadow", "soft shadow", "sheen"}.isdisjoint(picture.contents)


def green_of(shot: Photograph) -> NDArray[np.float64]:
    """Signal of the green photosites of an upright frame without a border; others NaN."""
    signal = (shot.mosaic - 512.0) / (16383 - 512)
    signal[0::2, 0::2] = np.nan
    signal[1::2, 1::2] = np.nan
    return signal


def exposed(picture: Picture, stops: float, noise: int | None = None) -> Photograph:
    setting = Setting(BODY, Settings(), {}, previews=False)
    rng = np.random.default_rng(noise or 0)
    return expose_picture(picture, SIZE, setting, stops, rng)


def test_the_true_error_is_that_of_the_photosites_in_the_middle_of_the_card() -> None:
    tried = 0
    for number in NUMBERS:
        picture = drawn("card", number)
        if not clear(picture):
            continue
        shot = exposed(picture, -0.7)
        (card,) = shot.cards
        middle = inside(shrunk(card.corners, 0.25), (SIZE[1], SIZE[0]))
        green = green_of(shot)[middle]
        green = green[~np.isnan(green)]
        level, spread = float(green.mean()), float(green.std()) / math.sqrt(green.size)
        error = math.log2(level / METERED)
        assert error == pytest.approx(card.error_stops, abs=0.004 + 4 * spread / level), number
        tried += 1
    assert tried >= 6


def test_falloff_and_glare_belong_to_the_true_error() -> None:
    errors = [exposed(drawn("card", n), 0.0).cards[0].error_stops for n in NUMBERS]
    assert min(errors) < -0.03  # a corner that cos^4 darkens
    assert max(errors) > 0.01  # glare
    assert max(map(abs, errors)) < 0.8


def test_a_shadow_and_a_sheen_are_no_part_of_the_true_error() -> None:
    found = set()
    for number in range(80):
        picture = draw_picture("card", SEED, number, (150, 100))
        (card,) = picture.cards
        if card.shadow_share:
            found.add("shadow")
            assert 0.04 <= card.shadow_share <= 0.42
        if card.sheen_share:
            found.add("sheen")
            assert 0.0 < card.sheen_share <= 0.31
        if {"vignetting", "glare"}.isdisjoint(picture.contents):
            assert math.log2(card.light / 0.18) == pytest.approx(0, abs=0.2)
    assert found == {"shadow", "sheen"}


def test_the_card_is_neutral_and_the_light_nearly() -> None:
    casts = []
    for number in NUMBERS:
        picture = drawn("card", number)
        if clear(picture) and "glare" not in picture.contents:
            corners = picture.cards[0].placed.corners
            within = inside(shrunk(corners, 0.3), (SIZE[1], SIZE[0]))
            red, green, blue = picture.light[within].mean(axis=0)
            casts.append((math.log2(red / green), math.log2(blue / green)))
    assert len(casts) >= 5
    # 0.15 stop of the light and 0.02 of the card; glare of at most 0.4 % is left.
    assert np.abs(casts).max() < 0.15 + 0.02 + 0.03
    assert np.abs(casts).max() > 0.05


def test_a_gel_colours_everything() -> None:
    for number in NUMBERS:
        corners = drawn("coloured", number).cards[0].placed.corners
        within = inside(shrunk(corners, 0.3), (SIZE[1], SIZE[0]))
        red, green, blue = drawn("coloured", number).light[within].mean(axis=0)
        cast = max(abs(math.log2(red / green)), abs(math.log2(blue / green)))
        assert 0.4 < cast < 2.1  # 0.5 to 2 stops; glare of a coloured set thins or thickens it


@pytest.mark.parametrize(("kind", "cards"), [("card", 1), ("no-card", 0), ("two-cards", 2)])
def test_a_kind_has_its_number_of_cards(kind: Kind, cards: int) -> None:
    assert {len(drawn(kind, number).cards) for number in NUMBERS} == {cards}


def test_corners_go_clockwise_from_the_top_left_within_the_picture() -> None:
    width, height = SIZE
    for kind in ("card", "two-cards"):
        for number in NUMBERS:
            for card in drawn(kind, number).cards:
                corners = np.array(card.placed.corners)
                assert np.all(corners > 0)
                assert np.all(corners < (width, height))
                ahead = np.roll(corners, -1, axis=0)
                twice = corners[:, 0] * ahead[:, 1] - ahead[:, 0] * corners[:, 1]
                share = twice.sum() / 2 / width / height
                assert 0.02 <= share <= 0.301
                top = corners[1] - corners[0]
                assert abs(math.degrees(math.atan2(top[1], top[0]))) < 45


def test_corners_enclose_the_card() -> None:
    # Where the card covers the set the picture with it differs from the one without, and beyond
    # the shadow that it throws nothing does.
    tried = 0
    for number in NUMBERS:
        with_card, without = drawn("card", number), drawn("no-card", number)
        held = {"hand", "stand", "clamp", "hard shadow", "soft shadow", "glare", "soft focus"}
        if not held.isdisjoint(with_card.contents):
            continue
        change = np.abs(np.log2(with_card.light / without.light)).max(axis=2)
        corners = with_card.cards[0].placed.corners
        within = inside(shrunk(corners, 0.97), change.shape)
        beyond = ~inside(shrunk(corners, 1.35), change.shape)
        assert np.mean(change[within] > 0.02) > 0.9
        assert np.mean(change[beyond] > 0.02) < 0.02  # a veil of glare is less
        tried += 1
    assert tried >= 2


def test_two_cards_are_equal_and_apart() -> None:
    for number in NUMBERS:
        one, other = drawn("two-cards", number).cards
        shape = (SIZE[1], SIZE[0])
        a, b = inside(one.placed.corners, shape), inside(other.placed.corners, shape)
        assert not np.any(a & b)
        assert 0.7 < a.sum() / b.sum() < 1.4
        assert abs(math.log2(one.light / other.light)) < 0.6


def test_the_same_seed_gives_the_same_mosaic_and_another_does_not() -> None:
    one = photograph("card", SEED, 3, SIZE)
    again, other = photograph("card", SEED, 3, SIZE), photograph("card", SEED + 1, 3, SIZE)
    assert np.array_equal(one.mosaic, again.mosaic)
    assert one.cards == again.cards
    assert one.mosaic.shape != other.mosaic.shape or not np.array_equal(one.mosaic, other.mosaic)
    assert one.cards != other.cards


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_frame_reads_upright_whatever_its_orientation(orientation: int, tmp_path: Path) -> None:
    picture = replace(drawn("card", 1), light=np.full((200, 300, 3), 0.05, np.float32))
    picture.light[20:60, 40:80] = 0.8  # near the top left only
    settings = Settings(orientation=orientation)
    setting = Setting(BODY, settings, {}, previews=False)
    shot = expose_picture(picture, SIZE, setting, 0.0, np.random.default_rng(0))
    path = write_photograph(tmp_path / "frame.dng", shot)
    with open_frame(path) as frame:
        assert (frame.size.width, frame.size.height) == SIZE
    seen = as_seen(shot)
    assert seen.shape == (200, 300, 3)
    assert seen[40, 60].min() > 2 * seen[160, 240].max()
    assert seen[160, 60].max() < seen[40, 60].min()
    assert np.array_equal(by_tifffile(path), shot.mosaic)


def test_a_coloured_picture_meets_the_filters_of_any_mosaic() -> None:
    picture = drawn("card", 1)
    light = np.zeros_like(picture.light)
    light[:] = (0.2, 0.1, 0.05)
    for pattern in (("RG", "GB"), SIX_BY_SIX, ("GM", "CY")):
        body = replace(BODY, pattern=pattern, red_gain=0.5, blue_gain=0.8)
        setting = Setting(body, Settings(), {}, previews=False)
        shot = expose_picture(
            replace(picture, light=light), SIZE, setting, 0.0, np.random.default_rng(0)
        )
        signal = (shot.mosaic - 512.0) / (16383 - 512)
        letters = np.array([list(row) for row in pattern])
        rows, columns = np.indices(signal.shape)
        cells = letters[rows % letters.shape[0], columns % letters.shape[1]]
        seen = {"R": 0.2 * 0.5, "G": 0.1, "B": 0.05 * 0.8}
        seen |= {"C": (0.1 + 0.04) / 2, "M": (0.1 + 0.04) / 2, "Y": (0.1 + 0.1) / 2}
        for colour in np.unique(cells):
            level = float(signal[cells == colour].mean())
            assert level == pytest.approx(seen[str(colour)] * METERED / 0.18, rel=0.01), colour


def test_the_file_says_nothing_of_the_truth(tmp_path: Path) -> None:
    shot = photograph("two-cards", SEED, 5, SIZE)
    path = write_photograph(tmp_path / "frame.dng", shot)
    data = path.read_bytes()
    for word in (*shot.contents, *KINDS, "card", "truth"):
        assert word.encode() not in data
    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        neutral = np.array(page.tags[50728].value, float).reshape(-1, 2)
    gains = [shot.camera.gain(colour) for colour in "RGB"]
    assert neutral[:, 0] / neutral[:, 1] == pytest.approx(gains, rel=1e-4)


def test_every_sort_of_preview_is_met() -> None:
    mosaic = exposed(drawn("card", 1), 0.0).mosaic
    rng = np.random.default_rng(SEED)
    seen = {name: layout for layout, name in (any_preview(rng, mosaic, BODY) for _ in range(150))}
    assert seen["no preview"] == {}
    ratios = {}
    for name in ("preview", "padded preview", "cropped preview", "black and white preview"):
        embedded = seen[name]["preview_picture"]
        assert embedded.dtype == np.uint8
        assert max(embedded.shape) <= max(SIZE)
        ratios[name] = embedded.shape[1] / embedded.shape[0]
        grey_only = bool(np.all(embedded == embedded[..., :1]))
        assert grey_only == (name == "black and white preview")
    assert ratios["preview"] == pytest.approx(1.5, abs=0.02)
    assert ratios["black and white preview"] == pytest.approx(1.5, abs=0.02)
    assert ratios["padded preview"] == pytest.approx(4 / 3, abs=0.02)
    assert abs(math.log2(ratios["cropped preview"] / 1.5)) > 0.1


def test_a_sequence_keeps_its_set_and_takes_the_card_along() -> None:
    shots = photograph_sequence(SEED, 2, (0, 0, None, 1), SIZE)
    assert [len(shot.cards) for shot in shots] == [1, 1, 0, 1]
    first, nudged, elsewhere = (np.array(shots[n].cards[0].corners) for n in (0, 1, 3))
    assert 0 < np.abs(first - nudged).max() < 0.04 * max(SIZE)
    assert np.abs(first - elsewhere).max() > 0.04 * max(SIZE)
    assert shots[0].cards[0].error_stops != shots[1].cards[0].error_stops
    moments = [shot.settings.captured for shot in shots]
    assert None not in moments
    assert moments == sorted(moments, key=str)
    assert len({shot.camera for shot in shots}) == 1


def test_a_nudged_card_is_where_its_corners_say() -> None:
    number = next(n for n in NUMBERS if clear(drawn("card", n)))
    spreads = []
    for shot in photograph_sequence(SEED, number, (0, 0, 0), SIZE):
        picture = as_seen(shot).astype(float)
        own = picture[inside(shrunk(shot.cards[0].corners, 0.85), picture.shape[:2])]
        spreads.append(float(own.std(axis=0).max()))
    assert max(spreads[1:]) < 1.5 * spreads[0] + 2


def test_a_picture_is_enlarged_to_any_size() -> None:
    setting = Setting(BODY, Settings(), {}, previews=False)
    picture = drawn("card", NUMBERS[0])
    small = expose_picture(picture, SIZE, setting, 0.0, np.random.default_rng(0))
    large = expose_picture(picture, (900, 600), setting, 0.0, np.random.default_rng(0))
    assert large.mosaic.shape == (600, 900)
    assert np.allclose(np.array(large.cards[0].corners), 3 * np.array(small.cards[0].corners))
    assert large.cards[0].error_stops == small.cards[0].error_stops


def test_outlines_cover_the_area_of_their_shapes() -> None:
    shape = (200, 300)
    area = polygon(shape, rectangle((120.3, 90.7), 80, 50, 23)).cover().sum()
    assert float(area) == pytest.approx(80 * 50, rel=2e-3)
    area = ellipse(shape, (140, 100), (60, 35), 40).cover().sum()
    assert float(area) == pytest.approx(math.pi * 60 * 35, rel=5e-3)
    area = capsule(shape, (80, 60), (200, 120), 20).cover().sum()
    long = math.dist((80, 60), (200, 120))
    assert float(area) == pytest.approx(math.pi * 400 + 40 * long, rel=2e-3)
    rounded = polygon(shape, rectangle((120, 90), 80, 50), round_px=15).cover().sum()
    assert float(rounded) == pytest.approx(80 * 50 - (4 - math.pi) * 225, rel=2e-3)
    assert polygon(shape, rectangle((-90, -90), 80, 50)).cover().size == 0
    soft = polygon(shape, rectangle((120, 90), 80, 50), beyond=12).cover(soft_px=8)
    assert float(soft.sum()) == pytest.approx(80 * 50, rel=0.02)


def test_a_tilted_rectangle_has_the_area_asked_for() -> None:
    corners = np.array(tilted((150, 100), 5000, 1.4, (12, 25, -18)))
    ahead = np.roll(corners, -1, axis=0)
    twice = corners[:, 0] * ahead[:, 1] - ahead[:, 0] * corners[:, 1]
    assert twice.sum() / 2 == pytest.approx(5000)
    # The side that is turned away from the camera is the shorter one.
    lying = np.array(tilted((150, 100), 5000, 1.0, (0, 0, 55)))
    assert math.dist(lying[0], lying[1]) < 0.9 * math.dist(lying[3], lying[2])


def test_a_shadow_takes_its_stops_and_paint_its_light() -> None:
    canvas = Canvas(np.full((40, 60), 0.5, np.float32), np.full((40, 60, 3), 0.4, np.float32))
    canvas.paint(polygon(canvas.shape, rectangle((30, 20), 20, 20)), grey(0.6))
    assert canvas.picture[20, 30] == pytest.approx([0.3] * 3)
    assert canvas.picture[5, 5] == pytest.approx([0.4] * 3)
    canvas.darken(polygon(canvas.shape, rectangle((30, 20), 10, 10)), 1.0)
    assert canvas.picture[20, 30] == pytest.approx([0.15] * 3)


def test_the_reading_is_what_the_plan_says() -> None:
    assert pytest.approx(11.3137, abs=1e-4) == READING
    assert pytest.approx(0.11937, abs=5e-6) == METERED  # check-values 2.5
