"""A calibration on a terminal: its frames, the offset in words, what to set, what is doubtful."""

from collections.abc import Iterator

from rich import box
from rich.console import Group as Rows
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from verify.calibrate.groups import NAMES
from verify.calibrate.records import Calibration, Group
from verify.notation import aperture_text, iso_text, stops_text
from verify.report.characters import plain, plain_text
from verify.warnings import WARNINGS

HEADINGS = ("ISO", "aperture", "planned", "measured", "off by", "left over")
MUCH_SURER = 0.7  # of the interval, below which the card is told to be the most of it
NOTHING = "\N{EN DASH}"


def calibration_text(calibration: Calibration) -> RenderableType:
    """Everything about a calibration that a person reads on a terminal, the advice last."""
    parts: list[RenderableType] = [Text()]
    if calibration.frames:
        parts += [_table(calibration), Text()]
    parts += map(plain_text, excluded_lines(calibration))
    parts += map(plain_text, _figures(calibration))
    parts += [plain_text(f"{name}: {WARNINGS[name]}") for name in calibration.warnings]
    parts.append(Text(plain(headline(calibration)), style="bold"))
    card = same_card_line(calibration)
    if card is not None:
        parts.append(plain_text(card))
    parts.append(Text(plain(calibration.advice.text), style="bold"))
    return Rows(*parts)


def headline(calibration: Calibration) -> str:
    """The offset and its interval in a sentence."""
    offset, interval = calibration.offset_stops, calibration.interval_stops
    if offset is None or interval is None:
        return "No offset can be given."
    side = "more" if offset > 0 else "less"
    low, high = map(stops_text, interval)
    gets = f"the camera gets {side} light than the meter promises"
    if interval[0] <= 0 <= interval[1]:
        gets = "the two may agree"
    return f"Offset {stops_text(offset)} stop (95 %: {low} to {high}): {gets}."


def same_card_line(calibration: Calibration) -> str | None:
    """How sure the offset is where the card's own error drops out, if that makes a difference."""
    interval, apart = calibration.interval_stops, calibration.half_same_card
    if interval is None or apart is None or calibration.belongs is None:
        return None
    half = (interval[1] - interval[0]) / 2
    if not apart < MUCH_SURER * half:
        return None
    named = "" if calibration.belongs.card else " (name it in the plan, so that it is known again)"
    return (
        f"Most of that is the card, whose reflectance is not better known. Checked with the same "
        f"card{named}, the offset is sure to ± {apart:.2f} stop."
    )


def excluded_lines(calibration: Calibration) -> list[str]:
    """A line for each reason to leave frames out."""
    reasons: dict[str, list[str]] = {}
    for excluded in calibration.excluded:
        reasons.setdefault(excluded.reason, []).append(str(excluded.file))
    return [f"Left out: {', '.join(names)}: {reason}." for reason, names in reasons.items()]


def _table(calibration: Calibration) -> Table:
    """A row for each frame that counts."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("frame", overflow="fold")
    for heading in HEADINGS:
        table.add_column(heading, justify="right")
    for frame, residual in zip(calibration.frames, calibration.residuals, strict=True):
        table.add_row(
            plain_text(frame.file.name),
            NOTHING if frame.iso is None else iso_text(frame.iso),
            NOTHING if frame.aperture is None else aperture_text(frame.aperture),
            stops_text(frame.planned_stops),
            stops_text(frame.planned_stops + frame.rest_stops),
            stops_text(frame.rest_stops),
            stops_text(residual),
        )
    return table


def _figures(calibration: Calibration) -> Iterator[str]:
    """Scatter, slope, groups, what is matched, and notes."""
    if calibration.scatter_stops is not None:
        line = f"Scatter from frame to frame {calibration.scatter_stops:.3f} stop"
        if calibration.slope is not None and calibration.slope_interval is not None:
            low, high = calibration.slope_interval
            line += f"; slope {calibration.slope:.3f} (95 %: {low:.3f} to {high:.3f})"
        yield f"{line}."
    yield from _groups(calibration)
    if calibration.match.how != "standard":
        match = calibration.match
        yield f"Matched: {match.words}, {stops_text(match.stops)} stop from the standard."
    for note in calibration.notes:
        yield f"Note: {note}."


def _groups(calibration: Calibration) -> Iterator[str]:
    """A line for each factor with several values."""
    for by in dict.fromkeys(group.by for group in calibration.groups):
        own = [group for group in calibration.groups if group.by == by]
        told = [
            f"{_value(group)} {stops_text(group.offset_stops)}"
            + (" (differs)" if group.differs else "")
            for group in own
        ]
        yield f"By {NAMES[by]}: {', '.join(told)}."


def _value(group: Group) -> str:
    """What a group is of, without the factor's name."""
    if isinstance(group.value, str):
        return group.value
    return iso_text(group.value) if group.by == "iso" else aperture_text(group.value)
