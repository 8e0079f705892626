"""Series of frames with a known cause of what moves their light; no picture is made or measured.

What is judged gets light, settings, times, tiles and places. The truth stays here: which causes,
which frames, how large. Laws are written out from the physics, without the project's own code.
"""

import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from verify.diagnose.records import CardPlace, Seen

Floats = NDArray[np.float64]
Rng = np.random.Generator

TOLERANCE = 0.1  # stop
FRAMES, SCATTER = (20, 200), (0.02, 0.05)  # in a shoot; stop from frame to frame
LEAST = 1.5 * TOLERANCE
LEAST_SINGLE = 6.0  # times the scatter, of what single frames lose
LEAST_SEEN = 3.0  # times the scatter of a shoot with "scatter", of a step or a drift in it
MOST = 1.0  # stop
ROWS, COLS = 8, 12
TILE_NOISE, COLOR_NOISE, PLACE_NOISE = 0.015, 0.006, 0.001  # stop; stop; of the picture
CURTAIN_S = 1 / 250

SINGLES = (
    "settings", "card-moved", "first-pop", "recycle", "drift", "step", "lamp-missing", "blocked",
    "pop-missing", "no-flash", "scatter", "colour", "shutter-cut", "ambient", "flicker", "lens",
    "iso-not-in-signal",
)  # fmt: skip
PAIRS = (
    ("step", "drift"), ("step", "lamp-missing"), ("drift", "lamp-missing"), ("recycle", "step"),
    ("recycle", "lamp-missing"), ("scatter", "lamp-missing"), ("scatter", "step"),
    ("recycle", "drift"), ("first-pop", "drift"), ("first-pop", "lamp-missing"),
    ("no-flash", "step"), ("no-flash", "recycle"), ("blocked", "drift"),
    ("blocked", "lamp-missing"),
    ("card-moved", "drift"), ("card-moved", "lamp-missing"), ("settings", "step"),
    ("settings", "lamp-missing"), ("colour", "drift"), ("colour", "lamp-missing"),
    ("shutter-cut", "step"), ("ambient", "step"), ("ambient", "lamp-missing"), ("lens", "drift"),
    ("flicker", "step"), ("iso-not-in-signal", "drift"), ("pop-missing", "drift"),
    ("pop-missing", "step"), ("scatter", "drift"), ("colour", "step"),
)  # fmt: skip


@dataclass(slots=True, eq=False)
class Truth:
    """What is true of a shoot."""

    causes: tuple[str, ...]
    scatter: float  # from frame to frame, of all causes that are random [stop]
    lost: set[int] = field(default_factory=set)  # frames with a missing lamp or pop
    step_at: int | None = None
    shortest_gap_s: float | None = None
    largest_loss: float = 0.0  # by recharge [stop]


@dataclass(slots=True, eq=False)
class Course:
    """A shoot while its causes are put in."""

    rng: Rng
    count: int
    truth: Truth
    gap_s: Floats
    card: Floats  # (frames,) of the card alone [stop]
    light: Floats  # (frames,) of the set [stop]
    tiles: Floats  # (frames, rows, cols) beside that [stop]
    red: Floats
    blue: Floats
    settings: Floats
    iso: Floats
    shutter_s: Floats
    f_number: Floats
    places: Floats  # (frames, 4)
    pops: int = 1
    timed: bool = False
    by_card: bool = True
    with_tiles: bool = True
    with_place: bool = True
    ambient_under: float | None = None


def drawn(rng: Rng, causes: tuple[str, ...]) -> tuple[list[Seen], Truth]:
    """Draw one shoot and the truth about it; no causes make a steady one."""
    course = _plain(rng, causes)
    # Random causes first: what single frames lose is sized by the scatter that there is.
    order = sorted(causes, key=lambda c: c not in ("scatter", "lens", "flicker"))
    for cause in order:
        MAKERS[cause](course)
    return _seen(course), course.truth


