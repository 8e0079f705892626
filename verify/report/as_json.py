"""A shoot as JSON of the format ``greyproof.check/1``; ``check.schema.json`` describes it.

A value that is not known is null, never 0, and no number is NaN or infinite.
"""

import json
import math
from dataclasses import asdict
from typing import Any

from verify import __version__
from verify.compare import FrameCheck, marked_f_number
from verify.exposure import exact_f_number
from verify.frames.frame import Settings
from verify.linearity import Linearity
from verify.measure import PatchReading
from verify.neutrals import Neutrals
from verify.place import Place
from verify.plan.expected import departure_stops, expected_signal, plan_in_words
from verify.plan.records import Card, Plan, SetUp
from verify.report.motion_json import motion_of_frame
from verify.report.plain_values import plain_values
from verify.shoot import Shoot
from verify.target.records import Target

FORMAT = "greyproof.check/1"
SCATTER = ("card", "placing", "meter", "lens")
SHOWN_COLORS = ("red", "green", "blue")


def as_json(shoot: Shoot) -> str:
    """The whole shoot, indented, with a line end."""
    return json.dumps(as_records(shoot), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def as_records(shoot: Shoot) -> dict[str, Any]:
    """The whole shoot as dictionaries, lists and plain values."""
    records = {
        "format": FORMAT,
        "greyproof": __version__,
        "plan": _plan(shoot.plan),
        "frames": [_frame(check) for check in shoot.checks],
        "setups": [asdict(summary) for summary in shoot.summaries],
        "notes": list(shoot.notes),
        "skipped": shoot.skipped,
    }
    return {key: plain_values(value) for key, value in records.items()}


def _plan(plan: Plan) -> dict[str, Any]:
    """The plan as it was understood."""
    return {"file": plan.source, "setups": [_setup(setup) for setup in plan.setups]}


def _setup(setup: SetUp) -> dict[str, Any]:
    """One set-up, exact values, with what follows from it."""
    reading, camera = setup.reading, setup.camera
    planned = reading is not None and camera is not None
    return {
        "name": setup.name,
        "words": plan_in_words(setup),
        "reading": None if reading is None else asdict(reading),
        "camera": None if camera is None else asdict(camera),
        "card": _card(setup.card),
        "tolerance": asdict(setup.tolerance),
        "uncertainty": {name: getattr(setup.scatter, name) for name in SCATTER},
        "departure_stops": departure_stops(reading, camera) if reading and camera else None,
        "expected_signal": expected_signal(setup) if planned else None,
    }


def _card(card: Card) -> dict[str, Any]:
    """The card of a set-up."""
    return {
        "name": card.name,
        "reflectance": card.reflectance,
        "box": list(card.place.box) if isinstance(card.place, Place) else None,
        "looked_for": None if isinstance(card.place, Place) else card.place,
        "flat": None if card.flat is None else str(card.flat),
        "densities": list(card.densities),
    }


def _frame(check: FrameCheck) -> dict[str, Any]:
    """One frame."""
    return {
        "file": str(check.file),
        "setup": check.setup,
        "verdict": check.verdict,
        "judged_by": check.judged_by,
        "chance_within": check.chance_within,
        "problem": check.problem,
        "camera": _camera(check.settings or Settings(), check.f_number),
        "card": None if check.patch is None else _patch(check.patch),
        "candidates": [_place(target) for target in check.sightings],
        "patches": [] if check.neutrals is None else _patches(check.neutrals),
        "linearity": None if check.neutrals is None else _linearity(check.neutrals.linearity),
        "expected_signal": check.expected_signal,
        "ambient_signal": None if check.flash is None else check.flash.ambient,
        "offset_stops": check.offset_stops,
        "offset": check.offset_name,
        "error_stops": check.error_stops,
        "settings_stops": check.settings_stops,
        "rest_stops": check.rest_stops,
        "difference_stops": check.difference_stops,
        "u_stops": check.u_stops,
        "repeat_u_stops": check.repeat_u_stops,
        "budget": dict(check.budget),
        "bound": check.bound,
        "motion": None if check.motion is None else motion_of_frame(check.motion),
        "warnings": list(check.warnings),
        "notes": list(check.notes),
    }


def _camera(settings: Settings, counted: float | None) -> dict[str, Any]:
    """What the file records; the f-number as it counted, exact, with the printed one beside it."""
    n = settings.f_number
    if counted is None and n is not None:  # of a frame that could not be measured
        counted = exact_f_number(n)
    return {
        "make": settings.make,
        "model": settings.model,
        "serial": settings.serial,
        "lens": settings.lens,
        "f_number": counted,
        "f_number_marked": marked_f_number(settings),
        "shutter_s": settings.shutter_s,
        "iso": settings.iso,
        "focal_mm": settings.focal_mm,
        "pixel_pitch_um": settings.pixel_pitch_um,
        "captured": None if settings.captured is None else settings.captured.isoformat(),
    }


def _patch(patch: PatchReading) -> dict[str, Any]:
    """The card as measured."""
    return {
        **_place(patch.target),
        "found_by": patch.target.found_by,
        "signal": patch.signal,
        "red": patch.red,
        "green": patch.green,
        "blue": patch.blue,
        "clipped": {color: patch.clipped.get(color) for color in SHOWN_COLORS},
        "black": patch.black,
        "white": patch.white,
        "gradient_stops": patch.gradient_stops,
        "red_green_stops": _stops_between(patch.red, patch.green),
        "blue_green_stops": _stops_between(patch.blue, patch.green),
        "below_clipping_stops": _stops_between(patch.clips_at, patch.signal),
    }


def _patches(neutrals: Neutrals) -> list[dict[str, Any]]:
    """The neutral patches of a chart or a step wedge, the lightest first."""
    lightest = neutrals.patches[0].reading.signal
    return [
        {
            "name": patch.name,
            "reflectance": patch.reflectance,
            **_place(patch.reading.target),
            "signal": patch.reading.signal,
            "noise": patch.reading.noise,
            "stops_from_lightest": _stops_between(patch.reading.signal, lightest),
            "bound": patch.reading.bound,
        }
        for patch in neutrals.patches
    ]


def _linearity(found: Linearity | None) -> dict[str, Any] | None:
    """How the signal follows the reflectances of the patches."""
    return None if found is None else asdict(found)


def _place(target: Target) -> dict[str, Any]:
    """Where a card is, in upright pixels."""
    box = target.box
    return {
        "box": [box.col, box.row, box.width, box.height],
        "corners": [list(corner) for corner in target.corners],
    }


def _stops_between(value: float | None, other: float | None) -> float | None:
    """log2 of a ratio, None where either is unknown or not above zero."""
    if value is None or other is None or value <= 0 or other <= 0:
        return None
    return math.log2(value / other)
