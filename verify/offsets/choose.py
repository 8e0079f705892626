"""Which saved offset holds for a frame, and what it comes to at the frame's ISO and aperture.

What is not known is never taken for the same. A meter or a card without a name fits only an offset
fitted without one, and so does a camera that the file does not name. Two exceptions, for files that
record less than others: a body whose serial number is not known on one side is judged by its make
and model, and a frame that records no lens fits an offset of any lens.
"""

import difflib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from verify.errors import PlanError
from verify.exposure import exact_f_number, exact_iso
from verify.frames.frame import Settings
from verify.notation import aperture_text, iso_text, stops_text
from verify.offsets.records import BelongsTo, SavedOffset
from verify.plan.load import quoted
from verify.plan.records import CameraPlan, MeterOffset, OffsetPart, Reading, SetUp

SAME = 0.01  # relative: an exact ISO or f-number this close is the same
MOST_NAMED = 5  # names in a sentence

OTHER = {  # the warning where a thing is known to be another one than the offset was fitted with
    "camera": "offset-other-body",
    "lens": "offset-other-lens",
    "meter": "offset-other-meter",
    "light": "offset-other-meter",
    "method": "offset-other-meter",
    "receptor": "offset-other-meter",
    "aim": "offset-other-meter",
    "card": "offset-other-card",
}


@dataclass(frozen=True, slots=True)
class Chosen:
    """The offset for one frame, or why there is none."""

    offset: MeterOffset | None  # its stops with the parts of this frame's ISO and aperture in them
    used: str | None  # name of the saved offset
    why: str  # one sentence: which was used, or why none was
    warnings: tuple[str, ...] = ()  # names from the table of warnings


@dataclass(frozen=True, slots=True)
class _Side:
    """One thing that an offset belongs to, beside what the frame and its plan say."""

    what: str  # a key of OTHER
    fits: bool  # sure enough to take the offset unasked
    other: bool  # both sides are known, and they are not the same
    words: str  # the two sides


def by_name(saved: Sequence[SavedOffset], name: str) -> SavedOffset:
    """The saved offset of that very name.

    Raises
    ------
    PlanError
        With the names most like it, if there is none.
    """
    for offset in saved:
        if offset.name == name:
            return offset
    names = [offset.name for offset in saved]
    near = difflib.get_close_matches(name, names, 3)
    if near:
        hint = f" (did you mean {_listed(near, 'or')}?)"
    else:
        hint = f": there is {_listed(names)}" if names else ": none is saved yet"
    msg = f"no offset {quoted(name)} is saved{hint}"
    raise PlanError(msg)


def choose(
    saved: Sequence[SavedOffset], named: str | None, setup: SetUp, settings: Settings
) -> Chosen:
    """The offset that holds for a frame.

    Parameters
    ----------
    saved : all there are.
    named : the one to use, wherever it belongs; None: the one that belongs here, if exactly one.
    setup : the set-up of the frame.
    settings : what the frame's file records. What it does not counts as planned.

    Raises
    ------
    PlanError
        If no offset of that name is saved.
    """
    given = None if named is None else by_name(saved, named)
    reading, camera = setup.reading, setup.camera
    if reading is None or camera is None:
        return Chosen(None, None, "no offset is used: nothing was metered")
    if given is not None:
        sides = _sides(given.belongs, reading, setup.card.name, settings)
        others = [OTHER[side.what] for side in sides if side.other]
        return _used(given, reading, camera, settings, others)
    if not saved:
        return Chosen(None, None, "no offset is used: none is saved")
    beside = [_sides(one.belongs, reading, setup.card.name, settings) for one in saved]
    amiss = [[side for side in sides if not side.fits] for sides in beside]
    fitting = [one for one, wrong in zip(saved, amiss, strict=True) if not wrong]
    if len(fitting) == 1:
        return _used(fitting[0], reading, camera, settings, [])
    if fitting:
        names = _listed([one.name for one in fitting])
        why = f"no offset is used: {len(fitting)} fit, {names}; say which with --offset NAME"
        return Chosen(None, None, why)
    wrong, nearest = min(zip(amiss, saved, strict=True), key=lambda pair: len(pair[0]))
    differs = ", ".join(f"the {side.what} differs ({side.words})" for side in wrong)
    why = f"no saved offset fits: of the nearest, {quoted(nearest.name)}, {differs}"
    return Chosen(None, None, why)


