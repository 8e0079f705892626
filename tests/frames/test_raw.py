"""What comes through LibRaw: simulated mosaics, and camera files of known structure.

LibRaw opens the DNG files that the simulator writes, so its path is held against the same truth as
ours; ``open_raw`` is what a camera file in no other form comes to.
"""

import struct
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rawpy
from numpy.typing import NDArray

from verify.errors import NotAFrame
from verify.frames import raw as raw_module
from verify.frames.frame import Settings
from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.frames.raw import RawSource, libraw_settings, open_raw
from verify.simulate import camera as simulated
from verify.simulate.camera import BAYER_ORDERS, CMYG, SIX_BY_SIX, CameraModel
from verify.simulate.dng import write_dng

ROWS, COLS = 64, 96
LETTERS = {
    "red": "R", "green": "G", "blue": "B", "cyan": "C", "magenta": "M", "yellow": "Y",
}  # fmt: skip
BODY = CameraModel(black=((512.0, 508.0), (510.0, 515.0)))
ONE_BLACK = replace(BODY, black=((512.0,),))


def random_mosaic(camera: CameraModel, high: int = 9000, seed: int = 1) -> NDArray[np.uint16]:
    """Codes without any order of the whole sensor, the masked border at black."""
    left, top, right, bottom = camera.masked
    planes = (camera.planes,) if camera.planes > 1 else ()
    rng = np.random.default_rng(seed)
    codes = rng.integers(600, high, (top + ROWS + bottom, left + COLS + right, *planes))
    whole = codes.astype(np.uint16)
    lit = np.zeros(whole.shape, bool)
    lit[top : top + ROWS, left : left + COLS] = True
    whole[~lit] = rng.normal(512, 3, whole.shape).astype(np.uint16)[~lit]
    return whole


def opened(
    path: Path,
    camera: CameraModel,
    codes: NDArray[np.uint16],
    settings: simulated.Settings | None = None,
    **layout: Any,
) -> RawSource:
    """The mosaic through LibRaw."""
    source, _ = open_raw(write_dng(path, codes, camera, settings or simulated.Settings(), **layout))
    return source


MOSAICS: dict[str, CameraModel] = {
    **{"/".join(p): replace(BODY, pattern=p) for p in BAYER_ORDERS},
    "CMYG": replace(BODY, pattern=CMYG),
    "border": replace(BODY, masked=(12, 6, 4, 2)),
    "6 x 6": replace(ONE_BLACK, pattern=SIX_BY_SIX),
    "6 x 6, odd border": replace(ONE_BLACK, pattern=SIX_BY_SIX, masked=(5, 3, 3, 2)),
    "6 x 6, wide border": replace(ONE_BLACK, pattern=SIX_BY_SIX, masked=(14, 9, 3, 2)),
}


@pytest.mark.parametrize("name", MOSAICS)
def test_every_photosite_has_its_colour_and_its_black(name: str, tmp_path: Path) -> None:
    """Colours count from the corner of the visible area, however wide the border is."""
    camera, box = MOSAICS[name], Box(3, 5, 14, 12)
    left, top, _, _ = camera.masked
    codes = random_mosaic(camera)
    source = opened(tmp_path / "a.dng", camera, codes)
    assert (source.size.width, source.size.height) == (COLS, ROWS)
    region = source.read(box)
    assert region.classes is not None
    assert camera.pattern is not None
    for row in range(box.height):
        for col in range(box.width):
            r, c = box.row + row, box.col + col
            letter = camera.pattern[r % len(camera.pattern)][c % len(camera.pattern[0])]
            assert LETTERS[region.colors[region.classes[row, col]]] == letter
            black = camera.black[r % len(camera.black)][c % len(camera.black[0])]
            expected = (float(codes[top + r, left + c]) - black) / (16383 - black)
            assert region.signal[row, col] == pytest.approx(expected, abs=1e-12)
    assert region.white == (16383,) * len(region.colors)
    source.close()


