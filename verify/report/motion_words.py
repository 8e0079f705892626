"""What is written above and beside the plot of a motion."""

from verify.motion.records import Blur, Ghost
from verify.report.calibration_groups import shortened
from verify.report.motion_picture import MotionPicture

LINE_EM = 56.0  # of a line below the title
VERDICTS = {"sharp": "Sharp", "slight": "Slightly blurred", "smeared": "Smeared", None: "Blur"}


def headline(picture: MotionPicture) -> str:
    """The verdicts: "Smeared: 4.2 px wide; ghost faint, 120 px long"."""
    blur, ghost = picture.blur, picture.ghost
    words = f"{VERDICTS[blur.verdict]}: {px_text(width_px(blur, picture.pitch_um))} wide"
    if ghost is None:
        return words
    words += f"; ghost {ghost.verdict}" if ghost.verdict else "; ghost"
    if ghost.trail_px is None:
        return f"{words}, its length not known"
    return f"{words}, {px_text(ghost.trail_px)} long"


def details(picture: MotionPicture) -> tuple[str, ...]:
    """Lines below it: what it rests on, the ambient light, what is drawn."""
    lines = [
        f"The image moves {_speed(picture.image_um_s)} on the sensor; "
        f"a pixel is {picture.pitch_um:.3g} \N{MICRO SIGN}m wide."
    ]
    if picture.rests_on == "model":
        lines.append("The flash is a model from quoted durations, not a recording.")
    if picture.ghost is None:
        lines.append("Nothing is known of the ambient light: it may draw a second image.")
    else:
        lines.append(_ambient(picture.ghost))
    if picture.ghost is not None and picture.ghost.against == "grey":
        lines.append("Drawn: a black subject on mid-grey, moving to the right.")
    else:
        lines.append("Drawn: a light subject on black, the worst case, moving to the right.")
    return tuple(shortened(line, LINE_EM) for line in lines)


def width_px(blur: Blur, pitch_um: float) -> float:
    """Width in which 80 % of the light falls [pixel]."""
    return blur.width_um / pitch_um if blur.width_px is None else blur.width_px


def edge_px(blur: Blur, pitch_um: float) -> float:
    """Width of an edge, 10 to 90 % [pixel]."""
    return blur.edge_um / pitch_um if blur.edge_px is None else blur.edge_px


def px_text(px: float) -> str:
    """A length on the sensor: "0.52 px", "4.2 px", "120 px"."""
    digits = 2 if px < 0.995 else 1 if px < 9.95 else 0
    return f"{px:.{digits}f} px"


def _ambient(ghost: Ghost) -> str:
    """How strong the ambient light is and what shows of it."""
    stops = ghost.ambient_under_flash_stops
    unit = "stop" if abs(stops) <= 1 else "stops"
    side = "under" if stops >= 0 else "over"
    line = f"The ambient light is {abs(stops):.1f} {unit} {side} the flash"
    if ghost.delta_l is None:
        return f"{line}."
    does = "darkens mid-grey" if ghost.against == "grey" else "lightens black"
    return f"{line}; its trail {does} by {ghost.delta_l:.1f} L*."


def _speed(um_s: float) -> str:
    """A speed on the sensor."""
    name, size = ("m/s", um_s / 1e6) if um_s >= 0.9995e6 else ("mm/s", um_s / 1e3)
    return f"{size:.3g} {name}" if size < 999.5 else f"{size:.0f} {name}"
