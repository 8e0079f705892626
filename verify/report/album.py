"""Small pictures of frames with the card outlined: whether the right thing was measured."""

import math
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from verify.checking import Checked
from verify.compare import FrameCheck
from verify.errors import PlanError
from verify.frames.overview import Overview
from verify.notation import stops_text
from verify.report.characters import plain
from verify.target.records import Target

SIDE = 900  # pixels of the longer side, about
MARGIN, LINE = 8, 20  # pixels
TEXT = 14  # pixels of type
PAPER, INK = (24, 24, 24), (235, 235, 235)
CARD, OTHER, UNDER = (255, 214, 64), (120, 200, 255), (0, 0, 0)
ENDING = "_card.jpg"  # beside a frame's own name: never that of a picture the camera wrote
QUALITY = 90


class Album:
    """A folder of such pictures, one for each frame."""

    def __init__(self, folder: Path) -> None:
        """Make the folder where it is not there yet.

        Raises
        ------
        PlanError
            If it cannot be made, or is no folder.
        """
        try:
            folder.mkdir(exist_ok=True)
        except FileExistsError as error:
            msg = f"--show {folder}: there is a file of that name: name a folder"
            raise PlanError(msg) from error
        except OSError as error:
            msg = f"--show {folder}: the folder cannot be made ({error.strerror or error})"
            raise PlanError(msg) from error
        self._folder = folder
        self._names: set[str] = set()  # that were used
        self.problem = ""  # why a picture could not be written, of the first one

    def add(self, checked: Checked) -> None:
        """Write a frame's picture, if it could be opened; one that cannot be written is noted."""
        if checked.picture is None or self.problem:
            return
        stem = checked.check.file.stem
        name, number = stem, 1
        while name in self._names:
            number += 1
            name = f"{stem}_{number}"
        self._names.add(name)
        path = self._folder / f"{name}{ENDING}"
        try:
            drawn(checked.check, checked.picture).save(path, quality=QUALITY)
        except OSError as error:
            self.problem = f"--show: {path} cannot be written ({error.strerror or error})"


def drawn(check: FrameCheck, overview: Overview) -> Image.Image:
    """A frame's picture: the card outlined, what was measured of it, and its figures below."""
    shown = Image.fromarray(overview.shown())
    scale = SIDE / max(shown.size)
    size = round(shown.width * scale), round(shown.height * scale)
    shown = shown.resize(size, Image.Resampling.BICUBIC)
    lines = _caption(check, max(40, size[0] // 8))
    picture = Image.new("RGB", (size[0], size[1] + 2 * MARGIN + LINE * len(lines)), PAPER)
    picture.paste(shown)
    pen = ImageDraw.Draw(picture)
    measured = None if check.patch is None else check.patch.target
    patches = () if check.neutrals is None else check.neutrals.patches
    for target in (*check.sightings, *(p.reading.target for p in patches)):
        if target != measured:
            _outline(pen, target, overview, scale, OTHER)
    if measured is not None:
        _outline(pen, measured, overview, scale, CARD)
    font = ImageFont.load_default(TEXT)
    for n, line in enumerate(lines):
        pen.text((MARGIN, size[1] + MARGIN + n * LINE), line, INK, font)
    return picture


def _outline(
    pen: ImageDraw.ImageDraw,
    target: Target,
    overview: Overview,
    scale: float,
    color: tuple[int, int, int],
) -> None:
    """The corners of a card joined, and the box that is measured in it."""
    box = target.box
    ends = np.array([[box.col, box.row], [box.col + box.width, box.row + box.height]], float)
    corners = overview.to_cells(np.array(target.corners)) * scale
    first, last = overview.to_cells(ends) * scale
    ring = [tuple(point) for point in (*corners, corners[0])]
    for width, paint in ((5, UNDER), (2, color)):
        pen.line(ring, paint, width, joint="curve")
    for grown, paint in ((1, UNDER), (0, color)):
        pen.rectangle((*(first - grown), *(last + grown)), outline=paint)


def _caption(check: FrameCheck, columns: int) -> list[str]:
    """What is known of a frame, in lines of so many characters."""
    words = [plain(check.file.name)]
    if check.patch is not None:
        box = check.patch.target.box
        words.append(f"measured at {box.col},{box.row},{box.width},{box.height}")
        words += _figures(check)
    if check.verdict in ("card-doubtful", "no-card"):
        words.append(check.verdict)
    words += check.warnings
    lines = [""]
    for word in words:
        longer = f"{lines[-1]}   {word}" if lines[-1] else word
        if len(longer) <= columns or not lines[-1]:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _figures(check: FrameCheck) -> list[str]:
    """The figures of a measured frame, in characters that any font has."""
    patch = check.patch
    found = []
    if check.error_stops is not None and check.u_stops is not None:
        side = {None: "", "at-least": "at least ", "at-most": "at most "}[check.bound]
        error = f"error {side}{stops_text(check.error_stops)}"
        found.append(error if side else f"{error} \N{PLUS-MINUS SIGN} {2 * check.u_stops:.2f}")
    if check.rest_stops is not None and check.settings_stops:
        found.append(f"rest {stops_text(check.rest_stops)}")
    if patch is not None and patch.signal > 0 and patch.bound is None:
        found.append(f"{math.log2(patch.clips_at / patch.signal):.2f} stops below clipping")
    return [text.replace("\N{MINUS SIGN}", "-") for text in found]
