"""A shoot on a terminal: a table of frames, what is doubtful in words, a line for each set-up."""

import math
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from rich import box
from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.measure import Measurement
from rich.table import Table
from rich.text import Text

from verify.compare import DOUBTS, FrameCheck
from verify.judge import Summary
from verify.notation import stops_text
from verify.report.characters import plain, plain_text
from verify.report.frame_words import frame_words
from verify.shoot import Shoot
from verify.warnings import WARNINGS

STYLES = {
    "within": "green",
    "over": "yellow",
    "under": "yellow",
    "clipped": "red",
    "dark": "red",
    "card-doubtful": "red",
    "unreadable": "red",
}
AT_LEAST, AT_MOST = "\N{GREATER-THAN OR EQUAL TO} ", "\N{LESS-THAN OR EQUAL TO} "
NOTHING = "\N{EN DASH}"
HEADINGS = ("error ± 2u", "settings", "rest", "difference", "below clipping")
FOLDED = ("error ± 2u", "set-\ntings", "rest", "differ-\nence", "below\nclip-\nping")
LISTED_UNDER = 70  # columns; on less, figures would be cut and frames are told one by one
LEAST_NAME = 10  # columns that a frame's name gets in any table
PLACES = 4  # of the card that are told; of more the pictures say more
NAMED = 6  # frames named one by one; more are counted


class _Figures(NamedTuple):
    """The figures of one frame as they are shown."""

    error: str
    settings: str
    rest: str
    difference: str
    below_clipping: str


def as_text(shoot: Shoot) -> RenderableType:
    """Everything about a shoot that a person reads on a terminal, the summary last."""
    names = _names(shoot.checks)
    common = _common_warnings(shoot.checks)
    parts: list[RenderableType] = []
    for summary in shoot.summaries:
        own = [at for at, check in enumerate(shoot.checks) if check.setup == summary.name]
        parts.append(Text())
        if len(shoot.summaries) > 1:
            parts.append(Text(plain(summary.name), style="bold"))
        parts.append(_Frames([shoot.checks[at] for at in own], [names[at] for at in own], common))
    lines = [
        *problem_lines(shoot.checks),
        *_places(shoot.checks, names),
        *_warnings(shoot.checks, names),
        *_notes(shoot, names),
    ]
    if shoot.skipped:
        were = "file in the folders is" if shoot.skipped == 1 else "files in the folders are"
        lines.append(f"{shoot.skipped} other {were} not raw or TIFF: skipped.")
    if parts:
        parts.append(Text())
    parts += map(plain_text, lines)
    parts += [Text(plain(line), style="bold") for line in summary_lines(shoot)]
    return Group(*parts)


def problem_lines(checks: Sequence[FrameCheck], bounds: bool = False) -> list[str]:
    """A line for each thing that kept frames from being measured.

    Parameters
    ----------
    checks : of a shoot.
    bounds : whether to tell of frames with no more than a bound, or in doubt, too.
    """
    found: dict[str, list[FrameCheck]] = {}
    for check in checks:
        if check.problem is not None:
            found.setdefault(check.problem, []).append(check)
        elif bounds and check.doubtful:
            for name in DOUBTS:
                if name in check.warnings:
                    found.setdefault(WARNINGS[name], []).append(check)
        elif bounds and check.bound is not None:
            name = "clipped" if check.bound == "at-least" else "at-black"
            found.setdefault(WARNINGS[name], []).append(check)
    return [
        _sentence(f"{_named([str(check.file) for check in about], len(checks))}: {problem}")
        for problem, about in found.items()
    ]


def summary_lines(shoot: Shoot) -> list[str]:
    """A line for each set-up and body, and one for all where there are several."""
    lines = [
        _summary(s, f"{s.name}: " if len(shoot.summaries) > 1 else "") for s in shoot.summaries
    ]
    if len(shoot.summaries) > 1:
        counts = {
            key: sum(getattr(s, key) for s in shoot.summaries)
            for key in ("count", "within", "over", "under", "unusable", "no_card")
        }
        lines.append(_summary(Summary("", **counts, mean_error_stops=None, spread_stops=None), ""))
    return lines


@dataclass(frozen=True, slots=True)
class _Frames:
    """Frames of one set-up, laid out for the width that there is."""

    checks: Sequence[FrameCheck]
    names: Sequence[str]  # of each, as it is shown
    common: set[str]  # warnings of every frame: told below, not in every row

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        if options.max_width < LISTED_UNDER:
            yield from self._list()
            return
        table = self._table()
        needs = Measurement.get(console, options.update_width(sys.maxsize), table).maximum
        yield table if needs <= options.max_width else self._table(folded=True)

    def _table(self, folded: bool = False) -> Table:
        """A row for each frame; folded, with short headings and the doubts under the name."""
        table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, collapse_padding=folded)
        least = min(LEAST_NAME, max(map(cell_len, self.names), default=0))
        table.add_column("frame", overflow="fold", min_width=least)
        for heading in FOLDED if folded else HEADINGS:
            table.add_column(heading, justify="right", no_wrap=True)
        table.add_column("verdict", no_wrap=True)
        moves = any(check.motion is not None for check in self.checks)
        if not folded:
            if moves:
                table.add_column("what moves")
            table.add_column("in doubt")
        for check, name in zip(self.checks, self.names, strict=True):
            verdict = Text(check.verdict, style=STYLES.get(check.verdict, ""))
            doubts = self._doubts(check)
            motion = [frame_words(check.motion)] if moves else []
            if folded:
                under = [line for line in (*motion, *doubts) if line]
                table.add_row(Text("\n  ".join([name, *under])), *_figures(check), verdict)
            else:
                table.add_row(Text(name), *_figures(check), verdict, *motion, ", ".join(doubts))
        return table

    def _list(self) -> Iterator[Text]:
        """Some lines for each frame."""
        for at, (check, name) in enumerate(zip(self.checks, self.names, strict=True)):
            if at:
                yield Text()
            told = [
                f"{heading} {figure}"
                for heading, figure in zip(HEADINGS, _figures(check), strict=True)
                if figure != NOTHING
            ]
            verdict = Text(check.verdict, style=STYLES.get(check.verdict, ""))
            yield Text(f"{name}: ").append(verdict)
            for line in (
                ", ".join(told),
                frame_words(check.motion),
                ", ".join(self._doubts(check)),
            ):
                if line:
                    yield Text(line)

    def _doubts(self, check: FrameCheck) -> list[str]:
        """Names of the warnings that not every frame has."""
        return [name for name in check.warnings if name not in self.common]


