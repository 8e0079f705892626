"""Encoded TIFF values to linear light, against IEC 61966-2-1 and profiles made for the test."""

import struct
from collections.abc import Callable
from functools import cache

import imagecodecs
import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from PIL import ImageCms

from verify.errors import NotLinear, PlanError
from verify.frames.transfer import Curve, Transfer, icc_transfer, stated_transfer

Array = NDArray[np.float64]

CODES = np.arange(65536) / 65535  # every value of a 16-bit file
FIXED = 1 / 65536  # step of the numbers that a profile stores
TOE_STEP = 2e-8  # of white: the constants of sRGB leave a step where its toe ends
SINGLE = 2e-6  # relative: the colour library computes in single precision
GAMMA_STEP = 1e-5  # relative, above 1 % of white: a stored gamma is off by half of FIXED
STEP = 0.5 / 65535  # of white: half a step of the 16-bit numbers in a profile's table

D50 = [0.3457, 0.3585, 1.0]
ROMM = [0.7347, 0.2653, 1.0, 0.1596, 0.8404, 1.0, 0.0366, 0.0001, 1.0]  # ISO 22028-2 primaries


def srgb(encoded: Array) -> Array:
    """IEC 61966-2-1, written out once more."""
    toe = encoded / 12.92
    return np.where(encoded <= 0.04045, toe, ((np.maximum(encoded, 0) + 0.055) / 1.055) ** 2.4)


@cache
def srgb_profile() -> bytes:
    """As written once: a new one would state another time."""
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def wide_profile(gamma: float) -> bytes:
    return imagecodecs.cms_profile("rgb", whitepoint=D50, primaries=ROMM, gamma=gamma)


def table_profile(table: Array) -> bytes:
    """RGB profile whose curves are one table of 16-bit numbers."""
    numbers = np.round(table * 65535).astype(np.uint16)
    return imagecodecs.cms_profile("rgb", whitepoint=D50, primaries=ROMM, transferfunction=numbers)


def mixing_profile(alone: float, white: float) -> bytes:
    """RGB profile with a colour table: a channel alone gives ``alone``, all three ``white``."""
    colours = np.zeros((2, 2, 2, 3))
    colours[1, 0, 0] = colours[0, 1, 0] = colours[0, 0, 1] = alone
    colours[1, 1, 1] = white
    numbers = (colours * [31595, 32768, 27030]).astype(">u2")  # D50, 1.0 stored as 32768
    matrix = struct.pack(">9i", *(65536 * np.eye(3, dtype=int)).ravel())
    lines = np.tile(np.array([0, 65535], ">u2"), 3).tobytes()
    data = b"mft2\0\0\0\0" + bytes([3, 3, 2, 0]) + matrix + struct.pack(">2H", 2, 2)
    data += lines + numbers.tobytes() + lines
    head = struct.pack(">I4sI", 128 + 16 + len(data), b"test", 0x02400000)
    head += b"mntrRGB XYZ " + struct.pack(">6H", 2001, 1, 1, 0, 0, 0) + b"acsp" + bytes(28)
    head += struct.pack(">3i", 63190, 65536, 54061) + bytes(48)
    return head + struct.pack(">I4s2I", 1, b"A2B0", 144, len(data)) + data


def only(transfer: Transfer, encoded: float) -> float:
    """Linear light of one value of a grey picture."""
    return float(transfer.to_linear([encoded])[0])


# Stated


def test_srgb_and_gamma_at_published_codes() -> None:
    """Check values 2.4 and 2.6: mid grey of ISO 12232 in an sRGB picture."""
    transfer = stated_transfer("srgb", 1)
    code = 0.005 / 255 * 1.3  # the published codes have two decimals
    assert only(transfer, 118 / 255) == pytest.approx(0.181164, abs=5e-7)
    assert only(transfer, 117.65 / 255) == pytest.approx(0.18, abs=code)
    assert only(transfer, 99.94 / 255) == pytest.approx(0.127279, abs=code)
    assert only(transfer, 99.09 / 255) == pytest.approx(0.125, abs=code)
    stops = np.log2(only(transfer, 118 / 255) / only(transfer, 59 / 255))
    assert stops == pytest.approx(2.0504, abs=5e-5)
    assert only(stated_transfer("2.2", 1), 116.96 / 255) == pytest.approx(0.18, abs=code)


