"""TIFF pictures of known codes: linear by what is stated or embedded, never guessed."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from small_files import (
    BLACK,
    LONG,
    SHORT,
    UNDEFINED,
    WHITE,
    Codes,
    Tag,
    changed,
    random_codes,
    tag,
    write_tiff,
)

from verify.errors import FrameError, NotAFrame, NotLinear, PlanError
from verify.frames.frame import Region
from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.simulate.tiff import gamma_profile, grey_profile, linear_profile, srgb_profile

HEIGHT, WIDTH = 30, 44
BOX = Box(5, 3, 20, 16)
ICC = 34675
# Y of the primaries of sRGB adapted to D50 by the Bradford matrix, as in any ICC profile of them
# (from memory; also the Y of the three colorants in sRGB profiles at large)
SRGB_Y_AT_D50 = (0.2225, 0.7169, 0.0606)


def read(path: Path, transfer: str | None = None, box: Box = BOX) -> Region:
    with open_frame(path, transfer) as frame:
        assert frame.kind == "tiff"
        return frame.signal(box)


def inside(picture: NDArray[Any]) -> NDArray[np.float64]:
    """The box of a picture."""
    return picture[3:19, 5:25].astype(np.float64)


@pytest.mark.parametrize("planes", [1, 3])
@pytest.mark.parametrize(
    ("dtype", "top"), [("uint8", 255), ("uint16", 65535), ("uint32", 2**32 - 1), ("float32", 1)]
)
def test_linear_whole_numbers_are_shares_of_the_highest_code(
    dtype: str, top: int, planes: int, tmp_path: Path
) -> None:
    shape = (HEIGHT, WIDTH, 3) if planes == 3 else (HEIGHT, WIDTH)
    light = np.random.default_rng(1).uniform(0, 1, shape)
    codes = light.astype(dtype) if dtype == "float32" else np.rint(light * top).astype(dtype)
    region = read(write_tiff(tmp_path / "a.tif", codes), "linear")
    assert region.signal == pytest.approx(inside(codes) / top, abs=1e-9)
    assert region.colors == (("red", "green", "blue") if planes == 3 else ("grey",))
    assert region.classes is None
    assert region.black == (0,) * planes
    assert region.white == (top,) * planes
    assert region.steps == ("transfer: linear",)


def test_packed_samples_are_shares_of_their_own_highest_code(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH, high=4096)
    path = write_tiff(tmp_path / "a.tif", codes, bitspersample=12)
    assert read(path, "linear").signal == pytest.approx(inside(codes) / 4095, abs=1e-9)


@pytest.mark.parametrize("dtype", ["uint8", "uint16"])
@pytest.mark.parametrize(
    ("transfer", "decode"),
    [
        ("srgb", lambda v: np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)),
        ("1.8", lambda v: v**1.8),
        ("2.2", lambda v: v**2.2),
    ],
)
def test_a_stated_transfer_is_undone(
    dtype: str, transfer: str, decode: Any, tmp_path: Path
) -> None:
    """IEC 61966-2-1 and plain powers, by their formulas."""
    top = np.iinfo(dtype).max
    codes = random_codes(HEIGHT, WIDTH, 3, low=0, high=top + 1).astype(dtype)
    region = read(write_tiff(tmp_path / "a.tif", codes), transfer)
    assert region.signal == pytest.approx(decode(inside(codes) / top), abs=2e-8)


PROFILES: dict[str, tuple[bytes, int, float]] = {
    "gamma 2.2": (gamma_profile(2.2), 3, 2.2),
    "linear": (linear_profile(), 3, 1.0),
    "grey, gamma 1.8": (grey_profile(1.8), 1, 1.8),
}


@pytest.mark.parametrize("transfer", [None, "icc"])
@pytest.mark.parametrize("name", PROFILES)
def test_the_curve_of_the_embedded_profile_is_undone(
    name: str, transfer: str | None, tmp_path: Path
) -> None:
    profile, planes, gamma = PROFILES[name]
    shape = (HEIGHT, WIDTH, 3) if planes == 3 else (HEIGHT, WIDTH)
    codes = random_codes(*shape, low=0, high=65536)
    path = write_tiff(tmp_path / "a.tif", codes, tag(ICC, UNDEFINED, profile))
    with open_frame(path, transfer) as frame:
        assert frame.scene_referred is (gamma == 1)
        region = frame.signal(BOX)
    assert region.signal == pytest.approx((inside(codes) / 65535) ** gamma, abs=3e-5)
    assert region.steps == ("transfer: icc",)
    if planes == 3:
        assert region.luminance == pytest.approx(SRGB_Y_AT_D50, abs=1e-4)


def test_what_the_user_states_stands_over_the_profile(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH, 3)
    path = write_tiff(tmp_path / "a.tif", codes, tag(ICC, UNDEFINED, srgb_profile()))
    assert read(path, "linear").signal == pytest.approx(inside(codes) / 65535, abs=1e-9)


def test_floating_point_keeps_what_lies_beyond_and_what_is_no_number(tmp_path: Path) -> None:
    codes = np.random.default_rng(2).uniform(-0.2, 1.4, (HEIGHT, WIDTH, 3)).astype(np.float32)
    codes[3:5, 5:9, 1] = [[np.nan, np.inf, -np.inf, 1.0], [0.0, -0.1, 1.5, 0.5]]
    region = read(write_tiff(tmp_path / "a.tif", codes), "linear")
    green = region.signal[..., 1]
    assert np.array_equal(green, inside(codes)[..., 1], equal_nan=True)
    assert region.clipped[:2, :4, 1].tolist() == [[False, True, False, True],
                                                  [False, False, True, False]]  # fmt: skip
    assert region.floored[:2, :4, 1].tolist() == [[False, False, True, False], [False] * 4]


def test_clipped_and_floored_are_the_two_ends_of_the_codes(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    codes[3, 5], codes[4, 6], codes[5, 7] = 65535, 0, 65534
    for photometric, ends in (("minisblack", "clipped"), ("miniswhite", "floored")):
        path = write_tiff(tmp_path / "a.tif", codes, photometric=photometric)
        region = read(path, "linear")
        other = "floored" if ends == "clipped" else "clipped"
        assert np.argwhere(getattr(region, ends)).tolist() == [[0, 0]]
        assert np.argwhere(getattr(region, other)).tolist() == [[1, 1]]
        share = inside(codes) / 65535
        expected = share if ends == "clipped" else 1 - share
        assert region.signal == pytest.approx(expected, abs=1e-9)


LAYOUTS: dict[str, dict[str, Any]] = {
    "strips": {"rowsperstrip": 7},
    "tiles, lzw": {"tile": (16, 16), "compression": "lzw", "predictor": True},
    "packbits": {"rowsperstrip": 4, "compression": "packbits"},
    "deflate, big-endian": {"order": ">", "compression": "deflate", "predictor": True},
    "BigTIFF": {"big": True, "compression": "deflate"},
}


@pytest.mark.parametrize("planar", ["contig", "separate"])
@pytest.mark.parametrize("name", LAYOUTS)
def test_layouts_and_alpha(name: str, planar: str, tmp_path: Path) -> None:
    """Alpha is left out, wherever it lies."""
    codes = random_codes(HEIGHT, WIDTH, 4, high=65536)
    stored = codes if planar == "contig" else np.moveaxis(codes, 2, 0)
    path = write_tiff(
        tmp_path / "a.tif", stored, photometric="rgb", planarconfig=planar,
        extrasamples=["unassalpha"], **LAYOUTS[name],
    )  # fmt: skip
    region = read(path, "linear")
    assert region.signal == pytest.approx(inside(codes[..., :3]) / 65535, abs=1e-9)


def test_grey_with_alpha_is_grey(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH, 2)
    path = write_tiff(
        tmp_path / "a.tif", codes, photometric="minisblack", planarconfig="contig",
        extrasamples=["assocalpha"],
    )  # fmt: skip
    region = read(path, "linear")
    assert region.colors == ("grey",)
    assert region.signal == pytest.approx(inside(codes[..., 0]) / 65535, abs=1e-9)


def test_a_reduced_copy_in_front_is_not_the_picture(tmp_path: Path) -> None:
    """TIFF 6.0, NewSubfileType bit 0; here the copy is the larger of the two."""
    codes, path = random_codes(HEIGHT, WIDTH), tmp_path / "a.tif"
    with tifffile.TiffWriter(path) as file:
        plain: dict[str, Any] = {"metadata": None, "photometric": "minisblack"}
        file.write(np.full((90, 90), 7, np.uint16), subfiletype=1, **plain)
        file.write(codes, **plain)
    assert read(path, "linear").signal == pytest.approx(inside(codes) / 65535, abs=1e-9)


@pytest.mark.parametrize("layout", [{}, {"compression": "lzw", "rowsperstrip": 8}])
@pytest.mark.parametrize("planes", [1, 3])
def test_sensor_levels_in_a_single_channel_are_used(
    planes: int, layout: dict[str, Any], tmp_path: Path
) -> None:
    """A one-band camera states black and white; needed is no transfer, and it is no mosaic."""
    codes = random_codes(HEIGHT, WIDTH)
    levels = (tag(BLACK, SHORT, 512), tag(WHITE, SHORT, 4095))[:planes]
    region = read(write_tiff(tmp_path / "a.tif", codes, *levels, **layout))
    top = 4095 if planes > 1 else 65535
    assert region.signal == pytest.approx((inside(codes) - 512) / (top - 512), abs=1e-12)
    assert region.colors == ("grey",)
    assert region.classes is None


def test_the_mean_of_the_scene_is_luminance_of_finite_values(tmp_path: Path) -> None:
    codes = np.random.default_rng(2).uniform(0, 1, (HEIGHT, WIDTH, 3)).astype(np.float32)
    codes[0, 0], codes[8, 8] = np.nan, np.inf
    with open_frame(write_tiff(tmp_path / "a.tif", codes, compression="lzw"), "linear") as frame:
        mean = frame.scene_mean()
    light = (codes.astype(float) @ [0.2126, 0.7152, 0.0722])[:, ::4]
    assert mean == pytest.approx(light[np.isfinite(light)].mean(), rel=1e-6)
    with open_frame(write_tiff(tmp_path / "b.tif", codes * np.nan), "linear") as frame:
        assert frame.scene_mean() is None


Written = tuple[Codes, tuple[Tag, ...], dict[str, Any]]
GREY, COLOUR = random_codes(HEIGHT, WIDTH), random_codes(HEIGHT, WIDTH, 3)
REFUSED: dict[str, tuple[Written, str | None, type[FrameError], str]] = {
    "no profile": ((COLOUR, (), {}), None, NotLinear, "no ICC profile"),
    "icc asked for, no profile": ((GREY, (), {}), "icc", NotLinear, "no ICC profile"),
    "floating point without a profile": (
        (COLOUR.astype(np.float32), (), {}), None, NotLinear, "no ICC profile",
    ),
    "8 bit without a profile": ((GREY.astype(np.uint8), (), {}), None, NotLinear, "--transfer"),
    "broken profile": ((GREY, (tag(ICC, UNDEFINED, b"\0" * 200),), {}), None, NotLinear, "ICC"),
    "profile for other channels": (
        (GREY, (tag(ICC, UNDEFINED, srgb_profile()),), {}), None, NotLinear, "RGB",
    ),
    "palette": (
        (GREY.astype(np.uint8), (), {"photometric": "palette",
                                     "colormap": np.zeros((3, 256), np.uint16)}),
        "linear", NotLinear, "palette",
    ),
    "CMYK": (
        (random_codes(HEIGHT, WIDTH, 4), (), {"photometric": "separated"}),
        "linear", NotLinear, "CMYK",
    ),
    "Lab": ((COLOUR, (), {"photometric": "cielab"}), "linear", NotLinear, "Lab"),
    "YCbCr": (
        (COLOUR.astype(np.uint8), (), {"photometric": "ycbcr"}), "linear", NotLinear, "YCbCr",
    ),
    "1 bit": ((GREY > 2000, (), {}), "linear", NotAFrame, "1 bit"),
    "signed": ((GREY.astype(np.int16), (), {}), "linear", NotAFrame, "of a kind"),
    "complex": ((GREY.astype(np.complex64), (), {}), "linear", NotAFrame, "of a kind"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_not_linear_for_certain_is_refused_in_one_line(name: str, tmp_path: Path) -> None:
    (codes, tags, layout), transfer, error, said = REFUSED[name]
    path = write_tiff(tmp_path / "a.tif", codes, *tags, **layout)
    with pytest.raises(error, match=said) as caught:
        open_frame(path, transfer)
    assert "\n" not in str(caught.value)


def test_a_picture_that_does_not_say_what_it_is_is_refused(tmp_path: Path) -> None:
    """Without PhotometricInterpretation 0 may be black or white."""
    path = write_tiff(tmp_path / "a.tif", GREY)
    data = path.read_bytes()
    at = data.index((262).to_bytes(2, "little") + (3).to_bytes(2, "little"))
    path.write_bytes(data[:at] + (263).to_bytes(2, "little") + data[at + 2 :])
    with pytest.raises(NotLinear, match="grey or RGB"):
        open_frame(path, "linear")


def test_rgb_of_two_channels_is_damaged(tmp_path: Path) -> None:
    path = write_tiff(
        tmp_path / "a.tif", random_codes(HEIGHT, WIDTH, 2), photometric="minisblack",
        planarconfig="contig",
    )  # fmt: skip
    with pytest.raises(NotAFrame, match="2 channels"):
        open_frame(changed(path, 262, 2), "linear")


def test_a_side_that_cannot_be_is_damage(tmp_path: Path) -> None:
    path = changed(write_tiff(tmp_path / "a.tif", GREY), 256, 2**31, dtype=LONG)
    with pytest.raises(NotAFrame, match="cannot be"):
        open_frame(path, "linear")


def test_a_transfer_that_is_none_is_an_error_of_the_command(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match="rec709"):
        open_frame(write_tiff(tmp_path / "a.tif", GREY), "rec709")
