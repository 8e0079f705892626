"""What a photographer is told to change: the figures in it do what they say."""

import math
import re

import pytest
from courses import exponential
from hypothesis import given
from hypothesis import strategies as st

from verify.motion.advice import blur_advice, ghost_advice, pops_advice, shutter_advice
from verify.motion.blur import blur_of
from verify.motion.ghost import ghost_of
from verify.motion.kernel import spread_of
from verify.motion.records import Blur, Ghost
from verify.plan.motion import Against, Sensor, Subject

SUBJECT = Subject(speed_m_s=2.0, size_m=0.3, magnification=0.05)
PITCH = Sensor(pitch_um=4.0)
SPEED_UM_S = 1e5


def _blur(tenth_s: float) -> Blur:
    spread = spread_of(exponential(tenth_s / math.log(10), 2001), tenth_s)
    return blur_of(spread, SPEED_UM_S, PITCH, (1.5, 3.0))


def _numbers(text: str) -> list[float]:
    """Numbers of a text; 1/800 as it counts."""
    found = re.findall(r"1/\d+(?:\.\d+)?|\d+(?:\.\d+)?", text)
    return [1 / float(x[2:]) if x.startswith("1/") else float(x) for x in found]


def test_what_would_be_sharp() -> None:
    said = blur_advice(_blur(1 / 800), 1.5, 1 / 800, 0.05, 2.0, "decaying")
    assert said == (
        "A t.1 of 1/11700 s would be sharp; now it is 1/800 s. Look at t.1, not at t.5: the tail "
        "of this flash exposes too.",
        "Or let it move 14.6 times slower, at 0.14 m/s, or frame it wider, at a magnification of "
        "0.0034.",
    )
    assert "t.5" not in blur_advice(_blur(1 / 800), 1.5, 1 / 800, 0.05, 2.0, "cut")[0]


def test_without_t_tenth_there_is_still_the_motion() -> None:
    said = blur_advice(_blur(1 / 800), 1.5, None, 0.05, 2.0, "decaying")
    assert len(said) == 1
    assert said[0].startswith("Let it move 14.6 times slower, at 0.14 m/s")


def test_nothing_is_said_of_what_is_sharp_or_not_judged() -> None:
    sharp = _blur(1e-6)
    assert sharp.verdict == "sharp"
    assert blur_advice(sharp, 1.5, 1e-6, 0.05, 2.0, "decaying") == ()
    assert blur_advice(Blur(1, 1, 1, 1), None, 1e-3, 0.05, 2.0, "decaying") == ()


@given(st.floats(1 / 8000, 0.1))
def test_the_t_tenth_that_is_advised_is_sharp(tenth_s: float) -> None:
    said = blur_advice(_blur(tenth_s), 1.5, tenth_s, 0.05, 2.0, "cut")
    assert said
    advised = _numbers(said[0].replace("t.1", ""))[0]
    at_it = _blur(advised)
    assert at_it.verdict == "sharp"
    assert (at_it.width_px or 0) > 1.45  # and no shorter than it need be


def test_what_hides_a_ghost() -> None:
    ghost = ghost_of(3.0, SUBJECT, 1 / 64, SPEED_UM_S, 4.0, 1.5)
    assert ghost_advice(ghost, 1 / 64, 1 / 256, None) == (
        "To hide the ghost take 1.5 stops of ambient light away, or add 1.5 stops of flash and "
        "stop down as much. Modelling lamps are ambient light: switch them off.",
        "Or set a shutter time of 1/200 s.",
    )
    assert ghost_advice(ghost, 1 / 64, 1 / 64, None)[1] == (
        "A shutter time of 1/200 s would hide it, but it is shorter than the sync time of 1/60 s: "
        "the shutter would cut the flash."
    )
    assert ghost_advice(ghost, 1 / 64, None, None)[1].endswith("if the sync time allows it.")
    assert len(ghost_advice(ghost, None, None, None)) == 1


def test_nothing_is_said_of_a_ghost_that_is_hidden_or_not_judged() -> None:
    assert ghost_advice(Ghost(3.0), 1 / 64, 1 / 256, None) == ()
    assert ghost_advice(ghost_of(9, SUBJECT, 1, SPEED_UM_S, 4, 1.5), 1, None, None) == ()


@given(
    st.floats(-2, 4.3),
    st.floats(0.005, 8),
    st.sampled_from(["grey", "black"]),
    st.sampled_from([None, 0.02, 0.3]),
)
def test_what_is_advised_hides_it(
    stops: float, shutter_s: float, against: Against, size_m: float | None
) -> None:
    subject = Subject(2.0, size_m=size_m, magnification=0.05, against=against)
    ghost = ghost_of(stops, subject, shutter_s, SPEED_UM_S, 4.0, 1.5)
    said = ghost_advice(ghost, shutter_s, None, 1.5 * 4.0 / SPEED_UM_S)
    if ghost.verdict == "hidden":
        assert said == ()
        return
    away = _numbers(said[0])[0]
    assert ghost_of(stops + away, subject, shutter_s, SPEED_UM_S, 4.0, 1.5).verdict == "hidden"
    almost = ghost_of(stops + away - 0.11, subject, shutter_s, SPEED_UM_S, 4.0, 1.5)
    assert almost.verdict != "hidden"
    # A marked time is printed within a tenth of a stop of itself; a third of a stop is left for it.
    shorter_s = _numbers(said[1])[0] * 0.93
    darker = stops + math.log2(shutter_s / shorter_s)
    assert ghost_of(darker, subject, shorter_s, SPEED_UM_S, 4.0, 1.5).verdict == "hidden"


def test_how_fast_the_shutter_may_be() -> None:
    assert shutter_advice(0.05, 0.1, 1 / 200) == ()
    assert shutter_advice(None, 0.1, 1 / 200) == ()
    assert shutter_advice(0.5, 0.1, None) == ()
    assert shutter_advice(0.548, 0.1, 1 / 190) == (
        "The shutter takes up to 0.55 stop of the flash: at 1/160 s or slower it takes no more "
        "than 0.1.",
    )
    assert shutter_advice(math.inf, 0.1, 1 / 190)[0].startswith(
        "A part of the frame gets no flash at all: at 1/160 s or slower"
    )


@pytest.mark.parametrize(("pops", "stops"), [(2, "1.0 stop"), (4, "2.0 stops"), (3, "1.6 stops")])
def test_several_pops(pops: int, stops: str) -> None:
    assert pops_advice(1) == ()
    said = pops_advice(pops)[0]
    assert f"each of the {pops} pops" in said
    assert f"open up by {stops}, or" in said
