"""Calibrations of all kinds, as a fit would give them, for the tests of their plot."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from verify.calibrate.records import (
    Advice,
    By,
    Calibration,
    CalibrationFrame,
    Excluded,
    Group,
    Match,
)
from verify.exposure import f_number_of
from verify.offsets.records import BelongsTo

CARD_STOPS = -3.07  # 18 % card at the metered setting, from clipping: log2(0.1194)
LONG = "Hexaplan Apo-Macro-Symmetric 120 mm 1:5.6 with shutter, WW adapter and MMMMMMM ring No. 3"
BELONGS = BelongsTo(
    meter="Lumen L2",
    light="flash",
    method="incident",
    receptor="flat",
    aimed="as-card",
    card="card A",
    make="Kolmar",
    model="Kolmar K5",
    serial="1",
    lens="Hexa 80",
    iso=None,
    aperture=None,
)
THIRDS = [f_number_of(n / 3) for n in range(40)]


def frame(rest_stops: float, planned_stops: float = CARD_STOPS, **other: Any) -> CalibrationFrame:
    usual = CalibrationFrame(
        file=Path("a.dng"),
        reading=0,
        planned_stops=planned_stops,
        rest_stops=rest_stops,
        repeat_u_stops=0.02,
        common_u_stops=0.02,
        metered_stops=0.0,
        iso=100,
        aperture=8,
        lens="Hexa 80",
        meter="Lumen L2",
        receptor="flat",
    )
    return replace(usual, **other)


def group(by: By, value: float | str, offset: float, differs: bool) -> Group:
    return Group(by, value, offset, (offset - 0.1, offset + 0.1), 3, differs)


def fitted(
    frames: Sequence[CalibrationFrame],
    groups: Sequence[Group] = (),
    offset: float = -0.21,
    **other: Any,
) -> Calibration:
    usual = Calibration(
        offset_stops=offset,
        u_stops=0.03,
        u_same_card=0.02,
        interval_stops=(offset - 0.06, offset + 0.06),
        slope=1.0,
        slope_interval=(0.98, 1.02),
        scatter_stops=0.03,
        match=Match("standard", 0.0, "the standard"),
        belongs=BELONGS,
        groups=tuple(groups),
        excluded=(),
        advice=Advice(None, None, ""),
        frames=tuple(frames),
        residuals=tuple(one.rest_stops - offset for one in frames),
    )
    return replace(usual, **other)


def grid(lower: float = 0.0, **other: Any) -> Calibration:
    """A frame at each of four ISOs and four apertures; those at ISO 800 are lower."""
    frames = [
        frame(-0.21 + 0.02 * (a - 1.5) - lower * (iso == 800), CARD_STOPS + a, iso=iso, aperture=n)
        for a, n in enumerate((4.0, 8.0, 16.0, f_number_of(9)))
        for iso in (100.0, 200.0, 400.0, 800.0)
    ]
    groups = [
        group("iso", iso, -0.21 - lower * (iso == 800), bool(lower) and iso == 800)
        for iso in (100.0, 200.0, 400.0, 800.0)
    ]
    return fitted(frames, groups, **other)


def many_apertures(differ: Sequence[int]) -> Calibration:
    frames = [frame(-0.21 - 0.3 * (n in differ), aperture=x) for n, x in enumerate(THIRDS)]
    groups = [
        group("aperture", x, -0.21 - 0.3 * (n in differ), n in differ) for n, x in enumerate(THIRDS)
    ]
    return fitted(frames, groups)


def long_names() -> Calibration:
    lenses = (LONG, LONG.replace("Macro", "Makro"), "lens <b>&amp;\x1b[1m")
    belongs = replace(BELONGS, meter=LONG, card=LONG, make=LONG, model="X" + LONG, lens=LONG)
    return fitted(
        [frame(-0.2, lens=lens) for lens in lenses],
        [group("lens", LONG, -0.5, True)],
        belongs=belongs,
        excluded=(Excluded(Path(f"{'IMG' * 30}.dng"), "clipped"),) * 12,
    )


UNKNOWN = replace(BELONGS, meter=None, card=None, make=None, model=None, lens=None)
CASES = {
    "one frame": fitted([frame(-0.2)]),
    "one level": fitted([frame(-0.21 + 0.01 * n) for n in range(6)]),
    "three levels": fitted([frame(-0.2, CARD_STOPS + n) for n in (-1, 0, 1)]),
    "24 frames": fitted(
        [frame(-0.2, CARD_STOPS + n / 3, iso=100 * 2 ** (n % 3)) for n in range(24)]
    ),
    "4 x 4": grid(),
    "4 x 4, one differs": grid(0.2),
    "40 groups": many_apertures([]),
    "40 groups, two differ": many_apertures([7, 20]),
    "40 groups, many differ": many_apertures(range(20)),
    "long names": long_names(),
    "huge residuals": fitted([frame(-0.2), frame(7.0), frame(-12.0)]),
    "very unsure": fitted([frame(1.9, -14.0)], offset=2.0, interval_stops=(-11.5, 15.5)),
    "nothing known": fitted([frame(0.0)], offset=0.001, belongs=UNKNOWN, interval_stops=None),
    "no camera": fitted([frame(0.0)], belongs=None),
}
