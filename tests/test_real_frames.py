"""Whole measurements of files that real cameras wrote, against what is published about them.

Boxes, tables and expected figures are those of the README beside the frames.
"""

import csv
import io
import math
import re
import zipfile
from collections import defaultdict
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from verify.exposure import exact_shutter_s
from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.measure import PatchReading, measure
from verify.target.records import Target

# Published luminous reflectances (set of 1976, illuminant C) as stops from the white patch, and
# the box of each patch in the visible area.
CHART = {
    "white 9.5": ((676, 902, 56, 56), 0.9001),
    "neutral 8": ((786, 902, 56, 56), 0.5910),
    "neutral 6.5": ((896, 902, 56, 56), 0.3620),
    "neutral 5": ((1006, 902, 56, 56), 0.1977),
    "neutral 3.5": ((1118, 902, 56, 56), 0.0900),
    "black 2": ((1230, 898, 56, 56), 0.0313),
}
BRACKET_BOXES = {
    "N8": (109, 205, 31, 26),
    "N6.5": (162, 207, 30, 26),
    "N5": (215, 207, 31, 27),
    "N3.5": (267, 208, 33, 27),
}
LEAST_DN = 10.0  # of an 8-bit code: below it the floor at 0 bends the mean


class Step(NamedTuple):
    """Two neighbouring times of a real bracket."""

    measured: float  # stops between the patch means
    stated: float  # stops between the shutter times
    whole: bool  # neither patch is clipped or at the floor


def patch(path: Path, box: tuple[int, int, int, int], transfer: str | None = None) -> PatchReading:
    """Measure a box that was given."""
    with open_frame(path, transfer) as frame:
        place = Box(*box)
        return measure(frame, Target(place, place.corners(), "given"))


@pytest.fixture(scope="module")
def chart(real_frames: Path) -> dict[str, PatchReading]:
    """The six neutral patches of the 24-patch chart."""
    path = real_frames / "raw" / "canon550d_magiclantern_colorchecker.dng"
    return {name: patch(path, box) for name, (box, _) in CHART.items()}


def from_white(chart: dict[str, PatchReading], name: str) -> float:
    """Stops of a patch from the white one."""
    return math.log2(chart[name].signal / chart["white 9.5"].signal)


@pytest.mark.parametrize("name", ["neutral 8", "neutral 6.5", "neutral 5"])
def test_chart_agrees_with_published_reflectances(
    chart: dict[str, PatchReading], name: str
) -> None:
    published = math.log2(CHART[name][1] / CHART["white 9.5"][1])
    assert from_white(chart, name) == pytest.approx(published, abs=0.04)


@pytest.mark.parametrize(("name", "stops"), [("neutral 3.5", -3.20), ("black 2", -4.60)])
def test_darkest_patches_keep_the_tagged_black(
    chart: dict[str, PatchReading], name: str, stops: float
) -> None:
    """They carry flare, so they are lighter than published; the masked border's black would make
    them lighter still, by 0.19 and 0.45 stop.
    """
    assert from_white(chart, name) == pytest.approx(stops, abs=0.01)
    assert "black-unsure" in {d.warning for d in chart[name].doubts}


def test_black_doubt_covers_the_other_black(chart: dict[str, PatchReading]) -> None:
    """The masked border reads 2045 to 2049, the tag 2056: 7 to 11 of the black patch's 48 codes,
    by which that border would move it from -4.60 to between -4.46 and -4.36.
    """
    assert 0.15 < chart["black 2"].u_terms["black"] < 0.35
    assert chart["white 9.5"].u_terms["black"] < 0.02


def test_chart_white_is_under_clipping(chart: dict[str, PatchReading]) -> None:
    white = chart["white 9.5"]
    assert math.log2(white.clips_at / white.signal) == pytest.approx(3.48, abs=0.01)


@pytest.fixture(scope="module")
def bracket(real_frames: Path) -> list[Step]:
    """Every pair of neighbouring times, of every band and patch, darks subtracted."""
    folder = real_frames / "bracket"
    name = re.compile(r"_(\d+)nm_(\d+)ms_")
    frames: dict[int, dict[int, Path]] = defaultdict(dict)
    for path in (folder / "frames").iterdir():
        band, time = map(int, name.search(path.name).groups())  # type: ignore[union-attr]
        frames[band][time] = path
    steps = []
    for times in frames.values():
        for box in BRACKET_BOXES.values():
            series = {t: lit_signal(path, folder / "dark", t, box) for t, path in times.items()}
            for short, long in pairwise(sorted(series)):
                (low, low_whole), (high, high_whole) = series[short], series[long]
                if min(low, high) * 255 > LEAST_DN:
                    stops = math.log2(high / low)
                    steps.append(Step(stops, math.log2(long / short), low_whole and high_whole))
    return steps


