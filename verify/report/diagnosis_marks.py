"""What both panels of the plot of a shoot share: its frames, names and pauses. Slow to import."""

from dataclasses import dataclass

import altair as alt
import numpy as np
from numpy.typing import NDArray

from verify.diagnose.records import ChartLimits
from verify.report.chart_style import (
    FAINT,
    INK,
    PAGE,
    SMALL_PX,
    TEXT_PX,
    Range,
    data,
    scale_of,
    series,
)
from verify.report.diagnosis_course import At, Plotted
from verify.report.diagnosis_key import LINE_PX, Key

Floats = NDArray[np.float64]

LEFT, RIGHT = 66, 84  # beside the panels
WIDE = PAGE - LEFT - RIGHT
TRACK, BREAKS = 32, 16  # heights: a finding, the names of pauses
TITLE_X = -46  # middle of what is written beside a panel
FINE = 9.0  # area of a mark, up to which it has no room for an outline


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """What both panels share."""

    course: Plotted
    size: float  # area of a mark
    light: Range  # scale of the light [stop]
    at: tuple[At, ...]  # how each frame is drawn
    tolerance: float  # [stop]
    limits: ChartLimits | None
    key: Key

    @property
    def top(self) -> int:
        """Where the light begins, below the key, the findings and the names of pauses."""
        breaks = BREAKS if any(b.text for b in self.course.breaks) else 0
        return len(self.key) * LINE_PX + len(self.course.tracks) * TRACK + breaks + 8


def along(field: str = "x:Q") -> alt.X:
    """Places in pixels of the panel; frames are named below it."""
    return alt.X(field, scale=scale_of(Range(0, WIDE)), axis=None)


def joined(page: Page, values: Floats) -> list[alt.Chart]:
    """A line for each stretch, through the frames whose light is known as a value."""
    stretch = np.array([f.stretch for f in page.course.frames])
    exact = np.array([how == "value" for how in page.at]) & np.isfinite(values)
    lines = []
    for part in np.split(np.arange(len(values)), np.flatnonzero(np.diff(stretch)) + 1):
        some = part[exact[part]]
        if some.size > 1:
            lines.append(alt.Chart(series(x=page.course.x[some], y=values[some])))
    return lines


def apart(page: Page, y_px: Floats, some: list[int]) -> list[int]:
    """Those of many marks that can be told apart: of any on the same pixel the first.

    Parameters
    ----------
    y_px : (frames,) heights of the marks.
    some : frames that are to be drawn.
    """
    if page.size > FINE or not some:
        return some
    pixels = np.column_stack([page.course.x[some], y_px[some]]).round()
    _, first = np.unique(pixels, axis=0, return_index=True)
    return [some[n] for n in np.sort(first)]


def upright(page: Page, top: float, high: float) -> list[alt.Chart]:
    """Pauses and beginnings of stretches, and above the light their names."""
    layers = []
    for kind, dash in (("pause", [1, 3]), ("stretch", [1, 0])):
        some = [{"x": b.x, "text": b.text} for b in page.course.breaks if b.kind == kind]
        if not some:
            continue
        chart = alt.Chart(data(some))
        rule = chart.mark_rule(color=FAINT, strokeWidth=1, strokeDash=dash)
        layers.append(rule.encode(along(), y=alt.value(top), y2=alt.value(high)))
        named = [row for row in some if row["text"]] if top else []
        if named:
            words = alt.Chart(data(named)).mark_text(
                baseline="middle", fontSize=SMALL_PX, color=FAINT
            )
            layers.append(words.encode(along(), y=alt.value(top - BREAKS / 2), text="text:N"))
    return layers


def ticks(page: Page, high: float) -> list[alt.Chart]:
    """Names and times of some frames below a panel."""
    rows = [{"x": t.x, "name": t.name, "time": t.time} for t in page.course.ticks]
    chart = alt.Chart(data(rows))
    rule = chart.mark_rule(color=FAINT)
    layers = [
        rule.encode(along(), y=alt.value(high), y2=alt.value(high + 5)),
        alt.Chart(data([{}]))
        .mark_rule(color=FAINT)
        .encode(x=alt.value(0), x2=alt.value(WIDE), y=alt.value(high)),
    ]
    for field, below, color in (("name", 14, INK), ("time", 28, FAINT)):
        text = chart.mark_text(baseline="middle", fontSize=SMALL_PX, color=color)
        layers.append(text.encode(along(), y=alt.value(high + below), text=f"{field}:N"))
    words = "time" if page.course.by_time else "frames in the order they were taken, evenly spaced"
    if len(page.course.frames) == 1:
        return layers
    title = alt.Chart(data([{"text": words}])).mark_text(
        baseline="middle", fontSize=TEXT_PX, color=INK
    )
    layers.append(title.encode(x=alt.value(WIDE / 2), y=alt.value(high + 47), text="text:N"))
    return layers


def beside(words: str, middle: float) -> alt.Chart:
    """What an axis shows, left of it."""
    text: alt.Chart = (
        alt.Chart(data([{"text": words}]))
        .mark_text(angle=270, baseline="middle", fontSize=TEXT_PX, color=INK)
        .encode(x=alt.value(TITLE_X), y=alt.value(middle), text="text:N")
    )
    return text