def _used(
    one: SavedOffset,
    reading: Reading,
    camera: CameraPlan,
    settings: Settings,
    others: list[str],
) -> Chosen:
    """An offset brought to the ISO and aperture of a frame."""
    iso = camera.iso if settings.iso is None else exact_iso(settings.iso)
    n = camera.aperture.n
    if settings.f_number is not None:
        n = exact_f_number(settings.f_number, camera.step)
    parts = [
        part for part in (_part(one, "iso", iso), _part(one, "aperture", n)) if part is not None
    ]
    stops = one.stops + sum(part.stops for part in parts)
    why = f"offset {quoted(one.name)}: {stops_text(one.stops)} stop"
    for part in parts:
        at = f"ISO {iso_text(iso)}" if part.by == "iso" else aperture_text(n, step=camera.step)
        why += f", {stops_text(part.stops)} at {at}"
    if reading.correction:
        dialled, both = stops_text(reading.correction), stops_text(stops + reading.correction)
        why += f"; with the correction of {dialled} in the meter, {both} together"
    if not (_within(iso, one.belongs.iso) and _within(n, one.belongs.aperture)):
        others = [*others, "offset-out-of-range"]
    offset = replace(one.as_offset(), stops=stops, parts=())  # so that no part counts twice
    return Chosen(offset, one.name, why, tuple(dict.fromkeys(others)))


def _part(one: SavedOffset, by: Literal["iso", "aperture"], value: float) -> OffsetPart | None:
    """The part of an offset for an exact ISO or f-number."""
    parts = [part for part in one.parts if part.by == by]
    nearest = min(parts, key=lambda part: abs(part.value / value - 1), default=None)
    if nearest is None or abs(nearest.value / value - 1) > SAME:
        return None
    return nearest


def _within(value: float, ends: tuple[float, float] | None) -> bool:
    """Whether an exact value is in the range that an offset was fitted over; yes if unknown."""
    return ends is None or ends[0] * (1 - SAME) <= value <= ends[1] * (1 + SAME)


def _sides(
    belongs: BelongsTo, reading: Reading, card: str | None, settings: Settings
) -> tuple[_Side, ...]:
    """What an offset belongs to beside what a frame and its plan say."""
    sides = [
        _camera(belongs, settings),
        _side("lens", belongs.lens, settings.lens, any_fits=settings.lens is None),
        _side("meter", belongs.meter, reading.meter),
        _side("light", belongs.light, reading.light),
        _side("method", belongs.method, reading.method),
        _side("card", belongs.card, card),
    ]
    if belongs.method == reading.method == "incident":  # a spot has neither receptor nor aim
        sides.append(_side("receptor", belongs.receptor, reading.receptor))
        sides.append(_side("aim", belongs.aimed, reading.aimed))
    return tuple(sides)


def _camera(belongs: BelongsTo, settings: Settings) -> _Side:
    """The body: by its serial number where both sides have one, else by make and model."""
    there = (belongs.make, belongs.model, belongs.serial)
    here = (settings.make, settings.model, settings.serial)
    unsure = None in (belongs.serial, settings.serial) and settings.model is not None
    fits = there[:2] == here[:2] and (there[2] == here[2] or unsure)
    other = any(_other(*pair) for pair in zip(there, here, strict=True))
    words = (" ".join(part for part in side if part) for side in (there, here))
    return _Side("camera", fits, other, _beside(*words))


def _side(what: str, there: str | None, here: str | None, any_fits: bool = False) -> _Side:
    """A thing known by its name."""
    return _Side(what, any_fits or there == here, _other(there, here), _beside(there, here))


def _other(there: str | None, here: str | None) -> bool:
    """Whether both are known and not the same."""
    return there is not None and here is not None and there != here


def _beside(there: str | None, here: str | None) -> str:
    """Two sides in words."""
    then, now = (quoted(side) if side else "an unknown one" for side in (there, here))
    return f"fitted with {then}, here {now}"


def _listed(names: Sequence[str], word: str = "and") -> str:
    """Names in a sentence, the first few of many."""
    shown = [quoted(name) for name in names[:MOST_NAMED]]
    if len(names) > MOST_NAMED:
        shown.append(f"{len(names) - MOST_NAMED} more")
    if len(shown) == 1:
        return shown[0]
    return f"{', '.join(shown[:-1])} {word} {shown[-1]}"
