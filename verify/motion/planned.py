"""The flash light of a plan's lamps, modelled from the durations quoted for them."""

from dataclasses import replace

from verify.errors import in_one_line
from verify.plan.motion import FlashLamp
from verify.pulse.model import LampPulse, lamp_called, modelled
from verify.pulse.records import Firing

SAME_POWER = 0.05  # of the number on a unit: half a tenth of a stop where it shows stops
ALL_OF_IT = 0.02  # by which shares may miss 1: they are rounded


def firing_planned(lamps: tuple[FlashLamp, ...]) -> Firing:
    """The flash light of lamps, with what makes their durations doubtful.

    Parameters
    ----------
    lamps : one or more, as the plan has them.

    Raises
    ------
    PlanError
        If their durations are those of no pulse.
    """
    firing = modelled(
        [LampPulse(lamp.share, lamp.half_s, lamp.tenth_s, lamp.kind, lamp.name) for lamp in lamps]
    )
    elsewhere = [
        f"{lamp_called(lamp.name, number, len(lamps))} is set to {_shown(lamp.power)}, and its "
        f"durations are quoted for {_shown(lamp.quoted_at)}"
        for number, lamp in enumerate(lamps, 1)
        if _other_power(lamp)
    ]
    notes = [*firing.notes, *elsewhere]
    whole = sum(lamp.share for lamp in lamps)
    if abs(whole - 1) > ALL_OF_IT:
        notes.append(f"the shares of the lamps add up to {whole:g}: they are taken as proportions")
    warnings = (*firing.warnings, *(("quoted-elsewhere",) if elsewhere else ()))
    return replace(firing, warnings=warnings, notes=tuple(notes))


def _other_power(lamp: FlashLamp) -> bool:
    """Whether a lamp's durations are quoted for another power than the one set."""
    if lamp.power is None or lamp.quoted_at is None:
        return False
    set_to, quoted = _as_number(lamp.power), _as_number(lamp.quoted_at)
    if set_to is not None and quoted is not None:
        # Powers are written with decimals: what is left of them in binary is no difference.
        return abs(set_to - quoted) > SAME_POWER * (1 + 1e-9)
    return str(lamp.power).strip() != str(lamp.quoted_at).strip()


def _as_number(power: float | str) -> float | None:
    """A power that is a number, also one in quotation marks; None for one such as "1/4"."""
    try:
        return float(power)
    except ValueError:
        return None


def _shown(power: float | str | None) -> str:
    """A power for a note, as it stands on the unit."""
    return f"{power:g}" if isinstance(power, float | int) else f'"{in_one_line(str(power))}"'
