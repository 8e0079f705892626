"""What becomes of something that moves, in a few words for a row of a table."""

import math

from verify.motion.records import MotionRisk

TOLD_STOPS = 0.05  # a smaller loss is not told in a row


def frame_words(risk: MotionRisk | None) -> str:
    """One frame's blur, ghost and loss; empty where nothing is known."""
    if risk is None:
        return ""
    told = []
    if risk.blur is not None and risk.blur.verdict is not None and risk.blur.width_px is not None:
        told.append(f"{risk.blur.verdict} ({risk.blur.width_px:.1f} px)")
    if risk.ghost is not None and risk.ghost.verdict is not None:
        told.append(f"ghost {risk.ghost.verdict}")
    loss = risk.shutter_loss_stops
    if loss is not None and loss >= TOLD_STOPS:
        told.append("flash cut off" if math.isinf(loss) else f"{loss:.2f} stop cut off")
    return ", ".join(told)
