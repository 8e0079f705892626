"""What every run of the command must hold, whatever it was given: one sentence for each breach."""

import csv
import io
import json
import math
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jsonschema

from fuzzing.cases import Case

SCHEMAS = Path(__file__).resolve().parents[2] / "verify" / "report"
UNUSABLE = {"clipped", "dark", "card-doubtful", "unreadable"}  # verdicts that make the status 3
LIMIT_S = 10.0  # of processor time [s]; what takes longer hangs
LONGEST = 700  # characters of a line, beside the names in it
SHORTEST = 12  # characters of a problem: less explains nothing
SAME_SIGNAL = 1e-9  # relative; the same pixels give the same sum
# Warnings that say that the file may have been read otherwise than it was meant. One that only
# says that the card looks odd is no excuse: so it would if another place was measured.
EXCUSES = {"black-unsure", "opcode-not-applied", "not-finite", "rendered"}
# Names of classes and modules in what is said: an error that nobody foresaw came through.
INTERNAL = re.compile(
    r"Traceback|(?<![\w/])(?:[A-Z]\w*(?:Error|Exception|Warning)|tifffile|numpy|rawpy|pydantic|imagecodecs)\b"
)
NUMBERS_ADD = 1e-9  # stops: error = settings + rest


@dataclass(frozen=True, slots=True)
class Outcome:
    """A run that has ended."""

    status: int
    out: bytes  # all that came on standard output
    err: bytes  # and on standard error
    report: bytes | None  # JSON; None where none was written
    table: bytes | None  # CSV
    seconds: float = 0.0  # of processor time [s]


@dataclass(frozen=True, slots=True)
class Measured:
    """What a file gave before it was damaged."""

    signal: float | None  # None: it could not be measured then either
    warnings: frozenset[str]


class Oracle:
    """Judges outcomes; holds the schema of reports."""

    def __init__(self) -> None:
        self._check, self._calibrate, self._pulse = (
            jsonschema.Draft202012Validator(
                json.loads((SCHEMAS / f"{name}.schema.json").read_text(encoding="utf-8"))
            )
            for name in ("check", "calibrate", "pulse")
        )

    def faults(self, case: Case, outcome: Outcome, before: Measured | None = None) -> list[str]:
        """Sentences about what is wrong with an outcome; none where nothing is.

        Parameters
        ----------
        case, outcome : a run.
        before : what the case's input gave undamaged, where its pixels are as they were.
        """
        found = list(_stream_faults(outcome, case.frames))
        if outcome.seconds > LIMIT_S:
            found.append(f"took {outcome.seconds:.0f} s of processor time")
        if outcome.status == 2:
            if case.kind in {"frame", "names"}:
                found.append("exit status 2: the command was taken for wrong")
            if outcome.report is not None or outcome.table is not None:
                found.append("exit status 2, and yet there is a report")
            if not outcome.err.strip():
                found.append("exit status 2 without a word on standard error")
            return found
        if case.arguments[0] == "calibrate":
            return [*found, *self._calibration_faults(outcome)]
        if case.arguments[0] == "pulse":
            return [*found, *self._pulse_faults(outcome)]
        if outcome.status not in {0, 1, 3}:
            return [*found, f"exit status {outcome.status}"]
        if outcome.report is None or outcome.table is None:
            return [*found, f"exit status {outcome.status} without its reports"]
        try:
            report = json.loads(outcome.report.decode("utf-8"), parse_constant=_no_constant)
            rows = list(csv.DictReader(io.StringIO(outcome.table.decode("utf-8"), newline="")))
        except (ValueError, csv.Error) as error:
            return [*found, f"a report cannot be read back: {error}"]
        found += [
            f"schema: {e.json_path}: {e.message[:100]}" for e in self._check.iter_errors(report)
        ]
        if found:
            return found
        found += _frame_faults(case, outcome, report["frames"])
        found += _table_faults(report["frames"], rows)
        if before is not None and len(report["frames"]) == 1:
            found += _signal_faults(report["frames"][0], before)
        return found

    def _pulse_faults(self, outcome: Outcome) -> Iterator[str]:
        """What a recorded flash must hold: a report in its form."""
        _, faults = _read_back(outcome, {0, 1}, self._pulse)
        yield from faults

    def _calibration_faults(self, outcome: Outcome) -> Iterator[str]:
        """What a calibration must hold: a report, and no offset without its interval."""
        report, faults = _read_back(outcome, {0, 3}, self._calibrate)
        yield from faults
        if report is None:
            return
        offset, interval = report["offset_stops"], report["interval_stops"]
        if (offset is None) != (outcome.status == 3) or (offset is None) != (interval is None):
            yield f"exit status {outcome.status} with offset {offset} and interval {interval}"
        if interval is not None and not interval[0] <= offset <= interval[1]:
            yield f"the offset {offset} is outside its interval {interval}"


def _read_back(
    outcome: Outcome, allowed: set[int], schema: jsonschema.Draft202012Validator
) -> tuple[dict[str, Any] | None, list[str]]:
    """A report as another program gets it, and what is wrong with it by its status and schema."""
    if outcome.status not in allowed or outcome.report is None:
        return None, [f"exit status {outcome.status}, report: {outcome.report is not None}"]
    try:
        report = json.loads(outcome.report.decode("utf-8"), parse_constant=_no_constant)
    except ValueError as error:
        return None, [f"the report cannot be read back: {error}"]
    return report, [f"schema: {e.json_path}: {e.message[:100]}" for e in schema.iter_errors(report)]


