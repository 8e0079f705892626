"""verify/report/calibration_plot.py: a picture that says what it shows, and cuts nothing off."""

import functools
import io
import re
import string
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from drawn_calibrations import CARD_STOPS, CASES, fitted, frame, grid
from PIL import Image
from svg_pages import SVG, numbers, on_scale, parts, reach, rendered, texts, texts_on_another

from verify.calibrate.records import Calibration, Excluded
from verify.errors import PlanError
from verify.report.calibration_groups import COLORS, QUIET, told_apart, width
from verify.report.calibration_plot import plot
from verify.report.calibration_words import details, headline

FONT = "Liberation Sans"  # comes with what draws

every_case = pytest.mark.parametrize("calibration", CASES.values(), ids=CASES.keys())


@functools.cache
def plotted(calibration: Calibration) -> bytes:
    return plot(calibration, ".svg")


def svg_of(calibration: Calibration) -> ElementTree.Element:
    return ElementTree.fromstring(plotted(calibration).decode())


def words(calibration: Calibration) -> str:
    return "\n".join(texts(svg_of(calibration)))


@every_case
def test_a_png_has_the_width_of_the_page(calibration: Calibration) -> None:
    with Image.open(io.BytesIO(plot(calibration, ".png"))) as png:
        png.load()
        svg = svg_of(calibration)
        assert png.format == "PNG"
        assert png.size == (1400, 2 * int(svg.attrib["height"]))
        assert svg.attrib["viewBox"] == f"0 0 700 {svg.attrib['height']}"
        assert 1300 <= png.height <= 1450
        assert png.convert("RGB").getpixel((0, 0)) == (255, 255, 255)
        assert png.convert("L").histogram()[:60] != [0] * 60  # not a blank page


@every_case
def test_the_words_are_on_it(calibration: Calibration) -> None:
    written = words(calibration)
    for line in (headline(calibration), *details(calibration)):
        assert " ".join(line.split()) in " ".join(written.split())
    assert "planned, stops from clipping" in written
    assert "measured, stops from clipping" in written
    assert "residual, stops" in written
    assert "-" not in re.sub(r"[A-Za-z]-[A-Za-z]", "", written.replace("[1m", ""))  # U+2212 instead


@every_case
def test_nothing_reaches_beyond_the_page(calibration: Calibration) -> None:
    assert reach(svg_of(calibration)) >= 4


@pytest.mark.parametrize(
    "name", ["4 x 4, one differs", "40 groups, many differ", "long names", "very unsure"]
)
def test_no_text_lies_on_another(name: str) -> None:
    count, lying = texts_on_another(svg_of(CASES[name]))
    assert count > 15
    assert lying == []


def test_the_same_calibration_gives_the_same_bytes() -> None:
    for ending in (".png", ".svg"):
        assert plot(CASES["4 x 4"], ending) == plot(CASES["4 x 4"], ending.upper())


def test_nothing_in_it_runs_or_is_fetched() -> None:
    svg = svg_of(CASES["long names"])
    assert {element.tag.removeprefix(SVG) for element in svg.iter()} <= {
        "svg",
        "g",
        "rect",
        "path",
        "line",
        "text",
        "tspan",
    }
    assert not [key for element in svg.iter() for key in element.attrib if "href" in key]


def test_headline() -> None:
    assert headline(fitted([frame(0)])) == (
        "The camera gets less light than metered: offset −0.21 stop (95 %: −0.27 to −0.15)"
    )
    assert headline(fitted([frame(0)], offset=1.2)) == (
        "The camera gets more light than metered: offset +1.20 stops (95 %: +1.14 to +1.26)"
    )
    unsure = fitted([frame(0)], offset=0.12, interval_stops=(-0.09, 0.32))
    assert headline(unsure) == (
        "Meter and camera may agree: offset +0.12 stop (95 %: −0.09 to +0.32)"
    )
    assert headline(CASES["nothing known"]) == (
        "Meter and camera agree: offset 0.00 stop (interval not known)"
    )


def test_details() -> None:
    calibration = grid(excluded=(Excluded(Path("x/bad.dng"), "clipped"),))
    assert [" ".join(line.split()) for line in details(calibration)] == [
        "meter: Lumen L2 · camera: Kolmar K5",
        "lens: Hexa 80 · card: card A",
        "16 frames, 1 left out: bad.dng",
    ]
    assert details(CASES["nothing known"]) == ("1 frame",)
    assert details(CASES["long names"])[-1].endswith(".dng and 11 more")


def test_a_group_that_differs_is_named_beside_its_frames() -> None:
    written = words(CASES["4 x 4, one differs"])
    assert "ISO 800\ndiffers by −0.20 stop" in written
    assert "differs" not in words(CASES["4 x 4"])


