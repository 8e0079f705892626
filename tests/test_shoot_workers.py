"""The main path with frames measured in watched processes: the same shoot, and one that goes on."""

import os
import time
from dataclasses import replace
from pathlib import Path

import psutil
import pytest
from readings import plan_of
from small_shoots import GELLED, METER_ONLY, NO_CARD, PLAN, SET, TWO_CARDS, Make, warned, writer

from verify.checking import Checked
from verify.frames.frame import Settings
from verify.place import Looked, Place
from verify.plan.file import read_plan
from verify.plan.records import Plan
from verify.report.as_json import as_json
from verify.shoot import Options, Shoot, check_shoot, limits
from verify.simulate.demo import write_demo
from verify.simulate.pictures.photograph import photograph_sequence, plan_tables, write_photograph

POSIX = pytest.mark.skipif(os.name == "nt", reason="Windows has no such signal")
PATIENCE_S = 60  # for a process to do what it is about to do anyway


@pytest.fixture
def make(tmp_path: Path) -> Make:
    """What writes frames of the card."""
    return writer(tmp_path)


def same(plan: Plan, files: list[Path], options: Options, jobs: int = 2) -> Shoot:
    """Assert that a shoot is the same in this process and in workers, to the last digit."""
    here: list[Checked] = []
    shoot = check_shoot(plan, files, options, done=here.append)
    there: list[Checked] = []
    other = check_shoot(plan, files, replace(options, jobs=jobs), done=there.append)
    assert other == shoot
    assert there == here
    assert as_json(other) == as_json(shoot)
    return shoot


@pytest.mark.parametrize("place", ["find", Place((0.42, 0.40, 0.12, 0.16), True)])
def test_the_demo_shoot_is_the_same_in_workers(tmp_path: Path, place: Place | Looked) -> None:
    folder = tmp_path / "demo"
    written = write_demo(folder)
    files = [path for path in written if path.suffix == ".dng" and path.parent == folder]
    plan = read_plan(tmp_path / "demo" / "plan.toml")
    options = Options(place, reference=files[3])
    shoot = same(plan, [*files, tmp_path / "gone.dng"], options)
    verdicts = [check.verdict for check in shoot.checks]
    assert verdicts[-3:] == ["clipped", "unreadable", "unreadable"]
    assert len(shoot.checks) == 14
    assert {check.difference_stops for check in shoot.checks if check.file == files[3]} == {0}


def test_a_sequence_in_which_the_card_is_looked_for_is_the_same_in_workers(
    tmp_path: Path,
) -> None:
    """The camera was nudged, the card put elsewhere, taken away and brought back."""
    shots = photograph_sequence(1, 2, (0, 0, 1, None, 1), (600, 400))
    files = [
        write_photograph(tmp_path / f"s_{number:04d}.dng", shot)
        for number, shot in enumerate(shots)
    ]
    shoot = same(read_plan(None, plan_tables(shots[0].iso)), files, Options())
    assert [check.patch is None for check in shoot.checks] == [False, False, False, True, False]
    assert shoot.checks[3].verdict == "no-card"
    for check, shot in zip(shoot.checks, shots, strict=True):
        if check.patch is not None:
            (card,) = shot.cards
            assert check.error_stops == pytest.approx(card.error_stops, abs=0.03)


def test_where_the_card_was_is_handed_on_in_the_order_of_the_files(
    make: Make, tmp_path: Path
) -> None:
    """However many workers there are: of two cards it is the one that the frame before had."""
    moved = replace(SET, card_box=(0.05, 0.55, 0.2, 0.3))
    scenes = [TWO_CARDS, SET, TWO_CARDS, NO_CARD, TWO_CARDS, moved, TWO_CARDS, TWO_CARDS]
    files = [make(f"a_{number:04d}.dng", scene=scene) for number, scene in enumerate(scenes)]
    shoot = same(plan_of(tmp_path, METER_ONLY), files, Options(), jobs=3)
    doubtful = [True, *[False] * 7]
    assert warned(shoot, "several-cards") == doubtful
    assert [check.verdict == "card-doubtful" for check in shoot.checks] == doubtful
    assert [check.verdict for check in shoot.checks].count("no-card") == 1
    left = [check.patch and check.patch.target.corners[0][0] < 60 for check in shoot.checks[1:]]
    assert left == [False, False, None, False, True, True, True]


def test_no_card_and_coloured_light_in_workers(make: Make, tmp_path: Path) -> None:
    files = [make("a.dng", scene=NO_CARD), make("b.dng", scene=SET, seen_by=GELLED)]
    shoot = same(plan_of(tmp_path, METER_ONLY), files, Options())
    assert [check.verdict for check in shoot.checks] == ["no-card"] * 2
    (found,) = shoot.summaries
    assert (found.count, found.unusable, found.mean_error_stops) == (2, 0, None)


