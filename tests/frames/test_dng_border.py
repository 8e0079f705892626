"""The masked border of a DNG: held against the tagged black, and how little of it is decoded."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from small_files import (
    ACTIVE_AREA,
    DELTA_V,
    LEVELS,
    LONG,
    MASKED_AREAS,
    SRATIONAL,
    Tag,
    tag,
    write_dng,
)

from verify.frames.frame import Region
from verify.frames.geometry import Box
from verify.frames.open import open_frame


def read(path: Path, box: Box) -> Region:
    with open_frame(path) as frame:
        return frame.signal(box)


def masked_dng(path: Path, level: float, tags: tuple[Tag, ...] = (), **layout: Any) -> Path:
    """Photosites about 2000 behind 24 masked columns about ``level``, black tagged 512."""
    rng = np.random.default_rng(6)
    codes = rng.normal(2000, 40, (160, 24 + 96))
    codes[:, :24] = rng.normal(level, 3, (160, 24))
    area_tag = tag(ACTIVE_AREA, LONG, 0, 24, 160, 120)
    whole = np.rint(codes).astype(np.uint16)
    return write_dng(path, whole, *LEVELS, area_tag, *tags, **layout)


BOXES = [Box(10, 20, 40, 40), Box(0, 0, 96, 160), Box(60, 3, 5, 2), Box(3, 158, 9, 2)]


@pytest.mark.parametrize("box", BOXES)
@pytest.mark.parametrize("layout", [{}, {"rowsperstrip": 8, "compression": "deflate"},
                                    {"tile": (32, 32), "compression": "deflate"}])  # fmt: skip
def test_a_border_off_the_tagged_black_is_a_doubt(
    box: Box, layout: dict[str, Any], tmp_path: Path
) -> None:
    (doubt,) = read(masked_dng(tmp_path / "a.dng", 505, **layout), box).doubts
    assert doubt.warning == "black-unsure"
    assert doubt.signal == pytest.approx(7 / (4095 - 512), rel=0.25)
    assert read(masked_dng(tmp_path / "b.dng", 512, **layout), box).doubts == ()


@pytest.mark.parametrize("listed_first", [False, True])
def test_of_several_masked_areas_a_wide_one_is_taken(listed_first: bool, tmp_path: Path) -> None:
    """A strip of two rows says nothing; one off the picture is no border."""
    areas = [(0, 0, 2, 120), (0, 0, 160, 24), (150, 0, 170, 24)]
    if listed_first:
        areas.reverse()
    listed_areas = tag(MASKED_AREAS, LONG, *(edge for each in areas for edge in each))
    (doubt,) = read(masked_dng(tmp_path / "a.dng", 505, (listed_areas,)), BOXES[0]).doubts
    assert doubt.warning == "black-unsure"


def test_a_narrow_border_says_nothing(tmp_path: Path) -> None:
    """Seven columns of one masked area; the photosites next to it are not all dark."""
    narrow = tag(MASKED_AREAS, LONG, 0, 0, 160, 7)
    assert read(masked_dng(tmp_path / "a.dng", 505, (narrow,)), BOXES[0]).doubts == ()


def test_a_border_of_a_sensor_without_a_mosaic_counts_too(tmp_path: Path) -> None:
    (doubt,) = read(masked_dng(tmp_path / "a.dng", 505, pattern=None), BOXES[0]).doubts
    assert doubt.warning == "black-unsure"


def test_the_black_of_rows_reaches_into_the_border(tmp_path: Path) -> None:
    """A delta for each row is measured on the border itself: the two then agree."""
    deltas = tag(DELTA_V, SRATIONAL, *(n for _ in range(160) for n in (-7, 1)))
    assert read(masked_dng(tmp_path / "a.dng", 505, (deltas,)), BOXES[0]).doubts == ()


def decoded(path: Path, box: Box, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Numbers of the tiles or strips decoded for a box of a file."""
    found: list[int] = []
    with open_frame(path) as frame:
        page = frame.source.chunks.page  # type: ignore[attr-defined]
        decode = page.decode

        def counted(data: bytes, index: int, **extra: Any) -> Any:
            found.append(index)
            return decode(data, index, **extra)

        monkeypatch.setattr(page, "decode", counted)
        frame.signal(box)
    return found


def test_a_box_decodes_its_tiles_and_one_tile_of_border(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Tiles of 32 x 32, four a row, the active area from column 24: the box is in the third and
    fourth row of tiles, and what is seen of the border in two tiles of the first column at most.
    """
    path = masked_dng(tmp_path / "a.dng", 505, tile=(32, 32), compression="deflate")
    own = {9, 10, 13, 14}
    found = decoded(path, Box(20, 80, 40, 30), monkeypatch)
    assert own <= set(found)
    assert len(set(found) - own) <= 2
    assert len(found) == len(set(found))


@pytest.mark.parametrize("rows", [1, 4, 8, 20])
def test_a_box_decodes_its_strips_and_no_others_for_the_border(
    rows: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Strips of 8 rows; eight rows of border are looked at, however low the box is."""
    path = masked_dng(tmp_path / "a.dng", 505, rowsperstrip=8, compression="deflate")
    found = decoded(path, Box(20, 84, 40, rows), monkeypatch)
    assert set(found) == set(range(10, (84 + max(rows, 8) - 1) // 8 + 1))