def _plain(rng: Rng, causes: tuple[str, ...]) -> Course:
    count = int(rng.integers(FRAMES[0], FRAMES[1] + 1))
    scatter = float(rng.uniform(*SCATTER))
    gap = rng.lognormal(math.log(rng.uniform(1.0, 6.0)), rng.uniform(0.4, 0.9), count)
    idle = rng.random(count) < rng.uniform(0.04, 0.12)
    if "first-pop" in causes:
        idle[rng.choice(np.arange(2, count), 3, replace=False)] = True
    gap[idle] = np.median(gap) * rng.uniform(20, 100, int(idle.sum()))
    gap[0] = np.inf
    shutter = np.full(count, 1 / 128)
    middle = (rng.uniform(0.2, 0.8), rng.uniform(0.2, 0.6), 0.08, 0.05)
    return Course(
        rng=rng, count=count, truth=Truth(causes, scatter), gap_s=gap,
        card=np.zeros(count), light=rng.normal(0, scatter, count),
        tiles=np.zeros((count, ROWS, COLS)), red=np.zeros(count), blue=np.zeros(count),
        settings=np.zeros(count), iso=np.zeros(count), shutter_s=shutter,
        f_number=np.full(count, 2**3.5), places=np.tile(middle, (count, 1)),
        by_card=bool(rng.random() < 0.7) or "card-moved" in causes,
        with_tiles=bool(rng.random() < 0.6) or bool({"blocked", "shutter-cut"} & set(causes)),
        with_place=bool(rng.random() < 0.7) or "card-moved" in causes,
    )  # fmt: skip


