"""Frames of a wall to what the shutter did in each, read top to bottom.

Frames of one camera, held alike, are one group. The one at the slowest shutter time is its
reference; the others are held against it. What cannot be, is judged alone.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from verify.errors import FrameError
from verify.exposure import exact_f_number, exact_iso, exact_shutter_s
from verify.frames.frame import Frame
from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.rows.cut import NOT_ALIKE, Compared, WallFrame, against, alone, compare, same_settings
from verify.rows.profile import row_profile
from verify.rows.records import Cut, RowStudy

BoxIn = Callable[[Frame], Box]

SLOWER = 1.2  # times as slow, for a frame to be held against another
MUCH_SLOWER = 1.5  # times, for "none" to say that nothing is lost and not only as much
LONGEST_TRAVEL_S = 0.008  # of any curtain that syncs at 1/125 or faster
LEVEL_U = 0.1  # stop, from pop to pop and by the room's light, at the same settings
LEVEL_U_OTHER = 0.25  # stop, at another ISO or aperture: lenses stop down by about
LEVEL_U_LOOSE = 0.4  # stop, while the room's light is being looked for
POP_STOPS = 0.03  # scatter of strobes from pop to pop; common practice, no source
ROOM_SURE = 3.0  # standard uncertainties

ROOM_UNKNOWN = (
    "the losses are of all light in the frame; of the flash alone they are more where the room "
    "adds light, which takes a third frame at another shutter time to tell"
)
ROOM_NOT_SEEN = (
    "the losses are of all light in the frame; what the room adds does not stand out from the "
    "scatter between pops"
)
REFERENCE_LOSES = (
    "the slower frame was taken as whole: what that one loses itself comes on top of this"
)
REFERENCE_DOUBT = "the others are held against this frame, and it may lose a little itself"
EDGE_ALONE = (
    "one frame alone: something dark along that whole edge would look the same; a second frame at "
    "a slower shutter time tells them apart"
)
SAME_TIME = "its shutter time is not slow enough against the slowest: it was judged alone"
NO_TIME = "the file records no shutter time, so the frame was judged alone"
BOX_ONLY = "only the card was measured: the losses are those of the part that it covers"
DELAY = "the travel is at most this: if the trigger fires late, the delay makes it seem longer"


def cuts_of(
    files: Sequence[Path], card: BoxIn | None = None, transfer: str | None = None
) -> RowStudy:
    """What the shutter did to the flash in each of some frames of an even wall.

    Parameters
    ----------
    card : where a card is in an open frame; None for a wall that fills the frame.
    transfer : how a TIFF's values follow the light, as for ``open_frame``.

    Returns
    -------
    A record for each frame, in order; one that cannot be measured has its problem in it.
    """
    cuts: dict[int, Cut] = {}
    groups: dict[tuple[object, ...], dict[int, WallFrame]] = {}
    for at, file in enumerate(files):
        try:
            with open_frame(file, transfer) as frame:
                wall = wall_frame(frame, card)
                key = _alike(frame, wall)
        except FrameError as error:
            cuts[at] = Cut(file, "unmeasured", problem=str(error))
            continue
        groups.setdefault(key, {})[at] = wall
    for group in groups.values():
        found = judged(list(group.values()))
        cuts.update(zip(group, found, strict=True))
    notes = () if card is None else (BOX_ONLY,)
    return RowStudy(tuple(_noted(cuts[at], *notes) for at in sorted(cuts)))


def judged(frames: Sequence[WallFrame]) -> list[Cut]:
    """What the shutter did in each of the frames of one camera, held alike."""
    reference = _slowest(frames)
    faster = [] if reference is None else [f for f in frames if _slower_than(reference, f)]
    if reference is None or not faster:
        return [_told(alone(frame), frame, len(frames) > 1) for frame in frames]
    room = _room_per_s(reference, faster)
    compared = {id(f): _compared(f, reference, room) for f in faster}
    own = _of_reference(reference, list(compared.values()))
    found = []
    for frame in frames:
        if frame is reference:
            found.append(own)
        elif id(frame) in compared:
            found.append(_of_faster(compared[id(frame)], room, own.verdict == "none"))
        else:
            found.append(_told(alone(frame), frame, True))
    return found


def wall_frame(frame: Frame, card: BoxIn | None = None) -> WallFrame:
    """An open frame to what is needed of it.

    Raises
    ------
    FrameError
        If it cannot be measured.
    """
    known = frame.settings
    return WallFrame(
        file=frame.path,
        profile=row_profile(frame, None if card is None else card(frame)),
        shutter_s=None if known.shutter_s is None else exact_shutter_s(known.shutter_s),
        f_number=None if known.f_number is None else exact_f_number(known.f_number),
        iso=None if known.iso is None else exact_iso(known.iso),
    )


def _alike(frame: Frame, wall: WallFrame) -> tuple[object, ...]:
    """What a frame must have in common with others to be held against them."""
    known = frame.settings
    camera = known.make, known.model, known.serial
    return *camera, known.orientation, frame.size, wall.profile.place.size


def _slowest(frames: Sequence[WallFrame]) -> WallFrame | None:
    """The frame with the longest shutter time; None where no file records one."""
    timed = [frame for frame in frames if frame.shutter_s is not None]
    return max(timed, key=lambda frame: frame.shutter_s or 0.0, default=None)


def _slower_than(reference: WallFrame, frame: WallFrame) -> bool:
    """Whether the reference is so much slower that the two can be told apart."""
    if frame.shutter_s is None or reference.shutter_s is None:
        return False
    return reference.shutter_s >= SLOWER * frame.shutter_s


def _room_per_s(reference: WallFrame, faster: Sequence[WallFrame]) -> float | None:
    """Light of the room in a second, as a share of the flash; None where it cannot be told.

    Levels of three frames and more at the same settings, and at three shutter times, are the
    flash and what the room adds in the time.
    """
    alike = [f for f in faster if same_settings(f, reference)]
    times = [f.shutter_s for f in alike if f.shutter_s is not None]
    if reference.shutter_s is None or len({round(math.log2(t), 1) for t in times}) < 2:
        return None
    levels = []
    for frame in alike:
        fits = compare(frame, reference, LEVEL_U_LOOSE).fits
        best = fits.cut or fits.even
        variance = float(best.covariance[0, 0]) + POP_STOPS**2
        levels.append((float(best.parameters[0]), variance))
    level, variance = np.array(levels).T
    room = np.concatenate([[0.0], np.geomspace(0.01, 1000, 600)])[:, None]
    model = np.log2((1 + room * np.array(times)) / (1 + room * reference.shutter_s))
    # The reference's own pop scatters too, and moves all levels together.
    common = np.diag(variance) + POP_STOPS**2
    off = level - model
    squares = np.einsum("ri,ij,rj->r", off, np.linalg.inv(common), off)
    best_at = int(np.argmin(squares))
    return float(room[best_at, 0]) if squares[0] - squares[best_at] > ROOM_SURE**2 else 0.0


def _compared(frame: WallFrame, reference: WallFrame, room: float | None) -> Compared:
    """A frame against the reference, with what is known of the room's light."""
    level_u = LEVEL_U if same_settings(frame, reference) else LEVEL_U_OTHER
    own, other = ((f.shutter_s or 0.0) * (room or 0.0) for f in (frame, reference))
    level = math.log2((1 + own) / (1 + other))
    share = own / (1 + own) if room else None
    return compare(frame, reference, level_u, level, share)


