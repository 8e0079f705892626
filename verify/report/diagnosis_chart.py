"""Draws the plot of a shoot. Slow to import: only where a picture is asked for."""

from collections.abc import Sequence

import altair as alt
import numpy as np
from numpy.typing import NDArray

from verify.diagnose.records import Diagnosis
from verify.report.chart_style import (
    BAND,
    INK,
    LINE,
    SMALL_PX,
    Range,
    data,
    heading,
    page_title,
    series,
    styled,
    words_at,
    written,
)
from verify.report.diagnosis_course import (
    At,
    Track,
    colors_from_middle,
    drawn_at,
    ends_of,
    named_findings,
    plotted,
)
from verify.report.diagnosis_key import (
    LIMIT,
    LINE_PX,
    MOST_BARS,
    QUIET,
    key_marks,
    key_of,
)
from verify.report.diagnosis_marks import (
    FINE,
    LEFT,
    RIGHT,
    TRACK,
    WIDE,
    Page,
    along,
    apart,
    beside,
    joined,
    ticks,
    upright,
)
from verify.report.diagnosis_words import details, headline

Floats = NDArray[np.float64]

TOP = 70  # above the upper panel, without the lines of details
LIGHT, GAP, COLOR, BOTTOM = 250, 34, 110, 66  # heights: light, between, colour, below
COURSE = "#c9ccd1"  # of the line from frame to frame
RED, BLUE = "#d55e00", "#0072b2"  # Okabe and Ito's (from memory)
LEAST_COLOR_STOPS = 0.05  # that the scale of colour shows to each side
MOST_JOINED = 150  # frames, beyond which lines would hide them
SIZES = ((40, 44.0), (120, 28.0), (400, 16.0), (1500, 9.0))  # area of a mark up to so many frames
SMALLEST = 5.0  # below the others
MOST_DOWN = 24  # single frames of a finding, beyond which thin rules would hide the others
EDGE = 0.02  # of the scale, that what is beyond it is drawn inside of its end
SHAPES: dict[str, str] = {
    "at-least": "triangle-up",
    "at-most": "triangle-down",
    "above": "triangle-up",
    "below": "triangle-down",
}


def drawn(
    all_series: Sequence[tuple[str, Diagnosis]], at: int, tolerance_stops: float, ending: str
) -> bytes:
    """A PNG or SVG, by ``ending``, of the series at a place; the light of a frame is known."""
    one = all_series[at][1]
    lines = details(all_series, at, tolerance_stops, len(named_findings(one)))
    page = _page(one, tolerance_stops)
    colors = colors_from_middle(page.course.frames)
    with_color = any(np.isfinite(values).sum() > 1 for values in colors)
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


def _page(one: Diagnosis, tolerance: float) -> Page:
    """The scale of the light, the marks and the key."""
    course = plotted(one, WIDE)
    limits = one.limits
    least = [course.middle - 1.3 * tolerance, course.middle + 1.3 * tolerance]
    if limits is not None:
        least += [limits.lower_stops, limits.upper_stops]
    ends = ends_of(course.light, Range(min(least), max(least)))
    at = drawn_at(course.frames, course.light, ends)
    size = next((area for most, area in SIZES if len(course.frames) <= most), SMALLEST)
    return Page(course, size, ends, at, tolerance, limits, key_of(course, at, tolerance, limits))


def _light(page: Page, last: bool) -> alt.LayerChart:
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
    layers += upright(page, page.top, high)
    for n, track in enumerate(page.course.tracks):
        layers += _track(page, track, len(page.key) * LINE_PX + n * TRACK)
        layers += _down(page, track, high)
    layers += _bars(page, y)
    layers += _marks(page, y)
    layers += key_marks(page.key)
    layers.append(beside("light, stops", page.top + LIGHT / 2))
    if last:
        layers += ticks(page, high)
    words = "light of each frame, without what camera settings explain"
    return alt.LayerChart(layer=layers, width=WIDE, height=high, title=heading(words))


def _ground(page: Page, y: alt.Y) -> list[alt.Chart]:
    """Tolerance, limits, and a line from frame to frame where they are few."""
    middle = page.course.middle
    low, high = middle - page.tolerance, middle + page.tolerance
    band = alt.Chart(data([{"y": low, "to": high}]))
    layers = [
        band.mark_rect(color=BAND).encode(y, alt.Y2("to"), x=alt.value(1), x2=alt.value(WIDE))
    ]
    across = {"x": alt.value(0), "x2": alt.value(WIDE)}
    if page.limits is not None:
        lines = alt.Chart(
            data({"y": v} for v in (page.limits.lower_stops, page.limits.upper_stops))
        )
        layers.append(
            lines.mark_rule(color=LIMIT, strokeWidth=1, strokeDash=[6, 3]).encode(y, **across)
        )
        centre = alt.Chart(data([{"y": page.limits.centre_stops}]))
        layers.append(centre.mark_rule(color=LIMIT, strokeWidth=0.6).encode(y, **across))
    if len(page.course.frames) <= MOST_JOINED:
        layers += [
            line.mark_line(color=COURSE, strokeWidth=1).encode(along(), y)
            for line in joined(page, page.course.light)
        ]
    return layers


