"""Calibration sets with a known truth, at the level of signals: no picture is made or measured.

What is judged gets readings, settings and the signal of the card. The truth is worked out here,
from the published definitions and printed scales, without the project's own arithmetic.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from study_numbers import C_FLAT, GREY_CARD, ISOS, SATURATION, THIRDS, THIRDS_FROM, Q, tenths_text

from verify.calibrate.readings import read_readings
from verify.calibrate.sift import Shot
from verify.checking import setup_of
from verify.compare import compare
from verify.frames.frame import Settings
from verify.frames.geometry import Box
from verify.measure import PatchReading
from verify.plan.file import read_plan
from verify.plan.records import Plan
from verify.target.records import Target

Stops = NDArray[np.float64]
GroupKind = Literal["clean", "iso", "aperture"]
Form = Literal["continuous", "per-frame", "bracket"]

CARD_U = 0.04  # stop, stated in the plan of a calibration set
METER_STEP = 0.1  # stop
OFFSET, GROSS = 1.0, (0.3, 3.0)  # stop
ONE_BAD_IN = 8  # frames, at most
GROUP_SCATTER, GROUP_OFF = 0.03, 0.2  # stop
NOISE_STOPS = 0.002  # of the mean of a patch
TARGET = Target(Box(0, 0, 50, 50), Box(0, 0, 50, 50).corners(), "given")
# Printed shutter times of whole stops; they stand for 1/2, 1/4, 1/8 ... 1/1024 s (ISO 2720).
SHUTTERS = (2, 4, 8, 15, 30, 60, 125, 250, 500, 1000)


@dataclass(frozen=True, slots=True)
class Dials:
    """How the camera was set for one frame."""

    third: int  # place of the aperture among THIRDS
    iso: int  # place among ISOS
    shutter: int = 6  # place among SHUTTERS

    @property
    def av(self) -> float:
        """Exact aperture value [stop]."""
        return (THIRDS_FROM + self.third) / 3

    @property
    def gain(self) -> float:
        """Of its ISO over ISO 100 [stop]."""
        return self.iso / 3


@dataclass(frozen=True, slots=True)
class Likes:
    """What a set is to be like."""

    offset: float  # between meter and camera [stop]
    scatter: float  # standard deviation from frame to frame [stop]
    card_u: float = CARD_U  # standard deviation of the card, as the plan states it [stop]
    per_frame: bool = False  # the meter is read for every frame, at the camera's ISO
    continuous: bool = False  # the light is no flash, and the shutter time counts
    correction: float = 0.0  # dialled into the meter [stop]


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """What is true of a set."""

    likes: Likes
    dials: tuple[Dials, ...]  # of each frame
    lights: Stops  # (frames,) the Av that the light is worth at ISO 100, as the meter timed it
    shown: Stops  # (frames,) the Av that the meter showed, in tenths [stop]
    card: float  # of the card's reflectance, against what the plan takes it for [stop]
    scatter: Stops  # (frames,) at random [stop]
    gross: Stops  # (frames,) 0, or by how much a frame went wrong [stop]
    group: Stops  # (frames,) by how much its ISO, its aperture or its level is off [stop]

    @property
    def clean(self) -> NDArray[np.bool_]:
        """(frames,) whether nothing went wrong with a frame."""
        return np.asarray(self.gross == 0)

    @property
    def meter(self) -> Stops:
        """(frames,) the light against what the meter showed of it [stop]."""
        at = np.array([dials.gain if self.likes.per_frame else 0.0 for dials in self.dials])
        return np.asarray(self.lights + at - self.likes.correction - self.shown)

    @property
    def rest(self) -> Stops:
        """(frames,) measured against promised [stop]."""
        parts = self.meter + self.scatter + self.gross + self.group + self.card
        return np.asarray(self.likes.offset + parts)

    @property
    def drawn_offset(self) -> float:
        """The offset with the errors that card and meter happen to have in this set [stop]."""
        return self.likes.offset + self.card + float(self.meter[self.clean].mean())


def drawn(
    rng: np.random.Generator,
    likes: Likes,
    dials: Sequence[Dials],
    lights: Sequence[float],
    gross: Stops | None = None,
    group: Stops | None = None,
) -> Truth:
    """Draw what is true of a set; the arguments are those of Truth.

    Lights are in any fraction of a stop: the meter rounds them.
    """
    none = np.zeros(len(dials))
    light = np.array(lights, float)
    at = np.array([one.gain if likes.per_frame else 0.0 for one in dials])
    return Truth(
        likes,
        tuple(dials),
        lights=light,
        shown=np.rint((light + at - likes.correction) / METER_STEP) * METER_STEP,
        card=float(rng.normal(0, likes.card_u)),
        scatter=rng.normal(0, likes.scatter, len(dials)),
        gross=none if gross is None else gross,
        group=none if group is None else group,
    )


def plain_set(
    rng: np.random.Generator,
    frames: tuple[int, int],
    scatter: tuple[float, float],
    likes: Likes,
) -> Truth:
    """A set of so many frames, bracketed round one reading or metered for each frame."""
    count = int(rng.integers(frames[0], frames[1] + 1))
    correction = float(rng.choice((0.0, 0.0, 0.3, -0.4)))
    own = replace(
        likes,
        offset=float(rng.uniform(-OFFSET, OFFSET)),
        scatter=float(rng.uniform(*scatter)),
        correction=correction,
    )
    gross = np.zeros(count)
    bad = rng.choice(count, int(rng.integers(0, count // ONE_BAD_IN + 1)), replace=False)
    gross[bad] = rng.uniform(*GROSS, bad.size) * rng.choice((-1, 1), bad.size)
    if own.per_frame:
        places = rng.integers((6, 0), (18, 3), (count, 2)).tolist()
        dials = [Dials(third, 3 * iso) for third, iso in places]
        lights = [one.av - one.gain + float(rng.uniform(-1, 0.6)) for one in dials]
    else:
        light = float(rng.uniform(6.5, 7.5))
        isos = (0, 3) if rng.integers(2) else (0,)
        dials = []
        for iso in rng.choice(isos, count).tolist():
            under = int(rng.integers(-2, 5))  # thirds of a stop
            dials.append(Dials(round(3 * light) - 9 + iso + under, iso))
        lights = [light] * count
    return drawn(rng, own, dials, lights, gross)


def crossed(rng: np.random.Generator, form: Form, kind: GroupKind) -> tuple[Truth, float]:
    """Draw a set of 4 ISO x 4 apertures; and the exact ISO or f-number that is off, 0 for none."""
    pairs = [(iso, third) for iso in (0, 3, 6, 9) for third in (6, 9, 12, 15)]
    off = int(rng.choice((0, 3, 6, 9)))
    value = {"clean": 0.0, "iso": 100 * 2 ** (off / 3), "aperture": 2 ** ((15 + off) / 6)}[kind]
    chosen = [iso == off if kind == "iso" else third == off + 6 for iso, third in pairs]
    size = 0.0 if kind == "clean" else GROUP_OFF * float(rng.choice((-1, 1)))
    likes = Likes(
        float(rng.uniform(-OFFSET, OFFSET)),
        GROUP_SCATTER,
        per_frame=form == "per-frame",
        continuous=form == "continuous",
    )
    shutters = [5 + (iso - third + 6) // 3 for iso, third in pairs]
    dials = [Dials(*pair[::-1], s) for pair, s in zip(pairs, shutters, strict=True)]
    if form == "per-frame":
        lights = [one.av - one.gain + float(rng.uniform(-1, 0.6)) for one in dials]
    else:
        highest = 3.5 if form == "bracket" else 5.0
        lights = [highest + float(rng.uniform(-0.5, 0))] * len(dials)
    return drawn(rng, likes, dials, lights, None, size * np.array(chosen)), value


def sloped(rng: np.random.Generator, slope: float) -> Truth:
    """A bracket of 12 frames over 4 stops in which measured stops rise by ``slope`` a stop."""
    dials = [Dials(6 + third, 0) for third in sorted(rng.choice(13, 12, replace=False).tolist())]
    av = np.array([one.av for one in dials])
    likes = Likes(float(rng.uniform(-OFFSET, OFFSET)), GROUP_SCATTER)
    lights = [5.8 + float(rng.uniform(-0.3, 0.3))] * len(dials)
    return drawn(rng, likes, dials, lights, None, (slope - 1) * (av.mean() - av))


def shots_of(truth: Truth, folder: Path) -> list[Shot]:
    """A set as it is handed over to be fitted; the truth is in its signals alone.

    Parameters
    ----------
    folder : for the readings file and for the empty frames that its rows name.
    """
    files = [folder / f"frame_{number:02d}.dng" for number in range(len(truth.dials))]
    plan, numbers = _written(truth, files, folder)
    shots = []
    for file, dials, signal, number in zip(
        files, truth.dials, signals(truth), numbers, strict=True
    ):
        settings = Settings(
            make="Tarnwick",
            model="TW-14",
            serial="0047",
            f_number=THIRDS[dials.third],
            iso=ISOS[dials.iso],
            shutter_s=1 / SHUTTERS[dials.shutter],
        )
        setup = plan.setups[setup_of(plan, file, settings)]
        shots.append(Shot(compare(file, settings, _patch(float(signal)), setup), setup, number))
    return shots


def _written(truth: Truth, files: Sequence[Path], folder: Path) -> tuple[Plan, list[int]]:
    """The plan as the command reads it, and the number of each frame's reading."""
    likes = truth.likes
    shown = [tenths_text(round(av / METER_STEP)) for av in truth.shown]
    reading: dict[str, Any] = {"meter": "bench meter", "correction": likes.correction}
    tables = {"reading": reading, "uncertainty": {"card": likes.card_u}}
    if not likes.per_frame:
        reading["aperture"] = shown[0]
        if likes.continuous:
            reading |= {"light": "continuous", "shutter": f"1/{SHUTTERS[truth.dials[0].shutter]}"}
        return read_plan(None, tables), [0] * len(files)
    lines = ["frame,aperture,iso"]
    for file, text, dials in zip(files, shown, truth.dials, strict=True):
        file.touch()
        lines.append(f"{file.name},{text},{ISOS[dials.iso]}")
    readings = folder / "readings.csv"
    readings.write_text("\n".join(lines), encoding="utf-8")
    read = read_readings(readings, None, tables)
    return read.plan, list(read.reading_of)