def test_a_linear_picture_stays_as_it_is() -> None:
    transfer = stated_transfer("linear", 3)
    values = np.array([[-0.2, 0.0, 1e-6], [0.3, 1.0, 5.0]])
    assert transfer.to_linear(values) == pytest.approx(values, rel=1e-12)
    assert (transfer.name, transfer.linear) == ("linear", True)


@pytest.mark.parametrize(
    ("text", "name"),
    [
        (" sRGB ", "srgb"),
        ("Linear", "linear"),
        ("1.0", "linear"),
        ("2.2", "gamma 2.2"),
        ("gamma 2.2", "gamma 2.2"),
        ("4", "gamma 4"),
    ],
)
def test_what_may_be_stated(text: str, name: str) -> None:
    transfer = stated_transfer(text, 3)
    assert transfer.name == name
    assert transfer.linear == (name == "linear")
    assert stated_transfer(name, 3).curves[0].exponent == transfer.curves[0].exponent


@pytest.mark.parametrize(
    "text",
    [
        "",
        "rec709",
        "2,2",
        "0.9",
        "4.1",
        "0",
        "-2.2",
        "nan",
        "1e1",
        "a\u2028b",
        "x" * 5000,
        "9" * 999,
    ],
)
def test_anything_else_is_refused_with_what_is_allowed(text: str) -> None:
    with pytest.raises(PlanError, match=r"gamma from 1 to 4 such as 2\.2") as caught:
        stated_transfer(text, 1)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 200


def test_the_gamma_of_the_encoding_is_refused_with_the_one_that_undoes_it() -> None:
    with pytest.raises(PlanError, match=r"0\.45 is how a picture is encoded, write 2\.22"):
        stated_transfer("0.45", 3)


def test_luminance_of_a_stated_transfer_is_that_of_the_srgb_primaries() -> None:
    """IEC 61966-2-1."""
    assert stated_transfer("2.2", 3).luminance == (0.2126, 0.7152, 0.0722)
    assert stated_transfer("2.2", 1).luminance == (1.0,)


def test_other_numbers_of_channels_are_refused() -> None:
    with pytest.raises(NotLinear, match="4 channels"):
        stated_transfer("srgb", 4)


# Curves


@pytest.mark.parametrize(
    ("text", "formula"), [("srgb", srgb), ("2.2", lambda x: x**2.2), ("1.8", lambda x: x**1.8)]
)
def test_every_code_is_exact_and_between_codes_nearly(
    text: str, formula: Callable[[Array], Array]
) -> None:
    transfer = stated_transfer(text, 1)
    assert_allclose(transfer.to_linear(CODES[:, None])[:, 0], formula(CODES), rtol=1e-12)
    between = CODES[:-1] + 0.5 / 65535
    linear = transfer.to_linear(between[:, None])[:, 0]
    assert_allclose(linear, formula(between), rtol=1e-7, atol=TOE_STEP)


def test_a_power_goes_on_above_white_and_is_mirrored_below_black() -> None:
    transfer = stated_transfer("2.2", 1)
    assert only(transfer, 2.0) == pytest.approx(2**2.2)
    assert only(transfer, -0.5) == pytest.approx(-(0.5**2.2), rel=1e-6)
    assert only(transfer, np.inf) == np.inf


def test_a_curve_goes_on_from_where_it_ends() -> None:
    curve = Curve(np.array([0.0, 0.2, 0.6]), 1.5)
    values = curve.to_linear(np.array([0.25, 1.0, 4.0]))
    assert values == pytest.approx([0.1, 0.6, 0.6 * 8])


def test_srgb_goes_on_smoothly_above_white() -> None:
    transfer = stated_transfer("srgb", 1)
    above = np.linspace(0.99, 1.5, 100)
    assert_allclose(transfer.to_linear(above[:, None])[:, 0], srgb(above), rtol=0.01)
    assert only(transfer, 1 + 1e-9) == pytest.approx(1, abs=1e-8)


