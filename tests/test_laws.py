"""Laws of exposure, from a plan and a signal to the error: they hold whatever the figures are."""

import math
from dataclasses import dataclass
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from readings import checked, set_up

from verify.compare import FrameCheck
from verify.exposure import aperture_value, exact_f_number
from verify.frames.frame import Settings
from verify.plan.expected import expected_signal
from verify.plan.records import MeterOffset, SetUp

CLOSE = 1e-6  # stop: what an exact aperture loses when it is written with seven decimals

avs = st.floats(2, 10)
isos = st.sampled_from([50.0, 100.0, 160.0, 400.0, 1250.0, 6400.0])
small_stops = st.floats(-3, 3)
corrections = st.floats(-1, 1)
counts = st.integers(1, 32)
losses = st.floats(0, 4)


def written(av: float) -> str:
    """An aperture that is no printed one, as it has to be written."""
    return f"exact {2 ** (av / 2):.7f}"


def iso_of(label: float) -> float:
    """ISO speed that a printed one stands for: thirds of a stop from 100."""
    return float(100 * 2 ** (round(3 * math.log2(label / 100)) / 3))


def as_recorded(av: float) -> float:
    """Av of a recorded f-number: one within 0.1 % of a printed one stands for that."""
    return aperture_value(exact_f_number(2 ** (av / 2)))


def plan(av: float, iso: float, camera: dict[str, Any], **reading: Any) -> SetUp:
    """A plan of a reading; ``camera`` as in a plan file, its aperture as an Av."""
    if "av" in camera:
        camera = {"aperture": written(camera["av"])} | camera
        camera.pop("av")
    return set_up(written(av), reading={"iso": iso, **reading}, camera=camera)


def signal_of(setup: SetUp) -> float:
    """The signal that a plan lets expect."""
    found = expected_signal(setup)
    assert found is not None
    return found


def stops(signal: float, other: float) -> float:
    """Stops between two signals."""
    return math.log2(signal / other)


@dataclass(frozen=True, slots=True)
class Taken:
    """A frame as physics has it, and its check."""

    light: float  # stops of the light against the reading
    check: FrameCheck

    def part(self, name: str) -> float:
        """One of the stops of the check, which has to be known."""
        value = getattr(self.check, f"{name}_stops")
        assert value is not None
        return float(value)


def taken(
    setup: SetUp,
    light: float,
    av: float,
    iso: float,
    offset: MeterOffset | None = None,
) -> Taken:
    """Shoot a card in light that is so many stops off the reading, at any settings.

    The signal is made by its own formula: 0.65 x 250 x 18 % / pi / 78 at the metered setting.
    """
    reading, camera = setup.reading, setup.camera
    assert reading is not None
    assert camera is not None
    metered = 0.65 * 250 * 0.18 / math.pi / 78 * 2**reading.correction
    set_so = reading.aperture.n**2 / 2 ** as_recorded(av) * iso_of(iso) / reading.iso
    lost = camera.filter_stops + camera.bellows_stops
    signal = metered * set_so * camera.pops / reading.pops * 2 ** (light - lost)
    settings = Settings(f_number=2 ** (av / 2), iso=iso, shutter_s=1 / 125)
    return Taken(light, checked(signal, settings, setup, offset))


@given(avs, isos, small_stops)
def test_doubling_the_light_is_one_stop(av: float, iso: float, light: float) -> None:
    setup = plan(av, iso, {})
    once, twice = (taken(setup, light + more, av, iso) for more in (0, 1))
    assert math.isclose(twice.part("error") - once.part("error"), 1, abs_tol=CLOSE)
    assert math.isclose(twice.part("rest") - once.part("rest"), 1, abs_tol=CLOSE)


@given(avs, small_stops, st.floats(0, 2))
def test_equal_trades_leave_the_expected_signal_alone(av: float, trade: float, more: float) -> None:
    thirds = round(trade * 3)
    iso = 100 * 2 ** (thirds / 3)
    plain = signal_of(plan(av, 100, {"av": av}))
    trades = [
        plan(av, 100, {"av": av + thirds / 3, "iso": iso}),
        plan(av + thirds / 3, iso, {"av": av, "iso": 100}),
        plan(av, 100, {"av": av + 2, "pops": 4}),
        plan(av + 2, 100, {"av": av, "pops": 1}, pops=4),
        plan(av, 100, {"av": av - more, "filters": more}),
        plan(av, 100, {"av": av - more, "bellows_stops": more}),
        plan(av, 100, {"av": av - 2, "magnification": 1}),
        plan(av - trade / 6, 100, {"av": av - trade / 6}),
        plan(
            av,
            100,
            {"av": av + 1, "shutter": "1/60"},
            light="continuous",
            shutter="1/125",
        ),
    ]
    for trade_ in trades:
        assert abs(stops(signal_of(trade_), plain)) < 2 * CLOSE


