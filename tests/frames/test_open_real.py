"""Files that real cameras wrote: each is what the README beside them says, or is refused."""

import os
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rawpy

from verify.errors import FrameError, NotAFrame
from verify.frames.frame import Frame, Region
from verify.frames.geometry import Box
from verify.frames.open import open_frame


def one_line(error: BaseException) -> str:
    text = str(error)
    assert text
    assert "\n" not in text
    assert len(text) < 240
    return text


@dataclass(frozen=True, slots=True)
class Real:
    """What the README says of a real file, and LibRaw or the tags where it is silent."""

    kind: str
    size: tuple[int, int]  # upright width and height
    rows: tuple[str, str] | None  # mosaic in letters from the corner of the active area, stored
    black: tuple[float, ...]
    white: float
    settings: dict[str, Any]  # fields that are known; all others are unknown


NO_MOSAIC = None
UTC_2 = timezone(timedelta(hours=2))
REAL: dict[str, Real] = {
    "canon550d_magiclantern_colorchecker.dng": Real(
        "dng", (1734, 1156), ("RG", "GB"), (2056,) * 3, 15000,
        {"make": "Canon", "model": "Canon EOS Kiss X4"},
    ),
    "RAW_NIKON_D1.NEF": Real(
        "raw", (2012, 1324), ("BG", "GR"), (0,) * 3, 4095,
        {"make": "NIKON CORPORATION", "model": "NIKON D1", "iso": 200, "f_number": 7.6,
         "shutter_s": 1 / 250, "focal_mm": 20,
         "captured": datetime(2000, 11, 19, 13, 1, 50, 240_000)},
    ),
    "RAW_CANON_G1.CRW": Real(
        "raw", (2088, 1550), ("GM", "YC"), (31,) * 4, 1023,
        {"iso": 200, "shutter_s": 8, "f_number": 5.0215, "focal_mm": 7,
         "captured": datetime(2007, 11, 25, 20, 27, 54)},
    ),
    "RAW_KODAK_DC50.KDC": Real(
        "raw", (768, 512), ("GR", "BG"), (0,) * 3, 16383,
        {"make": "Eastman Kodak Company", "model": "Kodak Digital Science DC50 Zoom Camera",
         "iso": 84, "f_number": 6.2, "shutter_s": 0.00435, "focal_mm": 37,
         "captured": datetime(1997, 4, 23, 8, 0, 47)},
    ),
    "blackmagic_pocket_cup.dng": Real(
        "dng", (1952, 1112), ("GB", "RG"), (256,) * 3, 51080,
        {"model": "Blackmagic Pocket Cinema Camera", "serial": "57A5D76634D44A61B88E1A9F48E74648"},
    ),
    "pixel7_darkframe_510x382.dng": Real(
        "dng", (382, 510), ("RG", "GB"), (1024.55, 1024.26, 1023.93), 16368,
        {"make": "Google", "model": "Pixel 7", "lens": "Pixel 7 back camera 6.81mm f/1.9",
         "f_number": 1.9, "shutter_s": 0.06061007, "iso": 744, "focal_mm": 6.81,
         "captured": datetime(2024, 7, 4, 21, 45, 43, 691_465, UTC_2)},
    ),
    "canon_eos_6d_lossy_linear.dng": Real(
        "dng", (1224, 816), NO_MOSAIC, (0,) * 3, 255,
        {"make": "Canon", "model": "Canon EOS 6D", "serial": "033024001432",
         "lens": "EF24-105mm f/4L IS USM", "f_number": 5.6, "shutter_s": 1 / 60, "iso": 1000,
         "focal_mm": 65, "pixel_pitch_um": 13.1579, "captured": datetime(2019, 6, 6, 7, 29, 51)},
    ),
    "lg_g4_sample_1mp_lossy_linear.dng": Real(
        "dng", (600, 338), NO_MOSAIC, (0,) * 3, 255,
        {"make": "LG Mobile", "model": "LG-H815", "f_number": 1.8, "shutter_s": 1 / 2000,
         "iso": 50, "focal_mm": 4.42, "captured": datetime(2015, 6, 8, 12, 10, 44)},
    ),
    "nikon_d500_lossy_linear_600x400.dng": Real(
        "dng", (600, 400), NO_MOSAIC, (51,) * 3, 255,
        {"make": "NIKON CORPORATION", "model": "NIKON D500", "serial": "2055816",
         "lens": "24.0-70.0 mm f/2.8", "f_number": 2.8, "shutter_s": 1 / 1600, "iso": 400,
         "focal_mm": 70, "pixel_pitch_um": 4.23574,
         "captured": datetime(2026, 7, 20, 22, 20, 59, 430_000)},
    ),
    "oiio_synthetic_bayer_256x172.dng": Real(
        "dng", (256, 172), ("BG", "GR"), (2048,) * 3, 16383, {"model": "Canon EOS R5"},
    ),
}  # fmt: skip
FIELDS = ("make", "model", "serial", "lens", "f_number", "shutter_s", "iso", "focal_mm",
          "pixel_pitch_um", "captured")  # fmt: skip
