"""Frames of a wall as JSON of the format ``greyproof.rows/1``, described by a schema beside it."""

import json
from typing import Any

from verify import __version__
from verify.report.rows_text import advice_of
from verify.rows.records import Cut, Loss, RowStudy

FORMAT = "greyproof.rows/1"


def rows_json(study: RowStudy) -> str:
    """A study, indented, with a line end."""
    records = {
        "format": FORMAT,
        "greyproof": __version__,
        "frames": [_frame(cut) for cut in study.cuts],
    }
    return json.dumps(records, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _frame(cut: Cut) -> dict[str, Any]:
    """One frame."""
    loss = cut.loss_stops
    return {
        "file": str(cut.file),
        "verdict": cut.verdict,
        "kind": cut.kind,
        "edge": cut.edge,
        "loss_stops": None if loss is None else _losses(loss, 0),
        "loss_u_stops": None if loss is None else _losses(loss, 1),
        "blocked_share": cut.blocked_share,
        "travel_s": cut.travel_s,
        "travel_u_s": cut.travel_u_s,
        "excluded_stops": cut.excluded_stops,
        "shutter_s": cut.shutter_s,
        "reference": None if cut.reference is None else str(cut.reference),
        "advice": advice_of(cut),
        "notes": list(cut.notes),
        "problem": cut.problem,
    }


def _losses(loss: Loss, at: int) -> dict[str, float | None]:
    """Losses, or their uncertainties, by the rows that they are of."""
    return {"first": loss.first[at], "middle": loss.middle[at], "last": loss.last[at]}