def test_black_and_clipping_of_each_colour(tmp_path: Path) -> None:
    codes = random_mosaic(BODY)
    codes[10, 10], codes[11, 12], codes[12, 13] = 16383, 0, 16382
    region = opened(tmp_path / "a.dng", BODY, codes).read(Box(0, 0, COLS, ROWS))
    assert dict(zip(region.colors, region.black, strict=True)) == {
        "red": 512,
        "green": 509,
        "blue": 515,
    }
    assert np.argwhere(region.clipped).tolist() == [[10, 10]]
    assert np.argwhere(region.floored).tolist() == [[11, 12]]
    assert region.clips_at == pytest.approx((1, 1, 1))
    assert region.steps == ("decoder", "black", "scale to white")


def test_a_sensor_without_a_mosaic_is_grey(tmp_path: Path) -> None:
    camera = replace(ONE_BLACK, pattern=None)
    codes = random_mosaic(camera)
    region = opened(tmp_path / "a.dng", camera, codes).read(Box(2, 3, 7, 5))
    assert region.colors == ("grey",)
    assert region.classes is None
    assert region.signal == pytest.approx((codes[3:8, 2:9].astype(float) - 512) / (16383 - 512))


PLANES = CameraModel(pattern=None, planes=3, black=((500.0, 512.0, 520.0),))


def test_planes_of_a_camera_that_makes_colour_differences_are_refused(tmp_path: Path) -> None:
    """Reduced-size raw comes out of LibRaw as planes, and so does this; it is not linear."""
    source = opened(tmp_path / "a.dng", PLANES, random_mosaic(PLANES))
    with pytest.raises(NotAFrame, match="YCC") as caught:
        source.read(Box(0, 0, 4, 4))
    assert "\n" not in str(caught.value)
    with pytest.raises(NotAFrame, match="YCC"):
        source.scene_mean()


def test_planes_of_a_sensor_that_has_three_are_measured(tmp_path: Path) -> None:
    """Such a file is known by its first bytes; here the planes of a DNG stand in for it."""
    codes = random_mosaic(PLANES)
    source = replace(opened(tmp_path / "a.dng", PLANES, codes), foveon=True)
    region = source.read(Box(2, 3, 7, 5))
    assert region.colors == ("red", "green", "blue")
    for plane, black in enumerate((500, 512, 520)):
        expected = (codes[3:8, 2:9, plane].astype(float) - black) / (16383 - black)
        assert region.signal[..., plane] == pytest.approx(expected)
    mean = (codes[..., 1].mean() - 512) / (16383 - 512)
    assert source.scene_mean() == pytest.approx(mean, rel=0.02)


def test_the_mean_of_the_scene_is_that_of_the_green_photosites(tmp_path: Path) -> None:
    codes = random_mosaic(BODY)
    codes[::2, ::2] //= 4
    codes[1::2, 1::2] //= 3
    source = opened(tmp_path / "a.dng", BODY, codes)
    green = np.concatenate([codes[::2, 1::2].ravel() - 508.0, codes[1::2, ::2].ravel() - 510.0])
    assert source.scene_mean() == pytest.approx(green.mean() / (16383 - 509), rel=0.01)


@pytest.mark.parametrize("pattern", [("RG", "GB"), None])
def test_a_border_off_the_black_of_libraw_is_a_doubt(
    pattern: tuple[str, ...] | None, tmp_path: Path
) -> None:
    camera = replace(ONE_BLACK, pattern=pattern, masked=(24, 0, 0, 0))
    codes = random_mosaic(camera)
    assert opened(tmp_path / "a.dng", camera, codes).read(Box(0, 0, 9, 9)).doubts == ()
    codes[:, :24] -= 7
    (doubt,) = opened(tmp_path / "b.dng", camera, codes).read(Box(0, 0, 9, 9)).doubts
    assert doubt.warning == "black-unsure"
    assert doubt.signal == pytest.approx(7 / (16383 - 512), rel=0.1)


