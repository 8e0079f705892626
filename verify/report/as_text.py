"""A shoot on a terminal: a table of frames, what is doubtful in words, a line for each set-up."""

import math
from collections.abc import Iterable, Iterator, Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from verify.compare import FrameCheck
from verify.judge import Summary
from verify.notation import stops_text
from verify.shoot import Shoot
from verify.warnings import WARNINGS

STYLES = {
    "within": "green",
    "over": "yellow",
    "under": "yellow",
    "clipped": "red",
    "dark": "red",
    "unreadable": "red",
}
WORDS = {"at-least": "\N{GREATER-THAN OR EQUAL TO}", "at-most": "\N{LESS-THAN OR EQUAL TO}"}
NOTHING = "\N{EN DASH}"
COLUMNS = (  # heading and the width that its figures need
    ("error ± 2u", 13),
    ("settings", 5),
    ("rest", 5),
    ("differ-\nence", 5),
    ("below\nclipping", 5),
)
NAMED = 6  # frames named one by one; more are counted


def as_text(shoot: Shoot) -> RenderableType:
    """Everything about a shoot that a person reads on a terminal."""
    parts: list[RenderableType] = []
    common = _common_warnings(shoot.checks)
    if shoot.checks:
        parts.append(_table(shoot.checks, common))
    parts += [Text(line) for line in _problems(shoot.checks)]
    parts += [Text(line) for line in _warnings(shoot.checks)]
    parts += [Text(f"Note: {note}.") for note in _notes(shoot)]
    parts += [Text(line, style="bold") for line in summary_lines(shoot)]
    return Group(*parts)


def summary_lines(shoot: Shoot) -> list[str]:
    """A line for each set-up and body; the last words of a run."""
    several = len(shoot.summaries) > 1
    lines = [_summary(s, several) for s in shoot.summaries]
    if shoot.skipped:
        files = "file is" if shoot.skipped == 1 else "files are"
        lines.append(f"{shoot.skipped} other {files} no picture for this: skipped.")
    if not shoot.checks:
        lines.append("No frame to check.")
    return lines


def _table(checks: Sequence[FrameCheck], common: set[str]) -> Table:
    """A row for each frame."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("frame", overflow="fold", min_width=8)
    for heading, width in COLUMNS:
        table.add_column(heading, justify="right", no_wrap=True, min_width=width)
    table.add_column("verdict", no_wrap=True, min_width=max(map(len, STYLES)))
    table.add_column("in doubt", min_width=8)
    for check in checks:
        own = [name for name in check.warnings if name not in common]
        table.add_row(
            check.file.name,
            _error(check),
            _stops(check.settings_stops),
            _stops(check.rest_stops),
            _stops(check.difference_stops),
            _below_clipping(check),
            Text(check.verdict, style=STYLES.get(check.verdict, "")),
            ", ".join(own),
        )
    return table


def _error(check: FrameCheck) -> str:
    """The error with two standard uncertainties, or as a bound."""
    if check.error_stops is None:
        return NOTHING
    if check.bound is not None:
        return f"{WORDS[check.bound]} {stops_text(check.error_stops)}"
    u = f" ± {2 * check.u_stops:.2f}" if check.u_stops is not None else ""
    return f"{stops_text(check.error_stops)}{u}"


def _stops(value: float | None) -> str:
    """Stops with their sign, or a dash."""
    return NOTHING if value is None else stops_text(value)


def _below_clipping(check: FrameCheck) -> str:
    """How many stops lie between the card and clipping."""
    patch = check.patch
    if patch is None or patch.signal <= 0:
        return NOTHING
    return f"{math.log2(patch.clips_at / patch.signal):.2f}"


def _common_warnings(checks: Sequence[FrameCheck]) -> set[str]:
    """Warnings that every measured frame has: told once, not in every row."""
    measured = [set(c.warnings) for c in checks if c.patch is not None]
    return set.intersection(*measured) if len(measured) > 1 else set()


def _problems(checks: Iterable[FrameCheck]) -> Iterator[str]:
    """A line for each frame that could not be measured."""
    for check in checks:
        if check.problem is not None:
            yield f"{check.file}: {check.problem}."


def _warnings(checks: Sequence[FrameCheck]) -> Iterator[str]:
    """A sentence for each kind of warning, with the frames it is about."""
    measured = [c for c in checks if c.patch is not None]
    for name, sentence in WARNINGS.items():
        about = [c.file.name for c in measured if name in c.warnings]
        if about:
            yield f"{name} ({_named(about, len(measured))}): {sentence}"


def _named(names: Sequence[str], of: int) -> str:
    """Frames by name, or how many."""
    if len(names) == of:
        return "every frame" if of > 1 else names[0]
    if len(names) > NAMED:
        return f"{', '.join(names[:NAMED])} and {len(names) - NAMED} more"
    return ", ".join(names)


def _notes(shoot: Shoot) -> Iterator[str]:
    """Sentences about the shoot, then those about frames, each once."""
    yield from shoot.notes
    measured = [c for c in shoot.checks if c.patch is not None]
    for note in dict.fromkeys(n for c in measured for n in c.notes):
        about = [c.file.name for c in measured if note in c.notes]
        yield note if len(about) == len(measured) > 1 else f"{_named(about, len(measured))}: {note}"


def _summary(summary: Summary, named: bool) -> str:
    """One set-up and body in a line."""
    counts = [
        f"{number} {what}"
        for number, what in (
            (summary.within, "within"),
            (summary.over, "over"),
            (summary.under, "under"),
            (summary.unusable, "not usable"),
        )
        if number
    ]
    frames = "frame" if summary.count == 1 else "frames"
    line = f"{summary.name}: " if named else ""
    line += f"{summary.count} {frames}: {', '.join(counts) or 'nothing to judge'}"
    if summary.mean_error_stops is not None:
        line += f"; mean error {stops_text(summary.mean_error_stops)} stop"
    if summary.spread_stops is not None:
        line += f", spread {summary.spread_stops:.2f}"
    return line + "."
