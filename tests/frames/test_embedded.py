"""Embedded pictures: taken for the overview only where they show what the sensor saw, in place."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from verify.frames import dng
from verify.frames.close_up import close_up
from verify.frames.embedded import parts_of, trusted
from verify.frames.geometry import Box, Size
from verify.frames.open import open_frame
from verify.simulate.dng import write_dng
from verify.simulate.pictures.photograph import photograph

SIZE = Size(1500, 1000)  # of the sensor's picture
SHOWN = (500, 333)  # of the embedded one: columns, rows
WHOLE = Box(0, 0, SIZE.width, SIZE.height)


@pytest.fixture(scope="module")
def signal() -> NDArray[np.float32]:
    """Something with shape everywhere, 0.01 to 0.8."""
    rng = np.random.default_rng(5)
    rough = rng.standard_normal((SIZE.height // 20, SIZE.width // 20)).astype(np.float32)
    even = cv2.resize(rough, (SIZE.width, SIZE.height), interpolation=cv2.INTER_CUBIC)
    return np.asarray(0.01 + 0.79 / (1 + np.exp(-1.5 * even)), np.float32)


def rendered(signal: NDArray[np.float32], gamma: float = 2.2) -> NDArray[np.uint8]:
    """A rendering with a tone curve of its own, a little warm."""
    small = cv2.resize(signal, SHOWN, interpolation=cv2.INTER_AREA)
    rgb = np.clip(small[..., None] * (1.2, 1.0, 0.8), 0, 1) ** (1 / gamma)
    return np.asarray(np.rint(255 * (0.15 * rgb + 0.85 * rgb**1.3)), np.uint8)


def overview_of(picture: NDArray[np.uint8], signal: NDArray[np.float32]) -> object:
    return trusted(
        np.ascontiguousarray(picture),
        [WHOLE],
        parts_of(SIZE, (16, SIZE.width)),
        lambda box: signal[box.row : box.row + box.height, box.col : box.col + box.width],
    )


def test_a_faithful_one_gives_the_sensor_s_signal(signal: NDArray[np.float32]) -> None:
    found = trusted(
        rendered(signal),
        [WHOLE],
        parts_of(SIZE, (16, SIZE.width)),
        lambda box: signal[box.row : box.row + box.height, box.col : box.col + box.width],
    )
    assert found is not None
    assert found.made_from == "embedded"
    assert found.cell == 3
    assert found.corner == (0, 0)
    expected = cv2.resize(signal, SHOWN, interpolation=cv2.INTER_AREA)
    off = np.abs(np.log2(found.signal[..., 1] / expected))
    assert np.median(off) < 0.05  # stop
    red = np.log2(found.signal[..., 0] / found.signal[..., 1])
    assert np.median(red) > 0.15  # what is warm in it stays so


@pytest.mark.parametrize(
    ("what", "change"),
    [
        ("mirrored", lambda p: p[:, ::-1]),
        ("upside down", lambda p: p[::-1, ::-1]),
        ("cut and enlarged", lambda p: cv2.resize(p[17:316, 25:475], SHOWN)),
        ("moved by eight pixels", lambda p: np.roll(p, 8, axis=1)),
        ("another shape", lambda p: p[:, 60:440]),
        ("padded", lambda p: np.pad(p, ((21, 21), (0, 0), (0, 0)))),
        ("in black and white", lambda p: np.repeat(p.mean(-1, keepdims=True), 3, -1).astype("u1")),
        ("another picture", lambda p: np.random.default_rng(1).permutation(p)),
        ("empty", lambda p: np.full_like(p, (40, 30, 20))),
    ],
)  # fmt: skip
def test_one_that_shows_something_else(
    what: str, change: object, signal: NDArray[np.float32]
) -> None:
    assert callable(change)
    assert overview_of(change(rendered(signal)), signal) is None, what


def test_a_picture_without_shape_proves_nothing() -> None:
    even = np.full((SIZE.height, SIZE.width), 0.2, np.float32)
    assert overview_of(rendered(even), even) is None


def test_parts_lie_inside_and_apart() -> None:
    for size, chunk in ((SIZE, (16, 1500)), (SIZE, (256, 256)), (Size(300, 200), (512, 512))):
        parts = parts_of(size, chunk)
        assert all(part.inside(size) for part in parts)
        assert len({(p.col, p.row) for p in parts}) > 1 or chunk[0] > size.height


@pytest.mark.parametrize("number", [4, 13])  # with a faithful picture, found by trying
def test_in_a_file(number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The overview comes from it, and agrees with the sensor's own."""
    monkeypatch.setattr(dng, "EMBEDDED_FROM", 1)
    shot = photograph("card", 31, number, size=(1500, 1000))
    layout = {**shot.layout, "compression": "deflate", "rows_per_strip": 16}
    layout.pop("tile", None)
    path = tmp_path / "striped.dng"
    write_dng(path, shot.mosaic, shot.camera, shot.settings, **layout)
    with open_frame(path) as frame:
        shown = frame.overview()
        own = frame.overview(700)  # another size is never taken from the embedded picture
        assert (shown.made_from, own.made_from) == ("embedded", "sensor")
        middle = np.mean(shot.cards[0].corners, axis=0)
        levels = [
            np.log2(o.signal[row, col, o.colors.index("green")])
            for o in (shown, own)
            for col, row in [o.to_cells(middle).astype(int).tolist()]
        ]
        assert levels[0] == pytest.approx(levels[1], abs=0.15)  # stop
        box = Box(int(middle[0]) - 40, int(middle[1]) - 30, 80, 60)
        near = close_up(frame, box)
        assert near.corner == (box.col, box.row)
        level = np.log2(np.median(near.signal[..., near.colors.index("green")]))
        assert level == pytest.approx(levels[1], abs=0.05)