def test_nan_stays_nan_and_alone() -> None:
    linear = stated_transfer("srgb", 3).to_linear([[np.nan, 0.5, 2.0]])
    assert np.isnan(linear).tolist() == [[True, False, False]]


def test_shapes_are_kept_and_arrays_equal_scalars() -> None:
    values = np.random.default_rng(1).uniform(-0.1, 1.2, (4, 5, 3))
    transfer = icc_transfer(wide_profile(1.8), 3)
    linear = transfer.to_linear(values)
    assert linear.shape == values.shape
    assert transfer.to_linear(values[2, 3]) == pytest.approx(linear[2, 3], rel=1e-15)


# Profiles


def test_an_srgb_profile_is_the_srgb_curve_with_its_toe() -> None:
    """The profile stores the constants of IEC 61966-2-1 in steps of 1/65536."""
    transfer = icc_transfer(srgb_profile(), 3)
    gamma, scale, shift, slope, end = (
        round(constant / FIXED) * FIXED
        for constant in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    )
    stored = np.where(end >= CODES, slope * CODES, (scale * CODES + shift) ** gamma)
    for curve in transfer.curves:
        assert_allclose(curve.table, stored, rtol=SINGLE, atol=1e-8)
        assert_allclose(curve.table, srgb(CODES), atol=1e-5)
    assert transfer.to_linear([118 / 255] * 3) == pytest.approx([0.181164] * 3, rel=1e-4)
    assert (transfer.name, transfer.linear) == ("icc", False)


def test_luminance_of_an_srgb_profile_is_that_of_its_matrix() -> None:
    """sRGB adapted to D50 by Bradford: Y of red, green, blue (published; from memory)."""
    luminance = icc_transfer(srgb_profile(), 3).luminance
    assert luminance == pytest.approx((0.2225, 0.7169, 0.0606), abs=1e-4)
    assert sum(luminance) == pytest.approx(1, abs=1e-6)


def test_a_wide_gamut_profile_with_hardly_any_blue_in_its_luminance() -> None:
    """ROMM RGB, gamma 1.8: Y of blue is 0.0001 (published; from memory)."""
    transfer = icc_transfer(wide_profile(1.8), 3)
    assert transfer.luminance == pytest.approx((0.2880, 0.7119, 0.0001), abs=1e-4)
    light = CODES**1.8 > 0.01
    for curve in transfer.curves:
        assert_allclose(curve.table[light], CODES[light] ** 1.8, rtol=GAMMA_STEP)
    assert transfer.to_linear([2.0, 2.0, 2.0]) == pytest.approx(2**1.8, rel=1e-4)


def test_a_primary_that_takes_luminance_away() -> None:
    """The blue primary of SMPTE ST 2065-1 lies below the line of no luminance."""
    primaries = [0.7347, 0.2653, 1.0, 0.0, 1.0, 1.0, 0.0001, -0.077, 1.0]
    white = [0.32168, 0.33767, 1.0]
    profile = imagecodecs.cms_profile("rgb", whitepoint=white, primaries=primaries, gamma=1.8)
    transfer = icc_transfer(profile, 3)
    light = CODES**1.8 > 0.01
    assert transfer.luminance[2] < 0
    assert_allclose(transfer.curves[2].table[light], CODES[light] ** 1.8, rtol=GAMMA_STEP)
    assert transfer.to_linear([0.5] * 3) @ np.array(transfer.luminance) == pytest.approx(
        0.5**1.8, rel=1e-4
    )


def test_a_grey_profile() -> None:
    transfer = icc_transfer(imagecodecs.cms_profile("gray", gamma=2.2), 1)
    light = CODES**2.2 > 0.01
    assert transfer.luminance == (1.0,)
    assert_allclose(transfer.curves[0].table[light], CODES[light] ** 2.2, rtol=GAMMA_STEP)


def test_a_linear_profile_encodes_nothing() -> None:
    transfer = icc_transfer(wide_profile(1.0), 3)
    assert transfer.linear
    assert_allclose(transfer.curves[1].table, CODES, atol=1e-6)
    assert not icc_transfer(wide_profile(1.01), 3).linear


