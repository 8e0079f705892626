"""verify/report/pulse_plot.py and what it is drawn by: figures, places, nothing cut off."""

import functools
import io
import math
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from drawn_flashes import FLASHES, LONG, cut, decaying, noisy, study_of, twice
from numpy.typing import NDArray
from PIL import Image
from svg_pages import SVG, numbers, on_scale, parts, reach, texts, texts_on_another

from verify.errors import PlanError
from verify.pulse.records import Course, Firing
from verify.pulse.shutter import LightOut, light_out
from verify.report.pulse_course import BINS, drawn_course
from verify.report.pulse_plot import pulse_plot
from verify.report.pulse_words import details, headline, loses

every_case = pytest.mark.parametrize("name", FLASHES)


@functools.cache
def plotted(name: str) -> str:
    return pulse_plot(*FLASHES[name], ".svg").decode()


def svg_of(name: str) -> ElementTree.Element:
    return ElementTree.fromstring(plotted(name))


def words(name: str) -> str:
    return "\n".join(texts(svg_of(name)))


@every_case
def test_the_words_are_on_it_and_nothing_is_cut_off(name: str) -> None:
    svg, written = svg_of(name), words(name)
    firing, study = FLASHES[name]
    for line in (headline(firing), *details(firing, study)):
        assert line in written
        assert "\N{HORIZONTAL ELLIPSIS}" not in line
    assert "light, % of the peak" in written
    assert "light out, % of all" in written
    assert svg.attrib["width"] == "700"
    assert reach(svg) >= 4
    assert "href" not in plotted(name)


@pytest.mark.parametrize("name", ["five shutters, delay not known", "cut, 50 us"])
def test_no_text_of_a_flash_lies_on_another(name: str) -> None:
    count, lying = texts_on_another(svg_of(name))
    assert count > 20
    assert lying == []


def test_a_flash_as_a_png() -> None:
    with Image.open(io.BytesIO(pulse_plot(*FLASHES["decaying, one shutter"], ".PNG"))) as png:
        assert png.format == "PNG"
        assert png.width == 1400
        assert png.height == 2 * int(svg_of("decaying, one shutter").attrib["height"])
        assert png.convert("RGB").getpixel((0, 0)) == (255, 255, 255)


def test_the_same_flash_gives_the_same_bytes() -> None:
    one = "two, 2 ms apart"
    assert pulse_plot(*FLASHES[one], ".SVG").decode() == plotted(one)


def test_figures_and_edges_are_named() -> None:
    # check-values 3.7: t.1 1/250 s, travel 3 ms, 1/250 s: 1.192 and 0.152 stop.
    written = words("decaying, one shutter")
    assert "One flash, decaying: t.5 1.20 ms, t.1 4.00 ms" in written
    assert "At 1/250 s the bottom edge loses 1.19 stops, the top edge loses 0.15 stop." in written
    for text in ("t.5: 1.20 ms, 1/830 s", "t.1: 4.00 ms, 1/250 s", "until 1.00 ms"):
        assert text in written
    for text in ("1/250 s: bottom edge", "1/250 s: top edge", "loses 1.19 stops"):
        assert text in written


def test_dots_are_where_rows_are_covered_and_at_the_light_that_is_out() -> None:
    # Derived: 1 - exp(-t / tau) after 1 and 4 ms, tau = 4 ms / ln 10.
    svg = svg_of("decaying, one shutter")
    dots = [numbers(dot.get("transform")) for dot in parts(svg, 1, "mark-symbol role-mark")]
    shares = [on_scale(svg, 1, y) for _, y in dots]
    tau_s = 0.004 / math.log(10)
    expected = [100 * (1 - math.exp(-t / tau_s)) for t in (0.001, 0.004)]
    assert shares == pytest.approx(expected, abs=0.7)  # ticks are on whole pixels: 1.6 px each 1 %
    bars = [numbers(bar.get("d")) for bar in parts(svg, 2, "mark-rect role-mark")]
    starts, widths = [bar[0] for bar in bars], [bar[2] for bar in bars]
    assert widths[1] / widths[0] == pytest.approx(4, rel=0.01)
    ends = [start + wide for start, wide in zip(starts, widths, strict=True)]
    assert ends == pytest.approx([x for x, _ in dots], abs=0.6)


def test_spans_have_the_length_of_the_durations() -> None:
    svg = svg_of("decaying, one shutter")
    rules = [line for line in parts(svg, 0, "mark-rule role-mark") if line.tag == f"{SVG}line"]
    half, tenth = (abs(numbers(rule.get("x2"))[0]) for rule in rules)
    assert tenth / half == pytest.approx(math.log(10) / math.log(2), rel=0.01)  # 3.2: 3.32193


def test_a_model_says_so() -> None:
    assert "A model from quoted durations, not a recording." in words("model")
    assert "model" not in words("decaying, one shutter")