def _figures(check: FrameCheck) -> _Figures:
    """The figures of a frame; of a bound, each with the side on which the true one lies."""
    side = {None: "", "at-least": AT_LEAST, "at-most": AT_MOST}[check.bound]
    other = {"": "", AT_LEAST: AT_MOST, AT_MOST: AT_LEAST}[side]
    error = _stops(check.error_stops, side)
    if check.error_stops is not None and check.u_stops is not None and not side:
        error += f" ± {2 * check.u_stops:.2f}"
    below = NOTHING
    if check.patch is not None and check.patch.signal > 0:
        below = f"{other}{math.log2(check.patch.clips_at / check.patch.signal):.2f}"
    return _Figures(
        error,
        _stops(check.settings_stops),
        _stops(check.rest_stops, side),
        _stops(check.difference_stops, side),
        below,
    )


def _stops(value: float | None, side: str = "") -> str:
    """Stops with their sign, or a dash."""
    return NOTHING if value is None else side + stops_text(value)


def _names(checks: Sequence[FrameCheck]) -> list[str]:
    """What each frame is called: its file's name, with the folder where two have the same."""
    counts = Counter(check.file.name for check in checks)
    return [
        plain(check.file.name if counts[check.file.name] == 1 else str(check.file))
        for check in checks
    ]


def _common_warnings(checks: Sequence[FrameCheck]) -> set[str]:
    """Warnings that every measured frame has: told once, not in every row."""
    measured = [set(c.warnings) for c in checks if c.patch is not None]
    return set.intersection(*measured) if len(measured) > 1 else set()


def _places(checks: Sequence[FrameCheck], names: Sequence[str]) -> Iterator[str]:
    """Where the card was found, as --card takes it; nothing where it never stays."""
    found: dict[str, list[str]] = {}
    for check, name in zip(checks, names, strict=True):
        if check.sightings and check.patch is not None and not check.doubtful:
            box = check.patch.target.box
            place = f"{box.col},{box.row},{box.width},{box.height}"
            found.setdefault(place, []).append(name)
    if len(found) <= PLACES:
        measured = sum(check.patch is not None for check in checks)
        for place, about in found.items():
            yield f"Card found at {place} ({_named(about, measured)})."


def _warnings(checks: Sequence[FrameCheck], names: Sequence[str]) -> Iterator[str]:
    """A sentence for each kind of warning, with the frames it is about."""
    measured = [(c, name) for c, name in zip(checks, names, strict=True) if c.patch is not None]
    for warning, sentence in WARNINGS.items():
        about = [name for check, name in measured if warning in check.warnings]
        if about:
            yield f"{warning} ({_named(about, len(measured))}): {sentence}"


def _notes(shoot: Shoot, names: Sequence[str]) -> Iterator[str]:
    """Sentences about the shoot, then those about frames, each once."""
    for note in shoot.notes:
        yield _sentence(f"Note: {note}")
    measured = [
        (check, name)
        for check, name in zip(shoot.checks, names, strict=True)
        if check.patch is not None
    ]
    for note in dict.fromkeys(n for check, _ in measured for n in check.notes):
        about = [name for check, name in measured if note in check.notes]
        yield _sentence(f"Note ({_named(about, len(measured))}): {note}")


def _named(names: Sequence[str], of: int) -> str:
    """Frames by name, or how many."""
    if len(names) == of > 1:
        return "every frame"
    if len(names) > NAMED:
        return f"{', '.join(names[:NAMED])} and {len(names) - NAMED} more"
    return ", ".join(names)


def _sentence(text: str) -> str:
    """Text with one full stop at its end."""
    return text.rstrip(" .") + "."


def _summary(summary: Summary, start: str) -> str:
    """One set-up and body in a line."""
    counts: Iterable[tuple[int, str]] = (
        (summary.within, "within"),
        (summary.over, "over"),
        (summary.under, "under"),
        (summary.unusable, "not usable"),
        (summary.no_card, "without a card"),
    )
    told = ", ".join(f"{number} {what}" for number, what in counts if number)
    frames = "frame" if summary.count == 1 else "frames"
    line = f"{start}{summary.count} {frames}: {told or 'nothing to judge'}"
    if summary.mean_error_stops is not None:
        line += f"; mean error {stops_text(summary.mean_error_stops)} stop"
    if summary.spread_stops is not None:
        line += f", spread {summary.spread_stops:.2f}"
    return line + "."