def holder_of(file: Path) -> psutil.Process:
    """The process under this one that has a file open."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        for process in psutil.Process().children(recursive=True):
            try:
                if any(Path(one.path) == file for one in process.open_files()):
                    return process
            except psutil.Error:  # it has ended meanwhile
                continue
        time.sleep(0.005)
    raise AssertionError(f"nobody has opened {file}")


@POSIX
@pytest.mark.parametrize("jobs", [1, 2])
def test_a_worker_killed_in_mid_frame_twice_costs_two_frames_of_forty(
    make: Make, tmp_path: Path, jobs: int
) -> None:
    """While a frame is handed over the next one is in its worker's hands, and there it stays: it
    cannot be done before it is told where the card was."""
    one, folder = make("one.dng", scene=SET).resolve(), tmp_path.resolve() / "shoot"
    folder.mkdir()
    files = [folder / f"a_{number:04d}.dng" for number in range(40)]
    for file in files:
        os.link(one, file)
    killed: list[int] = []

    def kill_the_next(checked: Checked) -> None:
        at = files.index(checked.check.file)
        if at in (9, 24):
            worker = holder_of(files[at + 1])
            killed.append(worker.pid)
            worker.kill()
            worker.wait(PATIENCE_S)

    shoot = check_shoot(
        plan_of(tmp_path, METER_ONLY), files, Options(jobs=jobs), done=kill_the_next
    )
    assert len(set(killed)) == 2
    lost = [check for check in shoot.checks if check.patch is None]
    assert [check.file for check in lost] == [files[10], files[25]]
    for check in lost:
        assert check.problem == "its decoder died (signal 9)"
        assert check.verdict == "unreadable"
        assert check.settings == Settings()  # what killed a worker is not read here
    measured = [check for check in shoot.checks if check.patch is not None]
    assert [check.file for check in measured] == [
        f for f in files if f not in (files[10], files[25])
    ]
    assert {check.verdict for check in measured} == {"within"}
    assert len({check.error_stops for check in measured}) == 1
    (found,) = shoot.summaries
    assert (found.count, found.within, found.unusable) == (40, 38, 2)
    assert not shoot.stopped
    assert left_running() == []


def left_running() -> list[psutil.Process]:
    """Workers under this process: what was forked from the process that forks them."""
    return [
        process
        for child in psutil.Process().children()
        for process in child.children(recursive=True)
        if process.status() != psutil.STATUS_ZOMBIE
    ]


@pytest.mark.parametrize("jobs", [0, 1, 3])
def test_a_stop_by_hand_keeps_what_was_measured_and_leaves_nobody(
    make: Make, tmp_path: Path, jobs: int
) -> None:
    files = [make(f"a_{number:04d}.dng") for number in range(12)]
    plan = plan_of(tmp_path, PLAN)

    def stop(checked: Checked) -> None:
        if checked.check.file == files[4]:
            raise KeyboardInterrupt

    shoot = check_shoot(plan, files, Options(jobs=jobs), 2, stop)
    assert shoot.stopped
    assert [check.file for check in shoot.checks] == files[:5]
    assert shoot.checks == check_shoot(plan, files[:5], Options()).checks
    assert shoot.notes == ("stopped by hand after 5 of 12 frames",)
    assert (shoot.skipped, shoot.summaries[0].count) == (2, 5)
    assert left_running() == []


def test_a_stop_within_the_first_frame(
    make: Make, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("verify.checking.measure", stop)
    shoot = check_shoot(plan_of(tmp_path, PLAN), [make("a.dng"), make("b.dng")], Options())
    assert (shoot.stopped, shoot.checks, shoot.summaries) == (True, (), ())
    assert shoot.notes == ("stopped by hand after 0 of 2 frames",)


def test_what_a_file_may_take_grows_with_it(tmp_path: Path) -> None:
    """More than any sound file needs: a raw of 100 MB decodes in seconds, to some hundred MB."""
    small, large = tmp_path / "small.dng", tmp_path / "large.dng"
    small.touch()
    with large.open("wb") as file:
        file.truncate(100_000_000)
    least, most = limits(small), limits(large)
    gone = limits(tmp_path / "gone.dng")
    assert (gone.seconds, gone.bytes) == pytest.approx((least.seconds, least.bytes), rel=1e-6)
    assert least.seconds < 10  # the longest hang that a run is to have
    assert least.bytes >= 1_000_000_000
    assert most.seconds == pytest.approx(least.seconds + 50, abs=0.01)
    assert most.bytes == pytest.approx(least.bytes + 1.2e9, rel=1e-6)
