"""Simulated TIFF files and ICC profiles, read back as written."""

import struct
from pathlib import Path
from typing import Any

import exifread
import imagecodecs
import numpy as np
import pytest
import tifffile
from small_shots import BODY

from verify.simulate.camera import Settings
from verify.simulate.tiff import (
    gamma_profile,
    grey_profile,
    linear_profile,
    srgb_profile,
    write_tiff,
)


@pytest.mark.parametrize("planes", [1, 3])
@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float16", "float32"])
@pytest.mark.parametrize(
    "layout",
    [
        {},
        {"order": ">", "rows_per_strip": 7},
        {"compression": "deflate", "tile": (16, 32)},
        {"compression": "deflate", "order": ">"},
        {"compression": "lzw", "rows_per_strip": 7},
        {"compression": "packbits", "tile": (32, 16)},
    ],
    ids=str,
)
def test_tiff_reads_back_as_written(
    planes: int, dtype: str, layout: dict[str, Any], tmp_path: Path
) -> None:
    linear = np.random.default_rng(1).random((50, 70, 3) if planes > 1 else (50, 70))
    path = write_tiff(tmp_path / "a.tif", linear, dtype=dtype, **layout)
    read = tifffile.imread(path)
    assert read.dtype == dtype
    step = {"uint8": 1 / 255, "uint16": 1 / 65535, "float16": 2**-11, "float32": 2**-24}[dtype]
    full = np.iinfo(dtype).max if dtype.startswith("u") else 1
    assert np.abs(read.astype(float) / full - linear).max() <= step / 2 * 1.001


def test_tiff_transfers_profiles_and_settings(tmp_path: Path) -> None:
    grey = np.array([[0.0, 0.001, 0.18, 0.5, 1.0, 1.5]])
    # check-values 2.4: 18 % is sRGB code 117.65, and 116.96 by a plain gamma of 2.2.
    for transfer, code in (("srgb", 118), (2.2, 117), ("linear", 46)):
        path = write_tiff(tmp_path / "a.tif", grey, transfer=transfer, dtype="uint8")
        assert tifffile.imread(path)[0, [0, 2, 4, 5]].tolist() == [0, code, 255, 255]
    path = write_tiff(tmp_path / "a.tif", grey, transfer="srgb")
    assert tifffile.imread(path)[0, 1] == round(12.92 * 0.001 * 65535)  # IEC 61966-2-1, near black
    odd = np.array([[np.nan, np.inf, -np.inf, 1.5, -0.25, 0.0]])
    path = write_tiff(tmp_path / "a.tif", odd, dtype="float32")
    assert np.array_equal(tifffile.imread(path), odd, equal_nan=True)
    rgb = np.broadcast_to(grey[..., None], (1, 6, 3))
    settings = Settings(orientation=6)
    path = write_tiff(tmp_path / "a.tif", rgb, icc=srgb_profile(), camera=BODY, settings=settings)
    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        assert page.tags[34675].value == srgb_profile()
        assert page.tags[274].value == 6
    with path.open("rb") as file_object:
        assert str(exifread.process_file(file_object)["EXIF FNumber"]) == "11"


def test_profiles_describe_the_curves_they_are_named_for() -> None:
    light = np.linspace(0.01, 0.99, 32)
    rgb = np.repeat(light[None, :, None], 3, axis=2)
    as_srgb = imagecodecs.cms_transform(
        rgb, linear_profile(), srgb_profile(), colorspace="rgb", outcolorspace="rgb", outdtype="f8"
    )
    curve = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    assert np.allclose(as_srgb[0, :, 1], curve, atol=2e-3)
    as_gamma = imagecodecs.cms_transform(
        rgb,
        linear_profile(),
        gamma_profile(2.2),
        colorspace="rgb",
        outcolorspace="rgb",
        outdtype="f8",
    )
    assert np.allclose(as_gamma[0, :, 1], light ** (1 / 2.2), atol=2e-3)
    assert grey_profile(2.2) != grey_profile(1.0)
    assert grey_profile(2.2)[16:20] == b"GRAY"
    # ICC header, bytes 24 to 35: a fixed date, so that the same call gives the same bytes.
    assert struct.unpack_from(">6H", srgb_profile(), 24) == (2026, 1, 1, 0, 0, 0)
