"""Draws the plot of a shoot. Slow to import: only where a picture is asked for."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import numpy as np
from numpy.typing import NDArray

from verify.diagnose.records import ChartLimits, Diagnosis
from verify.notation import stops_text
from verify.report.calibration_groups import width
from verify.report.chart_style import (
    BAND,
    FAINT,
    INK,
    LINE,
    PAGE,
    SMALL_PX,
    TEXT_PX,
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
from verify.report.diagnosis_course import (
    At,
    Plotted,
    Track,
    colors_from_middle,
    drawn_at,
    ends_of,
    named_findings,
    plotted,
)
from verify.report.diagnosis_words import details, headline

Floats = NDArray[np.float64]

LEFT, RIGHT = 66, 84  # beside the panels
WIDE = PAGE - LEFT - RIGHT
TOP = 70  # above the upper panel, without the lines of details
KEY, TRACK, BREAKS = 18, 32, 16  # heights: a line of the key, a finding, the names of pauses
LIGHT, GAP, COLOR, BOTTOM = 250, 34, 110, 66  # heights: light, between, colour, below
TITLE_X = -46  # middle of what is written beside a panel
QUIET, COURSE, LIMIT = "#9aa0a8", "#c9ccd1", "#6b6f76"
RED, BLUE = "#d55e00", "#0072b2"  # Okabe and Ito's (from memory)
LEAST_COLOR_STOPS = 0.05  # that the scale of colour shows to each side
MOST_JOINED, MOST_BARS = 150, 60  # frames, beyond which lines and bars would hide them
SIZES = ((40, 44.0), (120, 28.0), (400, 16.0), (1500, 9.0))  # area of a mark up to so many frames
SMALLEST = 5.0
SHAPES: dict[At, str] = {
    "at-least": "triangle-up",
    "at-most": "triangle-down",
    "above": "triangle-up",
    "below": "triangle-down",
}


@dataclass(frozen=True, slots=True)
class _Item:
    """A mark of the key and what it means."""

    kind: str  # a symbol, "band", "limits", "pause", "bar" or "dark"
    text: str
    hollow: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class _Page:
    """What both panels share."""

    course: Plotted
    size: float  # area of a mark
    light: Range  # scale of the light [stop]
    at: tuple[At, ...]  # how each frame is drawn
    tolerance: float  # [stop]
    limits: ChartLimits | None
    key: tuple[tuple[_Item, ...], ...]  # lines

    @property
    def top(self) -> int:
        """Where the light begins, below the key, the findings and the names of pauses."""
        breaks = BREAKS if any(b.text for b in self.course.breaks) else 0
        return len(self.key) * KEY + len(self.course.tracks) * TRACK + breaks + 8


def drawn(
    all_series: Sequence[tuple[str, Diagnosis]], at: int, tolerance_stops: float, ending: str
) -> bytes:
    """A PNG or SVG, by ``ending``, of the series at a place; the light of a frame is known."""
    one = all_series[at][1]
    lines = details(all_series, at, tolerance_stops, len(named_findings(one)))
    page = _page(one, tolerance_stops)
    colors = colors_from_middle(page.course.frames)
    with_color = any(np.isfinite(values).any() for values in colors)
    panels = [_light(page, last=not with_color)]
    height = page.top + LIGHT + BOTTOM
    if with_color:
        panels.append(_color(page, colors))
        height += GAP + COLOR
    chart = alt.vconcat(
        *panels,
        spacing=GAP,
        bounds="flush",
        autosize=alt.AutoSizeParams(type="none"),
        # What draws takes the panels' width for its own.
        padding={"left": LEFT, "right": RIGHT, "top": TOP + LINE * len(lines), "bottom": height},
        title=page_title(headline(one), lines, LEFT),
        background="white",
    )
    return written(styled(chart), ending)


def _page(one: Diagnosis, tolerance: float) -> _Page:
    """The scale of the light, the marks and the key."""
    course = plotted(one, WIDE)
    limits = one.limits
    least = [course.middle - 1.3 * tolerance, course.middle + 1.3 * tolerance]
    if limits is not None:
        least += [limits.lower_stops, limits.upper_stops]
    ends = ends_of(course.light, Range(min(least), max(least)))
    at = drawn_at(course.frames, course.light, ends)
    size = next((area for most, area in SIZES if len(course.frames) <= most), SMALLEST)
    return _Page(course, size, ends, at, tolerance, limits, _key(course, at, tolerance, limits))


def _key(
    course: Plotted, at: tuple[At, ...], tolerance: float, limits: ChartLimits | None
) -> tuple[tuple[_Item, ...], ...]:
    """What the marks mean, of those that are there, in lines that fit."""
    by = {frame.by for frame in course.frames}
    items = [_Item("circle", "by the card")] if "card" in by else []
    items += [_Item("diamond", "by the scene")] if "scene" in by else []
    items.append(_Item("band", f"tolerance \N{PLUS-MINUS SIGN}{tolerance:.2f} stop"))
    if limits is not None:
        low, high = stops_text(limits.lower_stops), stops_text(limits.upper_stops)
        items.append(_Item("limits", f"usual spread, {low} to {high}"))
        if course.outside.any():
            items.append(_Item("dark", "outside of it"))
    if len(course.frames) <= MOST_BARS:
        items.append(_Item("bar", "two standard uncertainties"))
    if any(b.kind == "pause" for b in course.breaks):
        items.append(_Item("pause", "pause"))
    if "at-least" in at:
        items.append(_Item("triangle-up", "this or more", hollow=True))
    if "at-most" in at:
        items.append(_Item("triangle-down", "this or less", hollow=True))
    if "above" in at:
        items.append(_Item("triangle-up", "above this scale"))
    if "below" in at:
        items.append(_Item("triangle-down", "below this scale"))
    lines: list[list[_Item]] = [[]]
    for item in items:
        if sum(map(_item_px, [*lines[-1], item])) > WIDE + RIGHT - 24:
            lines.append([])
        lines[-1].append(item)
    return tuple(map(tuple, lines))


def _item_px(item: _Item) -> float:
    """Width of a mark of the key with its words."""
    return 20 + width(item.text) * SMALL_PX + 10


def _light(page: _Page, last: bool) -> alt.LayerChart:
    """The light of the frames, with what is found in it above."""
    high = page.top + LIGHT
    y = alt.Y(
        "y:Q",
        scale=alt.Scale(
            domain=list(page.light), range=[high, page.top], nice=False, zero=False, clamp=True
        ),
        title=None,
        axis=alt.Axis(tickCount=7),
    )
    layers = _ground(page, y)
    layers += _upright(page, page.top, high)
    for n, track in enumerate(page.course.tracks):
        layers += _track(page, track, len(page.key) * KEY + n * TRACK)
        layers += _down(page, track, n, high)
    layers += _bars(page, y)
    layers += _marks(page, y)
    layers += _key_marks(page)
    layers.append(_beside("light, stops", page.top + LIGHT / 2))
    if last:
        layers += _ticks(page, high)
    words = "light of each frame, without what camera settings explain"
    return alt.LayerChart(layer=layers, width=WIDE, height=high, title=heading(words))


def _ground(page: _Page, y: alt.Y) -> list[alt.Chart]:
    """Tolerance, limits, and a line from frame to frame where they are few."""
    middle = page.course.middle
    low, high = middle - page.tolerance, middle + page.tolerance
    band = alt.Chart(data([{"y": low, "to": high}]))
    layers = [
        band.mark_rect(color=BAND).encode(y, alt.Y2("to"), x=alt.value(0), x2=alt.value(WIDE))
    ]
    across = {"x": alt.value(0), "x2": alt.value(WIDE)}
    if page.limits is not None:
        lines = alt.Chart(data({"y": v} for v in (page.limits.lower_stops, page.limits.upper_stops)))
        layers.append(
            lines.mark_rule(color=LIMIT, strokeWidth=1, strokeDash=[6, 3]).encode(y, **across)
        )
        centre = alt.Chart(data([{"y": page.limits.centre_stops}]))
        layers.append(centre.mark_rule(color=LIMIT, strokeWidth=0.6).encode(y, **across))
    if len(page.course.frames) <= MOST_JOINED:
        layers += [
            line.mark_line(color=COURSE, strokeWidth=1).encode(_x(), y)
            for line in _joined(page, page.course.light)
        ]
    return layers


def _joined(page: _Page, values: Floats) -> list[alt.Chart]:
    """A line for each stretch, through the frames whose light is known as a value."""
    stretch = np.array([f.stretch for f in page.course.frames])
    exact = np.array([how == "value" for how in page.at]) & np.isfinite(values)
    lines = []
    for part in np.split(np.arange(len(values)), np.flatnonzero(np.diff(stretch)) + 1):
        some = part[exact[part]]
        if some.size > 1:
            lines.append(alt.Chart(series(x=page.course.x[some], y=values[some])))
    return lines


def _upright(page: _Page, top: float, high: float) -> list[alt.Chart]:
    """Pauses and beginnings of stretches, and above the light their names."""
    layers = []
    for kind, dash in (("pause", [1, 3]), ("stretch", [1, 0])):
        some = [{"x": b.x, "text": b.text} for b in page.course.breaks if b.kind == kind]
        if not some:
            continue
        chart = alt.Chart(data(some))
        rule = chart.mark_rule(color=FAINT, strokeWidth=1, strokeDash=dash)
        layers.append(rule.encode(_x(), y=alt.value(top), y2=alt.value(high)))
        named = [row for row in some if row["text"]] if top else []
        if named:
            words = alt.Chart(data(named)).mark_text(
                baseline="middle", fontSize=SMALL_PX, color=FAINT
            )
            layers.append(words.encode(_x(), y=alt.value(top - BREAKS / 2), text="text:N"))
    return layers


def _track(page: _Page, track: Track, top: float) -> list[alt.Chart]:
    """A finding: its words, and below them brackets over its frames."""
    line = top + 24
    words = alt.Chart(data([{"text": track.text}])).mark_text(
        align="left", baseline="middle", fontSize=SMALL_PX, fontWeight="bold", color=INK
    )
    layers = [
        words.encode(x=alt.value(track.text_x), y=alt.value(top + 12), text="text:N"),
    ]
    long = [{"x": a, "to": b} for a, b in track.runs if b > a]
    single = [{"x": a} for a, b in track.runs if a == b]
    if long:
        chart = alt.Chart(data(long))
        rule = chart.mark_rule(color=track.color, strokeWidth=3)
        layers.append(rule.encode(_x(), alt.X2("to"), y=alt.value(line)))
        for end in ("x:Q", "to:Q"):
            tick = chart.mark_rule(color=track.color, strokeWidth=1.6)
            layers.append(tick.encode(_x(end), y=alt.value(line - 1.5), y2=alt.value(line + 5)))
    if single:
        mark = alt.Chart(data(single)).mark_point(
            filled=True, shape="triangle-down", size=40, opacity=1, color=track.color
        )
        layers.append(mark.encode(_x(), y=alt.value(line + 1)))
    return layers


def _down(page: _Page, track: Track, n: int, high: float) -> list[alt.Chart]:
    """Through the light: a rule where a lasting change begins; a thin one at each single frame."""
    if track.step_x is not None:
        rule = alt.Chart(data([{"x": track.step_x}])).mark_rule(color=track.color, strokeWidth=1.8)
        return [rule.encode(_x(), y=alt.value(page.top), y2=alt.value(high))]
    own = page.course.x[page.course.track_of == n]
    if not 0 < own.size <= WIDE / 24:
        return []
    rule = alt.Chart(series(x=own)).mark_rule(color=track.color, strokeWidth=0.8, opacity=0.55)
    return [rule.encode(_x(), y=alt.value(page.top), y2=alt.value(high))]


def _bars(page: _Page, y: alt.Y) -> list[alt.Chart]:
    """Uncertainties, where there is room for them."""
    if len(page.course.frames) > MOST_BARS:
        return []
    frames = zip(page.course.frames, page.course.x, page.course.light, page.at, strict=True)
    rows = [
        {"x": float(x), "y": float(v) - 2 * f.u_stops, "to": float(v) + 2 * f.u_stops}
        for f, x, v, how in frames
        if how == "value" and np.isfinite(f.u_stops)
    ]
    bars = alt.Chart(data(rows)).mark_rule(color=QUIET, strokeWidth=1)
    return [bars.encode(_x(), y, alt.Y2("to"))] if rows else []


def _marks(page: _Page, y: alt.Y) -> list[alt.Chart]:
    """A mark for each frame; those that are told of lie on the others."""
    course = page.course
    groups: dict[tuple[int, bool, At, str], list[int]] = {}
    for n, (frame, how) in enumerate(zip(course.frames, page.at, strict=True)):
        key = (int(course.track_of[n]), bool(course.outside[n]), how, frame.by)
        groups.setdefault(key, []).append(n)
    layers = []
    for (track, outside, how, by), some in sorted(groups.items()):
        color = QUIET if track < 0 else course.tracks[track].color
        shape = SHAPES.get(how, "circle" if by == "card" else "diamond")
        hollow = how in ("at-least", "at-most")
        stroke = INK if outside else color if hollow else "white"
        shown = alt.Chart(series(x=course.x[some], y=course.light[some]))
        mark = shown.mark_point(
            filled=not hollow, shape=shape, size=page.size * (1 if how == "value" else 1.3),
            opacity=1, fill="white" if hollow else color, stroke=stroke,
            strokeWidth=1.2 if outside or hollow else 0.3,
        )  # fmt: skip
        layers.append(mark.encode(_x(), y))
    return layers


def _key_marks(page: _Page) -> list[alt.Chart]:
    """The lines of the key."""
    layers = []
    for line, items in enumerate(page.key):
        x, y = 0.0, line * KEY + 6.0
        for item in items:
            layers += _key_mark(item, x + 8, y)
            words = words_at(alt.Chart(data([{"text": item.text}])), "left")
            layers.append(words.encode(x=alt.value(x + 20), y=alt.value(y), text="text:N"))
            x += _item_px(item)
    return layers


def _key_mark(item: _Item, x: float, y: float) -> list[alt.Chart]:
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


def _color(page: _Page, colors: tuple[Floats, Floats]) -> alt.LayerChart:
    """Red and blue against green."""
    known = np.concatenate([values[np.isfinite(values)] for values in colors])
    ends = ends_of(known, Range(-LEAST_COLOR_STOPS, LEAST_COLOR_STOPS))
    y = alt.Y(
        "y:Q",
        scale=alt.Scale(domain=list(ends), nice=False, zero=False, clamp=True),
        title=None,
        axis=alt.Axis(tickCount=4),
    )
    zero = alt.Chart(data([{"y": 0.0}])).mark_rule(color=LIMIT, strokeWidth=0.6)
    layers = [zero.encode(y, x=alt.value(0), x2=alt.value(WIDE)), *_upright(page, 0, COLOR)]
    drawn_colors = ((colors[0], RED, "circle", "red"), (colors[1], BLUE, "square", "blue"))
    for values, color, _, _ in drawn_colors:
        if len(values) <= MOST_JOINED:
            layers += [
                line.mark_line(color=color, strokeWidth=1, opacity=0.5).encode(_x(), y)
                for line in _joined(page, values)
            ]
    names = []
    for at, (values, color, shape, name) in enumerate(drawn_colors):
        some = np.flatnonzero(np.isfinite(values))
        if not some.size:
            continue
        for how, far in (("value", False), ("above", True), ("below", True)):
            here = [n for n, e in zip(some, _edges(values[some], ends), strict=True) if e == how]
            if here:
                points = alt.Chart(series(x=page.course.x[here], y=values[here]))
                mark = points.mark_point(
                    filled=True, shape=SHAPES[how] if far else shape, color=color,
                    size=page.size * (0.8 if far else 0.55), opacity=0.9,
                )  # fmt: skip
                layers.append(mark.encode(_x(), y))
        names.append({"row": 26 + at * 18, "name": f"{name} / green", "color": color,
                      "shape": shape})  # fmt: skip
    for row in names:
        one = alt.Chart(data([row]))
        height = alt.value(row["row"])
        sign = one.mark_point(
            filled=True, shape=row["shape"], color=row["color"], size=36, opacity=1
        )
        layers.append(sign.encode(x=alt.value(WIDE + 10), y=height))
        words = words_at(one, "left")
        layers.append(words.encode(x=alt.value(WIDE + 18), y=height, text="name:N"))
    layers.append(_beside("colour, stops", COLOR / 2))
    layers += _ticks(page, COLOR)
    words = "colour of each frame, from the middle of the series"
    if "scene" in {f.by for f in page.course.frames}:
        words = "colour of each frame, from the middle of its stretch"
    return alt.LayerChart(layer=layers, width=WIDE, height=COLOR, title=heading(words))


def _edges(values: Floats, ends: Range) -> list[At]:
    """How each value is drawn on a scale."""
    return ["above" if v > ends.high else "below" if v < ends.low else "value" for v in values]


def _ticks(page: _Page, high: float) -> list[alt.Chart]:
    """Names and times of some frames below a panel."""
    rows = [{"x": t.x, "name": t.name, "time": t.time} for t in page.course.ticks]
    chart = alt.Chart(data(rows))
    rule = chart.mark_rule(color=FAINT)
    layers = [
        rule.encode(_x(), y=alt.value(high), y2=alt.value(high + 5)),
        alt.Chart(data([{}]))
        .mark_rule(color=FAINT)
        .encode(x=alt.value(0), x2=alt.value(WIDE), y=alt.value(high)),
    ]
    for field, below, color in (("name", 14, INK), ("time", 28, FAINT)):
        text = chart.mark_text(baseline="middle", fontSize=SMALL_PX, color=color)
        layers.append(text.encode(_x(), y=alt.value(high + below), text=f"{field}:N"))
    words = "time" if page.course.by_time else "frames in the order they were taken, evenly spaced"
    title = alt.Chart(data([{"text": words}])).mark_text(
        baseline="middle", fontSize=TEXT_PX, color=INK
    )
    layers.append(
        title.encode(x=alt.value(WIDE / 2), y=alt.value(high + 47), text="text:N")
    )
    return layers


def _beside(words: str, middle: float) -> alt.Chart:
    """What an axis shows, left of it."""
    text: alt.Chart = (
        alt.Chart(data([{"text": words}]))
        .mark_text(angle=270, baseline="middle", fontSize=TEXT_PX, color=INK)
        .encode(x=alt.value(TITLE_X), y=alt.value(middle), text="text:N")
    )
    return text


def _x(field: str = "x:Q") -> alt.X:
    """Places in pixels of the panel; frames are named below it."""
    return alt.X(field, scale=scale_of(Range(0, WIDE)), axis=None)
