"""Where a person says that the card is: a box, or that it is to be found."""

import math
from dataclasses import dataclass
from typing import Literal

from verify.errors import PlanError, in_one_line

PLACE_FORMS = (
    "four numbers, COL,ROW,WIDTH,HEIGHT: upright pixels, or fractions of the sides when all are "
    '<= 1; or "find", or "chart"'
)
Looked = Literal["find", "chart"]  # a card or a chart, whatever is there; a chart only
FIND: Looked = "find"
CHART: Looked = "chart"
LONGEST_SHOWN = 60  # characters of what was given, in a message
LARGEST = 1e6  # pixels; no picture has a side as long
EDGE = 1 + 1e-9  # of a side, with the rounding of 0.42 + 0.58


@dataclass(frozen=True, slots=True)
class Place:
    """A box that is not yet held against a picture."""

    box: tuple[float, float, float, float]  # col, row, width, height
    fractions: bool  # of the upright picture's sides; else upright pixels


def parse_place(value: object, where: str = "") -> Place | Looked:
    """Where the card is: four numbers, or text with them; or what is to be looked for."""
    parts = value if isinstance(value, (list, tuple)) else ()
    if isinstance(value, str):
        for looked in (FIND, CHART):
            if value.strip().lower() == looked:
                return looked
        parts = value.split(",")
    try:
        col, row, width, height = (float(part) for part in parts)
    except (TypeError, ValueError, OverflowError):
        shown = in_one_line(str(value), LONGEST_SHOWN)
        shown = f'"{shown}"' if isinstance(value, str) else shown
        msg = f"{where}{shown} is no place for the card: give {PLACE_FORMS}"
        raise PlanError(msg) from None
    box = (col, row, width, height)
    fractions = max(box) <= 1
    wrong = None
    if not all(map(math.isfinite, box)):
        wrong = "has a value that is no finite number"
    elif max(box) > LARGEST:
        wrong = "is larger than any picture"
    elif min(col, row) < 0 or min(width, height) <= 0:
        wrong = "starts outside the picture, or has a side that is not above 0"
    elif fractions and max(col + width, row + height) > EDGE:
        wrong = "reaches outside the picture: its place and its side make more than 1"
    elif not fractions and any(n != int(n) for n in box):
        wrong = "mixes pixels and fractions"
    if wrong is not None:
        shown = ",".join(f"{n:g}" for n in box)
        raise PlanError(f"{where}the card's box {shown} {wrong}; give {PLACE_FORMS}")
    return Place(box, fractions)
