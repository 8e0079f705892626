"""A flash as JSON of the format ``greyproof.pulse/1``; ``pulse.schema.json`` describes it."""

import json
from typing import Any

from verify import __version__
from verify.motion.losses import RowLoss, ShutterLoss, ShutterStudy
from verify.pulse.records import LEVELS, Firing, Pulse
from verify.report.plain_values import plain_values

FORMAT = "greyproof.pulse/1"


def pulse_json(firing: Firing, study: ShutterStudy) -> str:
    """A flash and what shutters do to it, indented, with a line end."""
    records = {
        "format": FORMAT,
        "greyproof": __version__,
        "pulses": [_pulse(pulse) for pulse in firing.pulses],
        "sum": _pulse(firing.total),
        "shutters": [_shutter(one) for one in study.shutters],
        "fastest_shutter_s": study.fastest_s,
        "fastest_marked_shutter_s": study.fastest_marked_s,
        "tolerance_stops": study.tolerance_stops,
        "travel_s": study.travel_s,
        "delay_s": study.delay_s,
        "rests_on": firing.rests_on,
        "warnings": list(dict.fromkeys((*firing.warnings, *study.warnings))),
        "notes": list(dict.fromkeys((*firing.notes, *study.notes))),
    }
    plain = plain_values(records)
    return json.dumps(plain, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _pulse(pulse: Pulse) -> dict[str, Any]:
    """One pulse, or all of them together."""
    return {
        "start_s": pulse.start_s,
        "peak": pulse.peak,
        "durations_s": {_level(x): pulse.durations_s.get(x) for x in LEVELS},
        "durations_u_s": {_level(x): pulse.durations_u_s.get(x) for x in LEVELS},
        "energy": pulse.energy,
        "energy_share": {_level(x): pulse.energy_share.get(x) for x in (0.5, 0.1)},
        "time_to_half_energy_s": pulse.half_energy_s,
        "time_to_ninety_percent_energy_s": pulse.ninety_percent_energy_s,
        "rise_s": pulse.rise_s,
        "kind": pulse.kind,
        "warnings": list(pulse.warnings),
        "notes": list(pulse.notes),
    }


def _level(x: float) -> str:
    """The name of a duration: "t.5"."""
    return f"t{x:.1f}".replace("t0", "t")


def _shutter(one: ShutterLoss) -> dict[str, Any]:
    """One shutter time."""
    return {
        "shutter_s": one.shutter_s,
        "loss_stops": _rows(one.loss),
        "delayed": [{"delay_s": delay, "loss_stops": _rows(loss)} for delay, loss in one.delayed],
        "edges": {
            "first": None if one.edges is None else one.edges[0],
            "last": None if one.edges is None else one.edges[1],
        },
        "within_sync": one.within_sync,
        "blocked_share": one.blocked_share,
        "profile_stops": list(one.profile),
    }


def _rows(loss: RowLoss) -> dict[str, float | None]:
    """Losses at three rows; a row that gets no light at all has none that is a number."""
    return {"first": loss.first, "middle": loss.middle, "last": loss.last}
