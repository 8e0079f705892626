"""What all charts share: the page, its type and colours, how it is written. Slow to import."""

import io
from collections.abc import Iterable, Sequence
from typing import Any, Literal, NamedTuple

import altair as alt
import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

PAGE, SCALE = 700, 2  # width of the page, and pixels of a PNG for each of its units
LINE, TITLE_GAP = 17, 16  # heights: of a line below the title, and from those to the first panel
FONT = "Liberation Sans, Arial, Helvetica, sans-serif"  # the first comes with what draws
INK, FAINT, GRID, BAND = "#26282c", "#6b6f76", "#e9eaec", "#e2e4e8"
TEXT_PX, SMALL_PX, TITLE_PX = 12, 11, 17


class Range(NamedTuple):
    """Both ends of a scale."""

    low: float
    high: float


def page_title(title: str, lines: Sequence[str], left: int) -> alt.TitleParams:
    """The title of a page and the lines below it.

    Parameters
    ----------
    title : one line.
    lines : below it.
    left : space left of the panels, whose corner titles are placed by.
    """
    return alt.TitleParams(
        title,
        subtitle=list(lines),
        anchor="start",
        frame="group",
        dx=16 - left,
        offset=TITLE_GAP,
        limit=PAGE - 32,
        color=INK,
        fontSize=TITLE_PX,
        fontWeight="bold",
        subtitleColor=INK,
        subtitleFontSize=TEXT_PX,
        subtitleLineHeight=LINE,
        subtitlePadding=7,
    )


def heading(text: str, offset: float = 9) -> alt.TitleParams:
    """A line above a panel that says what is drawn in it.

    Parameters
    ----------
    offset : how far above its top.
    """
    return alt.TitleParams(
        text,
        anchor="start",
        frame="group",
        color=FAINT,
        fontSize=SMALL_PX,
        fontWeight="normal",
        offset=offset,
    )


def words_at(chart: alt.Chart, align: Literal["left", "right"], dx: float = 0) -> alt.Chart:
    """A mark for words at the height of what they tell of, to the right or the left of a place.

    Parameters
    ----------
    chart : with the words as data, not encoded yet.
    align : the end of the words that is at the place.
    dx : how far right of it.
    """
    mark: alt.Chart = chart.mark_text(
        align=align, baseline="middle", dx=dx, fontSize=SMALL_PX, color=INK
    )
    return mark


def scale_of(ends: Range) -> alt.Scale:
    """A scale of just these ends."""
    return alt.Scale(domain=list(ends), nice=False, zero=False)


def data(rows: Iterable[dict[str, Any]]) -> alt.InlineData:
    """Rows as they are, of any number."""
    return alt.InlineData(values=list(rows))


def series(**columns: Values) -> alt.InlineData:
    """Many points as one text: what draws copies and checks rows one by one, which takes seconds.

    Parameters
    ----------
    columns : (points,) numbers by the name of their field.
    """
    rows = zip(*(values.tolist() for values in columns.values()), strict=True)
    lines = [",".join(columns), *(",".join(f"{x:.6g}" for x in row) for row in rows)]
    kinds = dict.fromkeys(columns, "number")
    return alt.InlineData(
        values="\n".join(lines), format=alt.CsvDataFormat(type="csv", parse=kinds)
    )


def styled(chart: alt.VConcatChart) -> alt.VConcatChart:
    """Type and colours of the page."""
    plain: alt.VConcatChart = (
        chart.configure(font=FONT, aria=False)
        .configure_view(stroke=None)
        .configure_axis(
            domainColor=FAINT,
            gridColor=GRID,
            tickColor=FAINT,
            labelColor=INK,
            titleColor=INK,
            labelFontSize=SMALL_PX,
            titleFontSize=TEXT_PX,
            titleFontWeight="normal",
            titlePadding=8,
            tickCount=8,
        )
    )
    return plain


def written(chart: alt.VConcatChart, ending: str) -> bytes:
    """The chart as a file, by its ending: ".png" or ".svg"."""
    if ending == ".png":
        png = io.BytesIO()
        chart.save(png, format="png", scale_factor=SCALE)
        return png.getvalue()
    svg = io.StringIO()
    chart.save(svg, format="svg")
    return svg.getvalue().encode()
