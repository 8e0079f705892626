"""Level, noise, black and geometry of simulated exposures against published numbers."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from small_shots import BODY, FLAT, METERED, MONO, SMALL, shot

from verify import exposure
from verify.simulate.camera import BAYER_ORDERS, CMYG, SIX_BY_SIX, Settings
from verify.simulate.scene import Light, Scene, expose


def test_card_at_the_metered_setting() -> None:
    # check-values 2.5 (ISO 12232 with q = 0.65, C = 250): 0.11937 of saturation, DN 2406.52 with
    # black 512 and white 16383 (2.6).
    exposed = shot(FLAT, seed=None)
    assert exposed.card_signal == pytest.approx(0.11937, abs=5e-6)
    column, row, width, height = exposed.card_box
    green = exposed.mosaic[row : row + height : 2, column + 1 : column + width : 2]
    assert np.all(green == 2406)


@pytest.mark.parametrize(
    ("change", "stops"),
    [
        ({"f_number": 13.0}, -1 / 3),
        ({"iso": 160.0}, 2 / 3),
        ({"f_number": 8.0, "iso": 50.0}, 0.0),
        ({"lost_stops": 1.5}, -1.5),
        ({"t_stop": True}, math.log2(1 / 0.9)),
        ({"f_number": None, "true_f_number": 8.0}, 1.0),
        ({"iso": 800.0, "true_iso": 100.0}, 0.0),
        ({"shutter_s": 1 / 30}, 0.0),
    ],
)
def test_settings_move_the_signal_by_their_exact_stops(
    change: dict[str, Any], stops: float
) -> None:
    base = shot(seed=None).card_signal
    changed = shot(settings=replace(Settings(), **change), seed=None).card_signal
    assert math.log2(changed / base) == pytest.approx(stops, abs=1e-6)


def test_light_adds_over_pops_and_ambient() -> None:
    def signal(light: Light) -> float:
        return expose(SMALL, light, BODY, Settings()).card_signal

    base = signal(Light.metered(METERED))
    assert signal(Light.metered(METERED, pops=4)) == pytest.approx(base)
    assert signal(replace(Light.metered(METERED), pops=2)) == pytest.approx(2 * base)
    # A marked 1/125 is 1/128 s, so continuous light metered at 1/128 s gives the same signal.
    ambient = Light.continuous(METERED, 1 / 128)
    assert signal(ambient) == pytest.approx(base)
    assert signal(replace(ambient, pop_lxs=Light.metered(METERED).pop_lxs)) == pytest.approx(
        2 * base
    )


def test_a_setting_the_light_needs_must_be_known() -> None:
    with pytest.raises(ValueError, match="no f-number"):
        shot(settings=Settings(f_number=None))
    with pytest.raises(ValueError, match="no ISO speed"):
        shot(settings=Settings(iso=0.0))
    assert shot(settings=Settings(shutter_s=None), seed=None).card_signal > 0  # flash needs no time


def test_a_body_may_sit_off_the_saturation_speed() -> None:
    # The standard's freedom (check-values 2.4): an SOS camera sits half a stop under saturation
    # speed, and only the camera's own speed error may move the simulated signal that far.
    honest = shot(seed=None).card_signal
    sos = shot(replace(BODY, speed_error_stops=-0.4895), seed=None).card_signal
    assert exposure.stops_between(sos, honest) == pytest.approx(-0.4895, abs=1e-6)


@pytest.mark.parametrize(
    ("gain", "read_e", "mean_e", "mean_dn", "variance", "se_stops"),
    [
        # check-values 8.1 (EMVA 1288): K, sigma_d, mu_e -> mean, variance, SE of 10 000 photosites.
        (0.5, 3.0, 1000.0, 500.0, 252.3333, 0.00046),
        (1.0, 2.0, 10_000.0, 10_000.0, 10_004.0833, 0.00014),
        (0.25, 5.0, 40_000.0, 10_000.0, 2501.6458, 0.00007),
    ],
)
def test_noise_follows_photon_transfer(
    gain: float, read_e: float, mean_e: float, mean_dn: float, variance: float, se_stops: float
) -> None:
    full_well_e = 50_000.0
    camera = replace(
        MONO,
        black=((64.0,),),
        white=64 + round(full_well_e * gain),
        bits=16,
        full_well_e=full_well_e,
        read_noise_e=read_e,
    )
    scene = Scene(size=(640, 480), background=0.18, card_box=(0, 0, 100, 100))
    stops = math.log2(mean_e / full_well_e / shot(camera, scene=scene, seed=None).card_signal)
    exposed = shot(camera, scene=scene, stops=stops)
    above = exposed.mosaic.astype(float) - 64
    # 307 200 draws: 4 standard errors of a mean and of a variance.
    draws = above.size
    assert above.mean() == pytest.approx(mean_dn, abs=4 * math.sqrt(variance / draws))
    assert above.var() == pytest.approx(variance, rel=4 * math.sqrt(2 / draws))
    assert exposed.card_noise_stops == pytest.approx(se_stops, abs=5e-6)


def test_noise_grows_with_iso_as_the_gain_does() -> None:
    scene = Scene(size=(640, 480), background=0.18)
    at_100, at_1600 = (
        shot(MONO, Settings(iso=iso), scene, stops=stops).mosaic.astype(float)
        for iso, stops in ((100.0, 0.0), (1600.0, -4.0))
    )
    assert at_1600.mean() == pytest.approx(at_100.mean(), rel=0.001)
    signal = (at_100.mean() - 512) / (16383 - 512)
    electrons = {100: 50_000.0, 1600: 50_000.0 / 16}
    expected = [signal / e + (4 / e) ** 2 + 1 / 12 / 15871**2 for e in electrons.values()]
    # Relative standard error of a ratio of two variances of 307 200 draws each: 0.36 %; four of it.
    assert at_1600.var() / at_100.var() == pytest.approx(expected[1] / expected[0], rel=0.015)


def test_black_levels_borders_and_clipping() -> None:
    camera = replace(
        BODY,
        masked=(4, 2, 6, 8),
        masked_black=500.0,
        black_columns=(0.0, 3.0, -2.0),
        black_rows=(1.0, -1.0),
        clip=15_000,
    )
    dark = expose(SMALL, Light(), camera, Settings()).mosaic.astype(int)
    assert dark.shape == (64 + 2 + 8, 96 + 4 + 6)
    active = dark[2:-8, 4:-6]
    assert np.all(np.delete(dark, np.s_[2:-8], axis=0) == 500)
    assert np.all(dark[:, :4] == 500)
    assert np.all(dark[:, -6:] == 500)
    # Row 0: 512, 508 with +1 for the row and 0, +3, -2 along it; row 1: 510.5 rounds to even.
    assert active[0, :6].tolist() == [513, 512, 511, 509, 516, 507]
    assert active[1, 1] == 515 + 3 - 1
    clipped = shot(camera, stops=6.0)
    assert clipped.mosaic.max() == 15_000
    assert clipped.card_clipped == 1
    assert shot(camera).card_clipped == 0


def test_gradient_falloff_and_glare() -> None:
    scene = replace(SMALL, gradient_stops=0.4)
    camera = replace(MONO, black=((0.0,),), white=65535, bits=16, pixel_pitch_um=150.0)
    column, row, width, height = scene.box_px(scene.card_box)
    card = shot(camera, scene=scene, seed=None).mosaic[row : row + height, column : column + width]
    rise = math.log2(card[0, -1] / card[0, 0])
    assert rise == pytest.approx(0.4 * (width - 1) / width, abs=0.001)
    # check-values 8.2: cos^4 at 10 degrees is -0.0883 stop.
    focal_mm = 0.15 * 48 / math.tan(math.radians(10))
    even = replace(SMALL, background=0.18, falloff=True)
    row_of_axis = shot(camera, Settings(focal_mm=focal_mm), even, seed=None).mosaic[32]
    assert math.log2(row_of_axis[-1] / row_of_axis[48]) == pytest.approx(-0.0883, abs=0.003)
    # 1 % of a white background five times the card: the card gains log2(1.05), 0.07 stop.
    white = replace(SMALL, background=0.9, card_box=(0.4, 0.4, 0.01, 0.02))
    plain, veiled = (
        shot(camera, scene=replace(white, glare=glare), seed=None).card_signal
        for glare in (0.0, 0.01)
    )
    assert math.log2(veiled / plain) == pytest.approx(math.log2(1.05), abs=0.001)


@pytest.mark.parametrize("orientation", [1, 6, 7])
@pytest.mark.parametrize("masked", [(0, 0, 0, 0), (5, 3, 2, 1)])
@pytest.mark.parametrize("pattern", [*BAYER_ORDERS, SIX_BY_SIX, CMYG])
def test_filters_lie_by_the_active_corner_and_green_is_the_true_signal(
    pattern: tuple[str, ...], masked: tuple[int, int, int, int], orientation: int
) -> None:
    camera = replace(FLAT, pattern=pattern, white=65535, bits=16, masked=masked)
    # More rows than are exposed in one go, so that the pattern has to go on across the seam.
    scene = Scene(
        size=(40, 700), background=0.0, card_box=(0.25, 0.1, 0.5, 0.85), gradient_stops=1.0
    )
    exposed = shot(camera, Settings(orientation=orientation), scene, seed=None)
    left, top, right, bottom = masked
    rows, columns = exposed.mosaic.shape
    active = exposed.mosaic[top : rows - bottom, left : columns - right].astype(float)
    signal = (active - 512) / (65535 - 512)
    plain = shot(replace(camera, pattern=None), Settings(orientation=orientation), scene, seed=None)
    unfiltered = plain.mosaic[top : rows - bottom, left : columns - right].astype(float)
    letters = np.array([list(row) for row in pattern])
    down, across = active.shape
    tiled = np.tile(letters, (down // len(letters) + 1, across // len(letters[0]) + 1))
    gains = {"G": 1.0, "R": 0.55, "B": 0.7, "C": 0.85, "M": 0.625, "Y": 0.775}
    gain = np.vectorize(gains.__getitem__)(tiled[:down, :across])
    assert np.allclose(signal, gain * (unfiltered - 512) / (65535 - 512), atol=2 / 65535)
    green_of_card = (gain == 1) & (signal > 0)
    assert exposed.card_signal == pytest.approx(signal[green_of_card].mean(), rel=1e-4)
