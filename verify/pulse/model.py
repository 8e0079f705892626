"""A flash as its data sheet quotes it, t.5 or t.1 or both, to a pulse that has these durations.

The light rises at once. It decays as exp(-(t/tau)^beta), beta 1 where only one duration is known;
or it is cut: what decays then ends at once.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import gamma, gammainc, gammainccinv

from verify.errors import PlanError, in_one_line
from verify.pulse.energy import FIRST_LIGHT
from verify.pulse.exact import course_durations, energy_of, energy_within, time_to_energy
from verify.pulse.records import LEVELS, Course, Firing, Pulse
from verify.pulse.words import span_text

DECAY = math.log2(10)  # t.1/t.5 of an exponential decay
AS_ONE = 1e-3  # of t.1/t.5: so near to 1 it is 1
LEFT = 1e-7  # share of a lamp's light after its last sample
BY_TIME, BY_DECAY = 4000, 4000  # samples of a lamp, evenly in time and in (t/tau)^beta
AT_ONCE = 1e-9  # of the shortest duration, in which light rises or is cut
ROUNDING = 1e-12  # of a time: samples so near to each other are one
LONGEST_NAME = 60  # characters of a lamp's name in a note


@dataclass(frozen=True, slots=True)
class LampPulse:
    """One lamp's pulse by its quoted durations. At least one of the two is known."""

    share: float  # of the flash light at the card; of all lamps they need not add up to 1
    half_s: float | None  # t.5 [s]
    tenth_s: float | None  # t.1 [s]
    kind: Literal["decaying", "cut"]
    name: str | None = None


