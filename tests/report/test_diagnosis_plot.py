"""verify/report/diagnosis_plot.py and what it is drawn by: words, places, nothing on another."""

import functools
import io
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from svg_pages import numbers, on_scale, parts, reach, texts, texts_on_another

from verify.diagnose.records import Cause, ChartLimits, Diagnosis, Finding, Seen
from verify.errors import PlanError
from verify.report.chart_style import Range
from verify.report.diagnosis_course import colors_from_middle, drawn_at, ends_of, places, plotted
from verify.report.diagnosis_plot import diagnosis_plot
from verify.report.diagnosis_words import headline, label, name_of, pause_text

TOLERANCE = 0.1
LONG_NAME = "2025-06-12_still-life_{:05d}.dng"


def frames_of(
    light: NDArray[np.float64], gap_s: NDArray[np.float64] | None = None, name: str = "a_{:04d}.dng"
) -> tuple[Seen, ...]:
    gap_s = np.full(len(light), 4.0) if gap_s is None else gap_s
    at_s = np.cumsum(gap_s) - gap_s[0]
    return tuple(
        Seen(
            Path(name.format(at + 1)),
            "main",
            "card",
            stops,
            0.01,
            at_s=float(at_s[at]),
            gap_s=float(gap_s[at]) if at else None,
            red_green_stops=-0.9 + 0.01 * (at % 3),
            blue_green_stops=-0.4 - 0.01 * (at % 2),
        )
        for at, stops in enumerate(light.tolist())
    )


def shoot(frames: tuple[Seen, ...], *findings: Finding) -> Diagnosis:
    light = np.array([f.rest_stops for f in frames])
    return Diagnosis(
        frames,
        findings or (found("steady", frames, 0.0, 0.95),),
        ChartLimits(0.0, 0.09, -0.09, 0.12),
        (),
        float(light.std()),
        float(np.ptp(light)),
        0.9,
        (),
        (),
        0.01,
    )


def found(
    cause: Cause, frames: Sequence[Seen], size: float, chance: float = 0.99, **detail: Any
) -> Finding:
    return Finding(cause, tuple(f.file for f in frames), size, chance, "", "", detail)


def noise(count: int) -> NDArray[np.float64]:
    return np.random.default_rng(count).normal(0, 0.02, count)


def one_lost() -> Diagnosis:
    light = noise(60)
    light[40] = -0.62
    frames = frames_of(light)
    return shoot(frames, found("lamp-missing", frames[40:41], -0.62))


def several() -> Diagnosis:
    """More findings than are named, in bursts with pauses, with names that are too long."""
    gap_s = np.where(np.arange(120) % 20 == 0, 4000.0, 2.0)
    f = frames_of(noise(120), gap_s, LONG_NAME)
    return shoot(
        f,
        found("lamp-missing", f[119:], -0.6),
        found("step", f[50:], 0.2, 0.97, begins=str(f[50].file)),
        found("drift", f, 0.24, 0.95),
        found("first-pop", (f[0], f[60], f[61]), 0.2, 0.9),
        found("recycle", f[70:75], -0.4, 0.9, shortest_gap_s=2.5),
        found("settings", f[80:90], 0.33, 0.8),
        found("scatter", f, 0.2, 0.7),
        found("pop-missing", f[5:6], -0.41, 0.6),
    )


SHOOTS: dict[str, list[tuple[str, Diagnosis]]] = {
    "steady": [("main", shoot(frames_of(noise(30))))],
    "lost": [("main", one_lost())],
    "several": [("side", one_lost()), ("main / long name of a body", several())],
}


@functools.cache
def svg_of(name: str) -> ElementTree.Element:
    return ElementTree.fromstring(diagnosis_plot(SHOOTS[name], TOLERANCE, ".svg"))


@pytest.mark.parametrize("name", SHOOTS)
def test_a_shoot_fits_its_page(name: str) -> None:
    svg = svg_of(name)
    assert svg.attrib["width"] == "700"
    assert reach(svg) >= 4
    assert headline(max((d for _, d in SHOOTS[name]), key=lambda d: len(d.frames))) in texts(svg)


def test_no_text_of_a_shoot_lies_on_another() -> None:
    count, lying = texts_on_another(svg_of("several"))
    assert count > 40
    assert lying == []


def test_a_shoot_as_a_png() -> None:
    with Image.open(io.BytesIO(diagnosis_plot(SHOOTS["steady"], TOLERANCE, ".PNG"))) as png:
        assert (png.format, png.width) == ("PNG", 1400)
        assert png.convert("RGB").getpixel((0, 0)) == (255, 255, 255)


def test_a_steady_shoot_says_so_and_names_no_cause() -> None:
    written = "\n".join(texts(svg_of("steady")))
    assert "Steady: nothing moves the light beyond its scatter" in written
    assert "30 frames: spread 0.02 stop, range 0." in written
    assert "90 % within ±0.10 stop of the middle." in written
    assert "usual spread, −0.09 to +0.09" in written
    assert "outside" not in written


def test_a_frame_that_lost_a_lamp_is_named_and_where_it_is() -> None:
    svg = svg_of("lost")
    written = "\n".join(texts(svg))
    assert "A head did not fire in a_0041: −0.62 stop" in written
    assert "lamp-missing −0.62 stop, a_0041, sure 99 %" in written
    colored = [m for m in parts(svg, 0, "mark-symbol") if m.get("fill") == "#cc6677"]
    above, point = (numbers(mark.get("transform")) for mark in colored)
    assert above[0] == pytest.approx(point[0], abs=0.1)  # its sign in the row of the finding
    assert on_scale(svg, 0, point[1]) == pytest.approx(-0.62, abs=0.01)
    marks = [m for m in parts(svg, 0, "mark-symbol") if m.get("fill") == "#9aa0a8"]
    assert len(marks) == 59 + 2  # and two in the key


