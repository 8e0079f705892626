"""Tags of a DNG that say how its codes are to be read: what they mean, and where they cannot."""

import struct
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
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
    HEIGHT,
    LEVELS,
    LINEAR_LIMIT,
    LIST_1,
    LIST_2,
    LIST_3,
    LONG,
    RATIONAL,
    SHORT,
    SRATIONAL,
    TABLE,
    UNDEFINED,
    WHITE,
    WIDTH,
    Codes,
    Tag,
    changed,
    check,
    linear,
    opcode_list,
    random_codes,
    read,
    tag,
    write_dng,
)

from verify.errors import FrameError, NotAFrame
from verify.frames.geometry import Box
from verify.frames.open import open_frame

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
    tags = [tag(code, UNDEFINED, opcode_list(opcode)) for code, opcode in lists.items()]
    region = read(write_dng(tmp_path / "a.dng", codes, *LEVELS, *tags))
    plain = linear(codes, 512, 4095)
    if gain is not None:
        assert np.allclose(region.signal, gain * plain, rtol=1e-6)
    else:
        assert region.signal[0, 0] == pytest.approx(1.5 * plain[0, 0])
    assert [d.warning for d in region.doubts] == (["opcode-not-applied"] if left_out else [])
    assert all(left_out in d.note for d in region.doubts)


def test_hints_are_reported_and_never_counted(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    hints = (tag(BASELINE, SRATIONAL, -35, 100), tag(LINEAR_LIMIT, RATIONAL, 8, 10))
    path = write_dng(tmp_path / "a.dng", codes, *LEVELS, *hints)
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
        write_dng(tmp_path / "a.dng", random_codes(HEIGHT, WIDTH), *LEVELS, *hints)
    ) as frame:
        assert (frame.linear_limit, frame.notes) == (1.0, ())


Break = Callable[[Path], Path]


def dng_with(*tags: Tag, codes: Codes | None = None, **layout: Any) -> Break:
    """Write a DNG with these tags, which are not as they should be."""
    stored = random_codes(HEIGHT, WIDTH) if codes is None else codes
    return lambda path: write_dng(path, stored, *tags, **layout)


REFUSED: dict[str, tuple[Break, str]] = {
    "white below black": (dng_with(tag(BLACK, SHORT, 512), tag(WHITE, SHORT, 400)), "white level"),
    "white at a raised black": (
        dng_with(*LEVELS, tag(DELTA_V, SRATIONAL, *(n for _ in range(HEIGHT) for n in (3600, 1)))),
        "white level",
    ),
    "black that is no number": (dng_with(tag(BLACK, FLOAT, float("nan"))), "BlackLevel .* no fin"),
    "white without end": (dng_with(tag(WHITE, FLOAT, float("inf"))), "WhiteLevel .* no fin"),
    "black over zero": (dng_with(tag(BLACK, RATIONAL, 7, 0)), "BlackLevel .* no finite number"),
    "more blacks than there are": (
        dng_with(tag(BLACK_REPEAT, LONG, 2**31, 2**31), tag(BLACK, SHORT, 5, 5)), "2 values",
    ),
    "too few blacks": (dng_with(tag(BLACK_REPEAT, SHORT, 2, 2), tag(BLACK, SHORT, 5, 5, 5)), "3 v"),
    "a white for each colour": (dng_with(tag(WHITE, SHORT, 4000, 4095, 4000)), "WhiteLevel has 3"),
    "too few deltas": (dng_with(*LEVELS, tag(DELTA_H, SRATIONAL, 1, 1, 2, 1)), "2 values for 56"),
    "an area outside": (dng_with(tag(ACTIVE_AREA, LONG, 0, 0, HEIGHT, WIDTH + 1)), "ActiveArea"),
    "an empty area": (dng_with(*LEVELS, tag(ACTIVE_AREA, LONG, 8, 8, 8, 20)), "Active"),
    "an unknown colour": (dng_with(*LEVELS, pattern=((0, 1), (1, 9))), "mosaic"),
    "a mosaic of two samples": (
        dng_with(*LEVELS, codes=random_codes(HEIGHT, WIDTH, 2), planarconfig="contig"), "2 samples",
    ),
    "five planes": (
        dng_with(*LEVELS, codes=random_codes(HEIGHT, WIDTH, 5), pattern=None), "5 planes",
    ),
    "signed samples": (dng_with(codes=random_codes(HEIGHT, WIDTH).astype(np.int16)), "of a kind"),
    "rows in two fields": (dng_with(*LEVELS, tag(50975, SHORT, 2)), "RowInterleaveFactor"),
    "columns in two fields": (dng_with(*LEVELS, tag(52547, LONG, 2)), "ColumnInterleaveFactor"),
    "blocks": (dng_with(*LEVELS, tag(50974, SHORT, 2, 2)), "SubTileBlockSize"),
    "a staggered mosaic": (dng_with(*LEVELS, tag(50711, SHORT, 2)), "CFALayout"),
    "damaged opcodes": (dng_with(*LEVELS, tag(LIST_2, UNDEFINED, b"\0\0\0\1\0")), "opcode"),
    "too wide": (
        lambda path: changed(dng_with(*LEVELS)(path), 256, 200_000, dtype=LONG), "cannot be",
    ),
    "no rows": (lambda path: changed(dng_with(*LEVELS)(path), 257, 0), "cannot be|no raw"),
    "no raw picture": (
        lambda path: changed(dng_with(*LEVELS)(path), 262, 1), "no raw picture",
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


def test_a_black_of_0_over_0_is_not_stated(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    path = write_dng(tmp_path / "a.dng", codes, tag(BLACK, RATIONAL, 0, 0), tag(WHITE, SHORT, 4095))
    check(path, linear(codes, 0, 4095))


def test_one_black_is_for_all_however_it_is_repeated(tmp_path: Path) -> None:
    """A damaged repeat must not ask for the memory of the whole machine."""
    codes = random_codes(HEIGHT, WIDTH)
    repeat = tag(BLACK_REPEAT, LONG, 2**16, 2**16)
    check(write_dng(tmp_path / "a.dng", codes, *LEVELS, repeat), linear(codes, 512, 4095))


def test_an_enhanced_picture_never_stands_in_for_the_raw_one(tmp_path: Path) -> None:
    """DNG 1.7.1.0, NewSubFileType 16: made from the raw picture, and twice its size."""
    codes = random_codes(HEIGHT, WIDTH)
    path = tmp_path / "a.dng"
    version = tag(50706, BYTE, bytes((1, 7, 0, 0)))
    cfa = [version, *LEVELS, tag(33421, SHORT, 2, 2), tag(33422, BYTE, bytes((0, 1, 1, 2)))]
    with tifffile.TiffWriter(path) as file:
        plain: dict[str, Any] = {"metadata": None, "software": False}
        file.write(codes, photometric="cfa", subifds=1, extratags=cfa, **plain)
        larger = random_codes(2 * HEIGHT, 2 * WIDTH, 3)
        file.write(larger, photometric="linear_raw", subfiletype=16, extratags=LEVELS, **plain)
    check(path, linear(codes, 512, 4095))


@pytest.mark.parametrize("seed", range(6))
def test_bytes_changed_anywhere_in_the_directories_never_end_a_run(
    seed: int, tmp_path: Path
) -> None:
    """Whatever they say then, it is measured or refused with one of our errors."""
    rng = np.random.default_rng(seed)
    path = write_dng(
        tmp_path / "a.dng", random_codes(HEIGHT, WIDTH), *LEVELS, tag(TABLE, SHORT, *range(4096)),
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
