"""verify/report/motion_plot.py and what it is drawn by: verdicts, figures, nothing cut off."""

import functools
import io
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from drawn_motions import MOTIONS, ghost_along, picture_of
from PIL import Image
from svg_pages import SVG, numbers, parts, reach, texts, texts_on_another

from verify.errors import PlanError
from verify.pulse.records import Course
from verify.report.motion_plot import motion_plot
from verify.report.motion_words import details, headline, px_text

every_case = pytest.mark.parametrize("name", MOTIONS)
FOUR = "smeared 4 px, trail 120 px"


@functools.cache
def plotted(name: str) -> str:
    return motion_plot(MOTIONS[name], ".svg").decode()


def svg_of(name: str) -> ElementTree.Element:
    return ElementTree.fromstring(plotted(name))


def words(name: str) -> str:
    return "\n".join(texts(svg_of(name)))


def fills(svg: ElementTree.Element, panel: int) -> list[str]:
    """Shades of the cells, in order: greys. Frames and marks have none."""
    cells = parts(svg, panel, "mark-rect role-mark")
    colors = [cell.get("fill", "") for cell in cells]
    return [one for one in colors if len(one) == 7 and one[1:3] == one[3:5] == one[5:7]]


@every_case
def test_words_of_a_motion_are_on_it_and_nothing_is_cut_off(name: str) -> None:
    svg, written = svg_of(name), words(name)
    for line in (headline(MOTIONS[name]), *details(MOTIONS[name])):
        assert line in written
        assert "\N{HORIZONTAL ELLIPSIS}" not in line
    assert svg.attrib["width"] == "700"
    assert reach(svg) >= 4
    assert len(fills(svg, 0)) <= 400
    assert "href" not in plotted(name)


@pytest.mark.parametrize("name", [FOUR, "smeared 200 px, trail 4200 px", "sharp 0.02 px"])
def test_no_text_of_a_motion_lies_on_another(name: str) -> None:
    count, lying = texts_on_another(svg_of(name))
    assert count > 20
    assert lying == []


def test_a_motion_as_a_png() -> None:
    with Image.open(io.BytesIO(motion_plot(MOTIONS[FOUR], ".PNG"))) as png:
        assert png.format == "PNG"
        assert png.size == (1400, 2 * int(svg_of(FOUR).attrib["height"]))
        assert png.convert("RGB").getpixel((0, 0)) == (255, 255, 255)


def test_the_same_motion_gives_the_same_bytes() -> None:
    assert motion_plot(MOTIONS[FOUR], ".SVG").decode() == plotted(FOUR)


def test_verdicts_in_the_title() -> None:
    titles = {name: headline(picture) for name, picture in MOTIONS.items()}
    assert titles[FOUR] == "Smeared: 4.2 px wide; ghost visible, 120 px long"
    assert titles["sharp 0.5 px, no ghost"] == "Sharp: 0.50 px wide"
    assert titles["sharp 0.02 px"] == "Sharp: 0.02 px wide; ghost hidden, 0.90 px long"
    assert titles["little known of the ghost"].endswith("; ghost, its length not known")
    nothing = replace(MOTIONS[FOUR].blur, verdict=None, width_px=None, edge_px=None)
    unjudged = replace(MOTIONS[FOUR], blur=nothing, ghost=None)
    assert headline(unjudged) == "Blur: 4.2 px wide"


def test_the_ambient_light_in_words() -> None:
    written = words(FOUR)
    assert "The ambient light is 4.0 stops under the flash; its trail lightens black by" in written
    assert "Nothing is known of the ambient light" in words("sharp 0.5 px, no ghost")
    assert "its trail darkens mid-grey by" in words("slight, on grey")
    assert "The ambient light is 0.5 stop over the flash" in words("cut")


def test_a_modelled_flash_is_said() -> None:
    assert "model" in words("slight, on grey")
    assert "model" not in words(FOUR)


def test_lengths_are_drawn_to_scale() -> None:
    svg = svg_of(FOUR)
    ticks = parts(svg, 1, "role-axis-tick")
    places = sorted(numbers(tick.get("transform"))[0] for tick in ticks if tick.get("x2") == "0")
    labels = [t for t in parts(svg, 1, "role-axis-label") if numbers(t.get("transform"))[0] >= 0]
    pixels = sorted(float("".join(t.itertext()).replace("\N{MINUS SIGN}", "-")) for t in labels)
    per_px = (places[-1] - places[0]) / (pixels[-1] - pixels[0])
    rules = [numbers(r.get("x2"))[0] for r in parts(svg, 0, "mark-rule role-mark")]
    blur = MOTIONS[FOUR].blur
    assert [abs(rule) / per_px for rule in rules] == pytest.approx(
        [blur.width_px, blur.edge_px], rel=0.03
    )


def test_strips_run_from_the_subject_to_the_ground() -> None:
    shades = fills(svg_of("sharp 0.5 px, no ghost"), 0)
    # 90 % and nothing as IEC 61966-2-1 codes them: 1.055 x 0.9^(1/2.4) - 0.055 = 0.9547.
    assert shades[:2] == ["#f3f3f3", "#000000"]
    assert shades[2] == "#f3f3f3"
    assert shades[-1] == "#000000"
    assert shades[2:] == sorted(shades[2:], reverse=True)


def test_a_short_trail_is_in_the_close_up_and_a_long_one_by_itself() -> None:
    assert "the whole trail" not in words("sharp 0.5 px, trail 2 px")
    assert "2.0 px" in words("sharp 0.5 px, trail 2 px")
    assert "the whole trail of the ambient light, each cell 2 pixels" in words(FOUR)
    assert "120 px" in texts(svg_of(FOUR))


def test_without_a_ghost_there_are_two_strips() -> None:
    assert "with ambient light" not in words("sharp 0.5 px, no ghost")
    assert "with ambient light" in words(FOUR)


def test_a_stronger_ghost_is_lighter() -> None:
    def last(stops: float) -> int:
        picture = picture_of(0.1, ghost_along(200, stops))
        svg = ElementTree.fromstring(motion_plot(picture, ".svg").decode())
        return int(fills(svg, 0)[-1][1:3], 16)

    assert last(2.0) > last(5.0) > 0


def test_lengths_in_pixels() -> None:
    assert [px_text(x) for x in (0.02, 0.996, 4.2, 9.96, 120.4)] == [
        "0.02 px",
        "1.0 px",
        "4.2 px",
        "10 px",
        "120 px",
    ]


@pytest.mark.parametrize("ending", ["", ".jpg", "svg", ".pdf\n"])
def test_other_endings_of_a_motion_are_refused(ending: str) -> None:
    with pytest.raises(PlanError, match=r"^a plot ends in \.png or \.svg, and not in .*$"):
        motion_plot(MOTIONS[FOUR], ending)


def test_a_motion_without_light_is_refused() -> None:
    dark = replace(MOTIONS[FOUR], course=Course(np.arange(3.0), np.zeros(3)))
    with pytest.raises(PlanError, match=r"^there is no light in this flash, so .* to draw$"):
        motion_plot(dark, ".svg")


def test_nothing_in_it_runs() -> None:
    names = {element.tag.removeprefix(SVG) for element in svg_of(FOUR).iter()}
    assert names <= {"svg", "g", "rect", "path", "line", "text", "tspan"}
