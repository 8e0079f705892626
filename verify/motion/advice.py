"""What to change so that nothing smears, no second image shows and the shutter cuts nothing.

Each is a sentence or two with the figures of this exposure. That less power makes a flash shorter
holds for some and not for others, so no advice is about power.
"""

import math

from verify.motion.dial import marked_no_faster, marked_no_slower
from verify.motion.ghost import HIDDEN_BELOW, strength_at
from verify.motion.records import Blur, Ghost
from verify.notation import shutter_text
from verify.pulse.records import Kind
from verify.times import fraction_text

MODELLING = "Modelling lamps are ambient light: switch them off."
JUST_UNDER = 1e-6  # relative: what just reaches a limit has not got under it


def blur_advice(
    blur: Blur,
    sharp_px: float | None,
    tenth_s: float | None,
    magnification: float,
    speed_m_s: float,
    kind: Kind,
) -> tuple[str, ...]:
    """What would make it sharp; nothing where it is, or where no limit is known.

    Parameters
    ----------
    sharp_px : width that is still sharp [pixel].
    tenth_s : the flash's t.1 [s]; None where not known.
    magnification, speed_m_s : of what moves [m/s].
    kind : of the pulse.
    """
    if blur.verdict in (None, "sharp") or blur.width_px is None or sharp_px is None:
        return ()
    times = blur.width_px / sharp_px
    slower = (
        f"it move {_up(times)} times slower, at {speed_m_s / times:.2g} m/s, or frame it wider, "
        f"at a magnification of {magnification / times:.2g}."
    )
    if tenth_s is None:
        return (f"Let {slower}",)
    longest = fraction_text(tenth_s / times, shorter=True)
    text = f"A t.1 of {longest} would be sharp; now it is {fraction_text(tenth_s)}."
    if kind == "decaying":
        text += " Look at t.1, not at t.5: the tail of this flash exposes too."
    return text, f"Or let {slower}"


def ghost_advice(
    ghost: Ghost,
    shutter_s: float | None,
    sync_s: float | None,
    sharp_trail_s: float | None,
) -> tuple[str, ...]:
    """What would hide the second image; nothing where it is hidden, or not judged.

    Parameters
    ----------
    shutter_s : how long the shutter is open [s]; None where that is not known.
    sync_s : shortest time with the whole frame open [s]; None where not known.
    sharp_trail_s : shutter time at which the trail is so short that it is no second image [s].
    """
    if ghost.verdict in (None, "hidden") or ghost.strength is None:
        return ()
    hidden = strength_at(HIDDEN_BELOW, ghost.against) * (1 - JUST_UNDER)
    stops = _in_stops(_up(math.log2(ghost.strength / hidden)))
    said = [
        f"To hide the ghost take {stops} of ambient light away, or add {stops} of flash and stop "
        f"down as much. {MODELLING}"
    ]
    if shutter_s is not None:
        # Shorter, it takes in less ambient light; nothing is thinned where it is shorter than the
        # subject needs to cover a point, and there alone does the time decide.
        hides_s = shutter_s * 2.0**ghost.ambient_under_flash_stops * hidden
        said.append(_shorter(max(hides_s, sharp_trail_s or 0.0), sync_s))
    return tuple(said)


def _shorter(hides_s: float, sync_s: float | None) -> str:
    """The shutter time that would hide a ghost, as far as sync allows it."""
    marked_s = marked_no_slower(hides_s)
    text = fraction_text(hides_s, shorter=True) if marked_s is None else shutter_text(marked_s)
    if sync_s is None:
        return f"Or set a shutter time of {text}, if the sync time allows it."
    if (hides_s if marked_s is None else marked_s) * (1 + JUST_UNDER) < sync_s:
        return (
            f"A shutter time of {text} would hide it, but it is shorter than the sync time of "
            f"{shutter_text(sync_s)}: the shutter would cut the flash."
        )
    return f"Or set a shutter time of {text}."


def shutter_advice(
    loss_stops: float | None, tolerance_stops: float, fastest_s: float | None
) -> tuple[str, ...]:
    """Which shutter time keeps the loss of flash within the tolerance; nothing where it is.

    Parameters
    ----------
    loss_stops : in the row that loses most; infinite where it gets none; None where not known.
    fastest_s : shortest shutter time that keeps it within the tolerance [s].
    """
    if loss_stops is None or loss_stops <= tolerance_stops or fastest_s is None:
        return ()
    lost = (
        "A part of the frame gets no flash at all"
        if math.isinf(loss_stops)
        else f"The shutter takes up to {_in_stops(f'{loss_stops:.2f}')} of the flash"
    )
    marked_s = marked_no_faster(fastest_s)
    text = f"{fastest_s:.2g} s" if marked_s is None else shutter_text(marked_s)
    return (f"{lost}: at {text} or slower it takes no more than {tolerance_stops:g}.",)


def pops_advice(pops: int) -> tuple[str, ...]:
    """What to do about an exposure of several pops while something moves."""
    if pops < 2:
        return ()
    return (
        f"What moves shows once for each of the {pops} pops. To show it once, fire one pop and "
        f"open up by {_in_stops(f'{math.log2(pops):.1f}')}, or raise the ISO as much.",
    )


def _up(x: float) -> str:
    """A figure rounded up to a tenth, so that it is enough."""
    return f"{math.ceil(x * 10 - JUST_UNDER) / 10:.1f}"


def _in_stops(size: str) -> str:
    """A size in stops: "0.5 stop", "1.6 stops"."""
    return f"{size} stop" if float(size) <= 1 else f"{size} stops"
