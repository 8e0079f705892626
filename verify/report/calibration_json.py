"""A calibration as JSON of the format ``greyproof.calibrate/1``, described by a schema beside it.

``offset_stops`` is measured - expected; the correction to set on a meter has the opposite sign.
"""

import json
from dataclasses import asdict
from typing import Any

from verify import __version__
from verify.calibrate.records import Calibration, Group
from verify.offsets.records import BelongsTo

FORMAT = "greyproof.calibrate/1"


def calibration_json(calibration: Calibration) -> str:
    """A calibration, indented, with a line end."""
    records = calibration_records(calibration)
    return json.dumps(records, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def calibration_records(calibration: Calibration) -> dict[str, Any]:
    """A calibration as dictionaries, lists and plain values."""
    advice, belongs = calibration.advice, calibration.belongs
    return {
        "format": FORMAT,
        "greyproof": __version__,
        "offset_stops": calibration.offset_stops,
        "u_stops": calibration.u_stops,
        "u_same_card_stops": calibration.u_same_card,
        "interval_stops": _listed(calibration.interval_stops),
        "slope": calibration.slope,
        "slope_interval": _listed(calibration.slope_interval),
        "scatter_stops": calibration.scatter_stops,
        "match": asdict(calibration.match),
        "belongs_to": None if belongs is None else _belongs(belongs),
        "groups": [_group(group) for group in calibration.groups],
        "excluded": [{"file": str(one.file), "reason": one.reason} for one in calibration.excluded],
        "advice": {
            "correction_stops": advice.correction_stops,
            "iso": advice.iso,
            "text": advice.text,
        },
        "frames": [
            {
                "file": str(frame.file),
                "planned_stops": frame.planned_stops,
                "rest_stops": frame.rest_stops,
                "residual_stops": residual,
                "iso": frame.iso,
                "f_number": frame.aperture,
            }
            for frame, residual in zip(calibration.frames, calibration.residuals, strict=True)
        ],
        "warnings": list(calibration.warnings),
        "notes": list(calibration.notes),
    }


def _belongs(belongs: BelongsTo) -> dict[str, Any]:
    """What the offset was fitted with; ranges as lists."""
    return {**asdict(belongs), "iso": _listed(belongs.iso), "aperture": _listed(belongs.aperture)}


def _group(group: Group) -> dict[str, Any]:
    """One group; ``value`` is an exact ISO or f-number, or a name."""
    return {
        "by": group.by,
        "value": group.value,
        "offset_stops": group.offset_stops,
        "interval_stops": list(group.interval_stops),
        "frames": group.frames,
        "differs": group.differs,
    }


def _listed(values: tuple[float, float] | None) -> list[float] | None:
    return None if values is None else list(values)
