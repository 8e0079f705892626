"""Pops as JSON of the format ``greyproof.pops/1``; ``pops.schema.json`` tells it."""

import json
from dataclasses import asdict
from typing import Any

from verify import __version__
from verify.pops.cautions import cautions_at, is_flicker
from verify.pops.records import PopCount, PopPlan, PopStudy
from verify.report.plain_values import plain_values

FORMAT = "greyproof.pops/1"


def study_json(study: PopStudy) -> str:
    """Frames of several pops, indented, with a line end."""
    return _written(study, None, cautions_at(study.flicker_per_s), study.notes)


def plan_json(plan: PopPlan) -> str:
    """A planned exposure, indented, with a line end."""
    rate = 1 / plan.interval_s
    flicker = rate if plan.chosen.pops > 1 and is_flicker(rate) else None
    return _written(PopStudy((), "unknown"), plan, cautions_at(flicker), plan.notes)


def _written(
    study: PopStudy, plan: PopPlan | None, cautions: tuple[str, ...], notes: tuple[str, ...]
) -> str:
    """The report as text."""
    records = {
        "format": FORMAT,
        "greyproof": __version__,
        "adding": study.adding,
        "per_pop_signal": study.per_pop_signal,
        "per_pop_u_signal": study.per_pop_u,
        "ambient_signal_per_s": study.ambient_per_s,
        "ambient_u_signal_per_s": study.ambient_per_s_u,
        "ambient_signal": study.ambient_signal,
        "linearity_stops": study.linearity_stops,
        "linearity_u_stops": study.linearity_u_stops,
        "sag_share": study.sag_share,
        "sag_u_share": study.sag_u,
        "first_pop_stops": study.first_pop_stops,
        "scatter_stops": study.scatter_stops,
        "most_tellable": study.most_tellable,
        "one_count": study.one_count,
        "frames": [_frame(one) for one in study.frames],
        "plan": None if plan is None else _plan(plan),
        "cautions": list(cautions),
        "notes": list(notes),
    }
    return json.dumps(plain_values(records), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _frame(one: PopCount) -> dict[str, Any]:
    """One frame."""
    frame = one.frame
    return {
        "file": str(frame.file),
        "planned": frame.planned,
        "fired": one.fired,
        "probability": one.probability,
        "tellable": one.tellable,
        "worth_pops": one.worth,
        "signal": frame.signal,
        "open_s": frame.open_s,
        "problem": frame.problem,
    }


def _plan(plan: PopPlan) -> dict[str, Any]:
    """A planned exposure; the chosen count stands beside what belongs to it."""
    return {
        **asdict(plan.chosen),
        "metered": plan.metered,
        "wanted": plan.wanted,
        "lost_stops": plan.lost_stops,
        "missing_stops": plan.missing_stops,
        "exact_pops": plan.exact_pops,
        "alternatives": [asdict(choice) for choice in plan.alternatives],
        "one_missed_stops": plan.one_missed_stops,
        "interval_s": plan.interval_s,
        "interval_given": plan.interval_given,
        "open_s": plan.open_s,
        "ambient_under_stops": plan.ambient_under_stops,
        "ambient_adds_stops": plan.ambient_adds_stops,
    }