@given(avs, isos, small_stops, avs, isos, counts, losses, corrections)
def test_error_is_settings_and_rest(
    av: float,
    iso: float,
    light: float,
    shot_av: float,
    shot_iso: float,
    pops: int,
    lost: float,
    correction: float,
) -> None:
    camera = {"av": av, "pops": pops, "filters": lost}
    frame = taken(plan(av, iso, camera, correction=correction), light, shot_av, shot_iso)
    together = frame.part("settings") + frame.part("rest")
    assert math.isclose(frame.part("error"), together, abs_tol=1e-9)
    # Each part is what its name says: the dials here, and the light there.
    dials = av - as_recorded(shot_av) + stops(iso_of(shot_iso), iso_of(iso))
    assert math.isclose(frame.part("settings"), dials, abs_tol=2 * CLOSE)
    assert math.isclose(frame.part("rest"), light, abs_tol=2 * CLOSE)


@given(avs, isos, st.floats(-1, 1), small_stops, st.integers(2, 20))
def test_a_fitted_offset_cancels_itself(
    av: float, iso: float, offset: float, dialled: float, count: int
) -> None:
    setup = plan(av, iso, {})
    lights = [offset + 0.1 * math.sin(n) for n in range(count)]
    fitted = sum(taken(setup, x, av + dialled, iso).part("rest") for x in lights) / count
    known = MeterOffset(fitted, 0.03)
    rests = [taken(setup, x, av + dialled, iso, known).part("rest") for x in lights]
    assert math.isclose(sum(rests) / count, 0, abs_tol=1e-9)
    # It moves the error and the rest alike, and leaves settings and differences alone.
    before, after = (taken(setup, offset, av + dialled, iso, o) for o in (None, known))
    assert math.isclose(before.part("error") - after.part("error"), fitted, abs_tol=1e-9)
    assert before.part("settings") == after.part("settings")


@given(avs, isos, st.floats(-1, 1), corrections)
def test_a_correction_dialled_in_is_not_counted_twice(
    av: float, iso: float, offset: float, correction: float
) -> None:
    # In the same light a meter that is told to ask for more shows so many stops less, and the
    # camera follows. What meter and camera differ by stays the same, and so does a fitted offset.
    corrected = plan(av - correction, iso, {"av": av - correction}, correction=correction)
    frame = taken(corrected, offset, av - correction, iso)
    assert math.isclose(frame.part("rest"), offset, abs_tol=2 * CLOSE)
    known = taken(corrected, offset, av - correction, iso, MeterOffset(offset, 0.03))
    assert math.isclose(known.part("rest"), 0, abs_tol=2 * CLOSE)
    # The frame itself did get the stops that were asked for.
    plain = plan(av, iso, {"av": av})
    gained = stops(signal_of(corrected), signal_of(plain))
    assert math.isclose(gained, correction, abs_tol=2 * CLOSE)


@given(avs, isos, st.floats(0.02, 1), st.floats(0.02, 1))
def test_a_reflected_reading_asks_nothing_of_the_card(
    av: float, iso: float, reflectance: float, other: float
) -> None:
    signals = [
        signal_of(
            set_up(
                written(av),
                reading={"iso": iso, "method": method},
                card={"reflectance": r},
            )
        )
        for method in ("reflected", "incident")
        for r in (reflectance, other)
    ]
    assert signals[0] == signals[1]
    incident = stops(signals[2], signals[3])
    assert math.isclose(incident, stops(reflectance, other), abs_tol=1e-9)


@given(avs, isos, st.floats(-2, 2))
def test_what_is_planned_over_is_no_error(av: float, iso: float, over: float) -> None:
    setup = plan(av, iso, {"over": over})
    assert setup.camera is not None
    planned_av = 2 * math.log2(setup.camera.aperture.n)
    assert abs(av - planned_av - over) <= 1 / 6 + CLOSE
    assert abs(taken(setup, 0, planned_av, iso).part("error")) < 2 * CLOSE  # a printed aperture
