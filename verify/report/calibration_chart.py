"""Draws the plot of a calibration. Slow to import: only where a picture is asked for."""

from dataclasses import dataclass
from typing import Any

import altair as alt

from verify.calibrate.records import Calibration
from verify.notation import stops_text
from verify.report.calibration_groups import QUIET, Departure, Telling, departures, told_apart
from verify.report.calibration_words import SEPARATOR, details, headline, in_stops
from verify.report.chart_style import (
    BAND,
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
    styled,
    written,
)

LEFT, RIGHT = 66, 24  # beside the panels
ASIDE = 150  # right of them, for a legend and for the names of groups that differ
TOP = 70  # above the upper panel, without the lines of details
UPPER, GAP, LOWER, BOTTOM = 290, 54, 190, 56  # heights: the panels, between and below them
POINT = 56  # area of a mark
ASIDE_EM = (ASIDE - 40) / SMALL_PX
LEAST_STOPS = 0.105  # that the residuals' scale shows to each side
MOST_BAND_STOPS = 0.5  # that it makes room for where the offset is unsure
LABEL_PX = 30  # of one group that differs, in two lines
MOST_LABELS = LOWER // LABEL_PX


@dataclass(frozen=True, slots=True)
class _Page:
    """What both panels share."""

    points: list[dict[str, Any]]  # a frame each: planned, measured, residual [stop], group
    offset: float  # [stop]
    telling: Telling
    planned: Range  # scale of both panels
    width: int  # of both panels


def drawn(calibration: Calibration, ending: str) -> bytes:
    """A PNG or SVG, by ``ending``, of a calibration with one frame or more and an offset."""
    title, lines = headline(calibration), details(calibration)
    telling = told_apart(calibration, ASIDE_EM)
    differing = departures(calibration, telling, ASIDE_EM)
    page = _page(calibration, telling, beside=bool(telling.title or differing))
    chart = alt.vconcat(
        _upper(page),
        _lower(page, calibration.interval_stops, differing),
        spacing=GAP,
        bounds="flush",
        # Nothing of the layout depends on what is written in it, so that all pages are alike.
        autosize=alt.AutoSizeParams(type="none"),
        padding=_margins(len(lines), page.width),
        title=page_title(title, lines, LEFT),
        background="white",
    ).resolve_scale(color="independent", shape="independent")  # so the legend is the upper panel's
    return written(_styled(chart), ending)


def _margins(lines: int, width: int) -> dict[str, int]:
    """Space around the corner of the upper panel; together it is the page."""
    top = TOP + LINE * lines
    return {
        "left": LEFT,
        "right": PAGE - LEFT - width,
        "top": top,
        "bottom": UPPER + GAP + LOWER + BOTTOM,
    }


def _page(calibration: Calibration, telling: Telling, beside: bool) -> _Page:
    """Frames as points, and the scale of planned stops."""
    offset = calibration.offset_stops or 0.0
    points = [
        {
            "planned": frame.planned_stops,
            "measured": frame.planned_stops + frame.rest_stops,
            "residual": frame.rest_stops - offset,
            "group": telling.marks[mark].name,
        }
        for frame, mark in sorted(
            zip(calibration.frames, telling.of_frame, strict=True),
            key=lambda pair: telling.marks[pair[1]].color != QUIET,  # under those that count more
        )
    ]
    planned = [frame.planned_stops for frame in calibration.frames]
    pad = max(0.5, 0.06 * (max(planned) - min(planned)))
    return _Page(
        points=points,
        offset=offset,
        telling=telling,
        planned=Range(min(planned) - pad, max(planned) + pad),
        width=PAGE - LEFT - RIGHT - (ASIDE if beside else 0),
    )


def _upper(page: _Page) -> alt.LayerChart:
    """Measured against planned stops, with the line through the offset and the standard's."""
    low, high = page.planned
    measured = [point["measured"] for point in page.points]
    pad = 0.04 * (high - low)
    ends = Range(
        min(low + min(page.offset, 0), *measured) - pad,
        max(high + max(page.offset, 0), *measured) + pad,
    )
    y = alt.Y("measured:Q", scale=scale_of(ends), title="measured, stops from clipping")
    layers = [
        alt.Chart(data({"planned": end, "measured": end + offset} for end in page.planned))
        .mark_line(color=color, strokeWidth=1.3, strokeDash=dash)
        .encode(_x(page, labels=False), y)
        for offset, color, dash in ((0.0, "#b4b7bd", [4, 4]), (page.offset, INK, [1, 0]))
    ]
    words = (
        f"solid line: unit slope, offset {stops_text(page.offset)}"
        f"{SEPARATOR}dashed line: the standard, offset 0"
    )
    layers.append(_points(page, legend=True).encode(_x(page, labels=False), y))
    return alt.LayerChart(
        layer=layers,
        width=page.width,
        height=UPPER,
        title=heading(words),
    )


