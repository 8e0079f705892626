"""What a shoot shows as JSON of the format ``greyproof.diagnose/1``, described by a schema."""

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from verify import __version__
from verify.diagnose.records import ChartLimits, Diagnosis, Finding, Seen
from verify.report.plain_values import plain_values

FORMAT = "greyproof.diagnose/1"
STEADY = "steady"


def diagnosis_json(
    series: Sequence[tuple[str, Diagnosis]],
    notes: Sequence[str],
    left_out: Sequence[tuple[str, str]],
) -> str:
    """All series of a shoot, indented, with a line end.

    Parameters
    ----------
    series : each with its name; limits and spreads at the top are those of the longest.
    notes : sentences about the whole.
    left_out : frames without light, and why.
    """
    longest = max((one for _, one in series), key=lambda one: len(one.frames), default=None)
    records = {
        "format": FORMAT,
        "greyproof": __version__,
        "frames": [_frame(frame) for _, one in series for frame in one.frames],
        "findings": [
            {**_finding(finding), "series": name} for name, finding in all_findings(series)
        ],
        "limits": None if longest is None else _limits(longest.limits),
        "spread_stops": None if longest is None else longest.spread_stops,
        "range_stops": None if longest is None else longest.range_stops,
        "within_share": None if longest is None else longest.within_share,
        "series": [_series(name, one) for name, one in series],
        "left_out": [{"file": file, "reason": reason} for file, reason in left_out],
        "notes": list(notes),
    }
    plain = plain_values(records)
    return json.dumps(plain, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def all_findings(series: Sequence[tuple[str, Diagnosis]]) -> list[tuple[str, Finding]]:
    """Findings of all series, the most probable first; steady only where nothing else is found."""
    found = [(name, finding) for name, one in series for finding in one.findings]
    causes = [pair for pair in found if pair[1].cause != STEADY]
    return sorted(causes or found, key=lambda pair: -pair[1].probability)


def _frame(frame: Seen) -> dict[str, Any]:
    """One frame."""
    return {
        "file": str(frame.file),
        "setup": frame.setup,
        "captured": None if frame.captured is None else frame.captured.isoformat(),
        "gap_s": frame.gap_s,
        "by": frame.by,
        "rest_stops": frame.rest_stops,
        "u_stops": frame.u_stops,
        "red_green_stops": frame.red_green_stops,
        "blue_green_stops": frame.blue_green_stops,
        "agreed_share": frame.agreed_share,
        "stretch": frame.stretch,
        "bound": frame.bound,
        "warnings": list(frame.warnings),
    }


def _finding(finding: Finding) -> dict[str, Any]:
    """One cause."""
    return {**asdict(finding), "frames": [str(file) for file in finding.frames]}


def _limits(limits: ChartLimits | None) -> dict[str, Any] | None:
    """Limits of an individuals and moving-range chart, and what is outside of them."""
    if limits is None:
        return None
    signals = [{"file": str(signal.file), "rule": signal.rule} for signal in limits.signals]
    return {**asdict(limits), "signals": signals}


def _series(name: str, one: Diagnosis) -> dict[str, Any]:
    """One set-up and body."""
    return {
        "name": name,
        "frames": len(one.frames),
        "limits": _limits(one.limits),
        "spread_stops": one.spread_stops,
        "range_stops": one.range_stops,
        "within_share": one.within_share,
        "colour_spread_stops": one.color_spread_stops,
        "longest_within": [str(file) for file in one.longest_within],
        "worst": [str(file) for file in one.worst],
        "stretches": [asdict(stretch) for stretch in one.stretches],
        "notes": list(one.notes),
    }