NAME = {"R": "red", "G": "green", "B": "blue", "C": "cyan", "M": "magenta", "Y": "yellow"}


def test_every_real_raw_file_is_in_the_table(real_frames: Path) -> None:
    assert {path.name for path in (real_frames / "raw").iterdir()} == set(REAL)


@pytest.mark.parametrize("name", REAL)
def test_settings_of_real_files(name: str, real_frames: Path) -> None:
    real = REAL[name]
    with open_frame(real_frames / "raw" / name) as frame:
        assert frame.kind == real.kind
        assert (frame.size.width, frame.size.height) == real.size
        for field in FIELDS:
            expected = real.settings.get(field)
            if isinstance(expected, float | int):
                expected = pytest.approx(expected, rel=1e-5)
            assert getattr(frame.settings, field) == expected, field


def middle(frame: Frame) -> Box:
    return Box(frame.size.width // 2 - 17, frame.size.height // 2 - 15, 32, 30)


@pytest.mark.parametrize("name", REAL)
def test_levels_and_mosaics_of_real_files(name: str, real_frames: Path) -> None:
    real = REAL[name]
    with open_frame(real_frames / "raw" / name) as frame:
        corner = Box(0, 0, 2, 2)
        if frame.settings.orientation == 8:  # turned: the stored corner is at the bottom left
            corner = Box(0, frame.size.height - 2, 2, 2)
        found, region = frame.signal(corner), frame.signal(middle(frame))
        assert frame.scene_mean() is None or 0 < abs(frame.scene_mean() or 0) < 1
    assert np.isfinite(region.signal).all()
    assert region.black == pytest.approx(real.black, abs=0.01)
    assert set(region.white) == {real.white}
    if real.rows is None:
        assert region.classes is None
        assert region.colors == ("red", "green", "blue")
        assert region.signal.shape == (30, 32, 3)
        return
    assert found.classes is not None
    seen = [[found.colors[i] for i in row] for row in found.classes]
    stored = np.array([[NAME[c] for c in row] for row in real.rows])
    turned = np.rot90(stored, 1) if corner.row else stored
    assert seen == turned.tolist()


@pytest.mark.parametrize(
    ("name", "box"),
    [
        ("RAW_NIKON_D1.NEF", Box(1568, 800, 64, 64)),
        ("RAW_CANON_G1.CRW", Box(480, 736, 64, 64)),
        ("RAW_KODAK_DC50.KDC", Box(240, 16, 32, 32)),
        ("canon550d_magiclantern_colorchecker.dng", Box(1006, 902, 56, 56)),
        ("oiio_synthetic_bayer_256x172.dng", Box(33, 21, 64, 64)),
        ("blackmagic_pocket_cup.dng", Box(900, 500, 120, 80)),
    ],
)
def test_signal_of_real_mosaics_is_that_of_the_codes_of_libraw(
    name: str, box: Box, real_frames: Path
) -> None:
    """Its codes are after a linearization table, and so are the levels."""
    real, path = REAL[name], real_frames / "raw" / name
    with rawpy.imread(str(path)) as raw:
        visible = raw.raw_image_visible
        codes = visible[box.row : box.row + box.height, box.col : box.col + box.width].astype(float)
    with open_frame(path) as frame:
        region = frame.signal(box)
    assert region.signal == pytest.approx((codes - real.black[0]) / (real.white - real.black[0]))


@pytest.mark.parametrize(
    ("name", "clips_at"),
    [
        ("canon_eos_6d_lossy_linear.dng", (1, 1, 1)),
        ("lg_g4_sample_1mp_lossy_linear.dng", (0.51, 0.998, 0.714)),
    ],
)
def test_lossy_linear_files_are_three_planes_after_their_polynomials(
    name: str, clips_at: tuple[float, ...], real_frames: Path
) -> None:
    """LibRaw gives four planes, the fourth of zeros; the red polynomial of one ends at 0.51."""
    path = real_frames / "raw" / name
    with rawpy.imread(str(path)) as raw:
        by_libraw = raw.raw_image[..., :3] / 65535
        assert not raw.raw_image[..., 3].any()
    with open_frame(path) as frame:
        region = frame.signal(Box(0, 0, frame.size.width, frame.size.height))
    assert np.abs(region.signal - by_libraw).max() <= 1.01 / 65535
    assert region.clips_at == pytest.approx(clips_at, rel=2e-3)
    assert "MapPolynomial" in region.steps


def test_opcodes_of_a_maker_that_nobody_else_knows_are_told(real_frames: Path) -> None:
    """The panel frames ask for a warp and a vignette under numbers of their own."""
    with open_frame(real_frames / "panel" / "0000SET_000_IMG_0000_1.tif") as frame:
        (doubt,) = frame.signal(Box(600, 400, 40, 40)).doubts
    assert doubt.warning == "opcode-not-applied"
    assert "opcode 41327" in doubt.note


@pytest.mark.parametrize(
    "name",
    ["gopro_hero6.GPR", "nikon_d70s_flash_fired_truncated.nef",
     "nikon_d70s_flash_fired_truncated_2.nef"],
)  # fmt: skip
def test_real_files_that_must_be_refused(name: str, real_frames: Path) -> None:
    assert len(list((real_frames / "refused").iterdir())) == 3
    path = real_frames / "refused" / name
    with pytest.raises(NotAFrame) as caught, open_frame(path, "srgb") as frame:
        frame.signal(middle(frame))
    one_line(caught.value)


# Bytes at the end that nothing in the file points to: of a file cut there nothing is missing.
FILLED_UP = {
    "blackmagic_pocket_cup.dng": 406,
    "canon_eos_6d_lossy_linear.dng": 1,
    "nikon_d500_lossy_linear_600x400.dng": 1,
}


def read_middle(path: Path) -> Region:
    """The middle of a file; an icon or a preview may stand in for the picture only if told to."""
    with open_frame(path, "srgb") as frame:
        return frame.signal(middle(frame))


@pytest.mark.parametrize("name", [*REAL, "0000SET_000_IMG_0000_1.tif"])
def test_real_files_cut_short_at_any_length_are_refused(
    name: str, real_frames: Path, tmp_path: Path
) -> None:
    folder = real_frames / ("raw" if name in REAL else "panel")
    data, path = (folder / name).read_bytes(), tmp_path / name
    needed = len(data) - FILLED_UP.get(name, 0)
    inside = np.random.default_rng(7).integers(0, needed, 25).tolist()
    starts = [0, 1, 2, 3, 4, 5, 8, 9, 26, 100, 513, 1000]
    ends = [needed - n for n in (1, 2, 3, 4, 5, 8, 16, 100, 600, 1000, 3000, 9000)]
    path.write_bytes(data)
    for length in sorted({*starts, *inside, *ends}, reverse=True):
        os.truncate(path, length)
        with pytest.raises(FrameError) as caught:
            read_middle(path)
        one_line(caught.value)


@pytest.mark.parametrize("name", FILLED_UP)
def test_what_fills_a_real_file_up_may_be_missing(
    name: str, real_frames: Path, tmp_path: Path
) -> None:
    data = (real_frames / "raw" / name).read_bytes()
    path = tmp_path / name
    path.write_bytes(data[: len(data) - FILLED_UP[name]])
    whole = read_middle(real_frames / "raw" / name)
    assert np.array_equal(read_middle(path).signal, whole.signal)