def _of_faster(compared: Compared, room: float | None, whole: bool) -> Cut:
    """A frame that has a slower one to be held against, which may be known to be whole."""
    frame, reference = compared.frame, compared.reference
    cut = against(compared, of_flash=bool(room))
    if cut is None:
        return _noted(_told(alone(frame), frame, False), NOT_ALIKE)
    notes = []
    if cut.verdict == "cut":
        added = (room or 0.0) * (frame.shutter_s or 0.0)
        without = f"the room adds {added:.1%} to the flash in this frame; the losses are without it"
        notes = [ROOM_UNKNOWN if room is None else without if room else ROOM_NOT_SEEN]
        notes += [] if whole else [REFERENCE_LOSES]
    elif (reference.shutter_s or 0) < MUCH_SLOWER * (frame.shutter_s or 0):
        cut = replace(cut, verdict="unsure")
    return _told(_noted(cut, *notes), frame, False)


def _of_reference(reference: WallFrame, compared: Sequence[Compared]) -> Cut:
    """The slowest frame: whole, if one that was shorter open lost nothing against it."""
    alike = [c for c in compared if c.alike]
    if not alike:
        return _told(alone(reference), reference, True)
    whole = [
        c
        for c in alike
        if c.fits.cut is None
        and (reference.shutter_s or 0) >= MUCH_SLOWER * (c.frame.shutter_s or 0)
    ]
    if whole:  # an edge or a gradient that both show alike is the wall's
        cut = against(whole[0], of_flash=False)
        excluded = None if cut is None else cut.excluded_stops
        return Cut(reference.file, "none", excluded_stops=excluded, shutter_s=reference.shutter_s)
    own = alone(reference)
    if own.verdict in {"cut", "unmeasured"}:
        return _told(own, reference, False)
    slow = any(
        (reference.shutter_s or 0) >= (c.frame.shutter_s or 0) + LONGEST_TRAVEL_S
        and c.relative_last < 0.05
        for c in alike
    )
    # Its first rows were open for longer than the last rows of one that lost hardly anything.
    if slow:
        return replace(own, verdict="none", excluded_stops=0.05)
    return _noted(replace(own, verdict="unsure"), REFERENCE_DOUBT)


def _told(cut: Cut, frame: WallFrame, among_others: bool) -> Cut:
    """A record with what is to be known of it."""
    notes = []
    if among_others and cut.reference is None and cut.problem is None:
        notes.append(NO_TIME if frame.shutter_s is None else SAME_TIME)
    if cut.verdict == "cut" and cut.reference is None:
        notes.append(EDGE_ALONE)
    if cut.travel_s is not None:
        notes.append(DELAY)
    return _noted(cut, *notes)


def _noted(cut: Cut, *notes: str) -> Cut:
    """A record with more sentences, none of them for one that was not measured."""
    return cut if cut.problem is not None else replace(cut, notes=(*cut.notes, *notes))
