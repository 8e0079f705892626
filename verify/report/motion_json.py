"""Blur and ghost as JSON of the format ``greyproof.motion/1``; ``motion.schema.json`` tells it."""

import json
from typing import Any

from verify import __version__
from verify.motion.records import Blur, Ghost, MotionRisk
from verify.report.plain_values import plain_values

FORMAT = "greyproof.motion/1"


def motion_json(risk: MotionRisk) -> str:
    """What to expect of something that moves, indented, with a line end."""
    records = {
        "format": FORMAT,
        "greyproof": __version__,
        "blur": None if risk.blur is None else _blur(risk.blur),
        "ghost": None if risk.ghost is None else _ghost(risk.ghost),
        "shutter_loss_stops": risk.shutter_loss_stops,
        "advice": list(risk.advice),
        "rests_on": risk.rests_on,
        "warnings": list(risk.warnings),
        "notes": list(risk.notes),
    }
    plain = plain_values(records)
    return json.dumps(plain, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def motion_of_frame(risk: MotionRisk) -> dict[str, Any]:
    """The same of one frame of a shoot, in short."""
    blur, ghost = risk.blur, risk.ghost
    return {
        "blur_px": None if blur is None else blur.width_px,
        "edge_px": None if blur is None else blur.edge_px,
        "blur_verdict": None if blur is None else blur.verdict,
        "ambient_under_flash_stops": None if ghost is None else ghost.ambient_under_flash_stops,
        "trail_px": None if ghost is None else ghost.trail_px,
        "ghost_delta_l": None if ghost is None else ghost.delta_l,
        "ghost_verdict": None if ghost is None else ghost.verdict,
        "shutter_loss_stops": risk.shutter_loss_stops,
    }


def _blur(blur: Blur) -> dict[str, Any]:
    """The smear during the flash."""
    return {
        "width_um": blur.width_um,
        "width_px": blur.width_px,
        "edge_um": blur.edge_um,
        "edge_px": blur.edge_px,
        "height_share": blur.height_share,
        "equivalent_s": blur.equivalent_s,
        "mtf50_cycles_per_mm": blur.mtf50_cycles_per_mm,
        "longest_t.1_s": blur.longest_tenth_s,
        "verdict": blur.verdict,
    }


def _ghost(ghost: Ghost) -> dict[str, Any]:
    """The second image by ambient light."""
    return {
        "ambient_under_flash_stops": ghost.ambient_under_flash_stops,
        "trail_um": ghost.trail_um,
        "trail_px": ghost.trail_px,
        "strength": ghost.strength,
        "delta_l": ghost.delta_l,
        "delta_l_grey": ghost.delta_l_grey,
        "delta_l_black": ghost.delta_l_black,
        "against": ghost.against,
        "verdict": ghost.verdict,
    }