def _track(page: Page, track: Track, top: float) -> list[alt.Chart]:
    """A finding: its words, and below them brackets over its frames."""
    line = top + 24
    words = alt.Chart(data([{"text": track.text}])).mark_text(
        align="center" if track.centred else "left", baseline="middle", fontSize=SMALL_PX,
        fontWeight="bold", color=INK,
    )  # fmt: skip
    layers = [
        words.encode(x=alt.value(track.text_x), y=alt.value(top + 12), text="text:N"),
    ]
    long = [{"x": a, "to": b} for a, b in track.runs if b > a]
    single = [{"x": a} for a, b in track.runs if a == b]
    if long:
        chart = alt.Chart(data(long))
        rule = chart.mark_rule(color=track.color, strokeWidth=3)
        layers.append(rule.encode(along(), alt.X2("to"), y=alt.value(line)))
        for end in ("x:Q", "to:Q"):
            tick = chart.mark_rule(color=track.color, strokeWidth=1.6)
            layers.append(tick.encode(along(end), y=alt.value(line - 1.5), y2=alt.value(line + 5)))
    if single:
        mark = alt.Chart(data(single)).mark_point(
            filled=True, shape="triangle-down", size=40, opacity=1, color=track.color
        )
        layers.append(mark.encode(along(), y=alt.value(line + 1)))
    return layers


def _down(page: Page, track: Track, high: float) -> list[alt.Chart]:
    """Through the light: a rule where a lasting change begins; a thin one at each single frame."""
    if track.step_x is not None:
        rule = alt.Chart(data([{"x": track.step_x}])).mark_rule(color=track.color, strokeWidth=1.8)
        return [rule.encode(along(), y=alt.value(page.top), y2=alt.value(high))]
    single = np.array([a for a, b in track.runs if a == b])
    if not 0 < single.size <= MOST_DOWN:
        return []
    rule = alt.Chart(series(x=single)).mark_rule(color=track.color, strokeWidth=0.8, opacity=0.55)
    return [rule.encode(along(), y=alt.value(page.top), y2=alt.value(high))]


def _bars(page: Page, y: alt.Y) -> list[alt.Chart]:
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
    return [bars.encode(along(), y, alt.Y2("to"))] if rows else []


def _marks(page: Page, y: alt.Y) -> list[alt.Chart]:
    """A mark for each frame; those that are told of lie on the others."""
    course = page.course
    groups: dict[tuple[int, bool, At, str], list[int]] = {}
    for n, (frame, how) in enumerate(zip(course.frames, page.at, strict=True)):
        key = (int(course.track_of[n]), bool(course.outside[n]), how, frame.by)
        groups.setdefault(key, []).append(n)
    layers = []
    inside = EDGE * (page.light.high - page.light.low)
    values = np.clip(course.light, page.light.low + inside, page.light.high - inside)
    dark = 1.2 if page.size > FINE else 0.5
    for (track, outside, how, by), some in sorted(groups.items(), key=lambda g: -len(g[1])):
        color = QUIET if track < 0 else course.tracks[track].color
        shape = SHAPES.get(how, "circle" if by == "card" else "diamond")
        hollow = how in ("at-least", "at-most")
        stroke = INK if outside else color if hollow else "white"
        own = apart(page, values * LIGHT / (page.light.high - page.light.low), some)
        shown = alt.Chart(series(x=course.x[own], y=values[own]))
        mark = shown.mark_point(
            filled=not hollow, shape=shape, size=page.size * (1 if how == "value" else 1.3),
            opacity=1, fill="white" if hollow else color, stroke=stroke,
            strokeWidth=dark if outside or hollow else 0.3 if page.size > FINE else 0,
        )  # fmt: skip
        layers.append(mark.encode(along(), y))
    return layers


def _color(page: Page, colors: tuple[Floats, Floats]) -> alt.LayerChart:
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
    layers = [zero.encode(y, x=alt.value(0), x2=alt.value(WIDE)), *upright(page, 0, COLOR)]
    for values, color, shape in zip(colors, (RED, BLUE), ("circle", "square"), strict=True):
        layers += _color_marks(page, values, ends, y, color, shape)
    layers += _color_names(colors)
    layers.append(beside("colour, stops", COLOR / 2))
    layers += ticks(page, COLOR)
    words = "colour of each frame, from the middle of the series"
    if "scene" in {f.by for f in page.course.frames}:
        words = "colour of each frame, from the middle of its stretch"
    return alt.LayerChart(layer=layers, width=WIDE, height=COLOR, title=heading(words))


def _color_marks(
    page: Page, values: Floats, ends: Range, y: alt.Y, color: str, shape: str
) -> list[alt.Chart]:
    """One colour: a line where frames are few, and a mark for each that is known."""
    layers = []
    if len(values) <= MOST_JOINED:
        layers += [
            line.mark_line(color=color, strokeWidth=1, opacity=0.5).encode(along(), y)
            for line in joined(page, values)
        ]
    known = np.isfinite(values)
    for far, some in (
        ("above", values > ends.high),
        ("below", values < ends.low),
        ("", known & (values <= ends.high) & (values >= ends.low)),
    ):
        here = apart(page, values * COLOR / (ends.high - ends.low), np.flatnonzero(some).tolist())
        if here:
            mark = alt.Chart(series(x=page.course.x[here], y=values[here])).mark_point(
                filled=True, shape=SHAPES.get(far, shape), color=color,
                size=page.size * (0.8 if far else 0.55), opacity=0.9,
            )  # fmt: skip
            layers.append(mark.encode(along(), y))
    return layers


def _color_names(colors: tuple[Floats, Floats]) -> list[alt.Chart]:
    """Which colour is which, beside the panel."""
    layers = []
    names = (("red", RED, "circle"), ("blue", BLUE, "square"))
    for at, (values, (name, color, shape)) in enumerate(zip(colors, names, strict=True)):
        if not np.isfinite(values).any():
            continue
        one, height = alt.Chart(data([{"name": f"{name} / green"}])), alt.value(26 + at * 18)
        sign = one.mark_point(filled=True, shape=shape, color=color, size=36, opacity=1)
        layers.append(sign.encode(x=alt.value(WIDE + 10), y=height))
        words = words_at(one, "left")
        layers.append(words.encode(x=alt.value(WIDE + 18), y=height, text="name:N"))
    return layers
