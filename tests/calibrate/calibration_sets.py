"""Calibration sets with a known truth, through ``compare``, for the tests of the calibration."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from readings import FLAT_SIGNAL, patch, set_up

from verify.calibrate.calibration import calibrated
from verify.calibrate.match import standard
from verify.calibrate.records import By, Calibration, CalibrationFrame
from verify.calibrate.robust import bounded_fit
from verify.calibrate.sift import Shot, sift
from verify.compare import compare
from verify.exposure import exact_f_number
from verify.frames.frame import Settings
from verify.plan.records import SetUp

AV_11 = 7.0  # aperture value of f/11
DOME = 330 / 250  # light by a dome's reading against that by a flat receptor's: check-values 1

# A plan's uncertainty without terms of its own.
EXACT = {"card": 0.0, "meter": 0.0, "lens": 0.0}


@cache
def _set_up(av: float, sections: tuple[tuple[str, tuple[tuple[str, Any], ...]], ...]) -> SetUp:
    aperture = "f/11" if av == AV_11 else f"exact {2 ** (av / 2):.10f}"
    return set_up(aperture, **{name: dict(keys) for name, keys in sections})


def metered(av: float = AV_11, **sections: dict[str, Any]) -> SetUp:
    """A set-up whose meter showed this aperture value at ISO 100, sections as in a plan file."""
    return _set_up(av, tuple((name, tuple(keys.items())) for name, keys in sections.items()))


def settings(av: float = AV_11, sv: float = 0.0, shutter_s: float = 1 / 128, **fields: Any
             ) -> Settings:  # fmt: skip
    """Camera settings: aperture value, stops of ISO above 100, and other fields of a file."""
    return Settings(
        **{"f_number": 2 ** (av / 2), "iso": 100 * 2**sv, "shutter_s": shutter_s, **fields}
    )


def shot(
    rest: float,
    at: int = 0,
    av: float = AV_11,
    sv: float = 0.0,
    setup: SetUp | None = None,
    reading: int = 0,
    fields: dict[str, Any] | None = None,
    **recorded: Any,
) -> Shot:
    """A frame whose signal is ``rest`` stops off what its reading and its settings promise.

    Its signal is written down from the reading's light, in stops, without the code under test.

    Parameters
    ----------
    at : number of the frame.
    av, sv : aperture value and stops of ISO above 100 that the file records.
    fields : of the patch's reading.
    recorded : other settings that the file records.
    """
    setup = metered() if setup is None else setup
    assert setup.reading is not None
    # What lies next to a printed f-number would count as that one.
    assert math.isclose(exact_f_number(2 ** (av / 2)), 2 ** (av / 2))
    light = (setup.reading.aperture.n / 2**3.5) ** 2 * 2**setup.reading.correction
    light *= DOME if setup.reading.receptor == "dome" else 1.0
    light *= 100 / setup.reading.iso
    if setup.reading.timed:
        light *= recorded.get("shutter_s", 1 / 128) / (setup.reading.shutter_s or math.nan)
    signal = FLAT_SIGNAL * light * 2 ** (AV_11 - av + sv + rest)
    file = Path(f"frame_{at:04}.dng")
    found = patch(signal, **(fields or {}))
    return Shot(compare(file, settings(av, sv, **recorded), found, setup), setup, reading)


def shots_of(rests: Iterable[float], **same: Any) -> list[Shot]:
    """A frame for each rest, all alike in everything else."""
    return [shot(float(rest), at, **same) for at, rest in enumerate(rests)]


def crossed(rests: Sequence[float], levels: int = 4, **same: Any) -> list[Shot]:
    """Frames at every pair of ISO 100, 200, ... and f/5.6, f/8, ...: all f-numbers of each ISO."""
    return [
        shot(float(rest), at, av=5.0 + at % levels, sv=float(at // levels), **same)
        for at, rest in enumerate(rests)
    ]


def frame(rest: float, planned: float = -3.0, **fields: Any) -> CalibrationFrame:
    """A frame that counts, made directly."""
    made = CalibrationFrame(
        file=Path("frame.dng"),
        reading=0,
        planned_stops=planned,
        rest_stops=rest,
        repeat_u_stops=0.05,
        common_u_stops=0.0,
        metered_stops=0.0,
        iso=100.0,
        aperture=2**3.5,
        lens=None,
        meter=None,
        receptor="flat",
    )
    return replace(made, **fields)


def frames_of(shots: Sequence[Shot]) -> tuple[CalibrationFrame, ...]:
    """The frames of these shots, of which all must count."""
    sifted = sift(shots)
    assert not sifted.excluded
    return sifted.frames


def result_of(shots: Sequence[Shot]) -> Calibration:
    """The calibration to the standard."""
    return calibrated(shots, standard, ())


def named(calibration: Calibration) -> list[tuple[By, float | str]]:
    """The groups that are said to differ, numbers rounded."""
    return [
        (group.by, group.value if isinstance(group.value, str) else round(group.value, 2))
        for group in calibration.groups
        if group.differs
    ]


def bounded_mean(values: Sequence[float], scale: float) -> float:
    """What a bounded fit makes of values with no other term than their mean."""
    data = np.asarray(values, float)
    return float(bounded_fit(np.ones((data.size, 1)), data, scale)[0])