def signals(truth: Truth) -> Stops:
    """(frames,) signal of the card; 1 is clipping by the standard's saturation speed."""
    off = truth.likes.offset + truth.card + truth.scatter + truth.gross + truth.group
    av = np.array([dials.av for dials in truth.dials])
    gain = np.array([dials.gain for dials in truth.dials])
    time = np.zeros(len(truth.dials))
    if truth.likes.continuous:
        time += [truth.dials[0].shutter - dials.shutter for dials in truth.dials]
    light_lxs = C_FLAT / 100 * 2 ** (truth.lights + time)
    exposure_lxs = Q * GREY_CARD * light_lxs / math.pi / 2**av
    return np.asarray(exposure_lxs * 100 * 2**gain / SATURATION * 2**off)


def _patch(signal: float) -> PatchReading:
    """What is measured of a card with this signal: a bound where it is clipped."""
    clipped = signal >= 1
    measured = min(signal, 1.0)
    return PatchReading(
        target=TARGET,
        signal=measured,
        noise=measured * NOISE_STOPS * math.log(2),
        red=None,
        green=measured,
        blue=None,
        clipped={"green": float(clipped)},
        floored=0.0,
        black=512.0,
        white=16383.0,
        clips_at=1.0,
        gradient_stops=0.0,
        bound="at-least" if clipped else None,
        u_terms={"noise": NOISE_STOPS},
        doubts=(),
        steps=(),
    )
