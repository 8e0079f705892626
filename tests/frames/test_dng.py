"""DNG files of known codes: their signal by the words of the specification (DNG 1.7.1.0)."""

import struct
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from opcode_lists import area, coded, gain_map, polynomial, vignette
from small_files import (
    ACTIVE_AREA,
    BASELINE,
    BLACK,
    BLACK_REPEAT,
    BYTE,
    DELTA_H,
    DELTA_V,
    FLOAT,
    LINEAR_LIMIT,
    LIST_1,
    LIST_2,
    LIST_3,
    LONG,
    MASKED_AREAS,
    NAMES,
    RATIONAL,
    RGGB,
    SHORT,
    SRATIONAL,
    TABLE,
    UNDEFINED,
    WHITE,
    Codes,
    Tag,
    changed,
    linear,
    random_codes,
    tag,
    write_dng,
)

from verify.errors import FrameError, NotAFrame
from verify.frames.frame import Region
from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.simulate.camera import SIX_BY_SIX
from verify.simulate.ifd import ByteOrder

HEIGHT, WIDTH = 40, 56
WHOLE = Box(0, 0, WIDTH, HEIGHT)
PLAIN = (tag(BLACK, SHORT, 512), tag(WHITE, SHORT, 4095))
EXACT: dict[str, Any] = {"rtol": 0, "atol": 1e-12}


def read(path: Path, box: Box = WHOLE) -> Region:
    with open_frame(path) as frame:
        assert frame.kind == "dng"
        return frame.signal(box)


def listed(*opcodes: bytes) -> bytes:
    return struct.pack(">I", len(opcodes)) + b"".join(opcodes)


def check(path: Path, expected: NDArray[np.float64], box: Box = WHOLE) -> Region:
    region = read(path, box)
    assert np.allclose(region.signal, expected, **EXACT)
    return region


LAYOUTS: dict[str, dict[str, Any]] = {
    "one strip": {},
    "strips": {"rowsperstrip": 7},
    "tiles": {"tile": (16, 32)},
    "deflate": {"compression": "deflate", "predictor": True, "tile": (16, 32)},
    "lossless JPEG": {
        "compression": "jpeg", "compressionargs": {"lossless": True}, "bitspersample": 12,
        "tile": (16, 32),
    },
    "12 bit packed": {"bitspersample": 12, "rowsperstrip": 7},
    "big-endian": {"order": ">", "tile": (16, 32)},
    "BigTIFF": {"big": True, "rowsperstrip": 7},
    "in a SubIFD": {"preview": np.full((90, 120, 3), 99, np.uint8), "tile": (16, 32)},
    "grey preview larger than the raw": {"preview": np.full((200, 300), 9, np.uint8)},
    "in a SubIFD, big-endian BigTIFF": {
        "preview": np.full((90, 120, 3), 99, np.uint8), "order": ">", "big": True,
    },
}  # fmt: skip


