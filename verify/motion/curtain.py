"""The shutter that a plan speaks of, as what light it lets through."""

from verify.plan.motion import ShutterPlan
from verify.pulse.shutter import Curtain, Leaf, LightOut

TRAVEL_OF_SYNC = (
    0.75  # of the sync time, where the travel is not stated: common practice, no source
)


def travel_of(shutter: ShutterPlan) -> tuple[float, bool] | None:
    """Curtain travel [s] and whether it is assumed; None of a leaf, or where nothing gives it.

    A sync time holds the travel and some reserve for the flash; where only that is known, three
    quarters of it are taken.
    """
    if shutter.kind == "leaf":
        return None
    if shutter.travel_s is not None:
        return shutter.travel_s, False
    if shutter.sync_s is not None:
        return TRAVEL_OF_SYNC * shutter.sync_s, True
    return None


def shutter_of(shutter: ShutterPlan) -> Curtain | Leaf | None:
    """The shutter; None where a curtain's travel is not known.

    A delay that is not known is none: the best case.
    """
    delay_s = shutter.delay_s or 0.0
    if shutter.kind == "leaf":
        return Leaf(shutter.opening_s, shutter.closing_s, delay_s)
    travel = travel_of(shutter)
    return None if travel is None else Curtain(travel[0], delay_s)


def fastest_within(
    shutter: Curtain | Leaf | None,
    light: LightOut | None,
    sync_s: float | None,
    tolerance_stops: float,
) -> float | None:
    """Shortest shutter time that loses no more than the tolerance; of a curtain none past sync [s].

    None where the shutter or the flash is not known.
    """
    if shutter is None or light is None:
        return None
    fastest_s = shutter.fastest_s(light, tolerance_stops)
    return fastest_s if isinstance(shutter, Leaf) else max(fastest_s, sync_s or 0.0)
