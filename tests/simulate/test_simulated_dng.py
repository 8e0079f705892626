"""Simulated DNG files, read back as written by tifffile, LibRaw and exifread."""

import struct
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import exifread
import numpy as np
import pytest
import rawpy
import tifffile
from small_shots import BODY, FLAT, MONO, PLANES, by_tifffile, raw_page, shot

from verify.simulate.camera import BAYER_ORDERS, CMYG, SIX_BY_SIX, CameraModel, Settings, to_sensor
from verify.simulate.dng import square_root_table, write_dng
from verify.simulate.opcodes import fix_vignette_radial, gain_map, map_polynomial, opcode_list

# How a viewer turns the stored array upright: the words of TIFF 6.0 (tag 274) in numpy's terms.
UPRIGHT = {
    1: lambda a: a,
    2: np.fliplr,
    3: lambda a: np.rot90(a, 2),
    4: np.flipud,
    5: lambda a: a.T,
    6: lambda a: np.rot90(a, -1),
    7: lambda a: np.rot90(a.T, 2),
    8: lambda a: np.rot90(a, 1),
}
# LibRaw's flip codes for the same eight: 1 mirrors columns, 2 mirrors rows, 4 transposes.
LIBRAW_FLIP = {1: 0, 2: 1, 3: 3, 4: 2, 5: 4, 6: 6, 7: 7, 8: 5}


LAYOUTS: dict[str, tuple[CameraModel, dict[str, Any]]] = {
    **{f"order {'/'.join(p)}": (replace(BODY, pattern=p), {}) for p in BAYER_ORDERS},
    "6 x 6 with a border": (replace(FLAT, pattern=SIX_BY_SIX, masked=(5, 3, 3, 2)), {}),
    "CMYG": (replace(BODY, pattern=CMYG), {}),
    "monochrome": (MONO, {}),
    "three planes": (PLANES, {}),
    "border": (replace(BODY, masked=(12, 6, 4, 2)), {"crop_px": 8}),
    "strips": (BODY, {"rows_per_strip": 10}),
    "big-endian": (BODY, {"order": ">", "tile": (32, 48)}),
    "12 bits packed": (
        replace(FLAT, bits=12, white=4095, black=((128.0,),)),
        {"packed": True, "tile": (32, 32)},
    ),
    "14 bits packed": (BODY, {"packed": True, "order": ">"}),
    "lossless JPEG": (BODY, {"compression": "ljpeg", "tile": (32, 48), "preview": "jpeg"}),
    "lossless JPEG strip": (BODY, {"compression": "ljpeg"}),
    "lossless JPEG 16 bits": (
        replace(BODY, bits=16, white=65000),
        {"compression": "ljpeg", "tile": (32, 32)},
    ),
    "opcodes": (MONO, {"opcodes": {2: opcode_list(gain_map((0, 0, 64, 96), np.ones((2, 2))))}}),
}


@pytest.mark.parametrize("name", LAYOUTS)
def test_dng_reads_back_as_written_by_tifffile_and_libraw(name: str, tmp_path: Path) -> None:
    camera, layout = LAYOUTS[name]
    exposed = shot(camera)
    path = write_dng(tmp_path / "a.dng", exposed.mosaic, camera, Settings(), **layout)
    assert np.array_equal(by_tifffile(path), exposed.mosaic)
    left, top, _, _ = camera.masked
    with rawpy.imread(str(path)) as raw:
        assert raw.raw_image is not None
        samples = raw.raw_image if camera.planes == 1 else raw.raw_image[..., :3]
        assert np.array_equal(samples, exposed.mosaic)
        assert raw.white_level == camera.white
        sizes = raw.sizes
        assert (sizes.width, sizes.height) == (96, 64)
        assert (sizes.left_margin, sizes.top_margin) == (left, top)
        if camera.pattern is not None:
            check_mosaic(raw, camera)