def _seen(course: Course) -> list[Seen]:
    """The frames as they are handed over; some times are missing, some pictures have changes."""
    rng, count = course.rng, course.count
    at_s = np.concatenate([[0.0], np.cumsum(course.gap_s[1:])])
    missing = np.zeros(count, bool)
    if rng.random() < 0.3:
        missing = rng.random(count) < rng.uniform(0.02, 0.12)
    own = course.tiles + course.light[:, None, None]
    own = own + rng.normal(0, TILE_NOISE, own.shape)
    if rng.random() < 0.5:  # things on the set are moved now and then
        for at in rng.choice(count, count // 10, replace=False):
            some = rng.random((ROWS, COLS)) < 0.2
            own[at][some] += rng.choice((-1, 1), int(some.sum())) * rng.uniform(0.15, 1, some.sum())
    own[:, rng.random((ROWS, COLS)) < 0.05] = np.nan
    color = rng.random() < 0.8 or "colour" in course.truth.causes
    red = course.red + rng.normal(0, COLOR_NOISE, count)
    blue = course.blue + rng.normal(0, COLOR_NOISE, count)
    jitter = rng.normal(0, PLACE_NOISE, (count, 4)) * [1, 1, 0.3, 0.3]
    places = course.places + jitter
    frames = []
    for at in range(count):
        known = not missing[at]
        gap_known = at > 0 and known and not missing[at - 1]
        frames.append(Seen(
            file=Path(f"shoot_{at:04d}.dng"), setup="main",
            by="card" if course.by_card else "scene",
            rest_stops=float(course.light[at] + (course.card[at] if course.by_card else 0.0)),
            u_stops=0.01, settings_stops=float(course.settings[at]),
            iso_stops=float(course.iso[at]),
            at_s=float(at_s[at]) if known else None,
            gap_s=float(course.gap_s[at]) if gap_known else None,
            red_green_stops=float(red[at]) if color else None,
            blue_green_stops=float(blue[at]) if color else None,
            u_color_stops=COLOR_NOISE if color else None,
            shutter_s=float(course.shutter_s[at]), f_number=float(course.f_number[at]),
            iso=float(100 * 2 ** course.iso[at]), timed=course.timed, pops=course.pops,
            ambient_under_stops=course.ambient_under,
            place=CardPlace(*map(float, places[at]))
            if course.by_card and course.with_place else None,
            tiles=own[at] if course.with_tiles else None,
        ))  # fmt: skip
    return frames


def _size(rng: Rng, least: float = LEAST, most: float = MOST) -> float:
    return float(np.exp(rng.uniform(math.log(least), math.log(max(most, 1.5 * least)))))


def _sign(rng: Rng) -> float:
    return float(rng.choice((-1.0, 1.0)))


def _single(course: Course, most: float = MOST) -> float:
    return _size(course.rng, max(LEAST, LEAST_SINGLE * course.truth.scatter), most)


def _lasting(course: Course) -> float:
    """What lasts is sized by the tolerance alone; in a large scatter by that, to be seen at all."""
    large = {"scatter", "lens", "flicker"} & set(course.truth.causes)
    return _size(course.rng, max(LEAST, LEAST_SEEN * course.truth.scatter) if large else LEAST)


def _some(course: Course, share: float) -> NDArray[np.int64]:
    """Single frames: from one to a share of all."""
    most = max(1, int(share * course.count))
    number = int(course.rng.integers(1, most + 1))
    return np.sort(course.rng.choice(course.count, number, replace=False))


def _settings(course: Course) -> None:
    begin = int(course.rng.integers(1, course.count - 1))
    end = int(course.rng.integers(begin + 1, course.count + 1))
    course.settings[begin:end] += _sign(course.rng) * course.rng.integers(1, 5) / 3


def _card_moved(course: Course) -> None:
    rng = course.rng
    at = int(rng.integers(4, course.count - 4))
    course.card[at:] += _sign(rng) * _size(rng, LEAST, 0.6)
    course.places[at:] += [*(rng.choice((-1, 1), 2) * rng.uniform(0.02, 0.1, 2)), 0, 0]
    course.places[at:, 2:] *= rng.uniform(0.85, 1.15)


def _first_pop(course: Course) -> None:
    idle = course.gap_s > 8 * np.median(course.gap_s)
    course.light[idle] += _sign(course.rng) * _single(course)


def _recycle(course: Course) -> None:
    rng = course.rng
    while True:
        depth = float(np.exp(rng.uniform(math.log(0.12), 0)))
        tau = float(np.median(course.gap_s) * rng.uniform(0.15, 0.8))
        carried = bool(rng.integers(2))
        share, missing = np.ones(course.count), 0.0
        for at in range(course.count):
            left = math.exp(-course.gap_s[at] / tau)
            missing = (depth + ((1 - depth) * missing if carried else 0.0)) * left
            share[at] = 1 - missing
        loss = np.log2(share)
        allowed = 1 - 2**-TOLERANCE
        kept = allowed * (1 - depth) if carried else 0.0
        shortest = tau * math.log((depth + kept) / allowed)
        # Some frames lose, and some do not.
        if -3 < loss.min() < -LEAST and (loss < -LEAST / 2).sum() >= max(3, 0.1 * course.count):
            break
    course.light += loss
    course.truth.shortest_gap_s, course.truth.largest_loss = shortest, -float(loss.min())


def _drift(course: Course) -> None:
    rng = course.rng
    along = np.arange(course.count) / (course.count - 1)
    if rng.random() < 0.5:
        along = np.concatenate([[0.0], np.cumsum(course.gap_s[1:])])
        along /= along[-1]
    if rng.random() < 0.5:
        tau = rng.uniform(0.1, 0.5)
        along = (1 - np.exp(-along / tau)) / (1 - math.exp(-1 / tau))
    course.light += _sign(rng) * _lasting(course) * along


def _step(course: Course) -> None:
    at = int(course.rng.integers(4, course.count - 4))
    course.light[at:] += _sign(course.rng) * _lasting(course)
    course.truth.step_at = at


def _lamp_missing(course: Course) -> None:
    frames = _some(course, 0.08)
    _lose(course, frames, _single(course))
    if course.rng.random() < 0.5:
        course.red[frames] += 0.1
        course.blue[frames] -= 0.06
        course.tiles[frames] += np.linspace(0.4, -0.4, COLS)


def _lose(course: Course, frames: NDArray[np.int64], size: float) -> None:
    course.light[frames] -= size
    course.truth.lost |= set(frames.tolist())


def _blocked(course: Course) -> None:
    rng = course.rng
    for begin in _some(course, 0.03):
        end = begin + int(rng.integers(1, 5))
        rows, cols = int(rng.integers(3, 7)), int(rng.integers(3, 6))
        top, left = int(rng.integers(0, ROWS - rows + 1)), int(rng.integers(0, COLS - cols + 1))
        course.tiles[begin:end, top : top + rows, left : left + cols] -= _single(course, 1.5)


def _pop_missing(course: Course) -> None:
    least = max(LEAST, LEAST_SINGLE * course.truth.scatter)
    counts = [n for n in range(2, 12) if -math.log2((n - 1) / n) >= least]
    course.pops = int(course.rng.choice(counts or [2]))
    _lose(course, _some(course, 0.08), -math.log2((course.pops - 1) / course.pops))


def _no_flash(course: Course) -> None:
    rng = course.rng
    under = float(rng.uniform(3.5, 8))
    if rng.random() < 0.5:
        course.ambient_under = under
    frames = _some(course, 0.05)
    course.light[frames] = -under + rng.normal(0, 0.1, len(frames))


def _scatter(course: Course) -> None:
    sd = _size(course.rng, LEAST, 0.4)
    course.light += course.rng.normal(0, sd, course.count)
    course.truth.scatter = math.hypot(course.truth.scatter, sd)


def _colour(course: Course) -> None:
    rng = course.rng
    along = np.arange(course.count) / (course.count - 1)
    if rng.random() < 0.3:
        along = (np.arange(course.count) >= rng.integers(4, course.count - 4)).astype(float)
    move = _sign(rng) * _size(rng, LEAST, 0.5)
    course.red += move * along
    course.blue -= rng.uniform(-0.3, 1) * move * along


def _shutter_cut(course: Course) -> None:
    rng = course.rng
    _two_times(course, 1 / 64, CURTAIN_S / 2 ** rng.uniform(0.3, 1.3))
    short = course.shutter_s < CURTAIN_S
    fall = np.maximum(np.linspace(-1.0, 1.0, ROWS), 0) ** rng.uniform(0.7, 2)
    course.tiles[short] -= (_single(course, 2.0) * fall)[:, None]


def _two_times(course: Course, long_s: float, short_s: float) -> None:
    share = course.rng.uniform(0.2, 0.8)
    course.shutter_s = np.where(course.rng.random(course.count) < share, short_s, long_s)
    course.shutter_s[:2] = course.shutter_s[2:4] = long_s, short_s


def _ambient(course: Course) -> None:
    rng = course.rng
    times = 1 / np.array([8, 16, 32, 64, 128, 256])
    course.shutter_s = rng.choice(times[: rng.integers(3, 7)], course.count)
    course.shutter_s[:2] = times[0], times[2]
    wanted = 2 ** _size(rng)
    long, short = course.shutter_s.max(), course.shutter_s.min()
    rate = (wanted - 1) / (long - wanted * short) if long > wanted * short else 8.0
    course.light += np.log2((1 + rate * course.shutter_s) / (1 + rate * short))


def _flicker(course: Course) -> None:
    rng = course.rng
    course.timed = True
    mains = float(rng.choice((50.0, 60.0)))
    times = np.array([1 / (2 * mains), 1 / mains, 1 / 128, 1 / 256, 1 / 512, 1 / 64])
    course.shutter_s = rng.choice(times, course.count)
    phase = rng.uniform(0, 2 * math.pi, course.count)
    through = np.sinc(2 * mains * course.shutter_s)
    deep = min(2 ** _size(rng, 1.5 * LEAST, 0.7) - 1, 0.9)
    course.light += np.log2(1 + deep * through * np.cos(phase))
    course.truth.scatter = math.hypot(course.truth.scatter, deep)


def _lens(course: Course) -> None:
    rng = course.rng
    sd = _size(rng, LEAST, 0.4)
    frames = np.ones(course.count, bool)
    if len(course.truth.causes) == 1 and rng.random() < 0.4:
        course.timed = True
        course.shutter_s[:] = rng.choice((0.25, 0.5, 1.0))
    else:
        frames = rng.random(course.count) < rng.uniform(0.35, 0.65)
        frames[:8], frames[8:16] = True, False
        course.f_number = np.where(frames, 2**3.5, 2**1.5)
    course.light[frames] += rng.normal(0, sd, int(frames.sum()))
    course.truth.scatter = math.hypot(course.truth.scatter, sd)


def _iso(course: Course) -> None:
    frames = course.rng.random(course.count) < 0.4
    frames[:2], frames[2:4] = True, False
    steps = float(course.rng.integers(1, 7)) / 3
    course.iso[frames] += steps
    course.settings[frames] += steps
    course.light[frames] -= steps


MAKERS = {
    "settings": _settings, "card-moved": _card_moved, "first-pop": _first_pop, "recycle": _recycle,
    "drift": _drift, "step": _step, "lamp-missing": _lamp_missing, "blocked": _blocked,
    "pop-missing": _pop_missing, "no-flash": _no_flash, "scatter": _scatter, "colour": _colour,
    "shutter-cut": _shutter_cut, "ambient": _ambient, "flicker": _flicker, "lens": _lens,
    "iso-not-in-signal": _iso,
}  # fmt: skip


def long_shoot(rng: Rng, count: int) -> list[Seen]:
    """A shoot of many frames with a drift, steps, a recharge and some frames that lost a lamp."""
    gap = rng.lognormal(math.log(3), 0.7, count)
    gap[rng.random(count) < 0.05] *= 50
    light = rng.normal(0, 0.03, count) + 0.3 * np.linspace(0, 1, count)
    light += np.log2(1 - 0.8 * np.exp(-gap / 1.2))
    for at in (count // 5, count // 2):
        light[at:] += 0.25
    light[rng.choice(count, count // 100, replace=False)] -= 0.6
    at_s = np.cumsum(gap)
    return [
        Seen(Path(f"shoot_{at:05d}.dng"), "main", "card", float(light[at]), 0.01,
             at_s=float(at_s[at]), gap_s=float(gap[at]) if at else None,
             red_green_stops=float(rng.normal(0, 0.006)), blue_green_stops=0.0, shutter_s=1 / 128,
             f_number=8.0)
        for at in range(count)
    ]  # fmt: skip