@pytest.mark.parametrize("entries", [1024, 4096])
def test_a_profile_with_tables_is_as_good_as_its_numbers(entries: int) -> None:
    """The profile rounds to 16 bits once, the library again: the second rounding is taken out."""
    table = icc_transfer(table_profile(srgb(np.linspace(0, 1, entries))), 3).curves[1].table
    light = srgb(CODES) > 0.01
    assert_allclose(table[light], srgb(CODES)[light], rtol=STEP / 0.01)
    assert table[[0, -1]] == pytest.approx([0, 1], abs=1e-7)


def test_a_table_that_does_not_begin_at_black_keeps_its_light_there() -> None:
    transfer = icc_transfer(table_profile(np.linspace(0.05, 1, 1024)), 3)
    assert transfer.to_linear([0.0, 0.0, 0.0]) == pytest.approx(0.05, abs=2 * STEP)
    assert transfer.to_linear([0.5, 0.5, 0.5]) == pytest.approx(0.525, abs=2 * STEP)
    assert transfer.to_linear([-0.5] * 3) == pytest.approx(0.05 - (0.525 - 0.05), abs=2 * STEP)


@pytest.mark.parametrize("profile", [srgb_profile(), wide_profile(1.8)], ids=["srgb", "wide"])
def test_luminance_of_any_colour_is_what_the_library_gives(profile: bytes) -> None:
    colours = np.random.default_rng(2).uniform(0, 1, (1, 500, 3))
    xyz = imagecodecs.cms_transform(
        colours,
        profile,
        imagecodecs.cms_profile("xyz"),
        colorspace="rgb",
        outcolorspace="xyz",
        outdtype=np.float64,
        intent=imagecodecs.CMS.INTENT.RELATIVE_COLORIMETRIC,
    )
    transfer = icc_transfer(profile, 3)
    luminance = transfer.to_linear(colours) @ np.array(transfer.luminance)
    assert luminance == pytest.approx(xyz[..., 1], rel=1e-5, abs=1e-7)


def test_a_profile_is_evaluated_once() -> None:
    assert icc_transfer(srgb_profile(), 3) is icc_transfer(srgb_profile(), 3)


@pytest.mark.parametrize("cut", [0, 3, 127, 200, 300])
def test_a_broken_profile_is_refused_in_one_line(cut: int) -> None:
    with pytest.raises(NotLinear, match="damaged") as caught:
        icc_transfer(srgb_profile()[:cut], 3)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("profile", "channels", "said"),
    [
        (srgb_profile(), 1, "is for RGB, the picture is grey"),
        (imagecodecs.cms_profile("gray", gamma=2.2), 3, "is for GRAY, the picture is RGB"),
        (srgb_profile()[:16] + b"CMYK" + srgb_profile()[20:], 3, "is for CMYK"),
        (srgb_profile()[:16] + b"CMYK" + srgb_profile()[20:], 4, "is for CMYK"),
    ],
)
def test_a_profile_for_other_channels_is_refused(profile: bytes, channels: int, said: str) -> None:
    with pytest.raises(NotLinear, match=said):
        icc_transfer(profile, channels)


@pytest.mark.parametrize(
    ("alone", "white", "said"),
    [
        (0.5, 1.0, "colour tables that mix the channels"),
        (0.0, 1.0, "a channel that gives no light"),
        (0.5, 0.0, "a white without light"),
    ],
)
def test_a_profile_whose_channels_do_not_add_is_refused(
    alone: float, white: float, said: str
) -> None:
    with pytest.raises(NotLinear, match=f"{said}, so its values cannot be made linear"):
        icc_transfer(mixing_profile(alone, white), 3)


def test_a_curve_that_falls_is_refused() -> None:
    hump = np.concatenate([np.linspace(0, 0.8, 500), np.linspace(0.8, 0.6, 300)])
    with pytest.raises(NotLinear, match="a curve that falls"):
        icc_transfer(table_profile(np.append(hump, np.linspace(0.6, 1, 224))), 3)
