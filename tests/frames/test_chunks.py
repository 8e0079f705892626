"""Boxes of striped and tiled images: the right codes, and no strip or tile too many."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from small_files import LONG, Codes, changed, random_codes, write_tiff

from verify.errors import NotAFrame
from verify.frames import chunks as chunks_module
from verify.frames.chunks import Chunks
from verify.frames.geometry import Box
from verify.simulate.ifd import ByteOrder, Ifd, tiff_bytes

HEIGHT, WIDTH = 75, 109  # no multiple of a tile or a strip
LAYOUTS: dict[str, dict[str, Any]] = {
    "one strip": {},
    "strips": {"rowsperstrip": 7},
    "tiles": {"tile": (16, 32)},
    **{
        f"{name} {shape}": {"compression": name, **where}
        for name in ("deflate", "lzw", "packbits")
        for shape, where in (("strips", {"rowsperstrip": 7}), ("tiles", {"tile": (16, 32)}))
    },
    "deflate, predictor": {"compression": "deflate", "predictor": True, "tile": (16, 32)},
    "lzw, predictor": {"compression": "lzw", "predictor": True, "rowsperstrip": 7},
    "big-endian": {"order": ">", "rowsperstrip": 7},
    "big-endian, lzw": {"order": ">", "compression": "lzw", "predictor": True, "tile": (16, 32)},
    "BigTIFF": {"big": True, "tile": (16, 32)},
    "BigTIFF, big-endian": {"big": True, "order": ">", "rowsperstrip": 7},
}
ONE_PLANE: dict[str, dict[str, Any]] = {
    "10 bit packed": {"bits": 10, "rowsperstrip": 7},
    "12 bit packed": {"bits": 12},
    "14 bit packed": {"bits": 14, "rowsperstrip": 7},
    "12 bit packed tiles": {"bits": 12, "tile": (16, 32)},
    "lossless JPEG": {"bits": 12, "compression": "jpeg", "tile": (16, 32)},
    "lossless JPEG strips": {"bits": 14, "compression": "jpeg", "rowsperstrip": 16},
}


def written(path: Path, codes: Codes, layout: dict[str, Any]) -> Path:
    """A TIFF of codes; ``bits`` packs them, for lossless JPEG it is their depth."""
    options = dict(layout)
    if bits := options.pop("bits", None):
        options["bitspersample"] = bits
    if options.get("compression") == "jpeg":
        options["compressionargs"] = {"lossless": True}
    return write_tiff(path, codes, **options)


@contextmanager
def opened(path: Path) -> Iterator[Chunks]:
    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        yield Chunks(page)


def boxes(count: int, seed: int = 5) -> list[Box]:
    """Boxes anywhere in the image, the whole of it and its last pixel."""
    rng = np.random.default_rng(seed)
    found = [Box(0, 0, WIDTH, HEIGHT), Box(WIDTH - 1, HEIGHT - 1, 1, 1)]
    for _ in range(count):
        (left, right), (top, bottom) = (np.sort(rng.integers(0, n, 2)) for n in (WIDTH, HEIGHT))
        found.append(Box(int(left), int(top), int(right - left) + 1, int(bottom - top) + 1))
    return found


def cut_out(codes: Codes, box: Box) -> Codes:
    return codes[box.row : box.row + box.height, box.col : box.col + box.width]


def check_boxes(path: Path, codes: NDArray[Any]) -> None:
    """Every box read is the region of what was written, in any order of reading."""
    with opened(path) as chunks:
        chunks.check()
        assert (chunks.size.width, chunks.size.height) == (WIDTH, HEIGHT)
        for box in boxes(25):
            read = chunks.read(box)
            assert read.dtype == codes.dtype
            assert np.array_equal(read, cut_out(codes, box))


@pytest.mark.parametrize("planes", ["grey", "pixel by pixel", "plane by plane"])
@pytest.mark.parametrize("name", LAYOUTS)
def test_boxes_are_what_was_written(name: str, planes: str, tmp_path: Path) -> None:
    layout = dict(LAYOUTS[name])
    codes = random_codes(HEIGHT, WIDTH, *([] if planes == "grey" else [3]), high=65536)
    stored = codes
    if planes == "plane by plane":
        layout["planarconfig"] = "separate"
        stored = np.moveaxis(codes, 2, 0)
        layout["photometric"] = "rgb"
    path = written(tmp_path / "a.tif", stored, layout)
    check_boxes(path, codes.reshape(HEIGHT, WIDTH, -1))


@pytest.mark.parametrize("name", ONE_PLANE)
def test_boxes_of_packed_and_jpeg_samples_are_what_was_written(name: str, tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH, low=0, high=2 ** ONE_PLANE[name]["bits"])
    check_boxes(written(tmp_path / "a.tif", codes, ONE_PLANE[name]), codes[..., None])


@pytest.mark.parametrize("dtype", ["uint8", "uint32", "float16", "float32", "float64"])
@pytest.mark.parametrize("name", ["strips", "deflate tiles", "big-endian"])
def test_boxes_of_other_sample_types(name: str, dtype: str, tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH, 3, low=0, high=255).astype(dtype)
    if codes.dtype.kind == "f":
        codes /= 16
    check_boxes(written(tmp_path / "a.tif", codes, LAYOUTS[name]), codes)


@pytest.mark.parametrize("order", ["<", ">"])
def test_packed_samples_begin_with_the_most_significant_bit_in_any_file(
    order: ByteOrder, tmp_path: Path
) -> None:
    """TIFF 6.0, FillOrder 1, whatever the order of bytes; tifffile writes only one of the two."""
    codes = random_codes(HEIGHT, WIDTH, low=0, high=2**14)
    bits = (codes[..., None] >> np.arange(13, -1, -1)) & 1
    rows = np.packbits(bits.reshape(HEIGHT, -1).astype(np.uint8), axis=1)
    check_boxes(write_strip(tmp_path / "a.tif", codes, rows.tobytes(), order, 14), codes[..., None])


def test_least_significant_bit_first(tmp_path: Path) -> None:
    """TIFF 6.0, FillOrder 2: the bits of every byte are turned round."""
    codes = random_codes(HEIGHT, WIDTH, high=65536)
    turned = np.packbits(np.unpackbits(codes.astype("<u2").view(np.uint8), bitorder="little"))
    path = write_strip(tmp_path / "a.tif", codes, turned.tobytes(), "<", 16, fill_order=2)
    check_boxes(path, codes[..., None])


def write_strip(
    path: Path, codes: Codes, data: bytes, order: ByteOrder, bits: int, fill_order: int = 1
) -> Path:
    """A TIFF whose one strip holds these very bytes."""
    ifd = Ifd(segments=[data])
    rows, cols = codes.shape
    numbers = {256: cols, 257: rows, 258: bits, 259: 1, 262: 1, 266: fill_order, 277: 1, 278: rows}
    for code, value in numbers.items():
        ifd.add(code, LONG, value)
    path.write_bytes(tiff_bytes(ifd, order))
    return path


class Counted:
    """Which strips or tiles were decoded, and how many bytes were read for pixels."""

    def __init__(self, chunks: Chunks, monkeypatch: pytest.MonkeyPatch) -> None:
        self.decoded: list[int] = []
        self.bytes = 0
        page, read = chunks.page, Chunks._bytes
        decode = page.decode

        def counted_decode(data: bytes, index: int, **extra: Any) -> Any:
            self.decoded.append(index)
            return decode(data, index, **extra)

        def counted_bytes(chunks: Chunks, offset: int, count: int) -> bytes:
            self.bytes += count
            return read(chunks, offset, count)

        monkeypatch.setattr(page, "decode", counted_decode)
        monkeypatch.setattr(Chunks, "_bytes", counted_bytes)


@pytest.mark.parametrize("box", boxes(12, seed=6))
@pytest.mark.parametrize("planes", [1, 3])
def test_a_box_of_a_tiled_image_decodes_its_tiles_and_no_others(
    box: Box, planes: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Tiles of 16 rows and 32 columns count row by row, of separate planes plane by plane."""
    codes = random_codes(*([planes] if planes > 1 else []), HEIGHT, WIDTH)
    layout: dict[str, Any] = {}
    if planes > 1:
        layout = {"planarconfig": "separate", "photometric": "rgb"}
    path = write_tiff(tmp_path / "a.tif", codes, tile=(16, 32), compression="lzw", **layout)
    needed = {
        plane * 5 * 4 + (row // 16) * 4 + col // 32
        for plane in range(planes)
        for row in range(box.row, box.row + box.height)
        for col in range(box.col, box.col + box.width)
    }
    with opened(path) as chunks:
        counted = Counted(chunks, monkeypatch)
        chunks.read(box)
        assert sorted(counted.decoded) == sorted(needed)
        chunks.read(box)
        assert len(counted.decoded) == len(needed), "decoded again"


def test_a_box_of_strips_decodes_its_strips_and_no_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_tiff(
        tmp_path / "a.tif", random_codes(HEIGHT, WIDTH), rowsperstrip=7, compression="deflate"
    )
    with opened(path) as chunks:
        counted = Counted(chunks, monkeypatch)
        chunks.read(Box(3, 13, 5, 9))
        assert counted.decoded == [1, 2, 3]


@pytest.mark.parametrize(("bits", "row_bytes"), [(16, 218), (12, 164), (14, 191)])
def test_a_box_of_an_uncompressed_strip_reads_its_rows_and_no_others(
    bits: int, row_bytes: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """109 samples; packed ones are filled up to whole bytes at the end of each row."""
    codes = random_codes(HEIGHT, WIDTH)
    path = written(tmp_path / "a.tif", codes, {} if bits == 16 else {"bits": bits})
    with opened(path) as chunks:
        counted = Counted(chunks, monkeypatch)
        assert np.array_equal(chunks.read(Box(50, 20, 9, 4))[..., 0], codes[20:24, 50:59])
        assert counted.decoded == []
        assert counted.bytes == 4 * row_bytes


def test_what_is_kept_is_bounded_and_still_right(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(chunks_module, "KEPT_BYTES", 3 * 16 * 32 * 2)
    codes = random_codes(HEIGHT, WIDTH)
    path = write_tiff(tmp_path / "a.tif", codes, tile=(16, 32), compression="lzw")
    with opened(path) as chunks:
        for box in boxes(20):
            assert np.array_equal(chunks.read(box)[..., 0], cut_out(codes, box))
            assert sum(kept.nbytes for kept in chunks._kept.values()) <= 3 * 16 * 32 * 2


@pytest.mark.parametrize("rows", [0, 2**32 - 1, 2**31])
def test_rows_per_strip_that_say_nothing_are_one_strip(rows: int, tmp_path: Path) -> None:
    """TIFF 6.0: the default of 2^32 - 1 is one strip; some writers put 0."""
    codes = random_codes(HEIGHT, WIDTH)
    path = changed(write_tiff(tmp_path / "a.tif", codes), 278, rows, dtype=4)
    check_boxes(path, codes[..., None])


def test_samples_of_a_small_or_uncompressed_picture_meet_every_row_of_a_mosaic(
    tmp_path: Path,
) -> None:
    area = Box(5, 3, 96, 64)
    with opened(write_tiff(tmp_path / "a.tif", random_codes(HEIGHT, WIDTH))) as chunks:
        sampled = chunks.sample(area)
        assert {box.row % 6 for box in sampled} == set(range(6))
        assert all((box.col, box.width, box.height) == (5, 96, 1) for box in sampled)
        assert 3 <= min(box.row for box in sampled) <= max(box.row for box in sampled) < 67
    lzw = write_tiff(tmp_path / "b.tif", random_codes(HEIGHT, WIDTH), compression="lzw")
    with opened(lzw) as chunks:
        assert chunks.sample(area) == [area]


def test_samples_of_a_large_compressed_picture_are_few_tiles_inside_the_area(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    codes = np.zeros((1300, 1700), np.uint16)
    path = write_tiff(tmp_path / "a.tif", codes, tile=(64, 64), compression="lzw")
    with opened(path) as chunks:
        counted = Counted(chunks, monkeypatch)
        area = Box(70, 30, 1600, 1200)
        sampled = chunks.sample(area)
        assert len(sampled) == 2
        assert all(
            box.col >= 70
            and box.row >= 30
            and box.col + box.width <= 1670
            and box.row + box.height <= 1230
            for box in sampled
        )
        for box in sampled:
            chunks.read(box)
        assert len(counted.decoded) == len(sampled)
        assert len(counted.decoded) <= len(chunks.page.dataoffsets) / 60
    coarse = write_tiff(tmp_path / "b.tif", codes, tile=(656, 864), compression="lzw")
    with opened(coarse) as chunks:
        assert chunks.sample(area) == []


CHECKED: dict[str, tuple[dict[str, Any], int, Any, str]] = {
    "a strip is missing": ({"rowsperstrip": 25}, 273, (400, 600), "lists 2 of 3 parts"),
    "a tile was not written": (
        {"tile": (48, 64), "compression": "lzw"}, 325, (0, 90, 90, 90), "never written",
    ),
    "a strip has no place": ({"rowsperstrip": 25}, 273, (400, 0, 600), "never written"),
    "a strip is beyond the end": ({"rowsperstrip": 25}, 273, (400, 10**6, 600), "cut short"),
    "a strip is too short": ({"rowsperstrip": 25}, 279, (5450, 5449, 5450), "fewer bytes"),
}  # fmt: skip


@pytest.mark.parametrize("name", CHECKED)
def test_damaged_lists_of_parts_are_refused(name: str, tmp_path: Path) -> None:
    layout, code, value, said = CHECKED[name]
    path = write_tiff(tmp_path / "a.tif", random_codes(HEIGHT, WIDTH), **layout)
    changed(path, code, value)
    with opened(path) as chunks, pytest.raises(NotAFrame, match=said) as caught:
        chunks.check()
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("compression", ["deflate", "lzw", "jpeg"])
def test_damaged_data_are_refused_in_one_line(compression: str, tmp_path: Path) -> None:
    path = written(
        tmp_path / "a.tif",
        random_codes(HEIGHT, WIDTH),
        {
            "compression": compression,
            "tile": (48, 64),
            "bits": 12 if compression == "jpeg" else None,
        },
    )
    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        offset, count = page.dataoffsets[1], page.databytecounts[1]
    data = bytearray(path.read_bytes())
    data[offset : offset + count] = bytes(count)
    path.write_bytes(data)
    with opened(path) as chunks:
        chunks.check()
        assert chunks.read(Box(0, 0, 8, 8)).shape == (8, 8, 1), "the first tile is whole"
        with pytest.raises(NotAFrame, match="part 2 of the picture") as caught:
            chunks.read(Box(64, 0, 8, 8))
    assert "\n" not in str(caught.value)


def test_a_damaged_size_of_a_tile_does_not_ask_for_all_memory(tmp_path: Path) -> None:
    """A tile may be larger than the picture: nothing beyond the picture is filled up."""
    codes = random_codes(48, 60)
    path = changed(write_tiff(tmp_path / "a.tif", codes, tile=(48, 64)), 323, 2**28, dtype=LONG)
    with opened(path) as chunks:
        chunks.check()
        assert np.array_equal(chunks.read(Box(3, 5, 20, 30))[..., 0], codes[5:35, 3:23])


def test_a_file_that_shrinks_while_it_is_read_is_refused(tmp_path: Path) -> None:
    path = write_tiff(tmp_path / "a.tif", random_codes(HEIGHT, WIDTH))
    with opened(path) as chunks:
        chunks.check()
        with path.open("r+b") as file:
            file.truncate(4000)
        with pytest.raises(NotAFrame, match="cut short"):
            chunks.read(Box(0, HEIGHT - 8, 8, 8))