def test_what_is_not_drawn_is_said() -> None:
    written = "\n".join(texts(svg_of("several")))
    assert (
        "Drawn: main / long name of a body, 120 of 180 frames, the longest of 2 series." in written
    )
    assert "Not drawn: lamp-missing −0.62 stop in side." in written
    assert "Not named here: 2 more causes." in written
    assert "pop-missing" not in written
    assert "step +0.20 stop, from …" in written
    assert "recycle up to −0.40 stop, wait 2.5 s, 5 of 120 frames, likely 90 %" in written
    assert "1 h 7 min" in written
    assert "frames in the order they were taken, evenly spaced" in written


def test_a_title_is_as_full_as_it_fits() -> None:
    frames = frames_of(noise(40), name=LONG_NAME)
    three = found("no-flash", frames[3:6], -5.5)
    assert headline(shoot(frames, three)) == "The flash did not fire in 3 of 40 frames: −5.50 stops"
    few = shoot(frames[:2], found("steady", frames[:2], 0.0, 0.5))
    assert headline(few) == "Too few frames to tell a cause"


def test_a_label_says_which_way_colour_moves() -> None:
    frames = frames_of(noise(9))
    colour = found("colour", frames, -0.2, 0.8, warmer_stops=-0.3, greener_stops=0.1)
    assert label(colour, 9) == "colour cooler by 0.30 stop, likely 80 %"
    assert label(found("scatter", frames, 0.2, 0.7), 9) == "scatter ±0.20 stop, possible 70 %"


def test_long_names_keep_their_number() -> None:
    assert name_of(Path("a_0041.dng")) == "a_0041"
    assert name_of(Path(LONG_NAME.format(41))).endswith("_00041")
    assert [pause_text(s) for s in (45, 720, 3599, 3900, 3e5)] == [
        "45 s",
        "12 min",
        "1 h",
        "1 h 5 min",
        "3 days",
    ]


@pytest.mark.parametrize(
    ("gap_s", "by_time"),
    [
        (np.full(30, 4.0), True),
        (np.where(np.arange(30) == 15, 30.0, 4.0), True),
        (np.where(np.arange(30) == 15, 3600.0, 4.0), False),  # an hour would squeeze the rest
        (np.zeros(30), False),
        (np.where(np.arange(30) == 15, -90.0, 4.0), False),  # the clock was set back
    ],
)
def test_frames_are_by_time_where_that_shows_them(gap_s: NDArray[Any], by_time: bool) -> None:
    x, found_by = places(frames_of(noise(30), gap_s), 500)
    assert found_by == by_time
    assert np.diff(x).min() > 2
    assert (x[0], x[-1]) == (9, 491)


def test_frames_without_times_are_evenly_spaced() -> None:
    untimed = [replace(f, at_s=None, gap_s=None) for f in frames_of(noise(5))]
    x, by_time = places(untimed, 418)
    assert x.tolist() == [9, 109, 209, 309, 409]
    assert not by_time


def test_what_is_far_off_does_not_squeeze_the_others() -> None:
    light = np.array([0.01, -0.02, 0.0, 0.03, -6.0, 0.0, 0.02, -0.01])
    ends = ends_of(light, Range(-0.13, 0.13))
    assert -0.4 < ends.low < ends.high < 0.3
    frames = list(frames_of(light))
    frames[0] = replace(frames[0], bound="at-least")
    assert drawn_at(frames, light, ends)[:5] == ("at-least", "value", "value", "value", "below")
    assert ends_of(light[4:5] + 5.0, Range(-0.13, 0.13)).low < -1.0 + 0.01  # alone it is usual


def test_frames_whose_light_is_not_known_are_left_out() -> None:
    light = noise(6)
    light[2] = math.nan
    course = plotted(shoot(frames_of(light), found("blocked", frames_of(light)[1:4], -0.3)), 500)
    assert len(course.frames) == 5
    assert course.track_of.tolist() == [-1, 0, 0, -1, -1]


def test_colour_is_from_the_middle_of_its_stretch() -> None:
    frames = [replace(f, by="scene", stretch=at // 3) for at, f in enumerate(frames_of(noise(6)))]
    frames[4] = replace(frames[4], red_green_stops=None)
    red, _ = colors_from_middle(frames)
    assert red[:3] == pytest.approx([-0.01, 0, 0.01])
    assert red[3:] == pytest.approx([-0.01, np.nan, 0.01], nan_ok=True)


@pytest.mark.parametrize("ending", ["", ".jpg", "svg"])
def test_other_endings_of_a_shoot_are_refused(ending: str) -> None:
    with pytest.raises(PlanError, match=r"^a plot ends in \.png or \.svg, and not in .*$"):
        diagnosis_plot(SHOOTS["steady"], TOLERANCE, ending)


def test_a_shoot_without_light_is_refused() -> None:
    dark = shoot(frames_of(np.full(2, math.nan)))
    for series in ([], [("main", dark)]):
        with pytest.raises(PlanError, match=r"^the light of no frame is known, so there is .*$"):
            diagnosis_plot(series, TOLERANCE, ".svg")
