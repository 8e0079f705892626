"""What to do about a cause, and what to shoot to be surer of it."""

from verify.diagnose.records import Cause

# Before a hand goes to a head, a pack or a tube.
SAFE = (
    "Before touching a head: switch off, discharge, unplug, let it cool, and follow the maker's "
    "manual."
)
DUTY = "Never go below the maker's duty cycle: packs, tubes and gels overheat."
NOT_RULED_OUT = (
    "Turn no dial yet: whether the card moved or something stood before a light is not ruled out; "
    "put the card back and shoot it once more."
)
CAUSES: dict[Cause, str] = {
    "settings": "Set the camera back as planned, and lock or tape its dials.",
    "card-moved": (
        "Put the card back where it was, facing as it did, and shoot it again; turn no dial for "
        "this. To be surer, compare a part of the set that did not move."
    ),
    "first-pop": (
        "After an idle gap, fire one test pop before the frame that counts. To be surer, wait as "
        "long once more and shoot three frames."
    ),
    "drift": (
        "Let the lamps warm up before the card is shot, and shoot the card again every so often. "
        "To be surer, shoot one frame without flash: it shows whether the room changes instead."
    ),
    "step": (
        "Ask what changed at that frame: the power of a head, a lamp moved, a bulb swapped. Put it "
        "back, or take a new card frame for those that follow."
    ),
    "lamp-missing": (
        "Look which head did not fire: its trigger, its cable, its ready light; shoot the frames "
        "again. To be surer, shoot the card lit by one head at a time."
    ),
    "blocked": (
        "Clear what stands before the light in that part of the picture: a stand, a person, a "
        "cloth; shoot the frames again, and turn no dial."
    ),
    "pop-missing": (
        "Shoot the frames again and count the pops aloud; wait for the ready light before each. "
        "To be surer, shoot the card once with one pop less."
    ),
    "no-flash": (
        "See to the trigger: its batteries, its channel, the sync cable; shoot the frames again. "
        "To be surer, shoot one frame with the flash off: it must look the same."
    ),
    "scatter": (
        "Shoot slower, or at a power at which the flash repeats better. To be surer, shoot ten "
        "frames with the lens wide open and ten in continuous light: what stays is the lens."
    ),
    "colour": (
        "Hold the power and the pace of pops, let the lamps warm up, and balance the frames to a "
        "card shot near them. To be surer, shoot the card at the first and the last setting."
    ),
    "shutter-cut": (
        "Set a longer shutter time, at or above the sync time, and look at the trigger's delay. To "
        "be surer, shoot a plain wall at this time and at a longer one."
    ),
    "ambient": (
        "Shut out or switch off the light that is no flash, or keep one shutter time. To be surer, "
        "shoot a frame at each shutter time with the flash off."
    ),
    "flicker": (
        "Set a shutter time that is a whole number of half periods of the mains (1/100, 1/50, 1/25 "
        "s at 50 Hz; 1/120, 1/60, 1/30 s at 60 Hz), or light without ripple. To be surer, shoot "
        "ten frames at 1/4 s."
    ),
    "lens": (
        "Open the lens and see whether the scatter ends; if so, have the diaphragm seen to, or "
        "work wide open or with a lens that stays stopped down."
    ),
    "iso-not-in-signal": (
        "Keep one ISO: on this camera it is a note in the file and does not change the signal. To "
        "be surer, shoot the card at two ISO with nothing else changed."
    ),
    "steady": "Nothing needs to be done.",
}
TOUCHES_HEAD: frozenset[Cause] = frozenset({"step", "lamp-missing", "no-flash", "drift", "colour"})


def action_for(cause: Cause, light_sure: bool) -> str:
    """What to do.

    Parameters
    ----------
    light_sure : whether a moved card and a blocked light are ruled out.
    """
    parts = [CAUSES[cause]]
    if cause in ("step", "drift") and not light_sure:
        parts.insert(0, NOT_RULED_OUT)
    if cause in TOUCHES_HEAD:
        parts.append(SAFE)
    return " ".join(parts)


def wait_action(shortest_s: float | None) -> str:
    """What to do about pops that come before the flash has recharged."""
    wait = (
        "Wait longer between frames, or lower the power"
        if shortest_s is None
        else f"Wait {shortest_s:.2g} s or more between frames, or lower the power"
    )
    return (
        f"{wait}. {DUTY} To be surer, shoot five frames at twice that gap, and look whether they "
        "agree."
    )
