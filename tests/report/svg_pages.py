"""What is on a page that is drawn as an SVG, and where."""

import io
import re
from copy import deepcopy
from xml.etree import ElementTree

import numpy as np
from PIL import Image

SVG = "{http://www.w3.org/2000/svg}"
BESIDE = 200  # around a page, to see what reaches beyond it


def texts(svg: ElementTree.Element) -> list[str]:
    return ["\n".join(element.itertext()) for element in svg.iter(f"{SVG}text")]


def numbers(text: str | None) -> list[float]:
    return [float(number) for number in re.findall(r"-?[0-9.]+", text or "")]


def parts(svg: ElementTree.Element, panel: int, role: str) -> list[ElementTree.Element]:
    """What is drawn in a panel, counted from the top, in groups of that class, in order."""
    (inside,) = (
        g for g in svg.iter(f"{SVG}g") if g.get("class", "").endswith(f" concat_{panel}_group")
    )
    groups = [g for g in inside.iter(f"{SVG}g") if role in g.get("class", "")]
    return [shape for g in groups for shape in g if shape.tag != f"{SVG}g"]


def on_scale(svg: ElementTree.Element, panel: int, y: float) -> float:
    """The value of a height in a panel, by the labels of its axis."""
    ticks = [t for t in parts(svg, panel, "role-axis-tick") if t.get("y2") == "0"]
    labels = [t for t in parts(svg, panel, "role-axis-label") if numbers(t.get("transform"))[0] < 0]
    heights = [numbers(tick.get("transform"))[1] for tick in ticks]
    values = [float("".join(label.itertext()).replace("−", "-")) for label in labels]
    slope, start = np.polyfit(heights, values, 1)
    return float(start + slope * y)


def rendered(svg: ElementTree.Element) -> Image.Image:
    """The picture of an SVG, one pixel for each unit, transparent where nothing is drawn."""
    import vl_convert  # noqa: PLC0415 - as slow as what is tested

    png = vl_convert.svg_to_png(ElementTree.tostring(svg, encoding="unicode"), scale=1)
    return Image.open(io.BytesIO(png)).convert("RGBA")


def without_paper(svg: ElementTree.Element) -> ElementTree.Element:
    bare = deepcopy(svg)
    paper = bare.find(f"{SVG}rect")
    assert paper is not None
    assert paper.get("fill") == "white"
    bare.remove(paper)
    return bare


def reach(svg: ElementTree.Element) -> float:
    """How far all that is drawn stays from the edges of the page; below 0 where it is cut off."""
    svg = without_paper(svg)
    w, h = int(float(svg.attrib["width"])), int(float(svg.attrib["height"]))
    svg.attrib |= {
        "width": f"{w + 2 * BESIDE}",
        "height": f"{h + 2 * BESIDE}",
        "viewBox": f"{-BESIDE} {-BESIDE} {w + 2 * BESIDE} {h + 2 * BESIDE}",
    }
    left, top, right, bottom = rendered(svg).getchannel("A").getbbox() or (0, 0, 0, 0)
    return min(left - BESIDE, top - BESIDE, BESIDE + w - right, BESIDE + h - bottom)


def texts_on_another(svg: ElementTree.Element) -> tuple[int, list[tuple[str, str]]]:
    """How many texts can be seen, and pairs of which one lies on the other."""
    svg = without_paper(svg)
    for element in svg.iter():
        if element.tag in {f"{SVG}path", f"{SVG}line", f"{SVG}rect"}:
            element.attrib = {"display": "none"}
    seen: list[tuple[tuple[int, int, int, int], str]] = []
    lying = []
    for at in range(len(list(svg.iter(f"{SVG}text")))):
        alone = deepcopy(svg)
        shown = list(alone.iter(f"{SVG}text"))
        for element in shown[:at] + shown[at + 1 :]:
            element.set("display", "none")
        box = rendered(alone).getchannel("A").getbbox()
        if box is None:
            continue  # empty, such as the label of a tick that there is no room for
        text = "".join(shown[at].itertext())
        lying += [
            (text, others)
            for other, others in seen
            if box[0] < other[2] and other[0] < box[2] and box[1] < other[3] and other[1] < box[3]
        ]
        seen.append((box, text))
    return len(seen), lying
