"""Cuts found in simulated walls against what is true of them."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from memory_frames import frame_of
from shot_walls import UNEVEN, Taken

from verify.exposure import exact_shutter_s
from verify.rows.cut import NO_WALL, alone
from verify.rows.records import MOST, Cut
from verify.rows.study import judged, wall_frame
from verify.simulate.wall import CutFlash, Thing, WallTruth

PAIR_STOPS = (
    0.05  # of a loss up to 2 stops between two frames: noise, and what the slower one loses
)
PLACE_SHARE = 0.01  # of the place of an edge: two or three bins of the 160 that a frame has
SLOW = 1 / 30


def losses(cut: Cut) -> np.ndarray:
    assert cut.loss_stops is not None
    loss = cut.loss_stops
    return np.array([loss.first[0], loss.middle[0], loss.last[0]])


def pair(faster: Taken, **slower: Any) -> tuple[Cut, Cut, WallTruth]:
    """A frame and one at 1/30 s held against each other."""
    frame, truth = faster.read()
    values: dict[str, Any] = {
        "wall": faster.wall,
        "flash": faster.flash,
        "orientation": faster.orientation,
    }
    other, _ = Taken(SLOW, seed=99, **{**values, **slower}).read()
    first, second = judged([frame, other])
    return first, second, truth


@pytest.mark.parametrize(
    ("shutter_s", "tenth", "wanted"),
    [
        (1 / 250, 250, [1.192, 0.391, 0.152]),
        (1 / 250, 500, [0.548, 0.084, 0.015]),
        (1 / 250, 1000, [0.152, 0.005, 0.0]),
        (1 / 200, 250, [0.548, 0.207, 0.084]),
        (1 / 200, 500, [0.152, 0.026, 0.005]),
        (1 / 160, 250, [0.241, 0.097, 0.040]),
    ],
)
@pytest.mark.parametrize("wall", [{}, UNEVEN])
def test_two_frames_tell_a_gradient(
    shutter_s: float, tenth: float, wanted: list[float], wall: dict[str, float]
) -> None:
    """Check-values 3.7: travel 3 ms, plain seconds, so the true time is not the marked one's."""
    flash = {"t_tenth_s": 1 / tenth}
    cut, slower, truth = pair(Taken(shutter_s, wall, flash, true_shutter_s=shutter_s))
    assert truth.losses == pytest.approx(wanted, abs=6e-4)
    assert (cut.verdict, cut.kind, cut.edge) == ("cut", "gradient", "top")
    assert losses(cut) == pytest.approx(wanted, abs=PAIR_STOPS)
    assert slower.verdict != "cut"


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
@pytest.mark.parametrize("covered_first", ["top", "bottom"])
def test_the_edge_is_that_of_the_upright_picture(orientation: int, covered_first: str) -> None:
    flash = {"t_tenth_s": 1 / 4000, "covered_first": covered_first}
    frame, truth = Taken(1 / 500, UNEVEN, flash, orientation).read()
    cut = alone(frame)
    assert (cut.verdict, cut.kind, cut.edge) == ("cut", "edge", truth.edge)
    assert cut.blocked_share == pytest.approx(truth.blocked, abs=PLACE_SHARE)


@pytest.mark.parametrize("orientation", [3, 6])
def test_a_gradient_of_a_turned_camera(orientation: int) -> None:
    cut, _, truth = pair(Taken(1 / 250, UNEVEN, {"t_tenth_s": 1 / 250}, orientation))
    assert (cut.kind, cut.edge) == ("gradient", truth.edge)
    assert losses(cut) == pytest.approx(truth.losses, abs=PAIR_STOPS)


