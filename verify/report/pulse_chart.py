"""Draws the plot of a flash. Slow to import: only where a picture is asked for."""

from dataclasses import dataclass
from typing import Any, Literal

import altair as alt
import numpy as np

from verify.motion.losses import ShutterStudy
from verify.notation import shutter_text
from verify.pulse.records import Firing
from verify.pulse.shutter import LightOut, light_out
from verify.report.calibration_groups import width
from verify.report.chart_style import (
    INK,
    LINE,
    PAGE,
    SMALL_PX,
    Range,
    data,
    heading,
    page_title,
    scale_of,
    series,
    styled,
    words_at,
    written,
)
from verify.report.pulse_course import Drawn, drawn_course
from verify.report.pulse_words import (
    LEAST_STOPS,
    MOST_SHUTTERS,
    details,
    headline,
    loses,
    span_text,
)
from verify.times import Unit, duration_text, unit_of

LEFT, RIGHT, ASIDE = 132, 24, 100  # beside the panels; right of them, for what is lost
TOP = 70  # above the upper panel, without the lines of details
UPPER, OUT, GAP, BOTTOM = 210, 170, 46, 54  # heights: light, what is out, between, below
BAR, BETWEEN = 14, 21  # height of a bar, and from one to the next
LIGHT, LIGHT_EDGE, RUNNING = "#f6dfa8", "#b7791f", "#332288"
COLORS = ("#117733", "#cc6677", "#44aa99")  # of the shutters


@dataclass(frozen=True, slots=True)
class _Bar:
    """How long rows stay open after the first light."""

    name: str  # left of it
    until_s: float  # below 0 where they are covered before the flash
    lost: str  # right of it
    color: str


@dataclass(frozen=True, slots=True)
class _Page:
    """What the panels share."""

    course: Drawn
    running: LightOut  # share of the light that is out
    unit: Unit
    bars: tuple[_Bar, ...]
    width: int  # of the panels


def drawn(firing: Firing, study: ShutterStudy, ending: str) -> bytes:
    """A PNG or SVG, by ``ending``, of a flash with light in it."""
    lines = details(firing, study)
    running = light_out(firing.course.time_s, firing.course.value)
    bars = _bars(study, running)
    course = drawn_course(firing, running, [bar.until_s for bar in bars])
    page = _Page(
        course,
        running,
        unit_of(course.end_s),
        bars,
        PAGE - LEFT - RIGHT - (ASIDE if bars else 0),
    )
    panels = [_light(page), _out(page, last=not bars)]
    height = UPPER + GAP + OUT + BOTTOM
    if bars:
        panels.append(_open(page, study))
        height += GAP + BETWEEN * len(bars)
    chart = alt.vconcat(
        *panels,
        spacing=GAP,
        bounds="flush",
        autosize=alt.AutoSizeParams(type="none"),
        padding={
            "left": LEFT,
            "right": PAGE - LEFT - page.width,
            "top": TOP + LINE * len(lines),
            "bottom": height,
        },
        title=page_title(headline(firing), lines, LEFT),
        background="white",
    )
    return written(styled(chart), ending)


def _bars(study: ShutterStudy, running: LightOut) -> tuple[_Bar, ...]:
    """Two bars for each shutter time that is drawn: the rows that are covered first and last."""
    bars = []
    for one, color in zip(study.shutters[:MOST_SHUTTERS], COLORS, strict=False):
        open_s = one.shutter_s - (study.delay_s or 0.0)
        name = shutter_text(one.shutter_s)
        first, last = one.loss.first, one.loss.last or 0.0
        if study.kind == "leaf" or one.edges is None:
            # It closes by and by: the bar ends where a sudden end would take as much.
            until_s = open_s if last < LEAST_STOPS else running.until(2.0**-last)
            bars.append(_Bar(f"{name}: whole frame", until_s, loses(last), color))
            continue
        if first is not None and study.travel_s is not None:
            until_s = open_s - study.travel_s
            bars.append(_Bar(f"{name}: {one.edges[0]} edge", until_s, loses(first), color))
        bars.append(_Bar(f"{name}: {one.edges[1]} edge", open_s, loses(last), color))
    return tuple(bars)


def _light(page: _Page) -> alt.LayerChart:
    """The light over time, with t.5 and t.1."""
    course = page.course
    low = min(0.0, float(course.light.min()))
    top = max(1.0, float(course.light.max()))
    y = alt.Y(
        "light:Q",
        scale=scale_of(Range(low, 1.04 * top)),
        title="light, % of the peak",
        axis=_percents(),
    )
    x = _x(page, labels=False)
    curve = alt.Chart(series(time=course.time_s * page.unit.per_second, light=course.light))
    layers = [
        curve.mark_area(color=LIGHT).encode(x, y, y2=alt.datum(0)),
        curve.mark_line(color=LIGHT_EDGE, strokeWidth=0.8).encode(x, y),
    ]
    spans = [
        {
            "time": span.from_s * page.unit.per_second,
            "to": (span.from_s + span.length_s) * page.unit.per_second,
            "light": span.level,
            "text": span_text(f"t{span.level:.1f}".replace("t0", "t"), span.length_s),
        }
        for span in course.spans
    ]
    if spans:
        chart = alt.Chart(data(spans))
        layers.append(chart.mark_rule(color=INK, strokeWidth=1.6).encode(x, y, alt.X2("to")))
        for end in ("time:Q", "to:Q"):
            layers.append(
                chart.mark_tick(color=INK, thickness=1.6, size=11, orient="vertical").encode(
                    _x(page, labels=False, field=end), y
                )
            )
        layers.append(
            chart.mark_text(
                align="left",
                baseline="bottom",
                dx=6,
                dy=-1,
                fontSize=SMALL_PX,
                fontWeight="bold",
                color=INK,
            ).encode(_x(page, labels=False, field="to:Q"), y, text="text:N")
        )
    return alt.LayerChart(
        layer=layers, width=page.width, height=UPPER, title=heading("the light of the flash")
    )


