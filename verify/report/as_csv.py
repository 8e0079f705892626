"""A shoot as CSV: a row for each frame, the columns of the JSON laid flat."""

import csv
import io
from typing import Any

from verify.report.as_json import as_records
from verify.shoot import Shoot

TOP = (
    "file", "setup", "verdict", "judged_by", "chance_within", "error_stops", "u_stops",
    "settings_stops", "rest_stops", "difference_stops", "repeat_u_stops", "bound",
    "expected_signal", "ambient_signal", "offset_stops", "offset",
)  # fmt: skip
CARD = (
    "signal", "red", "green", "blue", "below_clipping_stops", "gradient_stops",
    "red_green_stops", "blue_green_stops",
)  # fmt: skip
CAMERA = ("captured", "make", "model", "serial", "lens", "f_number", "shutter_s", "iso")
MOTION = (
    "blur_px", "edge_px", "blur_verdict", "ambient_under_flash_stops", "trail_px",
    "ghost_delta_l", "ghost_verdict", "shutter_loss_stops",
)  # fmt: skip
LINE_END = "\r\n"  # of a row while it is made


def as_csv(shoot: Shoot) -> str:
    """Header and rows; lists joined by "; ", unknown values empty."""
    header = [*TOP, *CARD, *CAMERA, *MOTION, "warnings", "notes", "problem"]
    rows = [header, *(_row(frame) for frame in as_records(shoot)["frames"])]
    return "".join(map(_line, rows))


def _line(values: list[Any]) -> str:
    """A row with its end."""
    out = io.StringIO()
    # csv puts in quotation marks what has a character of the line's end in it, and no other line
    # end; a reader ends the row at either.
    csv.writer(out, lineterminator=LINE_END).writerow(values)
    return out.getvalue().removesuffix(LINE_END) + "\n"


def _row(frame: dict[str, Any]) -> list[Any]:
    """One frame's values in the order of the header."""
    card, motion = frame["card"] or {}, frame["motion"] or {}
    return [
        *(frame[name] for name in TOP),
        *(card.get(name) for name in CARD),
        *(frame["camera"][name] for name in CAMERA),
        *(motion.get(name) for name in MOTION),
        "; ".join(frame["warnings"]),
        "; ".join(frame["notes"]),
        frame["problem"],
    ]