@pytest.mark.parametrize("name", LAYOUTS)
def test_signal_of_every_layout(name: str, tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    path = write_dng(tmp_path / "a.dng", codes, *PLAIN, **LAYOUTS[name])
    region = check(path, linear(codes, 512, 4095))
    assert region.colors == ("red", "green", "blue")
    assert region.classes is not None
    assert np.array_equal(region.classes, np.tile([[0, 1], [1, 2]], (20, 28)))
    assert region.black == (512,) * 3
    assert region.white == (4095,) * 3
    assert region.clips_at == (1,) * 3
    assert region.steps == ("black", "scale to white")
    assert region.doubts == ()


Drawn = tuple[Path, NDArray[np.float64]]


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Drawn:
    """A tiled file with everything that depends on the place, and its whole signal."""
    codes = random_codes(HEIGHT + 3, WIDTH + 5)
    delta_h, delta_v = np.arange(WIDTH) * 3 - 40, 25 - np.arange(HEIGHT)
    points = np.random.default_rng(8).uniform(1, 2, (3, 4, 1))
    gains = gain_map(points, (0.5, 1 / 3), where=area((1, HEIGHT), (0, WIDTH), (0, 1), (2, 2)))
    path = write_dng(
        tmp_path_factory.mktemp("drawn") / "a.dng",
        codes,
        tag(BLACK_REPEAT, SHORT, 2, 2),
        tag(BLACK, SHORT, 500, 510, 520, 530),
        tag(WHITE, SHORT, 4095),
        tag(DELTA_H, SRATIONAL, *(n for d in delta_h for n in (int(d), 4))),
        tag(DELTA_V, SRATIONAL, *(n for d in delta_v for n in (int(d), 2))),
        tag(ACTIVE_AREA, LONG, 3, 5, HEIGHT + 3, WIDTH + 5),
        tag(LIST_2, UNDEFINED, listed(gains)),
        tag(LIST_3, UNDEFINED, listed(vignette((0.3, 0.1, 0, 0, 0.05), 0.4, 0.6))),
        tile=(16, 16),
        compression="deflate",
    )
    return path, read(path).signal


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_box_is_the_region_of_the_whole(drawn: Drawn, data: st.DataObject) -> None:
    path, whole = drawn
    top, left = data.draw(st.integers(0, HEIGHT - 1)), data.draw(st.integers(0, WIDTH - 1))
    rows, cols = (data.draw(st.integers(1, n)) for n in (HEIGHT - top, WIDTH - left))
    region = read(path, Box(left, top, cols, rows))
    assert np.allclose(region.signal, whole[top : top + rows, left : left + cols], **EXACT)
    assert region.classes is not None
    assert region.classes[0, 0] == RGGB[top % 2][left % 2]


def test_black_is_a_pattern_with_rows_and_columns_added(tmp_path: Path) -> None:
    """BlackLevel in 256ths, repeated 3 x 2 while the mosaic repeats 2 x 2; deltas in fractions.

    42 x 60 photosites hold whole repeats of all, so that the means of a colour are theirs.
    """
    blacks = [[500.5, 510.25], [520.0, 530.75], [540.0, 509.5]]
    rows, cols = 42, 60
    across, down = np.arange(cols) % 5 - 2.5, np.arange(rows) % 7 * 0.25
    codes = random_codes(rows, cols)
    path = write_dng(
        tmp_path / "a.dng",
        codes,
        tag(BLACK_REPEAT, SHORT, 3, 2),
        tag(BLACK, RATIONAL, *(n for row in blacks for b in row for n in (int(b * 256), 256))),
        tag(WHITE, LONG, 4095),
        tag(DELTA_H, SRATIONAL, *(n for d in across for n in (int(d * 2), 2))),
        tag(DELTA_V, SRATIONAL, *(n for d in down for n in (int(d * 4), 4))),
    )

    def black(row: int, col: int) -> float:
        return float(blacks[row % 3][col % 2] + across[col] + down[row])

    region = check(path, linear(codes, black, 4095), Box(0, 0, cols, rows))
    at = np.array([[black(r, c) for c in range(cols)] for r in range(rows)])
    assert region.colors == ("red", "green", "blue")
    greens = np.concatenate([at[::2, 1::2].ravel(), at[1::2, ::2].ravel()])
    assert region.black == pytest.approx(
        (at[::2, ::2].mean(), greens.mean(), at[1::2, 1::2].mean())
    )


@pytest.mark.parametrize("values", [(512.5,), (500.25, 512.5, 525.0)])
@pytest.mark.parametrize("whites", [(4095,), (3000, 4095, 3500)])
def test_linear_planes_have_a_black_and_a_white_each(
    values: tuple[float, ...], whites: tuple[int, ...], tmp_path: Path
) -> None:
    codes = random_codes(HEIGHT, WIDTH, 3, high=2900)
    path = write_dng(
        tmp_path / "a.dng",
        codes,
        tag(BLACK, RATIONAL, *(n for b in values for n in (int(b * 4), 4))),
        tag(WHITE, SHORT, *whites),
        pattern=None,
    )
    black, white = np.resize(values, 3), np.resize(whites, 3)
    planes = [linear(codes[..., p], float(black[p]), float(white[p])) for p in range(3)]
    region = check(path, np.stack(planes, axis=-1))
    assert region.colors == ("red", "green", "blue")
    assert region.classes is None
    assert region.black == pytest.approx(tuple(black))
    assert region.white == pytest.approx(tuple(white))
    assert region.values("green", "signal") == pytest.approx(planes[1].ravel())


def test_planes_stored_one_after_another(tmp_path: Path) -> None:
    codes = random_codes(3, HEIGHT, WIDTH)
    path = write_dng(
        tmp_path / "a.dng", codes, *PLAIN, pattern=None, planarconfig="separate",
        tile=(16, 16), compression="deflate",
    )  # fmt: skip
    check(path, np.stack([linear(plane, 512, 4095) for plane in codes], axis=-1))


@pytest.mark.parametrize("dtype", ["float16", "float32", "float64"])
@pytest.mark.parametrize("order", ["<", ">"])
def test_floating_point_samples_are_signal_with_white_at_1(
    dtype: str, order: ByteOrder, tmp_path: Path
) -> None:
    """NaN stays NaN and is not clipped; nothing is at the floor of a type without one."""
    codes = np.random.default_rng(3).uniform(-0.1, 1.1, (HEIGHT, WIDTH)).astype(dtype)
    codes[4, 6], codes[5, 7] = np.nan, np.inf
    path = write_dng(
        tmp_path / "a.dng", codes, order=order, compression="deflate", predictor=True, tile=(16, 32)
    )
    region = read(path)
    assert np.array_equal(region.signal, codes.astype(float), equal_nan=True)
    assert np.array_equal(region.clipped, codes >= 1)
    assert not region.floored.any()
    with open_frame(path) as frame:
        mean = frame.scene_mean()
    assert mean == pytest.approx(float(codes[np.isfinite(codes)].astype(float).mean()), rel=1e-3)


def test_a_linearization_table_holds_its_last_value_for_higher_codes(tmp_path: Path) -> None:
    """DNG 1.7.1.0, chapter 5: codes beyond the table become its last entry."""
    table = np.rint(np.linspace(16, 60, 300) ** 2).astype(int)
    codes = random_codes(HEIGHT, WIDTH, low=0, high=360)
    path = write_dng(
        tmp_path / "a.dng", codes, tag(TABLE, SHORT, *table.tolist()), tag(BLACK, SHORT, 256),
        tag(WHITE, SHORT, 3600),
    )  # fmt: skip
    mapped = table[np.minimum(codes, 299)]
    region = check(path, linear(mapped, 256, 3600))
    assert region.steps[0] == "linearization table"
    assert np.array_equal(region.clipped, codes >= 299)
    assert np.array_equal(region.floored, codes == 0)


def test_white_left_out_is_the_highest_code(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    path = write_dng(tmp_path / "a.dng", codes, bitspersample=12)
    check(path, linear(codes, 0, 4095))


def test_clipped_is_at_white_and_floored_at_the_lowest_code(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    codes[3, 4], codes[5, 6], codes[7, 8], codes[9, 9] = 4095, 4094, 4200, 0
    region = read(write_dng(tmp_path / "a.dng", codes, *PLAIN))
    assert np.argwhere(region.clipped).tolist() == [[3, 4], [7, 8]]
    assert np.argwhere(region.floored).tolist() == [[9, 9]]
    assert region.signal[9, 9] == pytest.approx(-512 / (4095 - 512))


MOSAICS: dict[str, tuple[tuple[int, ...], ...]] = {
    "BGGR": ((2, 1), (1, 0)),
    "GRBG": ((1, 0), (2, 1)),
    "GBRG": ((1, 2), (0, 1)),
    "CMYG": ((1, 4), (3, 5)),
    "with white": ((0, 1), (6, 2)),
    "6 x 6": tuple(tuple("RGB".index(c) for c in row) for row in SIX_BY_SIX),
    "2 x 4": ((0, 1, 2, 1), (1, 0, 1, 2)),
}


@pytest.mark.parametrize("corner", [(0, 0), (1, 0), (0, 1), (3, 5), (9, 7)])
@pytest.mark.parametrize("name", MOSAICS)
def test_the_mosaic_begins_at_the_corner_of_the_active_area(
    name: str, corner: tuple[int, int], tmp_path: Path
) -> None:
    """DNG 1.7.1.0, CFAPattern: relative to the top-left corner of the ActiveArea."""
    pattern, (top, left) = MOSAICS[name], corner
    codes = random_codes(HEIGHT + top + 2, WIDTH + left + 1)
    area_tag = tag(ACTIVE_AREA, LONG, top, left, top + HEIGHT, left + WIDTH)
    path = write_dng(tmp_path / "a.dng", codes, *PLAIN, area_tag, pattern=pattern, tile=(16, 16))
    with open_frame(path) as frame:
        assert (frame.size.width, frame.size.height) == (WIDTH, HEIGHT)
        for box in (WHOLE, Box(3, 5, 11, 7), Box(7, 0, 1, 1)):
            region = frame.signal(box)
            assert region.classes is not None
            for row in range(box.height):
                for col in range(box.width):
                    r, c = box.row + row, box.col + col
                    code = pattern[r % len(pattern)][c % len(pattern[0])]
                    assert region.colors[region.classes[row, col]] == NAMES[code]
                    expected = (float(codes[top + r, left + c]) - 512) / (4095 - 512)
                    assert region.signal[row, col] == pytest.approx(expected, abs=1e-12)


def test_one_plane_without_a_mosaic_is_grey(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    region = check(
        write_dng(tmp_path / "a.dng", codes, *PLAIN, pattern=None), linear(codes, 512, 4095)
    )
    assert region.colors == ("grey",)
    assert region.classes is None


def test_list_2_acts_after_black_and_list_3_after_it(tmp_path: Path) -> None:
    """On linear planes all of list 3; a map that names one plane leaves the others alone."""
    codes = random_codes(HEIGHT, WIDTH, 3)
    whole = area((0, HEIGHT), (0, WIDTH), (0, 3))
    green = area((0, HEIGHT), (0, WIDTH), (1, 1))
    path = write_dng(
        tmp_path / "a.dng",
        codes,
        *PLAIN,
        tag(LIST_2, UNDEFINED, listed(polynomial(0, 0.5, where=whole))),
        tag(LIST_3, UNDEFINED, listed(polynomial(0.25, 1, where=green))),
        pattern=None,
    )
    expected = np.stack([linear(codes[..., p], 512, 4095) for p in range(3)], axis=-1) / 2
    expected[..., 1] += 0.25
    region = check(path, expected)
    assert region.steps == ("black", "scale to white", "MapPolynomial")
    assert region.clips_at == pytest.approx((0.5, 0.75, 0.5))
    assert region.doubts == ()


EVEN = np.full((1, 1, 1), 1.5)
BY_COLOR = np.array([[[1.5, 1.2, 1.1]]])


@pytest.mark.parametrize(
    ("lists", "gain", "left_out"),
    [
        ({LIST_3: vignette((0.5, 0, 0, 0, 0))}, None, ""),
        ({LIST_3: gain_map(EVEN, (1, 1), where=area((0, 0), (0, 0), (0, 3)))}, 1.5, ""),
        ({LIST_3: gain_map(BY_COLOR, (1, 1), where=area((0, 0), (0, 0), (0, 3)))}, 1, "GainMap"),
        ({LIST_3: gain_map(EVEN, (1, 1), where=area((0, 0), (0, 0), (1, 1)))}, 1, "GainMap"),
        ({LIST_3: polynomial(0, 0.5, where=area(planes=(0, 3)))}, 1, "MapPolynomial"),
        ({LIST_3: coded(0xBE63, b"own")}, 1, "opcode 48739"),
        ({LIST_2: coded(99, b"later")}, 1, "opcode 99"),
        ({LIST_1: polynomial(0, 0.5, where=area(planes=(0, 1)))}, 1, "MapPolynomial"),
        ({LIST_1: coded(4, struct.pack(">2I", 0, 0))}, 1, ""),
        ({LIST_3: coded(1, bytes(68))}, 1, ""),
    ],
)
def test_what_a_mosaic_cannot_have_done_to_it_is_told(
    lists: dict[int, bytes], gain: float | None, left_out: str, tmp_path: Path
) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    tags = [tag(code, UNDEFINED, listed(opcode)) for code, opcode in lists.items()]
    region = read(write_dng(tmp_path / "a.dng", codes, *PLAIN, *tags))
    plain = linear(codes, 512, 4095)
    if gain is not None:
        assert np.allclose(region.signal, gain * plain, rtol=1e-6)
    else:
        assert region.signal[0, 0] == pytest.approx(1.5 * plain[0, 0])
    assert [d.warning for d in region.doubts] == (["opcode-not-applied"] if left_out else [])
    assert all(left_out in d.note for d in region.doubts)


def masked_dng(path: Path, level: float, tags: tuple[Tag, ...] = (), **layout: Any) -> Path:
    """Photosites about 2000 behind 24 masked columns about ``level``, black tagged 512."""
    rng = np.random.default_rng(6)
    codes = rng.normal(2000, 40, (160, 24 + 96))
    codes[:, :24] = rng.normal(level, 3, (160, 24))
    area_tag = tag(ACTIVE_AREA, LONG, 0, 24, 160, 120)
    whole = np.rint(codes).astype(np.uint16)
    return write_dng(path, whole, *PLAIN, area_tag, *tags, **layout)


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


def test_hints_are_reported_and_never_counted(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    hints = (tag(BASELINE, SRATIONAL, -35, 100), tag(LINEAR_LIMIT, RATIONAL, 8, 10))
    path = write_dng(tmp_path / "a.dng", codes, *PLAIN, *hints)
    check(path, linear(codes, 512, 4095))
    with open_frame(path) as frame:
        assert frame.linear_limit == pytest.approx(0.8)
        (note,) = frame.notes
    assert "-0.35 stop" in note


@pytest.mark.parametrize(
    "hints",
    [
        (tag(BASELINE, SRATIONAL, 0, 0), tag(LINEAR_LIMIT, RATIONAL, 0, 0)),
        (tag(BASELINE, SRATIONAL, 5, 0), tag(LINEAR_LIMIT, RATIONAL, 1, 1)),
        (),
    ],
)
def test_hints_that_say_nothing_are_none(hints: tuple[Tag, ...], tmp_path: Path) -> None:
    """Real files hold 0/0."""
    with open_frame(
        write_dng(tmp_path / "a.dng", random_codes(HEIGHT, WIDTH), *PLAIN, *hints)
    ) as frame:
        assert (frame.linear_limit, frame.notes) == (1.0, ())


def test_a_mean_of_the_scene_from_every_layout(tmp_path: Path) -> None:
    """Of noise about one level every sample is as good as the whole."""
    codes = np.rint(np.random.default_rng(7).normal(2000, 40, (1100, 1000))).astype(np.uint16)
    expected = pytest.approx((2000 - 512) / (4095 - 512), rel=1e-3)
    few = {"tile": (64, 64), "compression": "lzw"}
    layouts: list[dict[str, Any]] = [{}, few, {"tile": (512, 512)}]
    for n, layout in enumerate(layouts):
        with open_frame(write_dng(tmp_path / f"{n}.dng", codes, *PLAIN, **layout)) as frame:
            assert frame.scene_mean() == (expected if n < 2 else None)


Break = Callable[[Path], Path]


def dng_with(*tags: Tag, codes: Codes | None = None, **layout: Any) -> Break:
    """Write a DNG with these tags, which are not as they should be."""
    stored = random_codes(HEIGHT, WIDTH) if codes is None else codes
    return lambda path: write_dng(path, stored, *tags, **layout)


REFUSED: dict[str, tuple[Break, str]] = {
    "white below black": (dng_with(tag(BLACK, SHORT, 512), tag(WHITE, SHORT, 400)), "white level"),
    "white at a raised black": (
        dng_with(*PLAIN, tag(DELTA_V, SRATIONAL, *(n for _ in range(HEIGHT) for n in (3600, 1)))),
        "white level",
    ),
    "black that is no number": (dng_with(tag(BLACK, FLOAT, float("nan"))), "white level"),
    "white without end": (dng_with(tag(WHITE, FLOAT, float("inf"))), "white level"),
    "more blacks than there are": (
        dng_with(tag(BLACK_REPEAT, LONG, 2**31, 2**31), tag(BLACK, SHORT, 5, 5)), "2 values",
    ),
    "too few blacks": (dng_with(tag(BLACK_REPEAT, SHORT, 2, 2), tag(BLACK, SHORT, 5, 5, 5)), "3 v"),
    "a white for each colour": (dng_with(tag(WHITE, SHORT, 4000, 4095, 4000)), "WhiteLevel has 3"),
    "too few deltas": (dng_with(*PLAIN, tag(DELTA_H, SRATIONAL, 1, 1, 2, 1)), "2 values for 56"),
    "an area outside": (dng_with(tag(ACTIVE_AREA, LONG, 0, 0, HEIGHT, WIDTH + 1)), "ActiveArea"),
    "an empty area": (dng_with(*PLAIN, tag(ACTIVE_AREA, LONG, 8, 8, 8, 20)), "Active"),
    "an unknown colour": (dng_with(*PLAIN, pattern=((0, 1), (1, 9))), "mosaic"),
    "a mosaic of two samples": (
        dng_with(*PLAIN, codes=random_codes(HEIGHT, WIDTH, 2), planarconfig="contig"), "2 samples",
    ),
    "five planes": (
        dng_with(*PLAIN, codes=random_codes(HEIGHT, WIDTH, 5), pattern=None), "5 planes",
    ),
    "signed samples": (dng_with(codes=random_codes(HEIGHT, WIDTH).astype(np.int16)), "of a kind"),
    "rows in two fields": (dng_with(*PLAIN, tag(50975, SHORT, 2)), "RowInterleaveFactor"),
    "columns in two fields": (dng_with(*PLAIN, tag(52547, LONG, 2)), "ColumnInterleaveFactor"),
    "blocks": (dng_with(*PLAIN, tag(50974, SHORT, 2, 2)), "SubTileBlockSize"),
    "a staggered mosaic": (dng_with(*PLAIN, tag(50711, SHORT, 2)), "CFALayout"),
    "damaged opcodes": (dng_with(*PLAIN, tag(LIST_2, UNDEFINED, b"\0\0\0\1\0")), "opcode"),
    "too wide": (
        lambda path: changed(dng_with(*PLAIN)(path), 256, 200_000, dtype=LONG), "cannot be",
    ),
    "no rows": (lambda path: changed(dng_with(*PLAIN)(path), 257, 0), "cannot be|no raw"),
    "no raw picture": (
        lambda path: changed(dng_with(*PLAIN)(path), 262, 1), "no raw picture",
    ),
    "only previews": (lambda path: write_dng(path, random_codes(9, 9), subfiletype=1), "no raw pi"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_read_right_is_refused_in_one_line(name: str, tmp_path: Path) -> None:
    write, said = REFUSED[name]
    path = write(tmp_path / "a.dng")
    with pytest.raises(NotAFrame, match=said) as caught, open_frame(path, "linear") as frame:
        frame.signal(Box(0, 0, 4, 4))
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 240


def test_blacks_of_zero_denominators_are_0(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    path = write_dng(tmp_path / "a.dng", codes, tag(BLACK, RATIONAL, 7, 0), tag(WHITE, SHORT, 4095))
    check(path, linear(codes, 0, 4095))


def test_one_black_is_for_all_however_it_is_repeated(tmp_path: Path) -> None:
    """A damaged repeat must not ask for the memory of the whole machine."""
    codes = random_codes(HEIGHT, WIDTH)
    repeat = tag(BLACK_REPEAT, LONG, 2**16, 2**16)
    check(write_dng(tmp_path / "a.dng", codes, *PLAIN, repeat), linear(codes, 512, 4095))


def test_an_enhanced_picture_never_stands_in_for_the_raw_one(tmp_path: Path) -> None:
    """DNG 1.7.1.0, NewSubFileType 16: made from the raw picture, and twice its size."""
    codes = random_codes(HEIGHT, WIDTH)
    path = tmp_path / "a.dng"
    version = tag(50706, BYTE, bytes((1, 7, 0, 0)))
    cfa = [version, *PLAIN, tag(33421, SHORT, 2, 2), tag(33422, BYTE, bytes((0, 1, 1, 2)))]
    with tifffile.TiffWriter(path) as file:
        plain: dict[str, Any] = {"metadata": None, "software": False}
        file.write(codes, photometric="cfa", subifds=1, extratags=cfa, **plain)
        larger = random_codes(2 * HEIGHT, 2 * WIDTH, 3)
        file.write(larger, photometric="linear_raw", subfiletype=16, extratags=PLAIN, **plain)
    check(path, linear(codes, 512, 4095))


@pytest.mark.parametrize("seed", range(6))
def test_bytes_changed_anywhere_in_the_directories_never_end_a_run(
    seed: int, tmp_path: Path
) -> None:
    """Whatever they say then, it is measured or refused with one of our errors."""
    rng = np.random.default_rng(seed)
    path = write_dng(
        tmp_path / "a.dng", random_codes(HEIGHT, WIDTH), *PLAIN, tag(TABLE, SHORT, *range(4096)),
        tag(ACTIVE_AREA, LONG, 2, 3, HEIGHT, WIDTH), tile=(16, 16), compression="deflate",
        preview=np.full((20, 30, 3), 99, np.uint8),
    )  # fmt: skip
    whole = path.read_bytes()
    for _ in range(60):
        data = bytearray(whole)
        for at in rng.integers(0, 900, rng.integers(1, 4)):
            data[at] = rng.integers(0, 256)
        path.write_bytes(data)
        with suppress(FrameError), open_frame(path, "linear") as frame:
            frame.signal(Box(0, 0, min(8, frame.size.width), min(8, frame.size.height)))
            frame.scene_mean()