def check_mosaic(raw: rawpy.RawPy, camera: CameraModel) -> None:
    """Compare colour and black of each position from the active corner; LibRaw drops fractions."""
    assert camera.pattern is not None
    names = raw.color_desc.decode()
    index = raw.raw_colors_visible[: len(camera.pattern), : len(camera.pattern[0])]
    assert tuple("".join(names[i] for i in row) for row in index) == camera.pattern
    black = np.array(raw.black_level_per_channel)[index]
    assert np.array_equal(black, np.resize(np.floor(camera.black), index.shape))


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_puts_the_card_where_the_upright_picture_has_it(
    orientation: int, tmp_path: Path
) -> None:
    settings = Settings(orientation=orientation)
    exposed = shot(MONO, settings, seed=None)
    path = write_dng(tmp_path / "a.dng", exposed.mosaic, MONO, settings, preview="rgb")
    upright = UPRIGHT[orientation](by_tifffile(path))
    assert upright.shape == (64, 96)
    column, row, width, height = exposed.card_box
    lit = np.zeros(upright.shape, bool)
    lit[row : row + height, column : column + width] = True
    assert np.array_equal(upright == upright.max(), lit)
    assert np.array_equal(to_sensor(upright, orientation), exposed.mosaic)
    with rawpy.imread(str(path)) as raw:
        assert raw.sizes.flip == LIBRAW_FLIP[orientation]


def test_dng_states_its_levels_exactly(tmp_path: Path) -> None:
    camera = replace(
        BODY, black_columns=(0.0, 3.5), black_rows=(-1.25, 1.0, 2.0), masked=(3, 1, 0, 0)
    )
    path = write_dng(
        tmp_path / "a.dng",
        shot(camera).mosaic,
        camera,
        Settings(),
        baseline_exposure=-0.35,
        linear_response_limit=0.8,
        masked_areas=True,
        crop_px=5,
        without=(50717,),
    )
    with tifffile.TiffFile(path) as file:
        tags = raw_page(file).tags

        def rationals(tag: int) -> list[float]:
            value = np.array(tags[tag].value).reshape(-1, 2)
            return [float(v) for v in value[:, 0] / value[:, 1]]

        assert tags[50713].value == (2, 2)
        assert rationals(50714) == [512, 508, 510.5, 515]
        assert rationals(50715) == [0, 3.5] * 48
        assert rationals(50716) == ([-1.25, 1, 2] * 22)[:64]
        assert tags[50829].value == (1, 3, 65, 99)
        assert tags[50830].value == (0, 0, 1, 99, 1, 0, 65, 3)  # top strip, then the left one
        assert tags[50719].value == (5, 5)
        assert tags[50720].value == (86, 54)
        assert rationals(50730) == [-0.35]
        assert rationals(50734) == [0.8]
        assert 50717 not in tags


@pytest.mark.parametrize("layout", [{}, {"packed": True}, {"compression": "ljpeg"}])
def test_linearization_table_gives_the_mosaic_back(layout: dict[str, Any], tmp_path: Path) -> None:
    table = square_root_table(4096, BODY.white)
    mosaic = shot().mosaic
    path = write_dng(tmp_path / "a.dng", mosaic, BODY, Settings(), table=table, **layout)
    # The steps of this table are 2 i / 4095^2 x 16383 DN wide: at most 3 up to a quarter of it.
    off = np.abs(by_tifffile(path).astype(int) - mosaic)
    assert off.max() <= 3
    with rawpy.imread(str(path)) as raw:
        assert raw.raw_image is not None
        assert np.array_equal(raw.raw_image, by_tifffile(path))


@pytest.mark.parametrize("samples", ["float16", "float32"])
@pytest.mark.parametrize("layout", [{}, {"compression": "deflate", "tile": (32, 32)}])
@pytest.mark.parametrize("camera", [BODY, PLANES], ids=["mosaic", "three planes"])
def test_floating_point_dng(
    samples: str, layout: dict[str, Any], camera: CameraModel, tmp_path: Path
) -> None:
    mosaic = shot(camera).mosaic
    path = write_dng(tmp_path / "a.dng", mosaic, camera, Settings(), samples=samples, **layout)
    stored = by_tifffile(path)
    assert stored.dtype == samples
    # Half floats store 10 bits of mantissa: half a step is at most 2^-11 of the value.
    precision = 2**-11 if samples == "float16" else 2**-24
    assert np.all(np.abs(stored.astype(float) * camera.white - mosaic) <= mosaic * precision * 1.01)
    with tifffile.TiffFile(path) as file:
        tags = raw_page(file).tags
        black = np.array(tags[50714].value).reshape(-1, 2)
        assert np.allclose(
            black[:, 0] / black[:, 1] * camera.white, np.ravel(camera.black), atol=0.02
        )
        assert np.all(np.array(tags[50717].value) == 1)
    with rawpy.imread(str(path)) as raw:
        assert raw.raw_image is not None
        assert raw.raw_image.shape[:2] == mosaic.shape[:2]


