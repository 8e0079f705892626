"""A plan's lamps to the flash light they make, and what makes their durations doubtful."""

import math

import numpy as np
import pytest

from verify.motion.planned import firing_planned
from verify.plan.file import read_plan
from verify.plan.motion import FlashLamp
from verify.pulse.model import LampPulse, modelled
from verify.pulse.shutter import Curtain, light_out


def lamp(
    power: float | str | None = None,
    quoted_at: float | str | None = None,
    name: str | None = "key",
    share: float = 1.0,
) -> FlashLamp:
    """A lamp of t.5 1/1000 s."""
    return FlashLamp(name, share, power, quoted_at, 0.001, None, "decaying")


def test_lamps_of_a_plan_make_the_light_of_their_model() -> None:
    lamps = (
        FlashLamp("key", 0.7, None, None, 1 / 800, 1 / 250, "decaying"),
        FlashLamp(None, 0.3, None, None, None, 1 / 2000, "cut"),
    )
    firing = firing_planned(lamps)
    same = modelled(
        [
            LampPulse(0.7, 1 / 800, 1 / 250, "decaying", "key"),
            LampPulse(0.3, None, 1 / 2000, "cut"),
        ]
    )
    assert firing.total == same.total
    assert firing.course.value.tolist() == same.course.value.tolist()
    assert (firing.warnings, firing.notes) == (same.warnings, same.notes)
    assert firing.rests_on == "model"


def test_a_plan_as_typed_loses_at_the_shutter_what_the_table_says() -> None:
    """Check-values 3.6 and 3.7: t.1 of 1/250 s, travel of 3 ms, 1/250 s in plain seconds."""
    plan = read_plan(None, {"flash": [{"t_tenth": "1/250"}]}).main
    course = firing_planned(plan.motion.lamps).course
    light = light_out(course.time_s, course.value)
    rows = Curtain(0.003).losses(light, 1 / 250, np.array([0.0, 0.5, 1.0]))
    assert rows == pytest.approx([1.192, 0.391, 0.152], abs=6e-4)


@pytest.mark.parametrize(
    ("power", "quoted_at", "note"),
    [
        (7.0, 7.0, None),
        (7.0, 7.05, None),
        (7.0, 6.9, "is set to 7, and its durations are quoted for 6.9"),
        (7.0, None, None),
        (None, 7.0, None),
        ("1/4", "1/4", None),
        ("1/4", " 1/4 ", None),
        ("1/4", "1/1", 'is set to "1/4", and its durations are quoted for "1/1"'),
        ("7.0", 7.0, None),
        (7.0, "full", 'is set to 7, and its durations are quoted for "full"'),
        (1200.0, 300.0, "is set to 1200, and its durations are quoted for 300"),
    ],
)
def test_durations_quoted_for_another_power(
    power: float | str | None, quoted_at: float | str | None, note: str | None
) -> None:
    firing = firing_planned((lamp(power, quoted_at),))
    assert firing.warnings == ("durations-modelled", *(("quoted-elsewhere",) if note else ()))
    assert firing.notes[1:] == (() if note is None else (f'lamp "key" {note}',))


def test_several_lamps_are_told_apart_and_warned_of_once() -> None:
    firing = firing_planned((lamp(7, 5, None, 0.5), lamp(7, 7, None, 0.3), lamp(3, 5, "rim", 0.2)))
    assert firing.warnings == ("durations-modelled", "quoted-elsewhere")
    about_power = [note for note in firing.notes if "is set to" in note]
    assert [note.split(" is")[0] for note in about_power] == ["lamp 1", 'lamp "rim"']


@pytest.mark.parametrize(
    ("shares", "told"),
    [((0.6, 0.4), None), ((0.33, 0.33, 0.33), None), ((1.0, 1.0), "2"), ((0.5,), "0.5")],
)
def test_shares_that_are_no_whole_are_proportions(
    shares: tuple[float, ...], told: str | None
) -> None:
    firing = firing_planned(tuple(lamp(share=share) for share in shares))
    about = [note for note in firing.notes if "shares" in note]
    says = f"the shares of the lamps add up to {told}: they are taken as proportions"
    assert about == ([] if told is None else [says])
    assert math.isclose(firing.total.energy, 1.0, abs_tol=1e-5)