@pytest.mark.parametrize(
    ("travel_s", "shutter", "blocked"),
    [(0.004, 320, 0.2188), (0.004, 400, 0.375), (0.004, 500, 0.5), (0.004, 1000, 0.75),
     (0.003333, 320, 0.0625), (0.003333, 400, 0.25), (0.003333, 500, 0.40),
     (0.0025, 500, 0.2), (0.0025, 1000, 0.6)],
)  # fmt: skip
def test_a_short_flash_makes_an_edge_where_the_curtain_stood(
    travel_s: float, shutter: int, blocked: float
) -> None:
    """Check-values 3.7, plain seconds; an ideal short flash: t.1 of 20 us."""
    flash = {"t_tenth_s": 2e-5, "travel_s": travel_s}
    frame, truth = Taken(1 / shutter, UNEVEN, flash, true_shutter_s=1 / shutter).read()
    cut = alone(frame)
    assert truth.blocked == pytest.approx(blocked, abs=2e-4)
    assert cut.kind == "edge"
    assert cut.blocked_share == pytest.approx(blocked, abs=PLACE_SHARE)
    assert losses(cut)[0] == MOST
    assert losses(cut)[2] == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize("kind", ["decaying", "cut"])
@pytest.mark.parametrize("travel_s", [0.0026, 0.0033, 0.004])
def test_the_travel_follows_from_an_edge(kind: str, travel_s: float) -> None:
    """Check-values 3.7: blocked = 1 - t / travel, t the exact value of the marked time."""
    shutter_s = 1 / 500 if travel_s < 0.003 else 1 / 400
    flash = {"t_tenth_s": 1 / 1000, "travel_s": travel_s, "kind": kind}
    frame, truth = Taken(shutter_s, UNEVEN, flash).read()
    assert truth.blocked == pytest.approx(1 - exact_shutter_s(shutter_s) / travel_s)
    cut = alone(frame)
    assert cut.travel_s is not None
    assert cut.travel_u_s is not None
    assert abs(cut.travel_s - travel_s) < 2 * cut.travel_u_s
    assert cut.travel_u_s < 0.05 * travel_s


def test_a_late_trigger_makes_the_travel_look_longer() -> None:
    flash = {"t_tenth_s": 1 / 4000, "delay_s": 0.0005}
    cut = alone(Taken(1 / 400, {}, flash).read()[0])
    assert cut.travel_s is not None
    assert cut.travel_s > 0.0035


def half_sine(flash: CutFlash, open_s: np.ndarray) -> np.ndarray:
    """Share of a half sine that is out; t.1 = 0.93623 of its base (check-values 3.3)."""
    way = np.clip(open_s / (flash.t_tenth_s / 0.93623), 0, 1)
    return np.asarray((1 - np.cos(np.pi * way)) / 2)


