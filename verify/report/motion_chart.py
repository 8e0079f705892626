"""Draws the plot of a motion. Slow to import: only where a picture is asked for."""

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import altair as alt
import numpy as np
from numpy.typing import NDArray

from verify.motion.ghost import lightness
from verify.motion.strip import (
    DARK_ON_GREY,
    LIGHT_ON_BLACK,
    Trail,
    edge_strip,
    narrowest_from_s,
    trail_of,
)
from verify.pulse.shutter import LightOut, light_out
from verify.report.chart_style import (
    FAINT,
    INK,
    LINE,
    PAGE,
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
from verify.report.motion_picture import MotionPicture
from verify.report.motion_words import details, edge_px, headline, px_text, width_px

LEFT, WIDTH = 140, 530  # beside the panels, and the most that they take
TOP = 70  # above the first panel, without the lines of details
ROW, BETWEEN, BAR = 38, 46, 20  # heights: of a strip, from one to the next, of a bracket
PROFILE, GAP, AXIS, BOTTOM = 150, 40, 44, 54  # heights: profile, between, an axis, below
LEAST_PX, MOST_CELLS = 16, 110  # that a strip shows, and that it is made of
NEAR_PX = 40  # a trail no longer than this is shown in the close-up
ALL_BUT_OUT = 0.995  # of the light
STILL, FLASH, BOTH = INK, "#332288", "#cc6677"  # in the profile and at the names of the strips


@dataclass(frozen=True, slots=True)
class _View:
    """A part of the path, in whole cells."""

    first_px: int  # its left side, from the leading edge as the flash begins
    cells: int
    cell_px: int  # pixels in a cell
    width: float  # of the panel

    @property
    def last_px(self) -> int:
        """Its right side."""
        return self.first_px + self.cells * self.cell_px


@dataclass(frozen=True, slots=True)
class _Bracket:
    """A length that is marked."""

    name: str  # left of it
    from_px: float
    length_px: float


@dataclass(frozen=True, slots=True, eq=False)
class _Row:
    """A strip of cells and its name."""

    name: str
    color: str
    light: NDArray[np.float64]  # (cells,) linear, 1 for white


def drawn(picture: MotionPicture, ending: str) -> bytes:
    """A PNG or SVG, by ``ending``, of a motion with light in its flash."""
    lines = details(picture)
    trail = trail_of(picture.ghost)
    running = light_out(picture.course.time_s, picture.course.value)
    px_s = picture.image_um_s / picture.pitch_um
    close = _close_up(px_s * running.until(ALL_BUT_OUT), trail)
    rows = _rows(picture, close, trail)
    brackets = _brackets(picture, running)
    along = [] if trail is None else [_Bracket("trail", 0.0, trail.length_px)]
    near = trail is None or trail.length_px <= close.last_px
    if near:
        brackets += along
    panels = [_strips(close, rows, brackets), _profile(close, rows)]
    height = len(rows) * BETWEEN + len(brackets) * BAR + GAP + PROFILE + BOTTOM
    if trail is not None and not near:
        whole = _whole(trail)
        # What stands still is told by the close-up.
        long_rows = _rows(picture, whole, trail)[1:]
        panels.append(_strips(whole, long_rows, along, above=AXIS, labels=True))
        height += GAP + AXIS + len(long_rows) * BETWEEN + BAR
    # What draws takes the panels' width for its own where they have one in common.
    common = {panel.width for panel in panels}
    own = common.pop() if len(common) == 1 else 0
    chart = alt.vconcat(
        *panels,
        spacing=GAP,
        bounds="flush",
        autosize=alt.AutoSizeParams(type="none"),
        padding={
            "left": LEFT,
            "right": PAGE - LEFT - own,
            "top": TOP + LINE * len(lines),
            "bottom": height,
        },
        title=page_title(headline(picture), lines, LEFT),
        background="white",
    )
    return written(styled(chart), ending)


def _close_up(out_px: float, trail: Trail | None) -> _View:
    """The leading edge, until the light of the flash is out; and a short trail with it."""
    after = 1.1 * out_px
    if trail is not None and trail.length_px <= NEAR_PX:
        after = max(after, 1.1 * trail.length_px)
    after = max(after, LEAST_PX * 0.7)
    return _view(-0.4 * after, after)


def _whole(trail: Trail) -> _View:
    """All of a long trail, and as much of the flash image as there is room for."""
    return _view(-min(1.1 * trail.subject_px, 0.2 * trail.length_px), 1.05 * trail.length_px)


def _view(from_px: float, to_px: float) -> _View:
    """Whole pixels from one place to another; several of them in a cell where they are many."""
    cell_px = math.ceil((to_px - from_px) / MOST_CELLS)
    first, last = math.floor(from_px / cell_px), math.ceil(to_px / cell_px)
    cells = last - first
    # Cells begin on whole pixels of the PNG, so that no seams show between them.
    return _View(first * cell_px, cells, cell_px, cells * math.floor(2 * WIDTH / cells) / 2)


def _rows(picture: MotionPicture, view: _View, trail: Trail | None) -> list[_Row]:
    """The strips of a part of the path."""
    ghost = picture.ghost
    strip = edge_strip(
        picture.course,
        picture.image_um_s,
        picture.pitch_um,
        view.first_px,
        view.cells,
        view.cell_px,
        DARK_ON_GREY if ghost is not None and ghost.against == "grey" else LIGHT_ON_BLACK,
        trail,
    )
    rows = [
        _Row("standing still", STILL, strip.still),
        _Row("moving, flash only", FLASH, strip.flash),
    ]
    if strip.both is not None:
        rows.append(_Row("with ambient light", BOTH, strip.both))
    return rows


def _brackets(picture: MotionPicture, running: LightOut) -> list[_Bracket]:
    """The two widths of the blur, where they are along the path."""
    px_s, pitch_um = picture.image_um_s / picture.pitch_um, picture.pitch_um
    narrowest_px = px_s * narrowest_from_s(running)
    return [
        _Bracket("80 % of the light", narrowest_px, width_px(picture.blur, pitch_um)),
        _Bracket("edge, 10 to 90 %", px_s * running.until(0.1), edge_px(picture.blur, pitch_um)),
    ]


def _strips(
    view: _View,
    rows: list[_Row],
    brackets: list[_Bracket],
    above: float = 0.0,
    labels: bool = False,
) -> alt.LayerChart:
    """Strips one below the other, with what is marked below them.

    Parameters
    ----------
    above : space at the top of the panel, for the axis of the one above it.
    labels : it has an axis.
    """
    height = above + len(rows) * BETWEEN + len(brackets) * BAR
    x = _x(view, labels)
    y_of = _y_of(height)
    tops = [above + at * BETWEEN for at in range(len(rows))]
    cells = [
        {"px": left, "to": right, "top": top, "bottom": top + ROW, "grey": grey}
        for top, row in zip(tops, rows, strict=True)
        for left, right, grey in _runs(view, row.light)
    ]
    frames = [
        {
            "px": view.first_px,
            "to": view.last_px,
            "top": top,
            "bottom": top + ROW,
            "middle": top + ROW / 2,
            "name": row.name,
            "color": row.color,
        }
        for top, row in zip(tops, rows, strict=True)
    ]
    box = (x, y_of("top"), alt.X2("to"), alt.Y2("bottom"))
    named = alt.Chart(data(frames))
    layers = [
        alt.Chart(data(cells))
        .mark_rect()
        .encode(*box, alt.Color("grey:N", scale=None, legend=None)),
        named.mark_rect(filled=False, stroke=FAINT, strokeWidth=0.6).encode(*box),
        named.mark_square(size=64, opacity=1).encode(
            y_of("middle"), alt.Color("color:N", scale=None, legend=None), x=alt.value(-13)
        ),
        words_at(named, "right").encode(y_of("middle"), x=alt.value(-24), text="name:N"),
    ]
    marks = [
        {
            "px": one.from_px,
            "to": one.from_px + one.length_px,
            "middle": above + len(rows) * BETWEEN + (at + 0.5) * BAR,
            "name": one.name,
            "text": px_text(one.length_px),
        }
        for at, one in enumerate(brackets)
    ]
    layers += _marked(x, _x(view, labels, field="to:Q"), marks, y_of)
    words = f"close-up of the leading edge, {_cells(view)}"
    if labels:
        words = f"the whole trail of the ambient light, {_cells(view)}"
    title = heading(words, 9 - above)
    return alt.LayerChart(layer=layers, width=view.width, height=height, title=title)


def _marked(
    begin: alt.X, end: alt.X, marks: list[dict[str, Any]], y_of: Callable[[str], alt.Y]
) -> list[alt.Chart]:
    """Lengths along the path with their names and figures."""
    chart = alt.Chart(data(marks))
    middle = y_of("middle")
    layers = [
        chart.mark_rule(color=INK, strokeWidth=1.6).encode(begin, middle, alt.X2("to")),
        words_at(chart, "right").encode(middle, x=alt.value(-24), text="name:N"),
        words_at(chart, "left", 8).encode(end, middle, text="text:N"),
    ]
    for place in (begin, end):
        tick = chart.mark_tick(color=INK, thickness=1.6, size=10, orient="vertical")
        layers.append(tick.encode(place, middle))
    return layers


def _profile(view: _View, rows: list[_Row]) -> alt.LayerChart:
    """Lightness along the strips."""
    y = alt.Y(
        "lightness:Q",
        scale=scale_of(Range(0, 102)),
        title="lightness, L*",
        axis=alt.Axis(values=[0, 25, 50, 75, 100]),
    )
    layers = []
    # The flash image is drawn over what it shares with the others.
    for at, wide, dash in ((2, 3.5, [1, 0]), (0, 1.5, [4, 3]), (1, 1.5, [1, 0])):
        for row in rows[at : at + 1]:
            sides = view.first_px + view.cell_px * np.arange(view.cells + 1.0)
            light = np.array([lightness(value) for value in row.light.tolist()])
            steps = series(px=np.repeat(sides, 2)[1:-1], lightness=np.repeat(light, 2))
            line = alt.Chart(steps).mark_line(color=row.color, strokeWidth=wide, strokeDash=dash)
            layers.append(line.encode(_x(view, labels=True), y))
    return alt.LayerChart(
        layer=layers,
        width=view.width,
        height=PROFILE,
        title=heading("lightness along these strips, as a display shows it"),
    )


def _runs(view: _View, light: NDArray[np.float64]) -> list[tuple[int, int, str]]:
    """Left and right sides [pixel] and shades of neighbouring cells that look the same."""
    shades = [_shade(value) for value in light.tolist()]
    runs, at = [], 0
    for shade, same in itertools.groupby(shades):
        count = len(list(same))
        runs.append((_left(view, at), _left(view, at + count), shade))
        at += count
    return runs


def _shade(light: float) -> str:
    """Linear light as a grey "#rrggbb" of a display; what is above white is white.

    References
    ----------
    IEC 61966-2-1 (sRGB).
    """
    light = min(max(light, 0.0), 1.0)
    coded = 12.92 * light if light <= 0.0031308 else 1.055 * light ** (1 / 2.4) - 0.055
    return f"#{round(255 * coded):02x}" + 2 * f"{round(255 * coded):02x}"


def _left(view: _View, cell: int) -> int:
    """Left side of a cell [pixel]."""
    return view.first_px + cell * view.cell_px


def _cells(view: _View) -> str:
    """What one cell of a strip is."""
    return "each cell a pixel" if view.cell_px == 1 else f"each cell {view.cell_px} pixels"


def _y_of(height: float) -> Callable[[str], alt.Y]:
    """Heights in a panel from its top, by the name of their field."""
    scale = alt.Scale(domain=[height, 0], nice=False, zero=False)
    return lambda field: alt.Y(f"{field}:Q", scale=scale, axis=None)


def _x(view: _View, labels: bool, field: str = "px:Q") -> alt.X:
    """The axis along the path, with what is written on it or without."""
    title = "pixels from the leading edge as the flash begins" if labels else None
    return alt.X(
        field,
        scale=scale_of(Range(view.first_px, view.last_px)),
        axis=alt.Axis(
            labels=labels, ticks=labels, domain=labels, title=title, grid=False, labelFlush=True
        ),
    )