def lit_signal(
    path: Path, darks: Path, time: int, box: tuple[int, int, int, int]
) -> tuple[float, bool]:
    """Signal above the dark frames of the same time, and whether nothing of it was cut off."""
    found = [patch(dark, box, "linear").signal for dark in darks.glob(f"*_{time}ms_*.tif")]
    assert found, f"no dark frame of {time} ms"
    reading = patch(path, box, "linear")
    cut = {"clipped", "part-clipped", "at-black"} & {d.warning for d in reading.doubts}
    return reading.signal - sum(found) / len(found), not cut


def test_bracket_follows_the_shutter_times(bracket: list[Step]) -> None:
    off = np.array([s.measured - s.stated for s in bracket if s.whole])
    assert off.size >= 25
    assert abs(off.mean()) < 0.005
    assert off.std() <= 0.015
    assert np.abs(off).max() <= 0.05


def test_every_clipped_patch_of_the_bracket_is_caught(bracket: list[Step]) -> None:
    """Pairs that are far off must all have been caught, and there are such pairs."""
    off = np.array([s.measured - s.stated for s in bracket if not s.whole])
    assert off.min() < -0.3
    assert all(abs(s.measured - s.stated) <= 0.05 for s in bracket if s.whole)


@pytest.mark.parametrize(
    ("name", "box", "mean"),
    [
        ("0000SET_000_IMG_0000_1.tif", (674, 482, 114, 114), 45517),
        ("0000SET_000_IMG_0000_2.tif", (639, 492, 114, 114), 47039),
    ],
)
def test_panel_is_one_plane_with_its_own_black(
    real_frames: Path, name: str, box: tuple[int, int, int, int], mean: float
) -> None:
    """PhotometricInterpretation says one plane; a decoder that sees a mosaic would halve it."""
    reading = patch(real_frames / "panel" / name, box)
    assert reading.signal == pytest.approx((mean - 4800) / (65535 - 4800), abs=1e-4)
    assert (reading.red, reading.green, reading.blue) == (None, None, None)


class Crop(NamedTuple):
    """One crop of the shutter series."""

    time_s: float  # marked
    aperture: float
    green: float  # mean code


def shutter_series(path: Path) -> list[Crop]:
    """Green photosites of the 64 x 64 crops, FITS big-endian 16 bit after one header block."""
    with zipfile.ZipFile(path) as archive:
        table = next(n for n in archive.namelist() if n.endswith(".csv"))
        rows = csv.DictReader(io.TextIOWrapper(archive.open(table)))
        crops = []
        for row in rows:
            data = archive.read(row["crop.file.name"])
            codes: NDArray[np.int16] = np.frombuffer(data, ">i2", 64 * 64, 2880).reshape(64, 64)
            green = (codes[::2, ::2].mean() + codes[1::2, 1::2].mean()) / 2
            top, _, bottom = row["shutter.speed"].partition("/")
            time = float(top) / float(bottom or 1)
            crops.append(Crop(time, float(row["aperture"]), float(green)))
    return crops


def test_marked_times_stand_for_exact_ones(real_frames: Path) -> None:
    """At f/5.6 the steps of a marked third are true thirds within the slow drift of the light;
    taking the marked times as they are is up to 0.09 stop off.
    """
    crops = shutter_series(real_frames / "shutter" / "samples.zip")
    levels: dict[float, list[float]] = defaultdict(list)
    for crop in crops:
        if crop.aperture == 5.6:
            levels[crop.time_s].append(math.log2(crop.green))
    exact, marked = [], []
    for long, short in pairwise(sorted(levels, reverse=True)):
        if not 0.2 < math.log2(long / short) < 0.45:
            continue
        step = float(np.mean(levels[long]) - np.mean(levels[short]))
        exact.append(step - math.log2(exact_shutter_s(long) / exact_shutter_s(short)))
        marked.append(step - math.log2(long / short))
    assert len(exact) >= 10
    assert np.abs(exact).max() < 0.045
    assert np.abs(marked).max() > 0.07
    assert np.std(exact) < np.std(marked)


def test_noise_agrees_with_the_noise_profile(real_frames: Path) -> None:
    """A black frame: green photosites scatter as much as its NoiseProfile tag predicts (sd 6.65
    DN predicted, 7.6 measured), and the card is called dark.
    """
    reading = patch(real_frames / "raw" / "pixel7_darkframe_510x382.dng", (100, 120, 180, 240))
    photosites = 180 * 240 / 2
    sd_dn = reading.noise * math.sqrt(photosites) * (16368 - 1024)
    assert 6.65 < sd_dn < 8.5
    assert reading.bound == "at-most"
