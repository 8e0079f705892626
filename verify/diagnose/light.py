"""The model of the light to findings: courses, steps and what depends on the camera's settings."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from verify.diagnose.actions import wait_action
from verify.diagnose.fit import Problem, Term
from verify.diagnose.lost import is_dark_first
from verify.diagnose.picture import Picture
from verify.diagnose.place import Moved, moved, near
from verify.diagnose.proposals import step_interval
from verify.diagnose.recycle import shortest
from verify.diagnose.search import Explained
from verify.diagnose.series import Series
from verify.diagnose.weighed import Told, Weighed, among
from verify.notation import stops_text

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEAST_SHARE = 0.5  # of the tolerance: what moves the light by less is no finding


@dataclass(frozen=True, slots=True, eq=False)
class Light:
    """A series, the model of its light, and how its findings are told."""

    series: Series
    problem: Problem
    explained: Explained
    picture: Picture
    told: Told

    @property
    def least(self) -> float:
        """What moves the light by less is no finding [stop]."""
        return LEAST_SHARE * self.series.tolerance


@dataclass(frozen=True, slots=True, eq=False)
class _Chosen:
    """One term of the model with its weight."""

    at: int  # its place among the terms
    term: Term
    size: float  # [stop]; 1 of a course that has its own
    chance: float
    rivals: dict[str, float]
    evidence: float

    @property
    def detail(self) -> dict[str, Any]:
        """What every finding of a term has."""
        return {"rivals": {k: round(v, 2) for k, v in self.rivals.items()}} if self.rivals else {}


def light_found(light: Light, runs: tuple[int, ...]) -> Iterator[Weighed]:
    """Findings of the terms of the model that move the light enough.

    Parameters
    ----------
    runs : places of steps that are runs of lost frames and told as such.
    """
    tellers: dict[str, Callable[[Light, _Chosen], Weighed]] = {
        "step": _step,
        "drift": _drift,
        "recycle": _recycle,
        "first-pop": _first_pop,
        "ambient": _ambient,
        "shutter-cut": _cut,
        "iso-not-in-signal": _iso,
    }
    model = light.explained.model
    known = light.series.known
    for at, (term, size) in enumerate(zip(model.terms, model.sizes, strict=True)):
        if term.is_drop or at in runs or is_dark_first(light.series, term, size):
            continue
        if np.ptp(term.values[known]) * abs(size) < light.least:
            continue
        costs = light.explained.rivals[at]
        chance, rivals = among(costs, model.cost)
        chosen = _Chosen(at, term, size, chance, rivals, costs[""] - model.cost)
        yield tellers[term.cause](light, chosen)


def _frames_text(number: int) -> str:
    return "1 frame" if number == 1 else f"{number} frames"


def _step(light: Light, chosen: _Chosen) -> Weighed:
    series, at = light.series, chosen.term.at
    count = len(series.frames)
    first, last = step_interval(light.problem, light.explained.model, chosen.at)
    others = [t.at for t in light.explained.model.terms if t.cause == "step" and t.at > at]
    end = min(others, default=count)
    number = np.arange(count)
    frames = (number >= at) & (number < end)
    said = moved(series, light.picture.scene, *near(at, count), chosen.size)
    size = chosen.size
    detail = chosen.detail | {
        "begins": str(series.frames[at].file),
        "between": [str(series.frames[first].file), str(series.frames[last].file)],
        "lasts_frames": int(frames.sum()),
    }
    if said.chance > 0.5:
        return card_moved(light, frames, size, chosen.chance * said.chance, chosen.evidence, said,
                          detail)  # fmt: skip
    scene = "" if said.scene_stops is None else (
        f"; the rest of the picture changes by {stops_text(said.scene_stops)} with it"
    )  # fmt: skip
    sentence = (
        f"From {series.frames[at].file.name} on the light is {stops_text(size)} stop against the "
        f"frames before, {abs(size) / light.explained.model.sigma:.0f} times the scatter{scene}."
    )
    chance = chosen.chance * (1 - said.chance)
    return light.told.of("step", frames, size, chance, chosen.evidence, sentence, detail)


def card_moved(
    light: Light, frames: Bools, size: float, chance: float, evidence: float, said: Moved,
    detail: dict[str, Any],
) -> Weighed:  # fmt: skip
    """The finding of a card that moved."""
    parts = []
    if said.shift is not None:
        parts.append(f"the card's middle is off by {100 * said.shift:.1f} % of the picture")
    if said.growth is not None:
        parts.append(f"its size by {100 * said.growth:+.1f} %")
    if said.scene_stops is not None:
        parts.append(f"the rest of the picture changes by {stops_text(said.scene_stops)} stop only")
    sentence = (
        f"The card's light changes by {stops_text(size)} stop in "
        f"{_frames_text(int(frames.sum()))}, and {' and '.join(parts)}. At 1 m "
        "from a head 10 cm are a quarter of a stop, and a tilt of 30° is a fifth."
    )
    more = {"shift_share": said.shift, "growth_share": said.growth, "scene_stops": said.scene_stops}
    return light.told.of("card-moved", frames, size, chance, evidence, sentence, detail | more)


def _drift(light: Light, chosen: _Chosen) -> Weighed:
    series, (kind, tau) = light.series, chosen.term.params
    by = ("frame number", "time", "pops")[int(kind)]
    values = chosen.term.values * chosen.size
    size = float(values[-1] - values[0])
    how = "without levelling off" if math.isinf(tau) else "levelling off"
    sentence = (
        f"The light moves by {stops_text(size)} stop from the first to the last of "
        f"{len(series.frames)} frames, {how}, by {by}."
    )
    detail = chosen.detail | {"by": by, "levels_off": math.isfinite(tau)}
    if math.isfinite(tau) and by == "time" and series.at_s is not None:
        detail["time_constant_s"] = round(tau * float(series.at_s[-1] - series.at_s[0]), 1)
    every = np.ones(len(series.frames), bool)
    return light.told.of("drift", every, size, chosen.chance, chosen.evidence, sentence, detail)


def _recycle(light: Light, chosen: _Chosen) -> Weighed:
    series, (tau, depth, kind) = light.series, chosen.term.params
    loss = np.where(np.isnan(series.gap_s), 0.0, chosen.term.values)
    frames = loss < -light.least
    found = shortest(series, light.problem, light.explained.model, chosen.at)
    high = found.high_s if math.isfinite(found.high_s) else None
    deepest = float(loss.min())
    fastest = float(series.gap_s[int(loss.argmin())])
    upper = f"{high:.2g}" if high is not None else "no bound"
    sentence = (
        f"The shorter the gap to the frame before, the less light: {stops_text(deepest)} stop at "
        f"{fastest:.2g} s; {_frames_text(int(frames.sum()))} lose more than "
        f"{light.least:.2f} stop. Gaps of {found.gap_s:.2g} s keep within "
        f"{series.tolerance:.2f} stop (95 %: {found.low_s:.2g} to {upper} s)."
    )
    detail = chosen.detail | {
        "shortest_gap_s": found.gap_s,
        "shortest_gap_interval_s": [found.low_s, high],
        "time_constant_s": tau,
        "depth": depth,
        "carried_over": bool(kind),
        "largest_loss_stops": deepest,
    }
    action = wait_action(high if high is not None and high < 3 * found.gap_s else found.gap_s)
    return light.told.of("recycle", frames, deepest, chosen.chance, chosen.evidence, sentence,
                         detail, action)  # fmt: skip


def _first_pop(light: Light, chosen: _Chosen) -> Weighed:
    series = light.series
    frames = chosen.term.values > 0
    gaps = series.gap_s[frames & np.isfinite(series.gap_s)]
    after = f"after gaps of {gaps.min():.0f} s and more" if gaps.size else "the first of the series"
    number = int(frames.sum())
    sentence = (
        f"{_frames_text(number)} {after} {'differs' if number == 1 else 'differ'} by "
        f"{stops_text(chosen.size)} stop from those that follow."
    )
    detail = chosen.detail | {"idle_s": float(gaps.min()) if gaps.size else None}
    return light.told.of("first-pop", frames, chosen.size, chosen.chance, chosen.evidence, sentence,
                         detail)  # fmt: skip


def _ambient(light: Light, chosen: _Chosen) -> Weighed:
    series, (room, kind) = light.series, chosen.term.params
    open_s = np.where(series.timed, np.nan, series.shutter_s)
    size = float(np.ptp(chosen.term.values))
    longest = float(np.nanmax(open_s))
    frames = np.isfinite(open_s) & (chosen.term.values > chosen.term.values.min() + size / 2)
    hour = ("", ", and more the later it is", ", and less the later it is")[int(kind)]
    sentence = (
        f"The light grows with the shutter time, by {stops_text(size)} stop up to {longest:.3g} s"
        f"{hour}: other light than the flash, {stops_text(math.log2(room))} stop against it there."
    )
    detail = chosen.detail | {
        "ambient_stops_at_longest": math.log2(room),
        "longest_s": longest,
        "by_hour": ("steady", "rising", "falling")[int(kind)],
    }
    return light.told.of("ambient", frames, size, chosen.chance, chosen.evidence, sentence, detail)


def _cut(light: Light, chosen: _Chosen) -> Weighed:
    frames = chosen.term.values > 0
    longest = chosen.term.params[0]
    cut = light.picture.cut
    seen = "" if cut is None else (
        f", and towards the {cut.side} of the picture {stops_text(cut.loss_stops)} stop"
    )  # fmt: skip
    sentence = (
        f"At shutter times of {longest:.3g} s and shorter the light is {stops_text(chosen.size)} "
        f"stop against longer ones{seen}."
    )
    detail = chosen.detail | {"longest_s": longest, "side": None if cut is None else cut.side}
    return light.told.of("shutter-cut", frames, chosen.size, chosen.chance, chosen.evidence,
                         sentence, detail)  # fmt: skip


def _iso(light: Light, chosen: _Chosen) -> Weighed:
    values = chosen.term.values
    frames = values != 0
    size = float(values[np.argmax(np.abs(values))])
    sentence = (
        f"Where the ISO changes the light changes by as much the other way, {stops_text(size)} "
        f"stop, in {_frames_text(int(frames.sum()))}: the signal does not follow the ISO."
    )
    return light.told.of("iso-not-in-signal", frames, size, chosen.chance, chosen.evidence,
                         sentence, chosen.detail)  # fmt: skip