@pytest.mark.parametrize(("shutter_s", "tenth"), [(1 / 250, 300), (1 / 320, 800), (1 / 200, 200)])
def test_a_pulse_that_is_none_of_the_curves(
    shutter_s: float, tenth: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Found at the right edge, and no farther off than what it says of itself."""
    monkeypatch.setattr(CutFlash, "share", half_sine)
    cut, _, truth = pair(Taken(shutter_s, UNEVEN, {"t_tenth_s": 1 / tenth}, orientation=8))
    assert (cut.verdict, cut.edge) == ("cut", truth.edge)
    assert cut.loss_stops is not None
    for (found, u), wanted in zip(
        (cut.loss_stops.first, cut.loss_stops.middle, cut.loss_stops.last),
        truth.losses,
        strict=True,
    ):
        if u is None:
            assert wanted > MOST - 1
        else:
            assert found == pytest.approx(wanted, abs=3 * u + 0.02)


def test_one_frame_alone_cannot_tell_a_gradient() -> None:
    cut = alone(Taken(1 / 250, {}, {"t_tenth_s": 1 / 250}).read()[0])
    assert (cut.verdict, cut.kind, cut.edge, cut.loss_stops) == ("unsure", None, None, None)


def test_one_even_frame_shows_none_and_says_what_could_hide() -> None:
    cut = alone(Taken(SLOW).read()[0])
    assert cut.verdict == "none"
    assert cut.excluded_stops is not None
    assert cut.excluded_stops > 0.5  # a smooth loss can pass for falloff in one frame


def test_two_frames_exclude_much_less() -> None:
    cut, slower, _ = pair(Taken(1 / 160, UNEVEN, {"t_tenth_s": 1 / 2000}))
    assert (cut.verdict, slower.verdict) == ("none", "none")
    assert cut.excluded_stops is not None
    assert cut.excluded_stops < 0.15


def test_another_iso_and_aperture_in_the_slower_frame() -> None:
    """The lens falls off less stopped down; the levels differ by a stop and a third."""
    faster = Taken(1 / 250, {"lens_stops": 0.6, "signal": 0.5}, {"t_tenth_s": 1 / 250})
    cut, _, truth = pair(
        faster, wall={"lens_stops": 0.45, "signal": 0.5 * 2 ** (-4 / 3)}, iso=80.0, f_number=16.0
    )
    assert (cut.kind, cut.edge) == ("gradient", "top")
    assert losses(cut) == pytest.approx(truth.losses, abs=0.12)


def draws() -> Iterator[tuple[Taken, Taken]]:
    """Walls with falloff up to a stop, things on them, noise and a room; nothing is cut."""
    rng = np.random.default_rng(20260512)
    for _ in range(50):
        things = tuple(
            Thing((*rng.uniform(0, 0.8, 2), *rng.uniform(0.03, 0.18, 2)), rng.uniform(0.1, 1.5))
            for _ in range(rng.integers(0, 3))
        )
        wall = {
            "lamp_stops": rng.uniform(0, 1),
            "lamp_deg": rng.uniform(0, 360),
            "lens_stops": rng.uniform(0, 1),
            "signal": rng.choice([0.05, 0.2, 0.5]),
            "things": things,
        }
        flash = {"t_tenth_s": 1 / 2000, "ambient_per_s": rng.choice([0, 2])}
        turn = int(rng.choice([1, 3, 6, 8]))
        first = Taken(
            1 / 160, wall, flash, turn, int(rng.integers(10**9)), rng.normal(0, 0.03), iso=800.0
        )
        yield (
            first,
            replace(first, shutter_s=1 / 40, seed=first.seed + 1, pop_stops=rng.normal(0, 0.03)),
        )


def test_walls_without_a_cut_are_not_called_cut() -> None:
    """Fewer than 2 % of draws, alone or as a pair; few are refused for the things on them."""
    single: Counter[str] = Counter()
    double: Counter[str] = Counter()
    for faster, slower in draws():
        frames = [faster.read()[0], slower.read()[0]]
        single[alone(frames[0]).verdict] += 1
        double.update(cut.verdict for cut in judged(frames))
    assert single["cut"] == 0
    assert double == {"none": 100}
    assert single["unmeasured"] <= 2
    assert single["none"] >= 10


def test_the_uncertainty_of_a_loss_is_honest() -> None:
    """At the first row, over pops, noise and times: nine in ten within two u."""
    rng = np.random.default_rng(5)
    off = []
    for n in range(16):
        t, tenth = rng.choice([1 / 250, 1 / 200]), rng.uniform(250, 700)
        pops = rng.normal(0, 0.03, 2)
        faster = Taken(t, UNEVEN, {"t_tenth_s": 1 / tenth}, seed=n, pop_stops=pops[0])
        cut, _, truth = pair(faster, pop_stops=pops[1])
        if cut.verdict == "cut" and cut.loss_stops is not None:
            first, u = cut.loss_stops.first
            assert u is not None
            off.append((first - truth.losses[0]) / u)
    assert len(off) > 10
    assert np.mean(np.abs(off) < 2) >= 0.9


@pytest.mark.parametrize(
    "scene",
    [
        "horizon",
        "slanted",
        "waves",
    ],
)
def test_a_scene_is_no_wall(scene: str) -> None:
    x, y = np.meshgrid(np.arange(480) / 480, np.arange(320) / 320)
    paint = {
        "horizon": 0.3 + 0.1 * np.sin(9 * x + 7 * y) + 0.2 * (y > 0.4 + 0.2 * np.sin(5 * x)),
        "slanted": 0.3 - 0.25 * (y < 0.3 + 0.2 * x),
        "waves": 0.3 + 0.15 * np.sin(40 * y),
    }[scene]
    cut = alone(wall_frame(frame_of(paint)))
    assert (cut.verdict, cut.problem) == ("unmeasured", NO_WALL)
