"""A recorded light trace to the flash light in it, read top to bottom."""

import math
from collections.abc import Sequence

from verify.errors import PlanError
from verify.pulse.baseline import Light, light_of
from verify.pulse.coupling import coupling_of
from verify.pulse.course import course_of
from verify.pulse.energy import Shone, energy_shone, shone
from verify.pulse.even import even_of
from verify.pulse.faults import ENDS_LIT, FEWEST_INSIDE, Ends, clipped_s, cut_at, dips_of, ends_of
from verify.pulse.kind import kind_of
from verify.pulse.records import Firing, Pulse
from verify.pulse.refuse import refuse_no_light
from verify.pulse.remarks import (
    bandwidth_remarks,
    coupled,
    light_remarks,
    pre_flashes,
    sound_note,
)
from verify.pulse.timed import Timed, timed
from verify.pulse.words import percent, span_text
from verify.trace.records import Trace

LEAST_RISE = 0.8  # of a step, that light seems to rise within when it jumps


def firing_of(trace: Trace, where: str, sensor_bandwidth_hz: float | None = None) -> Firing:
    """The flash light in a recording.

    Parameters
    ----------
    trace : as recorded: any unit, baseline and polarity.
    where : the recording, for messages.
    sensor_bandwidth_hz : 3 dB bandwidth of the light sensor, where it is known.

    Raises
    ------
    PlanError
        If there is no flash in it, or none that stands out of the noise.

    References
    ----------
    ISO 2827:1988 for the durations.
    """
    if sensor_bandwidth_hz is not None and not 0 < sensor_bandwidth_hz < math.inf:
        msg = f"the sensor's bandwidth must be more than 0 Hz, not {sensor_bandwidth_hz:g}"
        raise PlanError(msg)
    light = light_of(even_of(trace), (trace.least, trace.most), where)
    numbers = range(len(light.firings))
    found = [timed(light, [n]) for n in numbers]
    ends = [ends_of(light, n, found[n].durations.peak.value) for n in numbers]
    coupling = coupling_of(light)
    lights = [shone(light, found[n], n, ends[n].whole, coupling is not None) for n in numbers]
    pulses = [_pulse(light, found[n], lights[n], ends[n], n) for n in numbers]
    total = pulses[0]
    if len(pulses) > 1:
        total = _together(pulses, timed(light, numbers), lights)
    if not total.energy > 0:  # what stood out for a moment is made up for by what is around it
        refuse_no_light(0.0, where)
    warnings, notes = light_remarks(light, pulses)
    before = pre_flashes(pulses)
    exposing = [one for n, one in enumerate(lights) if n not in before]
    if coupling is not None:
        pulses, total, note = coupled(light, coupling, pulses, total)
        warnings.append("ac-coupled")
        notes.append(note)
    elif trace.form == "sound":
        notes.append(sound_note())
    if sensor_bandwidth_hz is not None:
        main = max(numbers, key=lambda n: pulses[n].energy)
        names, note = bandwidth_remarks(light, found[main], pulses[main], sensor_bandwidth_hz)
        warnings += names
        notes.append(note)
    return Firing(
        tuple(pulses), total, course_of(exposing), "recording", tuple(warnings), tuple(notes)
    )


def _pulse(light: Light, found: Timed, own: Shone, ends: Ends, number: int) -> Pulse:
    """One firing."""
    durations = found.durations
    peak = durations.peak.value
    warnings, notes = [], []
    clipped = clipped_s(light, number)
    if clipped is not None:
        warnings.append("top-clipped")
        notes.append(
            f"the top is clipped for {span_text(clipped)}: what is shown as t.x is the time above x"
            " of the clipped peak, a smaller share of the true one"
        )
    half_s, tenth_s = durations.seconds[0.5], durations.seconds[0.1]
    if half_s is not None and half_s / light.even.recorded_step_s < FEWEST_INSIDE:
        warnings.append("coarse-samples")
        notes.append(f"{half_s / light.even.recorded_step_s:.1f} samples are inside t.5")
    dips = dips_of(found, peak)
    if dips is not None and half_s is not None:
        warnings.append("dips")
        notes.append(
            f"the light falls to {percent(dips.lowest)} of its peak and rises again: of"
            f" {span_text(half_s)} inside t.5 it is below half for {span_text(dips.lasting_s)}"
        )
    for told, said in _missing(ends, own.whole):
        warnings += told
        notes.append(said)
    if own.whole and (half_s is None or tenth_s is None):
        notes.append("noise hides when the light passes some levels: their t.x are not known")
    flickers = light.firings[number].flickers
    kind, why = kind_of(half_s, tenth_s, cut_at(found), dips is not None or flickers)
    energy = energy_shone([own], found)
    return Pulse(
        start_s=own.start_s,
        peak=peak,
        durations_s=durations.seconds,
        durations_u_s=durations.u_seconds,
        energy=energy.area,
        energy_share=energy.share,
        half_energy_s=energy.half_s,
        ninety_percent_energy_s=energy.ninety_s,
        rise_s=_rise(found, light),
        kind=kind,
        warnings=tuple(warnings),
        notes=(*notes, why) if len(light.firings) == 1 else tuple(notes),
    )


def _missing(ends: Ends, whole: bool) -> list[tuple[list[str], str]]:
    """Warnings and notes about light that the recording does not hold."""
    if whole:
        return []
    found = []
    least = "" if whole else "; its energy is at least what is shown"
    for share, edge, name, first, then in (
        (ends.begins, ends.at_start, "start-missing", "begins", "the firing before it is not out"),
        (ends.ends, ends.at_end, "tail-missing", "ends", "the next firing comes before it is out"),
    ):
        if share < ENDS_LIT:
            continue
        if edge:
            said = f"the recording {first} at {percent(share)} of the peak: t.x below that is not"
            found.append(([name], f"{said} known{least}"))
        else:
            found.append(([], f"{then}, at {percent(share)} of its peak{least}"))
    return found


def _rise(found: Timed, light: Light) -> float | None:
    """From 10 % to 90 % of the peak [s]; no shorter than samples can show."""
    low, high = found.spans_s[0.1], found.spans_s[0.9]
    if low is None or high is None:
        return None
    return max(high[0] - low[0], LEAST_RISE * light.even.step_s)


def _together(pulses: Sequence[Pulse], found: Timed, lights: list[Shone]) -> Pulse:
    """All firings as one."""
    durations, energy = found.durations, energy_shone(lights, found)
    low, high = found.spans_s[0.1], found.spans_s[0.9]
    kind, _ = kind_of(None, None, several=True)
    return Pulse(
        start_s=pulses[0].start_s,
        peak=durations.peak.value,
        durations_s=durations.seconds,
        durations_u_s=durations.u_seconds,
        energy=energy.area,
        energy_share=energy.share,
        half_energy_s=energy.half_s,
        ninety_percent_energy_s=energy.ninety_s,
        rise_s=None if low is None or high is None else high[0] - low[0],
        kind=kind,
        warnings=tuple(dict.fromkeys(name for pulse in pulses for name in pulse.warnings)),
    )
