"""A recording as light above what is dark: read top to bottom, from a first look to the last."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from verify.pulse.dark import NOISELESS, Dark, dark_of
from verify.pulse.even import Even, block_means, without_spikes
from verify.pulse.find import STANDS_OUT, Lit, dark_around, lit
from verify.pulse.hum import Hum, hum_of
from verify.pulse.level import drift_of, level_of
from verify.pulse.noise import quantum_of
from verify.pulse.refuse import refuse_no_light, refuse_other_signals

HUM_BLOCKS = 8000  # that hum is looked for in
HUM_MATTERS = 0.005  # of the highest light
HUM_KNOWN = 0.3  # its uncertainty, as a share of it, with which it can be taken out
DRIFT_MATTERS = 0.003  # of the highest light
DRIFT_ENDS = 0.01  # of it, that may be left after the flash of a drift that was taken out
SPIKE = 8.0  # deviations, by which a single sample among dark ones is no light
TINY = 1e-300  # instead of no noise
COARSER = 4  # times more samples in a block, where single samples are too noisy
FEWEST_BLOCKS = 200
STANDS_OUT_WELL = 20.0  # deviations: its tail is seen too
SURER = 1.5  # times as far out of the noise, that light in blocks must stand
ENOUGH = 200  # samples inside t.5, up to which they are averaged


@dataclass(frozen=True, slots=True, eq=False)
class Light:
    """A recording as light above its baseline, evenly sampled."""

    even: Even  # its values are light: 0 where it is dark, more where it is not
    firings: tuple[Lit, ...]  # where light is, in the order of time; at least one
    noise: float  # standard deviation of a value
    u_level: float  # standard uncertainty of the baseline under the flash
    quantum: float  # step that values come in; 0 where they do not
    most: float | None  # what the recorder shows at its limit, as light; None where not known
    turned: bool  # less was more, and was turned over
    unsure: bool  # hardly anything is dark
    before: slice  # samples that are dark before the first firing
    after: slice  # and after the last one
    hum: Hum | None = None  # of the mains, where there is enough of it to matter
    hum_taken: bool = False  # whether it was taken out
    drift: float = 0.0  # of the baseline over the flash, taken out, as a share of the peak


def light_of(even: Even, limits: tuple[float | None, float | None], where: str) -> Light:
    """A recording above its baseline.

    Parameters
    ----------
    even : as recorded.
    limits : lowest and highest value that the recorder can write; None where not known.
    where : the recording, for messages.

    Raises
    ------
    PlanError
        If there is no flash in it.
    """
    refuse_other_signals(even, where)
    even, quantum, dark, firings = _first_look(even, where)
    above = dark.sign * (even.value - dark.level)
    before, after = dark_around(above, dark.noise, firings)
    level = level_of(above, before, after, dark.noise, quantum)
    noise = max(level.noise, NOISELESS * float(np.ptp(above)))
    limit = limits[1] if dark.sign > 0 else limits[0]
    light = Light(
        even=replace(even, value=above - level.value),
        firings=firings,
        noise=noise,
        u_level=level.u,
        quantum=quantum,
        most=None if limit is None else dark.sign * (limit - dark.level) - level.value,
        turned=dark.sign < 0,
        unsure=level.unsure,
        before=before,
        after=after,
    )
    light = _without_drift(_without_hum(light, where), where)
    return _without_spikes(_looked_at_again(light, where))


def _first_look(even: Even, where: str) -> tuple[Even, float, Dark, tuple[Lit, ...]]:
    """Where light is, in blocks where single samples are too noisy to tell."""
    block, stands_out, surest, taken = 1, 0.0, 0.0, 1
    found: tuple[Even, float, Dark, tuple[Lit, ...]] | None = None
    while block == 1 or even.value.size // block >= FEWEST_BLOCKS:
        value = block_means(even.value, block)
        quantum = quantum_of(even.value) if block == 1 else 0.0
        dark = dark_of(value, quantum)
        above = dark.sign * (value - dark.level)
        firings = lit(above, dark.noise)
        sure = _highest(above, firings) / max(dark.noise, TINY)
        stands_out = stands_out or sure
        if firings:
            if found is not None and (len(firings) < len(found[3]) or sure < SURER * surest):
                break  # it is a short one: blocks do not make it clearer
            start_s = even.start_s + (block - 1) / 2 * even.step_s
            coarser = Even(start_s, even.step_s * block, value, even.recorded_step_s)
            found, surest, taken = (coarser, quantum, dark, firings), sure, block
            if sure > STANDS_OUT_WELL:
                break
        elif found is not None:
            break
        block *= COARSER
    if found is None or _is_weak(found[0].value, found[2], taken, stands_out):
        refuse_no_light(stands_out, where)
    return found


def _is_weak(value: NDArray[np.float64], dark: Dark, block: int, stands_out: float) -> bool:
    """Whether light hardly stands out even of as many samples as durations are found from."""
    above = dark.sign * (value - dark.level)
    inside = int((above > above.max() / 2).sum()) * block
    return stands_out * math.sqrt(max(inside / ENOUGH, 1)) < STANDS_OUT


def _highest(above: NDArray[np.float64], firings: tuple[Lit, ...]) -> float:
    """Highest light that is more than one sample."""
    if not firings:
        return float(np.minimum(above[1:], above[:-1]).max())
    return max(
        float(without_spikes(above[max(one.first - 1, 0) : one.last + 2]).max()) for one in firings
    )


def _without_hum(light: Light, where: str) -> Light:
    """The light without hum of the mains, where that is known well enough."""
    even = light.even
    block = -(-even.value.size // HUM_BLOCKS)
    means = block_means(even.value, block)
    place = block * np.arange(means.size) + (block - 1) / 2
    is_dark = (place < light.before.stop) | (place >= light.after.start)
    hum = hum_of(place[is_dark] * even.step_s, means[is_dark])
    if hum is None or hum.amplitude < HUM_MATTERS * _highest(even.value, light.firings):
        return light
    if not hum.sure or hum.u > HUM_KNOWN * hum.amplitude:
        u_level = math.hypot(light.u_level, hum.amplitude / math.sqrt(2))
        return replace(light, hum=hum, u_level=u_level)
    value = even.value - hum.at(even.step_s * np.arange(even.value.size, dtype=np.float64))
    without = _looked_at_again(replace(light, even=replace(even, value=value)), where)
    level = level_of(value, without.before, without.after, light.noise, light.quantum)
    return replace(
        without,
        even=replace(even, value=value - level.value),
        noise=max(level.noise, NOISELESS * float(np.ptp(value))),
        u_level=math.hypot(level.u, hum.u),
        unsure=level.unsure,
        hum=hum,
        hum_taken=True,
    )


def _without_drift(light: Light, where: str) -> Light:
    """The light on a level that does not drift, where it is seen to before and after the flash."""
    value, first, last = light.even.value, light.firings[0], light.firings[-1]
    drift = drift_of(value, light.before)
    if drift is None:
        return light
    highest = _highest(value, light.firings)
    reach = last.last - drift.middle
    if abs(drift.slope) * reach < DRIFT_MATTERS * highest:
        return light
    line = drift.slope * (np.arange(value.size) - drift.middle)
    flat = _looked_at_again(
        replace(light, even=replace(light.even, value=value - line), firings=light.firings), where
    )
    level = level_of(flat.even.value, flat.before, flat.after, light.noise, light.quantum)
    after = flat.even.value[flat.after]
    off = abs(float(after.mean())) if after.size else math.inf
    u = drift.u_slope * (value.size - drift.middle)
    if off > max(3 * math.hypot(u, level.u), DRIFT_ENDS * highest):
        return light  # what rises before the flash does not go on after it
    return replace(
        flat,
        even=replace(flat.even, value=flat.even.value - level.value),
        noise=max(level.noise, NOISELESS * highest),
        u_level=math.hypot(level.u, drift.u_slope * reach),
        drift=drift.slope * (flat.firings[-1].last - first.first) / highest,
    )


def _without_spikes(light: Light) -> Light:
    """The light without single samples that stick out near it where it is dark: they are none."""
    value = light.even.value
    for one in light.firings:
        around = one.last - one.first + 200
        near = slice(max(one.first - around, one.begins), min(one.last + around, one.ends))
        own = value[near]
        lit_first, lit_last = max(one.first - near.start - 2, 0), one.last - near.start + 3
        sides = (own[:lit_first], own[lit_last:])
        if all(not side.size or float(np.abs(side).max()) < SPIKE * light.noise for side in sides):
            continue
        calm = without_spikes(own)
        spikes = np.abs(own - calm) > SPIKE * light.noise
        quiet = np.abs(calm) < STANDS_OUT * light.noise
        quiet[1:-1] &= quiet[:-2] & quiet[2:]
        spikes &= quiet
        # Beside a jump a sample also differs from both its neighbours: what is next to light stays.
        spikes[lit_first:lit_last] = False
        if spikes.any():
            value = value.copy()
            value[near] = np.where(spikes, calm, own)
    return (
        light
        if value is light.even.value
        else replace(light, even=replace(light.even, value=value))
    )


def _looked_at_again(light: Light, where: str) -> Light:
    """Where light is, now that more is known of what is dark."""
    value = light.even.value
    firings = lit(value, light.noise)
    if not firings:
        refuse_no_light(_highest(value, ()) / light.noise, where)
    before, after = dark_around(value, light.noise, firings)
    return replace(light, firings=firings, before=before, after=after)