def _out(page: _Page, last: bool) -> alt.LayerChart:
    """The running share of the light, with a mark where each shutter ends it."""
    course = page.course
    y = alt.Y(
        "out:Q", scale=scale_of(Range(0, 1.04)), title="light out, % of all", axis=_percents()
    )
    x = _x(page, labels=last)
    ends = [
        {
            "time": bar.until_s * page.unit.per_second,
            "out": float(page.running.by(np.array(bar.until_s))),
            "color": bar.color,
        }
        for bar in page.bars
        if 0 <= bar.until_s <= course.end_s
    ]
    words = "how much of all its light is out by then"
    curve = alt.Chart(series(time=course.time_s * page.unit.per_second, out=course.out))
    layers = [curve.mark_line(color=RUNNING, strokeWidth=2).encode(x, y)]
    if ends:
        words += "; dots: where the shutter ends it"
        chart = alt.Chart(data(ends))
        color = alt.Color("color:N", scale=None, legend=None)
        down = chart.mark_rule(strokeWidth=1.2, strokeDash=[3, 3])
        layers.append(down.encode(x, y, color, y2=alt.value(OUT)))
        layers.append(chart.mark_point(filled=True, size=44, opacity=1).encode(x, y, color))
    return alt.LayerChart(
        layer=layers,
        width=page.width,
        height=OUT,
        title=heading(words),
    )


def _open(page: _Page, study: ShutterStudy) -> alt.LayerChart:
    """A bar for each edge of the frame and shutter time: how long it still takes light."""
    end = page.course.end_s
    rows: list[dict[str, Any]] = []
    for at, bar in enumerate(page.bars):
        shown_s = min(max(bar.until_s, 0.0), end)
        words = _closing_words(bar, end)
        room = page.width * (1 - shown_s / end) > width(words) * SMALL_PX + 12
        rows.append(
            {
                "time": 0.0,
                "to": shown_s * page.unit.per_second,
                "row": at + 0.5,
                "top": at + 0.5 - BAR / BETWEEN / 2,
                "bottom": at + 0.5 + BAR / BETWEEN / 2,
                "name": bar.name,
                "lost": bar.lost,
                "color": bar.color,
                "words": words,
                "align": "left" if room else "right",
            }
        )
    x, y = _x(page, labels=True), _row(page, "row:Q")
    chart = alt.Chart(data(rows))
    color = alt.Color("color:N", scale=None, legend=None)
    layers = [
        chart.mark_rect(opacity=0.4).encode(
            x, _row(page, "top:Q"), alt.X2("to"), alt.Y2("bottom"), color
        ),
        words_at(chart, "right").encode(y, x=alt.value(-8), text="name:N"),
        words_at(chart, "left").encode(y, x=alt.value(page.width + 12), text="lost:N"),
    ]
    beside = _x(page, labels=True, field="to:Q")
    sides: tuple[tuple[Literal["left", "right"], float], ...] = (("left", 6), ("right", -6))
    for side, dx in sides:
        there = [row for row in rows if row["align"] == side]
        if there:
            closing = words_at(alt.Chart(data(there)), side, dx)
            layers.append(closing.encode(beside, y, text="words:N"))
    title = "how long each edge of the frame stays open from the first light on"
    if study.kind == "leaf":
        title = "how long the leaf shutter lets light through, as if it closed at once"
    return alt.LayerChart(
        layer=layers,
        width=page.width,
        height=BETWEEN * len(rows),
        title=heading(title),
    )


def _closing_words(bar: _Bar, end_s: float) -> str:
    """When a row is covered."""
    if bar.until_s <= 0:
        return "covered before the flash"
    words = f"until {duration_text(bar.until_s)}"
    return words if bar.until_s <= end_s else f"{words} \N{RIGHTWARDS ARROW}"


def _row(page: _Page, field: str) -> alt.Y:
    """The place of a bar, the first one on top."""
    scale = alt.Scale(domain=[len(page.bars), 0], nice=False, zero=False)
    return alt.Y(field, scale=scale, axis=None)


def _percents() -> alt.Axis:
    """The axis of a share."""
    return alt.Axis(values=[0, 0.25, 0.5, 0.75, 1], labelExpr="format(100 * datum.value, '.0f')")


def _x(page: _Page, labels: bool, field: str = "time:Q") -> alt.X:
    """The axis of time, with what is written on it or without."""
    title = f"time from the first light, {page.unit.name}" if labels else None
    end = page.course.end_s * page.unit.per_second
    return alt.X(
        field,
        scale=scale_of(Range(-0.015 * end, end)),
        axis=alt.Axis(labels=labels, ticks=labels, title=title, grid=False, labelFlush=True),
    )