@dataclass(frozen=True, slots=True)
class _Shape:
    """exp(-(t/tau)^beta) from time 0 until its end."""

    tau_s: float  # infinite for even light
    beta: float
    end_s: float  # when it is cut, or next to nothing is left of it
    words: str  # for a note

    def light(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Light at any time from 0 on, 1 at the peak."""
        return np.where(time_s <= self.end_s, np.exp(-((time_s / self.tau_s) ** self.beta)), 0.0)

    def energy_s(self) -> float:
        """Area at a peak of 1 [s]."""
        if math.isinf(self.tau_s):
            return self.end_s
        out = gammainc(1 / self.beta, (self.end_s / self.tau_s) ** self.beta)
        return self.tau_s * float(gamma(1 + 1 / self.beta) * out)

    def times_s(self) -> NDArray[np.float64]:
        """When to look at it: where it changes, where its light is, at every level of the peak."""
        times = np.linspace(0, self.end_s, BY_TIME)
        if not math.isinf(self.tau_s):
            decay = np.linspace(0, (self.end_s / self.tau_s) ** self.beta, BY_DECAY)
            levels = -np.log(LEVELS)
            times = np.concatenate(
                [times, self.tau_s * np.concatenate([decay, levels]) ** (1 / self.beta)]
            )
        # Rounding must not take the last light for what is beyond the end.
        end = [self.end_s, self.end_s * (1 + AT_ONCE)]
        return np.concatenate([times[times < self.end_s], end])


def modelled(lamps: Sequence[LampPulse]) -> Firing:
    """The flash light of lamps that fire at once, its energy 1 in all.

    Parameters
    ----------
    lamps : one or more; their shares count as proportions of the light.

    Raises
    ------
    PlanError
        If a lamp has no duration, or durations that no such pulse has.
    """
    if not lamps:
        msg = "there is no lamp to build a pulse from"
        raise PlanError(msg)
    called = [lamp_called(lamp.name, n, len(lamps)) for n, lamp in enumerate(lamps, 1)]
    shapes = [_shape(lamp, who) for lamp, who in zip(lamps, called, strict=True)]
    course = _course(shapes, [lamp.share for lamp in lamps])
    begun_s = time_to_energy(course, FIRST_LIGHT)  # as of a recording
    cut = all(lamp.kind == "cut" for lamp in lamps)
    total = Pulse(
        start_s=0.0,
        peak=float(course.value.max()),
        durations_s=dict(course_durations(course)),
        durations_u_s=dict.fromkeys(LEVELS),
        energy=energy_of(course),
        energy_share={level: energy_within(course, level) for level in (0.5, 0.1)},
        half_energy_s=time_to_energy(course, 0.5) - begun_s,
        ninety_percent_energy_s=time_to_energy(course, 0.9) - begun_s,
        rise_s=0.0,
        kind="cut" if cut else "decaying",
    )
    notes = [
        f"the pulse of {who} is modelled: it rises at once and {shape.words}"
        for who, shape in zip(called, shapes, strict=True)
    ]
    if len(lamps) > 1:
        notes.append("the lamps are taken to fire at the same moment")
    return Firing((total,), total, course, "model", ("durations-modelled",), tuple(notes))


def lamp_called(name: str | None, number: int, lamps: int) -> str:
    """What a message calls a lamp: by its name, else by its number where there are several."""
    if name is not None:
        return f'lamp "{in_one_line(name, LONGEST_NAME)}"'
    return f"lamp {number}" if lamps > 1 else "the lamp"


def _shape(lamp: LampPulse, who: str) -> _Shape:
    """The pulse that has a lamp's durations."""
    half, tenth = lamp.half_s, lamp.tenth_s
    if half is not None and tenth is not None:
        return _by_both(half, tenth, lamp.kind, who)
    seconds, of_peak, name = (half, 0.5, "t.5") if half is not None else (tenth, 0.1, "t.1")
    if seconds is None:
        msg = f"{who} has no duration: give its t.5 or its t.1"
        raise PlanError(msg)
    by = f"{name} of {span_text(seconds)}"
    if lamp.kind == "cut":
        return _even(seconds, by)
    return _decay(seconds / -math.log(of_peak), 1.0, f"decays exponentially, by its {by}")


def _by_both(half: float, tenth: float, kind: str, who: str) -> _Shape:
    """The pulse that has both durations."""
    ratio = tenth / half
    both = f"t.5 of {span_text(half)} and its t.1 of {span_text(tenth)}"
    if ratio < 1 - AS_ONE:
        msg = f"{who} has its {both}: t.1 is the longer one of any flash"
        raise PlanError(msg)
    if ratio <= 1 + AS_ONE:
        return _even(half, f"t.5 and t.1 of {span_text(half)}")
    if kind == "decaying":
        beta = math.log(DECAY) / math.log(ratio)
        power = f"{beta:.2f}"
        how = (
            "decays exponentially"
            if power == "1.00"
            else f"decays as exp(-(t/\N{GREEK SMALL LETTER TAU})^{power})"
        )
        return _decay(half / math.log(2) ** (1 / beta), beta, f"{how}, by its {both}")
    if ratio > DECAY * (1 + AT_ONCE):
        msg = f"{who} is cut and has its {both}: no decay that is cut has a ratio above {DECAY:.4f}"
        raise PlanError(msg)
    words = f"decays exponentially, by its t.5 of {span_text(half)}, until it is cut at its t.1 of "
    return _Shape(half / math.log(2), 1.0, tenth, words + span_text(tenth))


def _decay(tau_s: float, beta: float, words: str) -> _Shape:
    """A decay that nothing cuts."""
    end = float(gammainccinv(1 / beta, LEFT))
    return _Shape(tau_s, beta, tau_s * end ** (1 / beta), words)


def _even(seconds: float, by: str) -> _Shape:
    """Even light that ends at once."""
    return _Shape(math.inf, 1.0, seconds, f"is even until it is cut, by its {by}")


def _course(shapes: Sequence[_Shape], shares: Sequence[float]) -> Course:
    """Light of all of them against time, seen wherever one of them changes."""
    times = np.unique(np.concatenate([shape.times_s() for shape in shapes]))
    risen = AT_ONCE * min(min(shape.tau_s, shape.end_s) for shape in shapes)
    apart = np.diff(times, prepend=0.0) > ROUNDING * times
    times = np.concatenate([[0.0, 0.0], times[apart & (times > risen)]])
    weights = np.array(shares) / sum(shares)
    light = [
        weight / shape.energy_s() * shape.light(times)
        for weight, shape in zip(weights, shapes, strict=True)
    ]
    value = np.sum(light, axis=0)
    times[1], value[0] = risen, 0.0
    return Course(times, value)
