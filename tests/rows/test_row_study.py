"""Frames of a wall together: who is held against whom, the room's light, files that fail."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shot_walls import CAMERA, UNEVEN, Taken

from verify.exposure import exact_shutter_s
from verify.frames.geometry import Box
from verify.rows import study
from verify.rows.cut import NOT_ALIKE
from verify.rows.records import Cut
from verify.rows.study import cuts_of, judged
from verify.simulate.camera import CameraModel, Settings
from verify.simulate.dng import write_dng
from verify.simulate.wall import CutFlash, Thing, Wall, WallTruth, shoot_wall

LONG: dict[str, Any] = {"t_tenth_s": 1 / 250}  # its tail is cut at 1/250 and, a little, at 1/160
POPS = (0.02, -0.03, 0.01, 0.0)


def series(*per_second: int, **values: Any) -> tuple[list[Cut], list[WallTruth]]:
    """Frames at several shutter times, judged."""
    taken = [
        Taken(1 / n, seed=n, pop_stops=pop, **{"wall": UNEVEN, "flash": LONG, **values}).read()
        for n, pop in zip(per_second, POPS, strict=False)
    ]
    return judged([frame for frame, _ in taken]), [truth for _, truth in taken]


def first(cut: Cut) -> float:
    assert cut.loss_stops is not None
    return cut.loss_stops.first[0]


def test_the_slowest_is_what_the_others_are_held_against() -> None:
    cuts, truths = series(320, 250, 160, 30)
    assert [cut.verdict for cut in cuts] == ["cut", "cut", "cut", "none"]
    assert [cut.reference for cut in cuts] == [Path("wall_30.dng")] * 3 + [None]
    for cut, truth in zip(cuts[1:3], truths[1:3], strict=True):
        assert first(cut) == pytest.approx(truth.losses[0], abs=0.05)
    assert [cut.shutter_s for cut in cuts] == [exact_shutter_s(1 / n) for n in (320, 250, 160, 30)]


def test_a_slower_frame_that_may_lose_itself_says_so() -> None:
    (faster, slower), truths = series(320, 160)
    assert faster.verdict == "cut"
    assert first(faster) < truths[0].losses[0] - 0.1  # what the slower one loses is missing
    assert study.REFERENCE_LOSES in faster.notes
    assert (slower.verdict, slower.reference) == ("unsure", None)
    assert study.REFERENCE_DOUBT in slower.notes


def test_a_frame_much_slower_than_one_that_keeps_its_last_rows_is_whole() -> None:
    """Its first row is open for longer than the last row of the faster one."""
    (faster, slower), _ = series(250, 60, flash={"t_tenth_s": 1 / 600})
    assert (faster.verdict, slower.verdict) == ("cut", "none")
    assert study.REFERENCE_LOSES not in faster.notes


@pytest.mark.parametrize("per_s", [10.0, 40.0])
def test_three_frames_tell_the_light_of_the_room(per_s: float) -> None:
    flash = {**LONG, "ambient_per_s": per_s}
    cuts, truths = series(320, 250, 125, 30, flash=flash)
    for cut, truth in zip(cuts[:2], truths[:2], strict=True):
        assert any(note.startswith("the room adds") for note in cut.notes)
        assert first(cut) == pytest.approx(truth.losses[0], abs=0.08 * max(1, truth.losses[0]))


def test_two_frames_cannot_and_say_so() -> None:
    flash = {**LONG, "ambient_per_s": 20.0}
    (faster, _), truths = series(250, 30, flash=flash)
    assert study.ROOM_UNKNOWN in faster.notes
    assert 0.1 < truths[0].losses[0] - first(faster) < 0.3


def test_an_edge_that_every_frame_shows_is_the_wall_s() -> None:
    """A dark skirting along the bottom is no cut where a slower frame shows it too."""
    wall = {"things": (Thing((0, 0.85, 1, 0.15), 0.1),)}
    taken = [Taken(1 / n, wall, {"t_tenth_s": 1 / 2000}, seed=n) for n in (160, 40)]
    frames = [one.read()[0] for one in taken]
    assert [cut.verdict for cut in judged(frames[:1])] == ["cut"]  # alone it looks like one
    assert [cut.verdict for cut in judged(frames)] == ["none", "none"]


def test_frames_at_one_shutter_time_are_judged_alone() -> None:
    cuts, _ = series(250, 250)
    assert [cut.verdict for cut in cuts] == ["unsure", "unsure"]
    assert all(study.SAME_TIME in cut.notes for cut in cuts)


def test_a_frame_without_a_shutter_time_is_judged_alone() -> None:
    taken = [Taken(1 / n, {}, LONG, seed=n).read()[0] for n in (250, 30)]
    without = replace(taken[0], shutter_s=None)
    cuts = judged([without, taken[1]])
    assert study.NO_TIME in cuts[0].notes
    assert cuts[0].travel_s is None


def test_a_camera_that_was_moved_is_judged_alone() -> None:
    moved = {"things": tuple(Thing((0, y, 1, 0.08), 0.6) for y in np.arange(0, 1, 0.16))}
    a, b = Taken(1 / 250, {}, LONG).read()[0], Taken(1 / 30, moved, LONG).read()[0]
    cut = judged([a, b])[0]
    assert (cut.verdict, cut.reference) == ("unsure", None)
    assert NOT_ALIKE in cut.notes


def write(path: Path, per_second: int, camera: CameraModel = CAMERA, **flash: Any) -> WallTruth:
    settings = Settings(shutter_s=1 / per_second)
    rng = np.random.default_rng(per_second)
    shot = shoot_wall(Wall(), CutFlash(**flash), camera, settings, rng)
    write_dng(path, shot.mosaic, camera, settings)
    return shot.truth


def test_files_in_order_a_bad_one_gets_its_line(tmp_path: Path) -> None:
    paths = [tmp_path / name for name in ("fast.dng", "gone.dng", "text.dng", "slow.dng")]
    truth = write(paths[0], 250, **LONG)
    paths[2].write_text("no picture", encoding="utf-8")
    write(paths[3], 30, **LONG)
    found = cuts_of(paths)
    assert [cut.file for cut in found.cuts] == paths
    assert [cut.verdict for cut in found.cuts][:3] == ["cut", "unmeasured", "unmeasured"]
    assert [cut.problem for cut in found.cuts[1:3]] == [
        "there is no such file",
        "it is text, not a picture",
    ]
    assert found.any_cut
    assert first(found.cuts[0]) == pytest.approx(truth.losses[0], abs=0.05)


def test_frames_of_other_bodies_are_not_held_against_each_other(tmp_path: Path) -> None:
    paths = [tmp_path / "fast.dng", tmp_path / "slow.dng"]
    write(paths[0], 250, **LONG)
    write(paths[1], 30, replace(CAMERA, serial="0048"), **LONG)
    cuts = cuts_of(paths).cuts
    assert [cut.reference for cut in cuts] == [None, None]
    assert cuts[0].verdict == "unsure"


def test_a_card_that_covers_a_part(tmp_path: Path) -> None:
    """Its first, middle and last rows are those of the part; the edge is where it stands."""
    paths = [tmp_path / "fast.dng", tmp_path / "slow.dng"]
    truth = write(paths[0], 400, t_tenth_s=1 / 4000, travel_s=0.004)
    write(paths[1], 30)
    cuts = cuts_of(paths, lambda _: Box(100, 60, 200, 200)).cuts
    assert (cuts[0].verdict, cuts[0].kind) == ("cut", "edge")
    assert cuts[0].blocked_share == pytest.approx(truth.blocked, abs=0.01)
    assert study.BOX_ONLY in cuts[0].notes


def test_no_frames_no_cuts() -> None:
    assert cuts_of([]).cuts == ()


@pytest.mark.parametrize(
    "name",
    [
        "raw/canon550d_magiclantern_colorchecker.dng",
        "raw/RAW_CANON_G1.CRW",
        "raw/RAW_NIKON_D1.NEF",
        "raw/pixel7_darkframe_510x382.dng",
        "panel/0000SET_000_IMG_0000_1.tif",
        "refused/gopro_hero6.GPR",
    ],
)
def test_real_frames_that_are_no_walls_are_refused(real_frames: Path, name: str) -> None:
    (cut,) = cuts_of([real_frames / name]).cuts
    assert cut.verdict == "unmeasured"
    assert cut.problem
