"""A patch to a number, with its uncertainty and what is doubtful about it."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from memory_frames import (
    BLACK,
    EXACT,
    WHITE,
    Array,
    even,
    frame_of,
    names,
    noisy,
    of_box,
    read,
    turned,
    whole,
)

from verify.errors import BoxError, FrameError, NotAFrame
from verify.frames.frame import Doubt
from verify.frames.geometry import Box
from verify.measure import code_step

SIX_BY_SIX = tuple(
    tuple({"R": "red", "G": "green", "B": "blue"}[letter] for letter in row)
    for row in ("GBGGRG", "RGRBGB", "GBGGRG", "GRGGBG", "BGBRGR", "GRGGBG")
)
CMYG = (("green", "magenta"), ("cyan", "yellow"))


def partly(share: float, level: float, rest: float = 0.12) -> Array:
    """An even signal of which a share, spread all over, has another level."""
    signal = even(rest, (200, 200)).ravel()
    signal[np.random.default_rng(5).permutation(signal.size)[: round(share * signal.size)]] = level
    return signal.reshape(200, 200)


@pytest.mark.parametrize(
    ("fraction", "dn"),
    [  # check-values 2.6: black 512, white 16383
        (0.18 / math.sqrt(2), 2532.05),
        (0.18, 3368.78),
        (0.11937, 2406.52),
        (0.5, 8447.5),
        (0.01, 670.71),
    ],
)
def test_a_code_is_a_share_of_the_way_from_black_to_white(fraction: float, dn: float) -> None:
    patch = read(frame_of(even((dn - BLACK) / (WHITE - BLACK))))
    assert patch.signal == pytest.approx(fraction, abs=0.005 / (WHITE - BLACK))
    assert (patch.black, patch.white) == (BLACK, WHITE)


def test_stops_between_codes_need_black_taken_out() -> None:
    # check-values 2.6: DN 1522.03 and 4552.12 lie one stop below and above 0.127279.
    for dn, stops in ((1522.03, -1), (4552.12, 1)):
        signal = read(frame_of(even((dn - BLACK) / (WHITE - BLACK)))).signal
        assert math.log2(signal / 0.127279) == pytest.approx(stops, abs=2e-5)


def test_an_even_patch_has_nothing_doubtful() -> None:
    patch = read(frame_of(even()))
    assert patch.signal == pytest.approx(0.12, rel=EXACT)
    assert (patch.red, patch.green, patch.blue) == pytest.approx((0.12,) * 3, rel=EXACT)
    assert (patch.doubts, patch.bound) == ((), None)
    assert patch.gradient_stops == pytest.approx(0, abs=EXACT)
    assert patch.clipped == {"red": 0, "green": 0, "blue": 0}
    assert patch.u_terms == pytest.approx({"noise": 0, "evenness": 0}, abs=EXACT)
    assert patch.steps == ("black", "scale to white")


@pytest.mark.parametrize("pattern", [SIX_BY_SIX, (("blue", "green"), ("green", "red"))])
def test_green_stands_for_the_exposure_and_each_colour_has_its_mean(pattern: Any) -> None:
    signal = even(size=(120, 180))
    frame = frame_of(signal, pattern=pattern)
    region = frame.signal(Box(0, 0, 180, 120))
    assert region.classes is not None
    for color, level in (("red", 0.06), ("green", 0.12), ("blue", 0.09)):
        signal[region.classes == region.colors.index(color)] = level
    patch = read(frame)
    found = (patch.signal, patch.red, patch.green, patch.blue)
    assert found == pytest.approx((0.12, 0.06, 0.12, 0.09), rel=EXACT)


def test_colours_that_the_sensor_has_not_are_not_known() -> None:
    mono = read(frame_of(even(), pattern=None))
    assert (mono.red, mono.green, mono.blue) == (None, None, None)
    assert mono.clipped == {"grey": 0}
    four = read(frame_of(even(), pattern=CMYG))
    assert (four.red, four.blue) == (None, None)
    assert four.green == four.signal == pytest.approx(0.12, rel=EXACT)


def test_the_green_plane_and_luminance_of_three() -> None:
    planes = np.stack([even(0.1), even(0.2), even(0.4)], axis=-1)
    assert read(frame_of(planes)).signal == pytest.approx(0.2, rel=EXACT)
    luminance = (0.2126, 0.7152, 0.0722)  # IEC 61966-2-1
    patch = read(frame_of(planes, luminance=luminance))
    assert patch.signal == pytest.approx(0.02126 + 0.14304 + 0.02888, rel=EXACT)
    assert (patch.red, patch.green, patch.blue) == pytest.approx((0.1, 0.2, 0.4), rel=EXACT)


def test_clipping_of_any_plane_clips_luminance() -> None:
    planes = np.stack([partly(0.02, 1.0), even(0.2, (200, 200)), even(0.4, (200, 200))], axis=-1)
    patch = whole(frame_of(planes, luminance=(0.2126, 0.7152, 0.0722)))
    assert patch.bound == "at-least"
    assert patch.clipped["luminance"] == patch.clipped["red"] == 0.02


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_box_is_upright_however_the_camera_was_turned(orientation: int) -> None:
    upright = even(size=(200, 200))
    upright[:100, 100:] = 0.3  # top right
    # TIFF 6.0, tag 274: where the stored first row and first column lie in the upright picture.
    stored = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.T,
        6: upright.T[::-1],
        7: upright.T[::-1, ::-1],
        8: upright.T[:, ::-1],
    }[orientation]
    frame = turned(frame_of(stored, pattern=None), orientation)
    found = [of_box(frame, *box, 60, 60).signal for box in ((20, 20), (120, 20), (120, 120))]
    # A quarter turn one way is undone by one the other way: 6 and 8 are each other's inverse.
    assert found == pytest.approx([0.12, 0.3, 0.12], rel=EXACT)


@pytest.mark.parametrize(
    ("share", "bound", "warning"),
    [
        (0.0009, None, None),  # up to 0.1 %: nothing is said
        (0.0011, None, "part-clipped"),
        (0.009, None, "part-clipped"),
        (0.011, "at-least", "clipped"),
        (1, "at-least", "clipped"),
    ],
)
@pytest.mark.parametrize("clips_at", [1.0, 0.8])
def test_a_partly_clipped_card(
    share: float, bound: str | None, warning: str | None, clips_at: float
) -> None:
    patch = whole(frame_of(partly(share, clips_at, 0.5), pattern=None, clips_at=clips_at))
    assert patch.bound == bound
    clipping = [name for name in names(patch) if "clip" in name]
    assert clipping == ([] if warning is None else [warning])
    assert patch.clipped["grey"] == share
    assert patch.clips_at == clips_at


def test_a_clipped_red_is_told_and_leaves_green_a_value() -> None:
    signal = even(0.3)
    signal[::2, ::2] = 1.0  # the red photosites
    patch = read(frame_of(signal))
    assert patch.bound is None
    assert patch.signal == pytest.approx(0.3, rel=EXACT)
    assert (patch.clipped["red"], patch.clipped["green"]) == (1, 0)
    assert "part-clipped" in names(patch)
    assert "100.0% of one colour is clipped" in [d.note for d in patch.doubts]


@pytest.mark.parametrize(
    ("level", "limit", "near"),
    [(0.89, 1, False), (0.91, 1, True), (0.85, 0.8, True), (0.75, 0.8, False)],
)
def test_near_clipping(level: float, limit: float, near: bool) -> None:
    frame = replace(frame_of(even(level)), linear_limit=limit)
    assert ("near-clipping" in names(read(frame))) is near
    if level == 0.75:
        low = frame_of(even(level), clips_at=0.8)
        assert "near-clipping" in names(read(low))


@pytest.mark.parametrize(("mean", "dark"), [(4.0, True), (6.0, False), (0.0, True), (-4.0, True)])
def test_a_card_at_black_is_one_that_noise_could_have_made(mean: float, dark: bool) -> None:
    sigma = 0.01
    photosites = 60 * 40 // 2
    signal = noisy(0, sigma)
    frame = frame_of(signal)
    here = signal - read(frame).signal  # the mean of the patch is now wholly 0
    patch = read(frame_of(here + mean * sigma / math.sqrt(photosites)))
    assert (patch.bound == "at-most") is dark
    assert ("at-black" in names(patch)) is dark


def test_a_floor_that_cuts_noise_off_lifts_the_mean() -> None:
    # Normal noise about 0, cut off there, has a mean of 0.4 of its standard deviation.
    cut = np.maximum(noisy(0, 0.01), 0)
    patch = read(frame_of(cut, floor=0.0))
    assert patch.floored == pytest.approx(0.5, abs=0.05)
    assert (patch.bound, "at-black" in names(patch)) == ("at-most", True)
    bright = read(frame_of(np.maximum(noisy(0.12, 0.01), 0), floor=0.0))
    assert (bright.bound, bright.floored) == (None, 0)


@pytest.mark.parametrize(("sigmas", "bound"), [(2.0, None), (1.4, "at-most")])
def test_what_the_floor_may_have_lifted_is_in_u(sigmas: float, bound: str | None) -> None:
    # The share at the floor times the noise: 1 % of the mean at two sigmas, 5 % at 1.4.
    cut = np.maximum(noisy(sigmas * 0.01, 0.01), 0)
    patch = whole(frame_of(cut, floor=0.0, pattern=None))
    lift = float((cut == 0).mean() * cut.std())
    assert patch.bound == bound
    assert patch.u_terms["floor"] == pytest.approx(lift / cut.mean() / math.log(2), rel=0.02)
    # Normal noise cut off at 0: its mean is lifted by less than that.
    assert cut.mean() - sigmas * 0.01 < lift


def test_a_floor_under_another_colour_lifts_nothing() -> None:
    signal = noisy(0.12, 0.01)
    signal[::2, ::2] = 0  # the red photosites
    patch = read(frame_of(signal, floor=0.0))
    assert (patch.bound, patch.floored, patch.u_terms.get("floor", 0)) == (None, 0, 0)


def test_a_black_that_is_unsure_is_as_uncertain_as_its_difference() -> None:
    doubt = Doubt("black-unsure", "the masked border reads 540", 0.002)
    patch = read(frame_of(even(0.1), doubts=(doubt,)))
    assert doubt in patch.doubts
    # 2 % of the signal is 0.0286 stop: check-values 8.6 has 2 % as 0.0286.
    assert patch.u_terms["black"] == pytest.approx(0.0286, abs=3e-4)
    for level, bound in ((0.0039, "at-most"), (0.0041, None)):
        dark = read(frame_of(even(level), doubts=(doubt,)))
        assert (dark.bound, dark.black_shift) == (bound, 0.002)
    assert read(frame_of(even())).black_shift == 0


@pytest.mark.parametrize(("stops", "uneven"), [(0.1, False), (0.2, True)])
def test_uneven_light(stops: float, uneven: bool) -> None:
    across = (np.arange(240) - 119.5) / 60  # the box is 60 wide
    patch = read(frame_of(even() * np.exp2(stops * across)))
    assert ("uneven" in names(patch)) is uneven
    assert patch.gradient_stops == pytest.approx(stops, rel=0.02)
    assert patch.u_terms["evenness"] == pytest.approx(patch.gradient_stops / math.sqrt(12))


def test_an_edge_in_the_box_is_uneven() -> None:
    signal = even()
    signal[:, 110:130] = 0.08
    assert "uneven" in names(read(frame_of(signal)))


def test_a_box_of_few_photosites() -> None:
    frame = frame_of(noisy(0.12, 0.001))
    assert "too-small" in names(of_box(frame, 100, 60, 14, 14))
    assert "too-small" not in names(of_box(frame, 100, 60, 20, 10))  # 100 green ones
    tiny = of_box(frame, 101, 60, 1, 1)  # a single green photosite
    assert tiny.signal == pytest.approx(0.12, abs=0.01)
    assert (tiny.red, tiny.blue, tiny.clipped) == (None, None, {"green": 0})
    with pytest.raises(FrameError, match="holds no photosite of the main colour"):
        of_box(frame, 100, 60, 1, 1)  # a red one


@pytest.mark.parametrize(("scene", "warned"), [(0.12, False), (0.4, False), (0.5, True)])
def test_glare_of_a_bright_scene(scene: float, warned: bool) -> None:
    patch = read(frame_of(even(), scene=scene))
    assert patch.u_terms["glare"] == pytest.approx(math.log2(1 + 0.01 * scene / 0.12), rel=EXACT)
    assert ("glare" in names(patch)) is warned


def test_glare_of_a_white_background() -> None:
    # Design, section 5: 1 % of a white background (90 % against 18 %) adds 0.06 to 0.07 stop.
    assert read(frame_of(even(0.18), scene=0.9)).u_terms["glare"] == pytest.approx(0.07, abs=0.002)
    assert "glare" not in read(frame_of(even(), scene=None)).u_terms


@pytest.mark.parametrize(
    ("full_well_e", "read_e", "share", "stops"),
    [  # check-values 8.1 (EMVA 1288): standard error of the mean of 10^4 photosites
        (1000, 3, 1, 0.00046),
        (10_000, 2, 1, 0.00014),
        (40_000, 5, 1, 0.00007),
    ],
)
def test_the_noise_of_the_mean_is_that_of_the_photon_transfer(
    full_well_e: float, read_e: float, share: float, stops: float
) -> None:
    sigma = 0.5 * math.sqrt(full_well_e + read_e**2) / full_well_e
    frame = frame_of(noisy(0.5 * share, sigma, size=(100, 100)), pattern=None)
    patch = of_box(frame, 0, 0, 100, 100)
    assert patch.u_terms["noise"] == pytest.approx(stops, abs=6e-6 + 0.02 * stops)


def test_the_noise_of_the_mean_agrees_with_repeated_draws() -> None:
    draws = [read(frame_of(noisy(0.01, 0.004, seed))) for seed in range(200)]
    stops = np.log2([patch.signal / 0.01 for patch in draws])
    stated = np.mean([patch.u_terms["noise"] for patch in draws])
    # A standard deviation of 200 draws is known to 5 %; three of these.
    assert np.std(stops, ddof=1) == pytest.approx(stated, rel=0.15)


@pytest.mark.parametrize("odd", [np.nan, np.inf, -np.inf])
def test_values_that_are_no_numbers(odd: float) -> None:
    few = whole(frame_of(partly(0.0025, odd), pattern=None))
    assert few.signal == pytest.approx(0.12, rel=EXACT)
    assert Doubt("not-finite", "0.25% of the box is not a number") in few.doubts
    assert all(math.isfinite(term) for term in few.u_terms.values())
    assert ("part-clipped" in names(few)) is (odd == np.inf)
    for share in (0.011, 1):
        many = frame_of(partly(share, odd), pattern=None)
        with pytest.raises(NotAFrame, match=r"% of the box is not a number \(NaN or infinity\)"):
            whole(many)


def test_a_rendered_picture_is_told_of() -> None:
    frame = replace(frame_of(even()), scene_referred=False)
    assert names(read(frame)) == ["rendered"]


def test_a_box_outside_the_picture() -> None:
    with pytest.raises(BoxError, match="reaches outside"):
        of_box(frame_of(even()), 200, 0, 60, 60)


def test_the_step_of_a_code() -> None:
    assert code_step(512, 16383) == pytest.approx(1 / 15871)
    assert code_step(0, 1) == 0  # floating point
