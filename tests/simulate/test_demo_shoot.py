"""The demo shoot: complete, repeatable, and true."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import rawpy

from verify.errors import PlanError
from verify.simulate.demo import write_demo


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Write the demo shoot once."""
    return write_demo(tmp_path_factory.mktemp("demo") / "shoot")


def test_demo_is_small_complete_and_the_same_every_time(demo: list[Path], tmp_path: Path) -> None:
    again = write_demo(tmp_path)
    assert [path.name for path in demo] == [path.name for path in again]
    assert [path.read_bytes() for path in demo] == [path.read_bytes() for path in again]
    folder = demo[0].parent
    assert sorted(demo) == sorted(path for path in folder.rglob("*") if path.is_file())
    frames = [path for path in demo if path.suffix == ".dng" and path.parent == folder]
    assert len(frames) == 13
    assert max(path.stat().st_size for path in frames) < 400_000
    for path in frames[:-1]:
        with rawpy.imread(str(path)) as raw:
            assert (raw.sizes.width, raw.sizes.height) == (480, 320)
    with pytest.raises(rawpy.LibRawError), rawpy.imread(str(frames[-1])) as raw:
        assert raw.raw_image is not None


def test_demo_truth_is_what_the_frames_hold(demo: list[Path]) -> None:
    truth = json.loads((demo[0].parent / "truth.json").read_text("utf-8"))
    assert truth["format"] == "greyproof.truth/1"
    # check-values 2.5 is the signal at the metered setting; f/13 is 2^(22/6) for f/11 + 0.3.
    assert truth["expected_signal"] == pytest.approx(0.11937 * 2 ** (7.3 - 22 / 3), rel=1e-4)
    box = slice(129, 177), slice(203, 257)  # inside the card
    for frame in truth["frames"]:
        if not frame["readable"] or frame["clipped"]:
            continue
        with rawpy.imread(str(demo[0].parent / frame["file"])) as raw:
            visible = raw.raw_image_visible[box].astype(float)
            classes = raw.raw_colors_visible[box]
            signal = [
                (visible[classes == index] - black).mean() / (raw.white_level - black)
                for index, black in enumerate(raw.black_level_per_channel)
                if raw.color_desc.decode()[index] == "G"
            ]
        measured = math.log2(np.mean(signal) / truth["expected_signal"])
        noise = 0.06 if frame["pops"] == 0 else 0.004  # three standard deviations of the mean
        assert measured == pytest.approx(frame["error_stops"], abs=noise), frame["what"]
        together = frame["settings_stops"] + frame["rest_stops"]
        assert together == pytest.approx(frame["error_stops"], abs=2e-6)
    # The first frame: 0.02 stop of light, -0.18 of the body, and glare of 0.4 % of a scene that is
    # at most twice as light as the card.
    assert -0.16 < truth["frames"][0]["error_stops"] < -0.16 + math.log2(1.008)
    by_what = {frame["what"]: frame for frame in truth["frames"]}
    assert by_what["camera left at f/11"]["settings_stops"] == pytest.approx(1 / 3, abs=1e-6)
    assert by_what["camera moved to ISO 200"]["settings_stops"] == 1
    assert by_what["pack left at full power: the card clips"]["clipped"]
    assert truth["frames"][-1]["error_stops"] is None


def test_demo_never_writes_over_anything(tmp_path: Path) -> None:
    kept = tmp_path / "mine.txt"
    kept.write_text("mine")
    for folder in (tmp_path, kept, kept / "below"):
        with pytest.raises(PlanError, match="name another") as raised:
            write_demo(folder)
        assert "\n" not in str(raised.value)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
    assert kept.read_text() == "mine"
