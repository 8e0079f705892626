"""The traps of rendered TIFF pictures, and of files that are no whole picture, one test each."""

import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from small_files import (
    HEIGHT,
    LEVELS,
    UNDEFINED,
    WHOLE,
    WIDTH,
    changed,
    linear,
    random_codes,
    read,
    tag,
    write_dng,
    write_tiff,
)

from verify.errors import FrameError, FrameMissing, NotAFrame, NotLinear
from verify.frames.open import open_frame
from verify.simulate.tiff import gamma_profile


@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32"])
def test_a_tiff_that_does_not_say_how_it_is_encoded_is_refused(dtype: str, tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH, 3, low=0, high=256).astype(dtype)
    path = write_tiff(tmp_path / "a.tif", codes)
    with pytest.raises(NotLinear, match="--transfer"):
        open_frame(path)
    top = {"uint8": 255, "uint16": 65535, "float32": 1}[dtype]
    if dtype != "float32":
        expected = (codes.astype(float) / top) ** 2.2
        assert read(path, transfer="2.2").signal == pytest.approx(expected, abs=1e-7)
    assert read(path, transfer="linear").signal == pytest.approx(codes / np.float64(top))


def test_the_curve_of_an_embedded_profile_is_used_and_the_picture_called_rendered(
    tmp_path: Path,
) -> None:
    codes = random_codes(HEIGHT, WIDTH, 3, low=0, high=65536)
    path = write_tiff(tmp_path / "a.tif", codes, tag(34675, UNDEFINED, gamma_profile(1.8)))
    with open_frame(path) as frame:
        assert not frame.scene_referred
        signal = frame.signal(WHOLE).signal
    assert signal == pytest.approx((codes / 65535) ** 1.8, abs=3e-5)


def test_what_is_no_whole_picture_gets_one_clear_line_each(tmp_path: Path) -> None:
    whole = write_dng(tmp_path / "whole.dng", random_codes(HEIGHT, WIDTH), *LEVELS).read_bytes()
    contents: dict[str, tuple[bytes, str]] = {
        "empty.dng": (b"", "empty"),
        "cut.dng": (whole[:-1], "cut short"),
        "text.dng": (b"to do: sweep the studio", "text"),
        "photo.dng": (b"\xff\xd8\xff\xe1" + bytes(99), "JPEG"),
    }
    said: dict[str, str] = {}
    for name, (data, word) in contents.items():
        (tmp_path / name).write_bytes(data)
        said[name] = word
    (tmp_path / "folder.dng").mkdir()
    said |= {"folder.dng": "folder", "missing.dng": "no such file"}
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.dng")
        said["pipe.dng"] = "not a regular file"
    try:
        (tmp_path / "link.dng").symlink_to(tmp_path / "nowhere.dng")
        said["link.dng"] = "link"
    except OSError:
        pass  # a system where nobody may make one
    for name, word in said.items():
        with pytest.raises(FrameError, match=word) as caught:
            read(tmp_path / name)
        assert "\n" not in str(caught.value)
        assert isinstance(caught.value, NotAFrame | FrameMissing)


def test_a_file_that_is_still_being_written_is_not_measured(tmp_path: Path) -> None:
    """A tile that has no place yet; and the same file once it is written."""
    codes = random_codes(HEIGHT, WIDTH)
    layout: dict[str, Any] = {"tile": (16, 16), "compression": "deflate"}
    path = write_dng(tmp_path / "a.dng", codes, *LEVELS, **layout)
    data = path.read_bytes()
    changed(path, 325, (0,) * 12)
    with pytest.raises(NotAFrame, match="never written: wait"):
        open_frame(path)
    path.write_bytes(data)
    assert read(path).signal == pytest.approx(linear(codes, 512, 4095), abs=1e-12)
