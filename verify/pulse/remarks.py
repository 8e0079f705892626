"""About a recorded flash as a whole: warnings, and notes with what they do to its numbers."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from verify.pulse.bandwidth import bandwidth_effect
from verify.pulse.baseline import Light
from verify.pulse.coupling import Coupling, without_coupling
from verify.pulse.records import LEVELS, Pulse
from verify.pulse.timed import Timed, timed
from verify.pulse.words import frequency_text, percent, span_text

PRE_FLASH = 0.5  # of the main firing's energy, below which one before it is a pre-flash
MOST_NAMED = 3  # pre-flashes in a note
SLOW_MATTERS = 0.01  # share of a duration


def pre_flashes(pulses: Sequence[Pulse]) -> list[int]:
    """Which firings are weaker ones before the main one."""
    main = max(range(len(pulses)), key=lambda n: pulses[n].energy)
    return [n for n in range(main) if pulses[n].energy < PRE_FLASH * pulses[main].energy]


def light_remarks(light: Light, pulses: Sequence[Pulse]) -> tuple[list[str], list[str]]:
    """Warnings and notes about polarity, baseline, pre-flashes and mains."""
    warnings, notes = [], []
    if light.turned:
        warnings.append("negative-polarity")
    if light.unsure:
        warnings.append("baseline-unsure")
    main = max(range(len(pulses)), key=lambda n: pulses[n].energy)
    before = [pulses[n] for n in pre_flashes(pulses)]
    if before:
        warnings.append("pre-flash")
        each = ", ".join(
            f"{span_text(pulses[main].start_s - one.start_s)} before it with"
            f" {percent(one.energy / pulses[main].energy)}"
            for one in before[:MOST_NAMED]
        )
        more = f", and {len(before) - MOST_NAMED} more" if len(before) > MOST_NAMED else ""
        notes.append(
            f"weaker firings come before the main one: {each} of its energy{more}. They are over"
            " before the shutter opens, so shutter and motion are held against what follows"
        )
    if light.drift:
        share = percent(light.drift, signed=True)
        notes.append(f"the baseline drifts by {share} of the peak during the flash: taken out")
    if light.hum is not None:
        warnings.append("mains-ripple")
        notes.append(_hum_note(light, main, pulses[main]))
    return warnings, notes


def _hum_note(light: Light, main: int, pulse: Pulse) -> str:
    """What hum of the mains does, or did before it was taken out."""
    if light.hum is None:
        return ""
    swing = f"{light.hum.main_hz:g} Hz, ± {percent(light.hum.amplitude / pulse.peak)} of the peak"
    if not light.hum_taken:
        return f"mains in the recording: {swing}; too little is dark to take it out"
    said, tenth_s = f"mains taken out of the recording: {swing}", pulse.durations_s[0.1]
    even = light.even
    wave = light.hum.at(even.step_s * np.arange(even.value.size, dtype=np.float64))
    left_in = timed(replace(light, even=replace(even, value=even.value + wave)), [main])
    other_s = left_in.durations.seconds[0.1]
    if tenth_s is None or other_s is None:
        return said
    return f"{said}; left in, it changes t.1 by {percent(other_s / tenth_s - 1, signed=True)}"


def coupled(
    light: Light, coupling: Coupling, pulses: Sequence[Pulse], total: Pulse
) -> tuple[list[Pulse], Pulse, str]:
    """Pulses and their total with AC coupling in their uncertainties, and a note about it."""
    undone = replace(light, even=replace(light.even, value=without_coupling(light, coupling)))
    surer = []
    for n, pulse in enumerate(pulses):
        surer.append(_less_sure(pulse, timed(undone, [n])))
    main = max(range(len(pulses)), key=lambda n: pulses[n].energy)
    without = timed(undone, [main]).durations.seconds
    effects = []
    for level in (0.5, 0.1):
        shown_s, true_s = pulses[main].durations_s[level], without[level]
        if shown_s is not None and true_s is not None:
            effects.append(f"t.{level * 10:.0f} by {percent(1 - shown_s / true_s)}")
    shortened = f"; it shortens {' and '.join(effects)}" if effects else ""
    note = (
        f"after the flash the trace falls {percent(coupling.depth)} of the peak below its baseline"
        f" and comes back with {span_text(coupling.constant_s)}, as behind a high-pass of"
        f" {frequency_text(1 / (2 * math.pi * coupling.constant_s))}{shortened}"
    )
    if len(pulses) == 1:
        return surer, surer[0], note
    return surer, _less_sure(total, timed(undone, range(len(pulses)))), note


def _less_sure(pulse: Pulse, without: Timed) -> Pulse:
    """A pulse with what another way to see it differs by in its uncertainties."""
    u_s: dict[float, float | None] = {}
    for level in LEVELS:
        own_s, own_u_s = pulse.durations_s[level], pulse.durations_u_s[level]
        other_s = without.durations.seconds[level]
        if own_s is None or own_u_s is None or other_s is None:
            u_s[level] = own_u_s
        else:
            u_s[level] = math.hypot(own_u_s, other_s - own_s)
    return replace(pulse, durations_u_s=u_s)


def sound_note() -> str:
    """About a sound recording that shows no AC coupling."""
    return (
        "sound recorders are AC coupled, which bends the tail of a flash down; nothing is seen of"
        " that here"
    )


def bandwidth_remarks(
    light: Light, found: Timed, pulse: Pulse, bandwidth_hz: float
) -> tuple[list[str], str]:
    """Warnings, and a note about what the sensor does to the durations."""
    even = light.even
    effect = bandwidth_effect(
        even.value[found.begins : found.ends], even.step_s, light.noise, bandwidth_hz, pulse.rise_s
    )
    shares = [
        f"{name} by {f'{100 * share:.1f} %' if effect.exact else f'about {percent(share)}'}"
        for name, share in (("t.5", effect.half), ("t.1", effect.tenth))
        if share is not None
    ]
    sensor = f"a sensor of {frequency_text(bandwidth_hz)}"
    if not shares:
        return [], f"what {sensor} does to the durations cannot be known from this recording"
    does = f"lengthens {' and '.join(shares)}; the energy is not touched"
    if effect.too_fast:
        return ["faster-than-sensor"], f"{sensor} would show this pulse longer: it {does}"
    most = max(share for share in (effect.half, effect.tenth) if share is not None)
    return ["slow-sensor"] if most > SLOW_MATTERS else [], f"{sensor} {does}"