def test_without_a_shutter_there_are_two_panels() -> None:
    written = words("no shutter")
    assert "edge" not in written
    assert "time from the first light, ms" in written
    assert "dots" not in written


def test_without_travel_only_the_row_covered_last_is_told() -> None:
    written = words("no travel")
    assert "1/250 s: top edge" in written
    assert "bottom edge" not in written
    assert "the other is not known without the curtain's travel" in written


def test_more_than_three_shutters_are_named() -> None:
    written = words("five shutters, delay not known")
    assert "Not drawn: 1/125 s loses up to 0.09 stop, 1/60 s loses nothing." in written
    assert "1/125 s: " not in written
    assert "with 1 ms of it the bottom edge gets no flash." in written


def test_rows_covered_before_the_flash() -> None:
    written = words("covered before it fires")
    assert written.count("covered before the flash") == 3
    assert "At 1/1000 s the whole frame gets no flash." in written


def test_what_is_lost_in_words() -> None:
    assert [loses(x) for x in (0.0, 0.004, 0.15, 1.0, 1.19, math.inf)] == [
        "loses nothing",
        "loses nothing",
        "loses 0.15 stop",
        "loses 1.00 stop",
        "loses 1.19 stops",
        "gets no flash",
    ]


def test_a_duration_that_is_not_known_is_said_and_not_drawn() -> None:
    total = replace(LONG.total, durations_s={**LONG.total.durations_s, 0.1: None})
    firing = replace(LONG, total=total)
    assert headline(firing) == "One flash, decaying: t.5 1.20 ms, t.1 not known"
    spans = drawn_course(firing, running_of(firing), []).spans
    assert [span.level for span in spans] == [0.5]
    assert b"t.1: " not in pulse_plot(firing, study_of(firing), ".svg")


def running_of(firing: Firing) -> LightOut:
    return light_out(firing.course.time_s, firing.course.value)


def test_few_points_are_drawn_and_narrow_peaks_stay() -> None:
    time_s = np.linspace(0, 0.01, 20_000)
    value = np.exp(-time_s / 0.002).astype(np.float64)
    value[7777] = 3.0  # one sample
    total = replace(LONG.total, peak=3.0)
    firing = replace(LONG, course=Course(time_s, value), total=total)
    drawn = drawn_course(firing, running_of(firing), [])
    assert drawn.time_s.size <= 2 * BINS + 2
    assert drawn.light.max() == pytest.approx(1.0)
    assert np.all(np.diff(drawn.time_s) >= 0)
    assert np.all(np.diff(drawn.out) >= 0)


def test_a_span_begins_at_the_first_crossing() -> None:
    time_s = np.array([0.0, 1e-3, 2e-3, 4e-3])
    firing = replace(cut(1e-3), course=Course(time_s, np.array([0.0, 1.0, 1.0, 0.0])))
    half, tenth = drawn_course(firing, running_of(firing), []).spans
    assert (half.from_s, tenth.from_s) == pytest.approx((0.5e-3, 0.1e-3))


def test_a_late_shutter_does_not_stretch_the_picture() -> None:
    firing = decaying(1 / 2000)
    running = running_of(firing)
    alone = drawn_course(firing, running, []).end_s
    assert alone >= running.until(0.99)
    assert drawn_course(firing, running, [2 * alone]).end_s > 2 * alone
    assert drawn_course(firing, running, [0.0156]).end_s == alone


def test_light_that_ends_is_dark_and_a_record_that_ends_is_not() -> None:
    dark = drawn_course(cut(50e-6), running_of(cut(50e-6)), [])
    assert dark.light[-1] == 0
    assert dark.time_s[-1] == dark.end_s
    time_s = np.linspace(0, 1e-3, 1000)
    short = replace(LONG, course=Course(time_s, np.exp(-time_s / 1e-3)))
    assert drawn_course(short, running_of(short), []).time_s[-1] == pytest.approx(1e-3)


def test_noise_does_not_raise_the_peak() -> None:
    firing = noisy(twice(0.002, 0.0009))
    assert drawn_course(firing, running_of(firing), []).light.max() > 1


@pytest.mark.parametrize("ending", ["", ".jpg", "svg", ".pdf\n"])
def test_other_endings_of_a_flash_are_refused(ending: str) -> None:
    with pytest.raises(PlanError, match=r"^a plot ends in \.png or \.svg, and not in .*$"):
        pulse_plot(*FLASHES["no shutter"], ending)


@pytest.mark.parametrize("value", [np.zeros(0), np.zeros(5), np.ones(1)])
def test_a_flash_without_light_is_refused(value: NDArray[np.float64]) -> None:
    dark = replace(LONG, course=Course(np.arange(float(value.size)), value))
    with pytest.raises(PlanError, match=r"^there is no light in this flash, so .* to draw$"):
        pulse_plot(dark, study_of(LONG), ".svg")