def measured(outcome: Outcome) -> Measured:
    """What the only frame of a report gave."""
    assert outcome.report is not None
    (frame,) = json.loads(outcome.report)["frames"]
    signal = None if frame["card"] is None else frame["card"]["signal"]
    return Measured(signal, frozenset(frame["warnings"]))


def _no_constant(name: str) -> None:
    """NaN and Infinity are no JSON."""
    msg = f"{name} is no JSON"
    raise ValueError(msg)


def _stream_faults(outcome: Outcome, frames: Sequence[Path]) -> Iterator[str]:
    """What must not be on a stream: tracebacks, noise of libraries, what moves a cursor."""
    for name, data in (("output", outcome.out), ("error", outcome.err)):
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError:
            yield f"standard {name} is not UTF-8: {data[:80]!r}"
            continue
        bare = text
        for frame in sorted(frames, key=lambda f: -len(str(f))):
            for shown in (str(frame), frame.name):
                bare = bare.replace(_plain(shown), "")
        if found := INTERNAL.search(bare):
            yield f"standard {name} tells of the inside: {found[0]}: {_around(bare, found)}"
        for line in text.split("\n"):
            if not line.isprintable():
                yield f"standard {name} has characters that are not printed: {line[:100]!r}"
                break
        if longest := [n for line in bare.split("\n") if (n := len(line.rstrip())) > LONGEST]:
            yield f"standard {name} has a line of {max(longest)} characters"


def _around(text: str, found: re.Match[str]) -> str:
    return repr(text[max(0, found.start() - 60) : found.end() + 100])


def _plain(text: str) -> str:
    """Text as the command shows it: a mark in place of what is not printed."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def _frame_faults(case: Case, outcome: Outcome, frames: list[dict[str, Any]]) -> Iterator[str]:
    """What each frame must be told with, and what the exit status must say of all."""
    if [frame["file"] for frame in frames] != [_as_json(frame) for frame in case.frames]:
        yield f"frames of the report: {[frame['file'] for frame in frames]}"
        return
    verdicts = {frame["verdict"] for frame in frames}
    status = 3 if verdicts & UNUSABLE else 1 if verdicts & {"over", "under"} else 0
    if status != outcome.status:
        yield f"exit status {outcome.status} with verdicts {sorted(verdicts)}"
    lines = (outcome.out + b"\n" + outcome.err).decode("utf-8", "replace").splitlines()
    problems: dict[str, list[str]] = {}
    for frame in frames:
        if frame["problem"] is not None:
            problems.setdefault(frame["problem"], []).append(_plain(frame["file"]))
        yield from _numbers_faults(frame)
    for problem, files in problems.items():
        if not (problem.isprintable() and problem == problem.strip() and len(problem) > SHORTEST):
            yield f"a problem that is not one clear line: {problem!r}"
        told = f"{', '.join(files)}: {problem.rstrip(' .')}."
        if len(files) == len(frames) > 1:
            told = f"every frame: {problem.rstrip(' .')}."
        if lines.count(told) != 1:
            yield f"{lines.count(told)} lines tell of it: {told!r}"


def _numbers_faults(frame: Mapping[str, Any]) -> Iterator[str]:
    """What the numbers of a frame must keep among themselves."""
    error, settings, rest = (frame[f"{n}_stops"] for n in ("error", "settings", "rest"))
    if (frame["card"] is None) != (frame["problem"] is not None):
        yield "a frame has a card and a problem, or neither"
    if None not in (error, settings, rest) and abs(error - settings - rest) > NUMBERS_ADD:
        yield f"error {error} is not settings {settings} + rest {rest}"
    if settings is not None and abs(settings) > 0.01 and "settings-differ" not in frame["warnings"]:
        yield f"settings differ by {settings} stop without a warning"
    if frame["card"] is not None:
        for name in ("signal", "black", "white"):
            if frame["card"][name] is None:
                yield f"the card's {name} is no number"
        if frame["expected_signal"] is not None and (error is None or frame["u_stops"] is None):
            yield "a card was measured and expected, and there is no error or no uncertainty"


def _signal_faults(frame: Mapping[str, Any], before: Measured) -> Iterator[str]:
    """A signal that is another with the same pixels, and nothing that says so."""
    if frame["card"] is None or EXCUSES & set(frame["warnings"]) - before.warnings:
        return  # refused, or in doubt
    signal = frame["card"]["signal"]
    if before.signal is None:
        yield f"what could not be measured undamaged now has a signal of {signal}"
    elif signal is None or not math.isclose(signal, before.signal, rel_tol=SAME_SIGNAL):
        yield f"the signal was {before.signal} and is {signal} with the same pixels"


def _table_faults(frames: list[dict[str, Any]], rows: list[dict[str, str]]) -> Iterator[str]:
    """Values of the CSV that are not those of the JSON."""
    if len(rows) != len(frames):
        yield f"{len(rows)} rows for {len(frames)} frames"
        return
    for frame, row in zip(frames, rows, strict=True):
        card, camera = frame["card"] or {}, frame["camera"]
        for name, shown in row.items():
            value = frame.get(name, camera.get(name, card.get(name)))
            wanted = _as_csv("; ".join(value) if isinstance(value, list) else value)
            if shown != wanted:
                yield f"CSV has {shown!r} under {name} for {wanted!r}"


def _as_csv(value: object) -> str:
    """A value as CSV holds it, in UTF-8 whatever it is."""
    text = "" if value is None else str(value)
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _as_json(path: Path) -> str:
    """A path as a reader of the JSON gets it."""
    return os.fsdecode(path)
