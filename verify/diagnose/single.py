"""Findings about frames that are off by themselves, or in a part of the picture."""

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from verify.diagnose.fit import CLEAR
from verify.diagnose.light import Light, card_moved
from verify.diagnose.lost import Loss, Missing, fell_to_ambient, is_dark_first, missing
from verify.diagnose.place import Moved, moved
from verify.diagnose.records import Cause
from verify.diagnose.weighed import Weighed, files
from verify.notation import stops_text

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MOST_PLACES, BESIDE = 12, 4  # frames whose place is looked at; usual ones on each side
BOUND_STOPS = 2.5  # below the others, that a bound has to be for no flash to have fired
SURE_BLOCKED, ONE_BLOCKED = 0.97, 0.9  # of several frames, of one
LONG_BLOCKED = 0.7  # where it lasts to the end: the picture itself may be another


def lost_found(light: Light, found: list[Loss], blocked: Bools) -> Iterator[Weighed]:
    """Findings of groups of frames that lost light.

    Parameters
    ----------
    found : the groups.
    blocked : (frames,) whether a part of the picture lost light: told elsewhere.
    """
    dark = _dark(light) | _first_dark(light)
    for loss in found:
        if (loss.frames & blocked).sum() * 2 >= loss.frames.sum():
            continue
        if fell_to_ambient(light.series, loss.frames, loss.stops):
            dark |= loss.frames
            continue
        said = _moved_alone(light, loss)
        if said.chance > 0.5:
            yield card_moved(light, loss.frames, loss.stops, loss.chance * said.chance,
                             loss.evidence, said, {})  # fmt: skip
        else:
            yield _missing(light, loss, missing(light.series, light.explained.model, light.picture,
                                                loss))  # fmt: skip
    if dark.any():
        yield _no_flash(light, dark)


