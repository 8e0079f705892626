"""Which frames of a calibration a plot tells apart, and how."""

from collections.abc import Sequence
from dataclasses import dataclass

from verify.calibrate.groups import NAMES, SAME, Level, levels_of
from verify.calibrate.records import By, Calibration, Group
from verify.notation import aperture_text, iso_text
from verify.report.characters import plain

# Colours that people with any colour vision tell apart, and that stay quiet on white: from the
# "muted" scheme of P. Tol, Colour Schemes, SRON/EPS/TN/09-002 (from memory).
COLORS = ("#332288", "#cc6677", "#117733", "#882255", "#44aa99", "#999933", "#aa4499")
SHAPES = (
    "circle",
    "square",
    "triangle-up",
    "diamond",
    "cross",
    "triangle-down",
    "triangle-right",
    "triangle-left",
)
QUIET = "#6b6f76"  # of frames that are not told apart
NARROWEST = 0.35  # of the widths that characters are taken to have [em]
UNKNOWN = "not recorded"
ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"


@dataclass(frozen=True, slots=True)
class Mark:
    """How the frames of one group are drawn."""

    name: str  # beside the mark in the legend; no two are the same
    color: str  # "#rrggbb"
    shape: str  # one of Vega's symbols


@dataclass(frozen=True, slots=True)
class Telling:
    """How frames are told apart."""

    by: By | None  # None: they are all of one group
    title: tuple[str, ...]  # lines above the legend; empty for no legend
    marks: tuple[Mark, ...]  # in the order of the legend
    of_frame: tuple[int, ...]  # which mark each frame has, in the order of the frames


@dataclass(frozen=True, slots=True)
class Departure:
    """A group that differs."""

    name: str  # "ISO 1600", "f/22" or a name, shortened
    stops: float  # its offset - that of the set
    color: str  # its mark's, or QUIET where another factor is told apart


def told_apart(calibration: Calibration, name_width: float) -> Telling:
    """How the frames of a calibration are told apart.

    By the factor of a group that differs; else by the first factor of which there are several
    groups. Where there are more groups than marks, only those that differ keep one of their own.

    Parameters
    ----------
    calibration : with one frame or more.
    name_width : that a name in the legend may have [em].
    """
    levels = levels_of(calibration.frames)
    by = _factor(calibration, levels)
    if by is None:
        return Telling(None, (), (Mark("", QUIET, SHAPES[0]),), (0,) * len(calibration.frames))
    levels = [level for level in levels if level.by == by]
    shown = levels
    title: tuple[str, ...] = (NAMES[by],)
    if len(levels) >= len(SHAPES):  # one mark is for frames that are of none
        differing = [group for group in calibration.groups if group.by == by and group.differs]
        differing.sort(key=lambda group: -abs(_departure(group, calibration)))
        most = differing[: len(SHAPES) - 1]
        shown = [level for level in levels if any(_is(level, group) for group in most)]
        title = (NAMES[by], f"{len(levels)} groups,", *_which(len(shown), len(differing)))
    names = _distinct([_shown(level.value, by) for level in shown], name_width)
    of_frame = [
        next((n for n, level in enumerate(shown) if level.frames[at]), len(shown))
        for at in range(len(calibration.frames))
    ]
    if len(shown) not in of_frame:
        marks = [Mark(*mark) for mark in zip(names, COLORS, SHAPES, strict=False)]
        return Telling(by, title, tuple(marks), tuple(of_frame))
    rest = UNKNOWN if shown == levels else "the others" if shown else "all"
    marks = [Mark(*mark) for mark in zip(names, COLORS, SHAPES[1:], strict=False)]
    marks.append(Mark(rest, QUIET, SHAPES[0]))
    return Telling(by, title, tuple(marks), tuple(of_frame))


def departures(
    calibration: Calibration, telling: Telling, name_width: float
) -> tuple[Departure, ...]:
    """The groups that differ, of any factor, the largest departure first."""
    found = []
    for group in calibration.groups:
        if not group.differs:
            continue
        mark = _mark(group, calibration, telling)
        name = mark.name if mark else shortened(_shown(group.value, group.by), name_width)
        if group.by == "iso":
            name = f"ISO {name}"
        color = mark.color if mark else QUIET
        found.append(Departure(name, _departure(group, calibration), color))
    return tuple(sorted(found, key=lambda one: -abs(one.stops)))


def width(text: str) -> float:
    """About how wide text is in a plain sans-serif face, rather more than less [em]."""
    return sum(_advance(character) for character in text)


def shortened(text: str, most: float) -> str:
    """Text of at most a width [em], with what is too much taken out of its middle."""
    if width(text) <= most:
        return text
    for kept in range(min(len(text) - 1, int(most / NARROWEST)), 1, -1):
        tail = kept // 2
        short = text[: kept - tail].rstrip() + ELLIPSIS + text[len(text) - tail :].lstrip()
        if width(short) <= most:
            return short
    return ELLIPSIS


def _advance(character: str) -> float:
    """About how far one character moves the pen [em]."""
    if character in "iljtfrI.,:;|!'()[]/\\- ":
        return NARROWEST
    if not character.isascii() or character in "mwMW@%":
        return 1.03
    return 0.79 if character.isupper() or character == "&" else 0.6


def _factor(calibration: Calibration, levels: Sequence[Level]) -> By | None:
    """What frames are told apart by; None where there is one group of everything."""
    several = [level.by for level in levels]
    differing = [group.by for group in calibration.groups if group.differs]
    return next((by for by in (*differing, *several) if by in several), None)


def _is(level: Level, group: Group) -> bool:
    """Whether a group is that of a level."""
    if isinstance(level.value, str) or isinstance(group.value, str):
        return (level.by, level.value) == (group.by, group.value)
    return level.by == group.by and abs(level.value / group.value - 1) <= SAME


def _mark(group: Group, calibration: Calibration, telling: Telling) -> Mark | None:
    """The mark that a group has to itself; None where it has none."""
    if group.by != telling.by:
        return None
    for level in levels_of(calibration.frames):
        if _is(level, group):
            first = int(level.frames.argmax())
            mark = telling.marks[telling.of_frame[first]]
            return None if mark.color == QUIET else mark
    return None


def _which(shown: int, differing: int) -> tuple[str, ...]:
    """Which of many groups are told apart, in lines of a narrow legend."""
    if not shown:
        return ("not told apart",)
    if shown == differing:
        return ("those that differ", "told apart")
    return (f"the {shown} that differ", "most told apart")


def _departure(group: Group, calibration: Calibration) -> float:
    """A group's offset - that of the set [stop]."""
    return group.offset_stops - (calibration.offset_stops or 0.0)


def _shown(value: float | str, by: By) -> str:
    """A group's value for a person."""
    if isinstance(value, str):
        return plain(value)
    return aperture_text(value) if by == "aperture" else iso_text(value)


def _distinct(names: Sequence[str], most: float) -> list[str]:
    """Names of at most a width [em]; those that would become alike are numbered."""
    short = [shortened(name, most) for name in names]
    return [
        name
        if short.count(name) == 1
        else f"{shortened(whole, most - 2)} ({short[: at + 1].count(name)})"
        for at, (whole, name) in enumerate(zip(names, short, strict=True))
    ]
