"""A stored image decoded whole, on several threads: the codes that boxes of it have."""

import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from small_files import Codes, random_codes
from test_chunks import HEIGHT, LAYOUTS, ONE_PLANE, WIDTH, boxes, cut_out, opened, written

from verify.errors import NotAFrame
from verify.frames.chunks import Chunks
from verify.frames.geometry import Box

WHOLE = Box(0, 0, WIDTH, HEIGHT)


def check_whole(path: Path, codes: Codes) -> None:
    """Assert that boxes are the same from the file and from the image kept whole."""
    codes = codes.reshape(HEIGHT, WIDTH, -1)
    with opened(path) as chunks:
        before = [chunks.read(box) for box in boxes(8)]
        chunks.keep_whole()
        assert np.array_equal(chunks.read(WHOLE), codes)
        for box, own in zip(boxes(8), before, strict=True):
            found = chunks.read(box)
            assert np.array_equal(found, cut_out(codes, box))
            assert np.array_equal(found, own)
            assert found.dtype == own.dtype


@pytest.mark.parametrize("planes", ["grey", "pixel by pixel", "plane by plane"])
@pytest.mark.parametrize("name", LAYOUTS)
def test_kept_whole_it_is_what_was_written(name: str, planes: str, tmp_path: Path) -> None:
    layout = dict(LAYOUTS[name])
    codes = random_codes(HEIGHT, WIDTH, *([] if planes == "grey" else [3]), high=65536)
    stored = codes
    if planes == "plane by plane":
        layout |= {"planarconfig": "separate", "photometric": "rgb"}
        stored = np.moveaxis(codes, 2, 0)
    check_whole(written(tmp_path / "a.tif", stored, layout), codes)


@pytest.mark.parametrize("name", ONE_PLANE)
def test_packed_and_jpeg_samples_kept_whole(name: str, tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH, low=0, high=1 << ONE_PLANE[name]["bits"])
    check_whole(written(tmp_path / "a.tif", codes, ONE_PLANE[name]), codes)


def test_every_part_is_decoded_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    path = written(tmp_path / "a.tif", codes, {"compression": "deflate", "tile": (16, 32)})
    decoded: Counter[int] = Counter()
    decode = Chunks._decoded

    def counted(self: Chunks, index: int) -> Codes:
        decoded[index] += 1
        return decode(self, index)

    monkeypatch.setattr(Chunks, "_decoded", counted)
    with opened(path) as chunks:
        chunks.keep_whole()
        assert decoded == Counter(range(5 * 4))  # 75 rows in tiles of 16, 109 columns in 32
        chunks.keep_whole()
        for box in boxes(8):
            chunks.read(box)
    assert decoded == Counter(range(5 * 4))


@pytest.mark.parametrize(
    "layout",
    [
        {"compression": "deflate", "tile": (16, 16)},
        {"compression": "lzw", "rowsperstrip": 1},
        {"bits": 12, "compression": "jpeg", "tile": (16, 16)},
        {"rowsperstrip": 3},
        {"bits": 14, "rowsperstrip": 3},
    ],
    ids=str,
)
def test_several_threads_at_once(layout: dict[str, object], tmp_path: Path) -> None:
    """All of them ask for the whole at the same moment, and read boxes from it."""
    codes = random_codes(HEIGHT, WIDTH, low=0, high=4096)
    path = written(tmp_path / "a.tif", codes, layout)
    many = 8
    for _ in range(5):
        with opened(path) as chunks, ThreadPoolExecutor(many) as pool:
            together = threading.Barrier(many)

            def wrong(
                seed: int, chunks: Chunks = chunks, together: threading.Barrier = together
            ) -> list[Box]:
                together.wait()
                chunks.keep_whole()
                return [
                    box
                    for box in boxes(6, seed)
                    if not np.array_equal(chunks.read(box)[..., 0], cut_out(codes, box))
                ]

            assert list(pool.map(wrong, range(many))) == [[]] * many


@pytest.mark.parametrize("compression", ["deflate", "lzw", "jpeg"])
def test_damaged_data_are_refused_in_one_line_and_leave_no_thread(
    compression: str, tmp_path: Path
) -> None:
    layout = {"compression": compression, "tile": (16, 32), "bits": 12}
    if compression != "jpeg":
        del layout["bits"]
    path = written(tmp_path / "a.tif", random_codes(HEIGHT, WIDTH), layout)
    with opened(path) as chunks:
        start, count = chunks.page.dataoffsets[7], chunks.page.databytecounts[7]
    data = bytearray(path.read_bytes())
    data[start : start + count] = b"\xff" * count
    path.write_bytes(data)
    threads = set(threading.enumerate())
    with opened(path) as chunks:
        with pytest.raises(NotAFrame, match=r"^part 8 of the picture cannot be decoded") as refused:
            chunks.keep_whole()
        assert "\n" not in str(refused.value)
        assert set(threading.enumerate()) <= threads
        # What is whole of it can still be read.
        assert chunks.read(Box(0, 0, 32, 16)).shape == (16, 32, 1)


def test_a_file_that_shrinks_is_refused(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    for number, layout in enumerate(({}, {"compression": "deflate", "rowsperstrip": 7})):
        path = written(tmp_path / f"{number}.tif", codes, layout)
        with opened(path) as chunks:
            with path.open("r+b") as file:
                file.truncate(chunks.page.dataoffsets[-1] + 4)
            with pytest.raises(NotAFrame, match="cut short inside its picture"):
                chunks.keep_whole()
