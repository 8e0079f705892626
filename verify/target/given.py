"""The card where the plan or the command says that it is."""

from verify.errors import BoxError
from verify.frames.frame import Frame
from verify.frames.geometry import Box
from verify.place import Place
from verify.target.records import Target


def given_target(frame: Frame, place: Place) -> Target:
    """The box that somebody gave, in this frame's pixels.

    Raises
    ------
    BoxError
        If it reaches outside the picture.
    """
    size = frame.size
    col, row, width, height = place.box
    if place.fractions:
        left, top = round(col * size.width), round(row * size.height)
        right, bottom = round((col + width) * size.width), round((row + height) * size.height)
        box = Box(left, top, max(right - left, 1), max(bottom - top, 1))
    else:
        box = Box(int(col), int(row), int(width), int(height))
    if not box.inside(size):
        msg = (
            f"the card's box {box.col},{box.row},{box.width},{box.height} reaches outside the "
            f"upright picture of {size.width} x {size.height} pixels: give one inside it"
        )
        raise BoxError(msg)
    return Target(box, box.corners(), "given")