def test_a_border_above_the_picture_serves_too(tmp_path: Path) -> None:
    camera = replace(ONE_BLACK, masked=(0, 24, 0, 0))
    codes = random_mosaic(camera)
    codes[:24] += 9
    (doubt,) = opened(tmp_path / "a.dng", camera, codes).read(Box(0, 0, 9, 9)).doubts
    assert doubt.signal == pytest.approx(9 / (16383 - 512), rel=0.1)


@pytest.mark.parametrize("pattern", [("RG", "GB"), None])
def test_clipping_below_white_is_for_the_clipping_test_alone(
    pattern: tuple[str, ...] | None, tmp_path: Path
) -> None:
    camera = replace(ONE_BLACK, pattern=pattern)
    rng = np.random.default_rng(5)
    codes = np.clip(rng.normal(14_000, 900, (ROWS, COLS)), 0, 14_500).astype(np.uint16)
    region = opened(tmp_path / "a.dng", camera, codes).read(Box(0, 0, COLS, ROWS))
    assert np.array_equal(region.clipped, codes == 14_500)
    assert region.clips_at[0] == pytest.approx((14_500 - 512) / (16_383 - 512))
    assert region.signal == pytest.approx((codes.astype(float) - 512) / (16_383 - 512))
    assert set(region.white) == {16_383}


def test_last_rows_of_nothing_are_a_file_cut_short(tmp_path: Path) -> None:
    """LibRaw leaves what it did not decode at 0."""
    codes = random_mosaic(BODY)
    codes[-2:] = 0
    with pytest.raises(NotAFrame, match="cut short"):
        opened(tmp_path / "a.dng", BODY, codes).read(Box(0, 0, 4, 4))
    codes[-2:, 50] = 3
    assert opened(tmp_path / "b.dng", BODY, codes).read(Box(0, 0, 4, 4)).signal.shape == (4, 4)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_turn_that_libraw_states_is_that_of_the_file(orientation: int, tmp_path: Path) -> None:
    settings = simulated.Settings(orientation=orientation)
    path = write_dng(tmp_path / "a.dng", random_mosaic(BODY), BODY, settings)
    source, found = open_raw(path)
    source.close()
    assert found == orientation


def test_a_file_is_decoded_once_and_only_when_a_pixel_is_wanted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[int] = []
    mosaic = raw_module._mosaic

    def counted(raw: rawpy.RawPy, stack: bool) -> Any:
        calls.append(1)
        return mosaic(raw, stack)

    monkeypatch.setattr(raw_module, "_mosaic", counted)
    source = opened(tmp_path / "a.dng", BODY, random_mosaic(BODY))
    assert calls == []
    first = source.read(Box(0, 0, 8, 8))
    source.read(Box(40, 40, 8, 8))
    source.scene_mean()
    assert calls == [1]
    kept = first.signal.copy()
    source.close()
    assert np.array_equal(first.signal, kept), "a region outlives its file"


def test_settings_that_libraw_found(tmp_path: Path) -> None:
    settings = simulated.Settings(f_number=6.3, shutter_s=1 / 125, iso=400, focal_mm=90)
    source = opened(tmp_path / "a.dng", BODY, random_mosaic(BODY), settings)
    found = libraw_settings(source)
    assert (found.f_number, found.iso, found.focal_mm) == (6.3, 400, 90)
    assert found.shutter_s == pytest.approx(0.008, rel=1e-6)


def test_zeros_and_ones_of_libraw_are_unknown(tmp_path: Path) -> None:
    """Without settings in the file LibRaw gives 0, and of some files 1 s and f/1."""
    source = opened(tmp_path / "a.dng", BODY, random_mosaic(BODY), exif="none")
    found = libraw_settings(source)
    assert replace(found, lens=None) == Settings()


class Ones:
    """A decoder that says 1 for what it does not know."""

    class Other:
        aperture = shutter_speed = iso_speed = 1.0
        focal_length = float("nan")
        timestamp = None

    class Lens:
        model = ""

    other, lens = Other(), Lens()


def test_ones_of_a_decoder_are_unknown() -> None:
    source = RawSource(Ones(), foveon=False)  # type: ignore[arg-type]
    assert libraw_settings(source) == Settings()