def test_frames_are_told_apart_by_shape_and_colour() -> None:
    telling = told_apart(CASES["4 x 4"], 20)
    assert [mark.name for mark in telling.marks] == ["100", "200", "400", "800"]
    assert len({mark.color for mark in telling.marks}) == 4
    assert len({mark.shape for mark in telling.marks}) == 4
    assert telling.of_frame == (0, 1, 2, 3) * 4
    assert telling.title == ("ISO",)
    svg = svg_of(CASES["4 x 4"])
    marks = [
        (path.get("fill"), path.get("d"))
        for group in svg.iter(f"{SVG}g")
        if "mark-symbol role-mark" in group.get("class", "")
        for path in group.iter(f"{SVG}path")
    ]
    assert len(marks) == 2 * 16
    assert len(set(marks)) == len({fill for fill, _ in marks}) == len({d for _, d in marks}) == 4


def test_what_is_not_told_apart_lies_under_what_is() -> None:
    fills = [
        mark.get("fill")
        for mark in parts(svg_of(CASES["40 groups, two differ"]), 1, "mark-symbol role-mark")
    ]
    assert fills == [QUIET] * 38 + [COLORS[0], COLORS[1]]


def test_no_legend_for_one_group() -> None:
    assert "ISO" not in words(CASES["three levels"])
    assert "ISO" in texts(svg_of(CASES["4 x 4"]))


def test_text_is_never_wider_than_it_is_taken_to_be() -> None:
    lines = [character * 20 for character in string.ascii_letters + string.digits + "@%&-_#+~/.()"]
    svg = ElementTree.Element(f"{SVG}svg", {"width": "700", "height": f"{30 * len(lines)}"})
    for at, line in enumerate(lines):
        place = {"x": "0", "y": f"{30 * at + 20}", "font-family": FONT, "font-size": "20"}
        ElementTree.SubElement(svg, f"{SVG}text", place).text = line
    alpha = rendered(svg).getchannel("A")
    for at, line in enumerate(lines):
        box = alpha.crop((0, 30 * at, 700, 30 * at + 30)).getbbox()
        assert box is not None
        assert box[2] <= 20 * width(line), line
        assert box[2] >= 8 * width(line), line  # and not so much less that space is wasted


@pytest.mark.parametrize("name", ["three levels", "4 x 4, one differs", "huge residuals"])
def test_frames_stand_where_they_were_measured(name: str) -> None:
    calibration = CASES[name]
    svg = svg_of(calibration)
    for panel, expected in (
        (0, [one.planned_stops + one.rest_stops for one in calibration.frames]),
        (1, [one.rest_stops + 0.21 for one in calibration.frames]),
    ):
        marks = parts(svg, panel, "mark-symbol role-mark")
        found = [on_scale(svg, panel, numbers(mark.get("transform"))[1]) for mark in marks]
        pixel = abs(on_scale(svg, panel, 0) - on_scale(svg, panel, 1))
        assert found == pytest.approx(expected, abs=1.5 * pixel)  # ticks are on whole pixels


def test_both_lines_have_unit_slope_and_are_an_offset_apart() -> None:
    svg = svg_of(CASES["three levels"])
    standard, fit = (numbers(line.get("d")) for line in parts(svg, 0, "mark-line role-mark"))
    for line, offset in ((standard, 0.0), (fit, -0.21)):
        ends = [on_scale(svg, 0, line[1]), on_scale(svg, 0, line[3])]
        assert ends == pytest.approx(
            [CARD_STOPS - 1.5 + offset, CARD_STOPS + 1.5 + offset], abs=0.015
        )


def test_the_band_is_the_interval_about_zero() -> None:
    for name, low, high in (("4 x 4", -0.06, 0.06), ("very unsure", -0.56, 0.56)):
        svg = svg_of(CASES[name])
        (band,) = parts(svg, 1, "mark-rect role-mark")
        _, top, _, height = numbers(band.get("d"))[:4]
        found = [on_scale(svg, 1, top + height), on_scale(svg, 1, top)]
        assert found == pytest.approx([low, high], rel=0.02)


def test_the_scale_of_residuals_is_never_finer_than_a_tenth() -> None:
    assert {"0.10", "−0.10"} <= set(texts(svg_of(CASES["one frame"])))


def test_a_set_without_an_offset_is_refused() -> None:
    none = replace(CASES["4 x 4"], offset_stops=None)
    for calibration in (none, fitted([])):
        with pytest.raises(PlanError, match=r"^no frame counts, so there is nothing to draw$"):
            plot(calibration, ".png")


@pytest.mark.parametrize("ending", ["", ".jpg", "png", ".pdf\n"])
def test_other_endings_are_refused(ending: str) -> None:
    with pytest.raises(PlanError, match=r"^a plot ends in \.png or \.svg, and not in .*$"):
        plot(CASES["4 x 4"], ending)


def test_what_draws_is_not_imported_before_it_is_needed(project_root: Path) -> None:
    code = (
        "import sys, verify.report.calibration_plot;"
        "print({'altair', 'vl_convert', 'verify.report.calibration_plot'} & set(sys.modules))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code], cwd=project_root, capture_output=True, text=True, check=True
    )
    assert ran.stdout.strip() == "{'verify.report.calibration_plot'}"
