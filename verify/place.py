"""Where a person says that the card is: a box in upright pixels or in fractions of the sides."""

import math
from dataclasses import dataclass

from verify.errors import PlanError

PLACE_FORMS = (
    "four numbers, COL,ROW,WIDTH,HEIGHT: upright pixels, or fractions of the sides when all are "
    '<= 1; or "find"'
)
FIND = "find"
EDGE = 1 + 1e-9  # of a side, with the rounding of 0.42 + 0.58


@dataclass(frozen=True, slots=True)
class Place:
    """A box that is not yet held against a picture."""

    box: tuple[float, float, float, float]  # col, row, width, height
    fractions: bool  # of the upright picture's sides; else upright pixels


def parse_place(value: object, where: str = "") -> Place | None:
    """Where the card is: four numbers, or text with them; None for "find"."""
    parts = value if isinstance(value, (list, tuple)) else ()
    if isinstance(value, str):
        if value.strip().lower() == FIND:
            return None
        parts = value.split(",")
    try:
        col, row, width, height = (float(part) for part in parts)
    except (TypeError, ValueError, OverflowError):
        shown = f'"{value}"' if isinstance(value, str) else str(value)
        msg = f"{where}{shown} is no place for the card: give {PLACE_FORMS}"
        raise PlanError(msg) from None
    box = (col, row, width, height)
    fractions = max(box) <= 1
    wrong = None
    if not all(map(math.isfinite, box)):
        wrong = "has a value that is no finite number"
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
