"""What the marks on the plot of a shoot mean, in lines above it. Slow to import."""

from dataclasses import dataclass

import altair as alt

from verify.diagnose.records import ChartLimits
from verify.notation import stops_text
from verify.report.calibration_groups import width
from verify.report.chart_style import BAND, FAINT, INK, SMALL_PX, data, words_at
from verify.report.diagnosis_course import At, Plotted

LINE_PX, LONGEST = 18, 610  # height of a line of the key, and how long it may be
QUIET, LIMIT = "#9aa0a8", "#6b6f76"  # of frames that nothing is told of; of limits
MOST_BARS = 60  # frames, beyond which bars of their uncertainty would hide them


@dataclass(frozen=True, slots=True)
class Item:
    """A mark of the key and what it means."""

    kind: str  # a symbol, "band", "limits", "pause", "bar" or "dark"
    text: str
    hollow: bool = False


Key = tuple[tuple[Item, ...], ...]  # lines


def key_of(
    course: Plotted, at: tuple[At, ...], tolerance: float, limits: ChartLimits | None
) -> Key:
    """What the marks mean, of those that are there, in lines that fit."""
    by = {frame.by for frame in course.frames}
    items = [Item("circle", "by the card")] if "card" in by else []
    items += [Item("diamond", "by the scene")] if "scene" in by else []
    items.append(Item("band", f"tolerance \N{PLUS-MINUS SIGN}{tolerance:.2f} stop"))
    if limits is not None:
        low, high = stops_text(limits.lower_stops), stops_text(limits.upper_stops)
        items.append(Item("limits", f"usual spread, {low} to {high}"))
        if course.outside.any():
            items.append(Item("dark", "outside of it"))
    if len(course.frames) <= MOST_BARS:
        items.append(Item("bar", "\N{PLUS-MINUS SIGN} two standard uncertainties"))
    if any(b.kind == "pause" for b in course.breaks):
        items.append(Item("pause", "pause"))
    if "at-least" in at:
        items.append(Item("triangle-up", "this or more", hollow=True))
    if "at-most" in at:
        items.append(Item("triangle-down", "this or less", hollow=True))
    if "above" in at:
        items.append(Item("triangle-up", "above this scale"))
    if "below" in at:
        items.append(Item("triangle-down", "below this scale"))
    lines: list[list[Item]] = [[]]
    for item in items:
        if sum(map(_item_px, [*lines[-1], item])) > LONGEST:
            lines.append([])
        lines[-1].append(item)
    return tuple(map(tuple, lines))


def _item_px(item: Item) -> float:
    """Width of a mark of the key with its words."""
    return 20 + 0.92 * width(item.text) * SMALL_PX + 10


def key_marks(key: Key) -> list[alt.Chart]:
    """The lines of the key."""
    layers = []
    for line, items in enumerate(key):
        x, y = 0.0, line * LINE_PX + 6.0
        for item in items:
            layers += _key_mark(item, x + 8, y)
            words = words_at(alt.Chart(data([{"text": item.text}])), "left")
            layers.append(words.encode(x=alt.value(x + 20), y=alt.value(y), text="text:N"))
            x += _item_px(item)
    return layers


def _key_mark(item: Item, x: float, y: float) -> list[alt.Chart]:
    """A mark of the key, by its middle."""
    one = alt.Chart(data([{}]))
    place = {"x": alt.value(x), "y": alt.value(y)}
    across = {"x": alt.value(x - 8), "x2": alt.value(x + 8), "y": alt.value(y)}
    upright = {"x": alt.value(x), "y": alt.value(y - 6), "y2": alt.value(y + 6)}
    if item.kind == "band":
        return [one.mark_rect(color=BAND).encode(**across, y2=alt.value(y + 12)).encode(
            y=alt.value(y - 6), y2=alt.value(y + 6))]  # fmt: skip
    if item.kind == "limits":
        rule = one.mark_rule(color=LIMIT, strokeWidth=1, strokeDash=[6, 3])
        return [rule.encode(**across)]
    if item.kind in ("pause", "bar"):
        color, dash = (FAINT, [1, 3]) if item.kind == "pause" else (QUIET, [1, 0])
        return [one.mark_rule(color=color, strokeWidth=1, strokeDash=dash).encode(**upright)]
    dark = item.kind == "dark"
    mark = one.mark_point(
        shape="circle" if dark else item.kind, size=44, opacity=1,
        fill="white" if item.hollow else QUIET,
        stroke=INK if dark else QUIET, strokeWidth=1.2 if dark or item.hollow else 0.3,
    )  # fmt: skip
    return [mark.encode(**place)]