def test_compression_that_cannot_hold_the_samples_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="one plane of whole numbers"):
        write_dng(tmp_path / "a.dng", shot(PLANES).mosaic, PLANES, Settings(), compression="ljpeg")
    with pytest.raises(TypeError, match="tyle"):
        write_dng(tmp_path / "a.dng", shot().mosaic, BODY, Settings(), tyle=(32, 32))
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(("place", "group"), [("exif", "EXIF"), ("tiff-ep", "Image")])
@pytest.mark.parametrize("preview", [None, "jpeg"])
def test_settings_come_back_through_exifread(
    place: str, group: str, preview: str | None, tmp_path: Path
) -> None:
    when = datetime(
        2026, 3, 4, 10, 11, 12, 50_000, tzinfo=timezone(-timedelta(hours=3, minutes=30))
    )
    settings = Settings(f_number=9.5, shutter_s=0.3, iso=125, captured=when, orientation=8)
    path = write_dng(tmp_path / "a.dng", shot().mosaic, BODY, settings, exif=place, preview=preview)
    with path.open("rb") as file:
        tags = exifread.process_file(file, details=False)
    read = {
        name: str(tags[f"{group} {name}"])
        for name in (
            "FNumber",
            "ExposureTime",
            "ISOSpeedRatings",
            "DateTimeOriginal",
            "SubSecTimeOriginal",
            "OffsetTimeOriginal",
            "FocalLength",
            "BodySerialNumber",
            "LensModel",
        )
    }
    assert list(read.values()) == [
        "19/2",
        "3/10",
        "125",
        "2026:03:04 10:11:12",
        "05",
        "-03:30",
        "90",
        BODY.serial,
        BODY.lens,
    ]
    assert tags["Image Make"].values == BODY.make
    assert tags["Image Orientation"].values == [8]
    pitch = tags["EXIF FocalPlaneXResolution" if place == "exif" else "Image Tag 0x920E"]
    assert float(pitch.values[0]) == pytest.approx(10_000 / BODY.pixel_pitch_um)


@pytest.mark.parametrize(("kind", "tag"), [(1, 0x8831), (2, 0x8832), (3, 0x8833)])
def test_high_iso_goes_where_its_sensitivity_type_says(kind: int, tag: int, tmp_path: Path) -> None:
    # check-values 4.1: tag 34855 is capped at 65535; 8831, 8832 or 8833 hold the value.
    settings = Settings(iso=102_400, true_iso=100)
    path = write_dng(
        tmp_path / "a.dng", shot().mosaic, BODY, settings, exif="tiff-ep", sensitivity_type=kind
    )
    with tifffile.TiffFile(path) as file:
        tags = raw_page(file).tags
        assert tags[34855].value == 65535
        assert tags[34864].value == kind
        assert tags[tag].value == 102_400


def test_what_is_not_recorded_is_not_written(tmp_path: Path) -> None:
    settings = Settings(f_number=None, shutter_s=None, iso=None, focal_mm=None)
    for place in ("exif", "none"):
        path = write_dng(
            tmp_path / "a.dng", shot().mosaic, replace(BODY, lens=""), settings, exif=place
        )
        with path.open("rb") as file:
            names = " ".join(exifread.process_file(file, details=False))
        for name in ("FNumber", "ExposureTime", "ISO", "FocalLength", "DateTime", "Lens"):
            assert name not in names


def test_opcodes_are_laid_out_as_the_specification_says() -> None:
    data = opcode_list(
        gain_map((1, 2, 63, 94), np.array([[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]]), pitch=(2, 2)),
        fix_vignette_radial((0.1, 0.2, 0.3, 0.4, 0.5)),
        map_polynomial((0, 0, 64, 96), (0.0, 0.5)),
    )
    count, number, version, flags, size = struct.unpack_from(">5I", data)
    assert (count, number, version, flags, size) == (3, 9, 0x01030000, 0, 76 + 4 * 6)
    assert struct.unpack_from(">10I", data, 20) == (1, 2, 63, 94, 0, 1, 2, 2, 3, 2)
    assert struct.unpack_from(">4d", data, 60) == (0.5, 1.0, 0.0, 0.0)
    assert struct.unpack_from(">I6f", data, 92) == (1, 1, 2, 3, 4, 5, 6)
    assert struct.unpack_from(">4I7d", data, 120) == (
        *(3, 0x01030000, 0, 56),
        *(0.1, 0.2, 0.3, 0.4, 0.5, 0.5, 0.5),
    )
    assert struct.unpack_from(">4I", data, 192) == (8, 0x01030000, 0, 36 + 16)
    assert struct.unpack_from(">9I2d", data, 208) == (0, 0, 64, 96, 0, 1, 1, 1, 1, 0.0, 0.5)
    assert len(data) == 208 + 52