@pytest.mark.parametrize(
    "error",
    [rawpy.LibRawDataError(b"Corrupted data"), OSError((5, "Input/output error"))],
)
def test_whatever_libraw_raises_is_one_line(
    error: Exception, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_path: str) -> None:
        raise error

    monkeypatch.setattr(rawpy, "imread", fail)
    with pytest.raises(NotAFrame, match="LibRaw cannot decode it") as caught:
        open_raw(tmp_path / "a.nef")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("data", [bytes(3), bytes(5000), b"FOVb" + bytes(400), b"\0MRM" * 99])
def test_what_libraw_does_not_know_is_refused(data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "a.nef"
    path.write_bytes(data)
    with pytest.raises(NotAFrame, match="LibRaw cannot decode it"), open_frame(path) as frame:
        frame.signal(Box(0, 0, 1, 1))


# A camera file like a TIFF with a number of its own, whose strip says nothing of its place: the
# raw data are in blocks of 16 bytes for 14 photosites, cut into parts of 0x4000 bytes that begin
# in the middle (read off what LibRaw decodes). Bytes 13 to 15 of a block hold two values.
BLOCKS_A_ROW, BLOCK_ROWS, DATA_AT, PART, MIDDLE = 20, 300, 0x800, 0x4000, 0x2008


def write_blocks(path: Path) -> Path:
    rng = np.random.default_rng(1)
    parts = -(-BLOCK_ROWS * BLOCKS_A_ROW * 16 // PART)
    blocks = np.zeros((parts * PART // 16, 16), np.uint8)
    blocks[:, 13:] = rng.integers(1, 250, (len(blocks), 3))
    stored = np.roll(blocks.reshape(parts, PART), -MIDDLE, axis=1).tobytes()
    width = BLOCKS_A_ROW * 14
    tags = [
        (1, 7, 4, int.from_bytes(b"0310", "little")), (2, 3, 1, width), (3, 3, 1, BLOCK_ROWS),
        (4, 3, 1, 4), (5, 3, 1, 4), (6, 3, 1, BLOCK_ROWS - 4), (7, 3, 1, width - 4), (9, 3, 1, 1),
        (10, 3, 1, 12), (11, 3, 1, 34316), (23, 3, 1, 100), (271, 2, 9, 0x400), (272, 2, 6, 0x420),
        (273, 4, 1, 2**32 - 1), (274, 3, 1, 1), (278, 4, 1, BLOCK_ROWS), (279, 4, 1, len(stored)),
        (280, 4, 1, DATA_AT),
    ]  # fmt: skip
    head = bytearray(DATA_AT)
    head[:8] = b"IIU\0" + struct.pack("<I", 24)
    head[24:26] = struct.pack("<H", len(tags))
    for n, each in enumerate(tags):
        struct.pack_into("<HHII", head, 26 + 12 * n, *each)
    head[0x400:0x409], head[0x420:0x426] = b"Tarnwick\0", b"TW-12\0"
    path.write_bytes(bytes(head) + stored)
    return path


def test_a_decoder_that_goes_on_with_old_data_is_not_trusted(tmp_path: Path) -> None:
    """Cut in half, LibRaw gives a whole picture of this file without a word: its last rows are
    neither empty nor black, but what it read before. Only the size of the file tells.
    """
    path = write_blocks(tmp_path / "a.rw2")
    with rawpy.imread(str(path)) as raw:
        whole = raw.raw_image.copy()
    with open_frame(path) as frame:
        box = Box(0, 0, frame.size.width, frame.size.height)
        assert frame.signal(box).signal == pytest.approx(whole[: box.height] / 4095)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    with rawpy.imread(str(path)) as raw:
        cut = raw.raw_image
        assert cut.shape == whole.shape
        assert cut[-2:].all()
        assert not np.array_equal(cut, whole)
    for length in (len(data) - 1, len(data) // 2, DATA_AT + 1, DATA_AT, 300, 60, 30, 9):
        path.write_bytes(data[:length])
        with pytest.raises(NotAFrame, match="cut short"):
            open_frame(path).signal(box)