def _moved_alone(light: Light, loss: Loss) -> Moved:
    """Whether the card moved for these frames, and was back in its place before and after each."""
    usual = np.flatnonzero((light.explained.model.usual > 0.5) & ~loss.frames)
    said = []
    for at in np.flatnonzero(loss.frames)[:MOST_PLACES]:
        sides = [usual[usual < at][-BESIDE:], usual[usual > at][:BESIDE]]
        of_sides = [
            moved(light.series, light.picture.scene, _mask(side, light), _mask([at], light),
                  loss.stops)
            for side in sides if len(side)
        ]  # fmt: skip
        said += [min(of_sides, key=lambda one: one.chance)] if of_sides else []
    if not said:
        return Moved(0.0, None, None, None)
    return sorted(said, key=lambda one: one.chance)[len(said) // 2]


def _mask(places: ArrayLike, light: Light) -> Bools:
    """(frames,) whether a frame is at one of these places."""
    inside = np.zeros(len(light.series.frames), bool)
    inside[np.asarray(places, int)] = True
    return inside


def _dark(light: Light) -> Bools:
    """Frames of which only an upper bound is known, and that is far below the others."""
    series = light.series
    level = series.light - light.explained.model.residuals
    usual = float(np.nanmedian(level)) if np.isfinite(level).any() else 0.0
    return np.array([
        f.bound == "at-most" and f.rest_stops - usual < -BOUND_STOPS for f in series.frames
    ], bool)  # fmt: skip


def _first_dark(light: Light) -> Bools:
    """The first frame, where it lost so much that it is no first pop but none."""
    model = light.explained.model
    dark = np.zeros(len(light.series.frames), bool)
    for term, size in zip(model.terms, model.sizes, strict=True):
        if is_dark_first(light.series, term, size):
            dark |= term.values > 0
    return dark


def _missing(light: Light, loss: Loss, what: Missing) -> Weighed:
    number = int(loss.frames.sum())
    series = light.series
    parts = [
        f"{'1 frame is' if number == 1 else f'{number} frames are'} low by "
        f"{-loss.stops:.2f} ± {2 * loss.u_stops:.2f} stop"
        f"{' each' if number > 1 else ''}, and those around are not"
    ]
    cause: Cause = "lamp-missing"
    detail: dict[str, Any] = {"loss_stops": loss.stops, "u_stops": loss.u_stops}
    if what.cause == "pop-missing":
        cause = "pop-missing"
        planned = int(np.median([
            f.pops for f, i in zip(series.frames, loss.frames, strict=True) if i
        ]))  # fmt: skip
        expected = np.log2((planned - what.pops) / planned)
        parts.append(f"{what.pops} of {planned} pops missing is {stops_text(expected)}")
        detail |= {"planned": planned, "missing": what.pops}
    else:
        parts.append(f"a lamp that gives {100 * (1 - 2**loss.stops):.0f} % of the light is missing")
    if what.color_stops is not None:
        parts.append(f"colour differs by {stops_text(what.color_stops)} there")
    if what.pattern is not None:
        parts.append(f"the pattern of light differs by {what.pattern:.1f} times the usual")
    detail |= {"color_stops": what.color_stops, "pattern": what.pattern}
    if what.chance < 0.99:
        other = "lamp-missing" if cause == "pop-missing" else "pop-missing"
        detail["rivals"] = {other: round(1 - what.chance, 2)}
    sentence = "; ".join(parts) + "."
    chance = loss.chance * what.chance
    return light.told.of(cause, loss.frames, loss.stops, chance, loss.evidence, sentence, detail)


def _no_flash(light: Light, dark: Bools) -> Weighed:
    model = light.explained.model
    level = float(np.nanmedian(np.where(dark, np.nan, light.series.light)))
    depths = np.array([
        f.rest_stops - level
        for f, d in zip(light.series.frames, dark, strict=True) if d
    ])  # fmt: skip
    size = float(np.median(depths))
    number = int(dark.sum())
    sentence = (
        f"{'1 frame has' if number == 1 else f'{number} frames have'} {stops_text(size, 1)} stop "
        "against the others: what is left is the light of the room."
    )
    evidence = number * min(0.5 * (size / model.sigma) ** 2, 700.0)
    return light.told.of("no-flash", dark, size, 0.97, evidence, sentence, {"left_stops": size})


def blocked_found(light: Light) -> Iterator[Weighed]:
    """The finding that a part of the picture loses light."""
    blocked = light.picture.blocked
    if blocked is None:
        return
    number = int(blocked.frames.sum())
    sentence = (
        f"In {number} {'frame' if number == 1 else 'frames'} {100 * blocked.share:.0f} % of the "
        f"picture, in one piece, has {stops_text(blocked.loss_stops)} stop; the rest of the "
        "picture does not change."
    )
    lasting = blocked.frames[-1] and blocked.frames.sum() > len(blocked.frames) / 3
    chance = LONG_BLOCKED if lasting else SURE_BLOCKED if number > 1 else ONE_BLOCKED
    evidence = number * min(0.5 * (blocked.loss_stops / light.explained.model.sigma) ** 2, 700.0)
    detail = {"share": blocked.share}
    yield light.told.of("blocked", blocked.frames, blocked.loss_stops, chance, evidence, sentence,
                        detail)  # fmt: skip


def cut_found(light: Light) -> Iterator[Weighed]:
    """The finding that a curtain cuts the light, by the picture alone."""
    cut = light.picture.cut
    if cut is None:
        return
    number = int(cut.frames.sum())
    sentence = (
        f"In {number} {'frame' if number == 1 else 'frames'} at {cut.longest_s:.3g} s and shorter "
        f"the light falls off towards the {cut.side} of the picture by "
        f"{stops_text(cut.loss_stops)} stop; at longer times it does not."
    )
    evidence = number * min(0.5 * (cut.loss_stops / light.explained.model.sigma) ** 2, 700.0)
    detail = {"side": cut.side, "longest_s": cut.longest_s}
    yield light.told.of("shutter-cut", cut.frames, cut.loss_stops, 0.97, evidence, sentence, detail)


def unexplained(light: Light, told: Bools) -> tuple[str, ...]:
    """Notes on frames that are off and that no cause explains."""
    model = light.explained.model
    off = (np.abs(model.residuals) > CLEAR * model.sigma) & (model.usual < 0.5)
    off &= light.series.known & ~told
    found = []
    for side in (model.residuals > 0, model.residuals < 0):
        if (off & side).any():
            names = [file.name for file in files(light.series, off & side)]
            shown = ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
            size = stops_text(float(np.median(model.residuals[off & side])))
            found.append(f"{shown}: {size} stop against the others, and no cause that is known.")
    return tuple(found)