def _lower(
    page: _Page, interval: tuple[float, float] | None, differing: tuple[Departure, ...]
) -> alt.LayerChart:
    """What the offset leaves over, the interval of the offset, and the groups that differ."""
    band = [end - page.offset for end in interval or ()]
    reach = [abs(point["residual"]) for point in page.points]
    reach += [abs(one.stops) for one in differing]
    reach += [min(abs(end), MOST_BAND_STOPS) for end in band]
    limit = max(LEAST_STOPS, 1.12 * max(reach))
    x = _x(page, labels=True)
    y = alt.Y(
        "residual:Q",
        scale=scale_of(Range(-limit, limit)),
        title="residual, stops",
        axis=alt.Axis(tickCount=5),
    )
    low, high = page.planned
    layers: list[alt.Chart] = []
    words = "measured \N{MINUS SIGN} planned \N{MINUS SIGN} offset"
    if band:
        words += f"{SEPARATOR}grey: 95 % interval of the offset"
        top = min(band[1], limit)
        span = {"top": top, "planned": low, "to": high, "residual": max(band[0], -limit)}
        layers.append(
            alt.Chart(data([span])).mark_rect(color=BAND).encode(x, y, alt.X2("to"), alt.Y2("top"))
        )
    zero = {"planned": low, "to": high, "residual": 0.0}
    layers.append(alt.Chart(data([zero])).mark_rule(color=INK).encode(x, y, alt.X2("to")))
    layers += _labels(page, x, y, limit, differing)
    layers.append(_points(page, legend=False).encode(x, y))
    if len(differing) > MOST_LABELS:
        words += f"{SEPARATOR}named: the {MOST_LABELS} groups that differ most"
    return alt.LayerChart(layer=layers, width=page.width, height=LOWER, title=heading(words))


def _labels(
    page: _Page, x: alt.X, y: alt.Y, limit: float, differing: tuple[Departure, ...]
) -> list[alt.Chart]:
    """A line at each group that differs, and its name and figure right of the panel."""
    shown = sorted(differing[:MOST_LABELS], key=lambda one: one.stops)
    per_px = 2 * limit / LOWER
    places = _spread([one.stops for one in shown], LABEL_PX * per_px, limit)
    rows = [
        {
            "planned": page.planned.low,
            "to": page.planned.high,
            "residual": one.stops,
            "place": place,
            "color": one.color,
            "text": [one.name, f"differs by {in_stops(one.stops)}"],
        }
        for one, place in zip(shown, places, strict=True)
    ]
    if not rows:
        return []
    chart = alt.Chart(data(rows))
    color = alt.Color("color:N", scale=None, legend=None)
    start, end, text = (alt.value(page.width + beside) for beside in (0, 14, 19))
    return [
        chart.mark_rule(strokeWidth=1.2, strokeDash=[2, 3]).encode(x, y, alt.X2("to"), color),
        chart.mark_rule(strokeWidth=1.2).encode(y, alt.Y2("place"), color, x=start, x2=end),
        chart.mark_text(
            align="left",
            baseline="middle",
            lineHeight=13,
            dy=-6,
            fontSize=SMALL_PX,
            color=INK,
            limit=ASIDE,
        ).encode(x=text, y=alt.Y("place:Q"), text="text:N"),
    ]


def _spread(wanted: list[float], apart: float, limit: float) -> list[float]:
    """Places as near to those wanted as leaves them apart and inside the limits, in order."""
    places: list[float] = []
    for place in wanted:
        places.append(max(place, places[-1] + apart if places else apart / 2 - limit))
    highest = limit - apart / 2
    for at in reversed(range(len(places))):
        places[at] = min(places[at], highest)
        highest = places[at] - apart
    return places


def _points(page: _Page, legend: bool) -> alt.Chart:
    """A mark for each frame."""
    names = [mark.name for mark in page.telling.marks]
    title = list(page.telling.title)
    key = alt.Legend(title=title) if legend and title else None
    points: alt.Chart = (
        alt.Chart(data(page.points))
        .mark_point(filled=True, size=POINT, opacity=1, stroke="white", strokeWidth=0.5)
        .encode(
            color=alt.Color(
                "group:N",
                scale=alt.Scale(domain=names, range=[mark.color for mark in page.telling.marks]),
                legend=key,
            ),
            shape=alt.Shape(
                "group:N",
                scale=alt.Scale(domain=names, range=[mark.shape for mark in page.telling.marks]),
                legend=key,
            ),
        )
    )
    return points


def _x(page: _Page, labels: bool) -> alt.X:
    """The axis of planned stops, with what is written on it or without."""
    title = "planned, stops from clipping" if labels else None
    return alt.X(
        "planned:Q",
        scale=scale_of(page.planned),
        axis=alt.Axis(labels=labels, title=title, labelFlush=True),
    )


def _styled(chart: alt.VConcatChart) -> alt.VConcatChart:
    """Type and colours of the page and of its legend."""
    with_legend: alt.VConcatChart = styled(chart).configure_legend(
        labelColor=INK,
        titleColor=INK,
        labelFontSize=SMALL_PX,
        titleFontSize=TEXT_PX,
        titleFontWeight="normal",
        labelLimit=ASIDE - 30,
        symbolSize=POINT,
        offset=16,
    )
    return with_legend
