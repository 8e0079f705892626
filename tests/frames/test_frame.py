"""The record of a frame: regions by colour, two sources of settings, boxes turned upright."""

from dataclasses import dataclass, replace
from pathlib import Path
from threading import Thread

import numpy as np
import pytest
from numpy.typing import NDArray

from verify.errors import BoxError
from verify.frames.cells import WANTED_SIDE
from verify.frames.colors import main_color
from verify.frames.frame import Frame, Kept, Region, Settings
from verify.frames.geometry import Box, Size
from verify.frames.overview import Reduced

BAYER = np.array([[0, 1], [1, 2]], np.uint8)


def region(signal: NDArray[np.float64], classes: NDArray[np.uint8] | None = None) -> Region:
    """A region whose photosites above 0.5 are clipped and below 0.1 floored."""
    grey = classes is None and signal.ndim == 2
    colors = ("grey",) if grey else ("red", "green", "blue")
    levels = (1.0,) * len(colors)
    return Region(signal, colors, classes, signal > 0.5, signal < 0.1, levels, levels, levels)


def test_values_of_a_mosaic_are_those_of_its_photosites() -> None:
    signal = np.array([[0.05, 0.2, 0.3, 0.6], [0.7, 0.8, 0.09, 0.4]])
    found = region(signal, np.tile(BAYER, (1, 2)))
    assert found.values("red", "signal").tolist() == [0.05, 0.3]
    assert found.values("green", "signal").tolist() == [0.2, 0.6, 0.7, 0.09]
    assert found.values("blue", "signal").tolist() == [0.8, 0.4]
    assert found.values("green", "clipped").tolist() == [False, True, True, False]
    assert found.values("green", "floored").tolist() == [False, False, False, True]
    assert found.values("cyan", "signal").size == 0


def test_values_of_planes_and_of_grey() -> None:
    planes = np.arange(12.0).reshape(2, 2, 3)
    assert region(planes).values("blue", "signal").tolist() == [2, 5, 8, 11]
    assert region(planes[..., 0]).values("grey", "signal").tolist() == [0, 3, 6, 9]
    assert region(planes[..., 0]).values("green", "clipped").size == 0


@pytest.mark.parametrize(
    ("colors", "main"),
    [
        (("red", "green", "blue"), "green"),
        (("green", "magenta", "cyan", "yellow"), "green"),
        (("cyan", "magenta", "yellow"), "yellow"),
        (("grey",), "grey"),
        (("red", "blue", "white"), "white"),
        (("red", "blue"), "red"),
    ],
)
def test_the_colour_that_stands_for_the_exposure(colors: tuple[str, ...], main: str) -> None:
    assert main_color(colors) == main


def test_a_second_source_fills_in_what_the_first_does_not_know() -> None:
    first = Settings(make="Tarnwick", iso=100, orientation=6)
    second = Settings(make="other", f_number=8, iso=200, orientation=3)
    assert first.or_else(second) == replace(first, f_number=8)
    assert Settings().or_else(first) == replace(first, orientation=1)


@dataclass
class Numbered:
    """A source of 4 rows and 6 columns, each photosite with a number; counts its reads."""

    reads: int = 0
    closed: bool = False

    @property
    def size(self) -> Size:
        return Size(6, 4)

    def read(self, box: Box) -> Region:
        self.reads += 1
        whole = np.arange(24.0).reshape(4, 6)
        part = (slice(box.row, box.row + box.height), slice(box.col, box.col + box.width))
        return region(whole[part], np.tile(BAYER, (2, 3))[part])

    def scene_mean(self) -> float | None:
        return 0.25

    def reduced(self, wanted: int = WANTED_SIDE) -> Reduced:
        self.reads += 1
        return Reduced(np.arange(24, dtype=np.float32).reshape(4, 6, 1), ("grey",), 1)

    def close(self) -> None:
        self.closed = True


def frame(orientation: int = 1) -> Frame:
    return Frame(Path("a.dng"), Settings(orientation=orientation), Numbered(), "dng")


def test_a_box_is_turned_with_its_colours() -> None:
    """Turned by 90 degrees (6): the first row is the first column from below."""
    turned = frame(6)
    assert turned.size == Size(4, 6)
    found = turned.signal(Box(0, 0, 4, 2))
    assert found.signal.tolist() == [[18, 12, 6, 0], [19, 13, 7, 1]]
    assert found.classes is not None
    assert found.classes.tolist() == [[1, 0, 1, 0], [2, 1, 2, 1]]
    assert found.clipped.shape == found.floored.shape == (2, 4)


def test_an_overview_is_turned_as_boxes_are() -> None:
    for orientation in range(1, 9):
        turned = frame(orientation)
        size = turned.size
        overview = turned.overview()
        whole = turned.signal(Box(0, 0, size.width, size.height))
        assert overview.signal[..., 0].tolist() == whole.signal.tolist()
        assert (overview.corner, overview.cell) == ((0, 0), 1)


@pytest.mark.parametrize(
    "box", [Box(3, 0, 4, 1), Box(0, 3, 1, 2), Box(-1, 0, 1, 1), Box(0, 0, 0, 1)]
)
def test_a_box_outside_is_refused_with_the_size(box: Box) -> None:
    with pytest.raises(BoxError, match="6 x 4 pixels") as caught:
        frame().signal(box)
    assert "\n" not in str(caught.value)


def test_leaving_a_frame_closes_its_file() -> None:
    source = Numbered()
    with Frame(Path("a.dng"), Settings(), source, "dng") as opened:
        assert opened.scene_mean() == 0.25
    assert source.closed


def test_a_kept_source_reads_each_box_once_for_all_threads() -> None:
    source = Numbered()
    kept = Kept(source)
    boxes = [Box(0, 0, 2, 2), Box(1, 1, 3, 2)]
    threads = [Thread(target=kept.read, args=(boxes[n % 2],)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert source.reads == 2
    assert kept.size == Size(6, 4)
    assert kept.read(boxes[0]).signal.tolist() == [[0, 1], [6, 7]]
    assert kept.scene_mean() == 0.25
    assert kept.reduced().signal.shape == (4, 6, 1)
    kept.close()
    assert source.closed
