"""What a shoot shows on a terminal: the line to call across the set, causes, how even it was."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from verify.diagnose.records import Diagnosis, Finding
from verify.notation import stops_text
from verify.report.characters import plain, plain_text
from verify.report.diagnosis_json import STEADY, all_findings
from verify.report.diagnosis_words import sure_text

NAMED = 6  # frames named one by one
NOTHING = "\N{EN DASH}"


def diagnosis_text(
    series: Sequence[tuple[str, Diagnosis]],
    notes: Sequence[str],
    left_out: Sequence[tuple[str, str]],
) -> RenderableType:
    """Everything that a person reads on a terminal about a shoot, the answer last.

    Parameters
    ----------
    series, notes, left_out : as for :func:`verify.report.diagnosis_json.diagnosis_json`.
    """
    parts: list[RenderableType] = []
    for name, one in series:
        if len(series) > 1:
            parts.append(Text(plain(name), style="bold"))
        parts += map(plain_text, _spread(one))
    if left_out:
        parts += [Text(), *map(plain_text, left_out_lines(left_out))]
    parts += [plain_text(f"Note: {note.rstrip('.')}.") for note in notes]
    parts += [plain_text(f"Note: {note.rstrip('.')}.") for _, one in series for note in one.notes]
    findings = all_findings(series)
    if findings:
        parts += [Text(), _table(findings, several=len(series) > 1), Text()]
    for name, finding in findings:
        start = f"{name}: " if len(series) > 1 else ""
        parts.append(Text(plain(f"{start}{_headline(finding)}"), style="bold"))
        parts += [plain_text(f"  {_sentence(finding.evidence)}")]
        if finding.action:
            parts.append(plain_text(f"  {_sentence(finding.action)}"))
    return Group(*parts)


def left_out_lines(left_out: Sequence[tuple[str, str]]) -> Iterator[str]:
    """A line for each reason why frames are left out."""
    reasons: dict[str, list[str]] = {}
    for file, reason in left_out:
        reasons.setdefault(reason, []).append(file)
    for reason, files in reasons.items():
        yield _sentence(f"left out: {_named([Path(file).name for file in files])}: {reason}")


def _table(findings: Sequence[tuple[str, Finding]], several: bool) -> Table:
    """A row for each cause."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    if several:
        table.add_column("set-up")
    for heading in ("cause", "how sure", "size"):
        table.add_column(heading, no_wrap=True, justify="right" if heading == "size" else "left")
    table.add_column("frames")
    for name, finding in findings:
        row = [name] if several else []
        size = NOTHING if finding.cause == STEADY else stops_text(finding.size_stops)
        about = _named([file.stem for file in finding.frames])
        table.add_row(*row, finding.cause, sure_text(finding.probability), size, about)
    return table


def _spread(one: Diagnosis) -> Iterator[str]:
    """How even a series is."""
    count = len(one.frames)
    line = f"{count} {'frame' if count == 1 else 'frames'}"
    by_scene = sum(frame.by == "scene" for frame in one.frames)
    if by_scene:
        line += f", {by_scene} by the scene" if by_scene < count else ", all by the scene"
    if one.spread_stops is not None and one.range_stops is not None:
        line += f": spread {one.spread_stops:.2f} stop, range {one.range_stops:.2f}"
    if one.within_share is not None:
        line += f", {100 * one.within_share:.0f} % within tolerance"
    yield f"{line}."
    if len(one.longest_within) > 1:
        first, last = one.longest_within[0].stem, one.longest_within[-1].stem
        yield f"Longest run within tolerance: {first} to {last} ({len(one.longest_within)} frames)."
    if one.worst:
        yield f"Farthest off: {_named([file.stem for file in one.worst])}."
    for stretch in one.stretches if len(one.stretches) > 1 else ():
        if stretch.spread_stops is not None and stretch.range_stops is not None:
            yield (
                f"  stretch {stretch.number + 1}: {stretch.frames} frames, spread"
                f" {stretch.spread_stops:.2f}, range {stretch.range_stops:.2f}."
            )
    limits = one.limits
    if limits is not None:
        yield (
            f"Usual spread: {stops_text(limits.lower_stops)} to {stops_text(limits.upper_stops)}"
            f" stop; outside of it: {_named([s.file.stem for s in limits.signals]) or 'none'}."
        )


def _headline(finding: Finding) -> str:
    """A cause with the frames it is about."""
    if finding.cause == STEADY:
        return "steady: nothing moves the exposure beyond what it usually scatters."
    about = _named([file.stem for file in finding.frames])
    return f"{finding.cause} ({sure_text(finding.probability)}), {about}:"


def _named(names: Sequence[str]) -> str:
    """Frames by name, or how many."""
    names = list(dict.fromkeys(names))
    if len(names) > NAMED:
        return f"{names[0]} to {names[-1]} ({len(names)} frames)"
    return ", ".join(names)


def _sentence(text: str) -> str:
    """Text with one full stop at its end."""
    return text if text.endswith((".", "?", "!")) else f"{text}."
