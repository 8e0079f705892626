"""What is written on the plot of a shoot, in lines that fit it."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from verify.diagnose.records import Cause, Diagnosis, Finding
from verify.notation import stops_text
from verify.report.calibration_groups import ELLIPSIS, shortened, width
from verify.report.calibration_words import LINE_EM, in_stops
from verify.report.characters import plain
from verify.report.diagnosis_json import STEADY

SURE, LIKELY = 0.95, 0.75  # of a cause, from where on it is called so
TITLE_EM = 39.0  # of the title, which is bold
NAME_EM = 11.0  # of a frame's name
NAMED = 3  # frames named one by one
ANSWERS: dict[Cause, str] = {
    "settings": "Camera settings changed",
    "card-moved": "The card moved",
    "first-pop": "The first frame after a pause differs",
    "recycle": "The flash had not recharged",
    "drift": "The light drifts",
    "step": "The light changes for good",
    "lamp-missing": "A head did not fire",
    "blocked": "Something stands before a light",
    "pop-missing": "A pop is missing",
    "no-flash": "The flash did not fire",
    "scatter": "The light scatters from pop to pop",
    "colour": "The colour moves",
    "shutter-cut": "The shutter cuts the flash",
    "ambient": "The light of the room adds up",
    "flicker": "The light flickers",
    "lens": "The lens stops down unevenly",
    "iso-not-in-signal": "The signal does not follow the ISO",
    "steady": "Steady: nothing moves the light beyond its scatter",
}
AT_RANDOM: tuple[Cause, ...] = ("scatter", "flicker", "lens")  # their size is a spread
MINUTE_S, HOUR_S, DAY_S = 60.0, 3600.0, 86400.0


def headline(one: Diagnosis) -> str:
    """The most probable cause in plain words, as much of it as a title holds."""
    first = one.findings[0] if one.findings else None
    if first is None or (first.cause == STEADY and first.probability < LIKELY):
        return "Too few frames to tell a cause"
    if first.cause == STEADY:
        return ANSWERS[STEADY]
    answer, more = ANSWERS[first.cause], len(one.findings) - 1
    and_more = f", and {more} more" if more else ""
    size, count = size_text(first), len(one.frames)
    choices = [f"{answer}{_in(where)}: {size}" for where in _wheres(first, count)]
    choices += [f"{answer}: {size}", answer]
    return next((c + and_more for c in choices if width(c + and_more) <= TITLE_EM), answer)


def details(
    series: Sequence[tuple[str, Diagnosis]], at: int, tolerance_stops: float, named: int
) -> tuple[str, ...]:
    """Lines below the title: how even the frames are, and what is not drawn.

    Parameters
    ----------
    series : all of them.
    at : which is drawn.
    named : findings that are named on it.
    """
    name, one = series[at]
    lines = [_evenness(one, tolerance_stops)]
    if len(series) > 1:
        whole = sum(len(other.frames) for _, other in series)
        start = f"Drawn: {shortened(plain(name), 18)}, {len(one.frames)} of {whole} frames"
        lines.append(f"{start}, the longest of {len(series)} series.")
        lines += _elsewhere([pair for n, pair in enumerate(series) if n != at])
    left = sum(finding.cause != STEADY for finding in one.findings) - named
    if left > 0:
        lines.append(f"Not named here: {left} more {'cause' if left == 1 else 'causes'}.")
    return tuple(shortened(line, LINE_EM) for line in lines)


def label(finding: Finding, count: int) -> str:
    """A cause with its size, its frames and how sure it is, in a few words.

    Parameters
    ----------
    count : frames of the series.
    """
    parts = [f"{finding.cause} {size_text(finding)}", _wheres(finding, count)[0]]
    return ", ".join([*filter(None, parts), sure_text(finding.probability)])


def size_text(finding: Finding) -> str:
    """How much a cause does; of recharging also how long to wait, of colour which way."""
    if finding.cause == "recycle":
        gap_s = float(finding.detail.get("shortest_gap_s") or 0.0)
        wait = f", wait {gap_s:.2g} s" if gap_s > 0 else ""
        return f"up to {in_stops(finding.size_stops)}{wait}"
    if finding.cause == "colour":
        return _color_text(finding)
    if finding.cause in AT_RANDOM:
        return f"\N{PLUS-MINUS SIGN}{abs(finding.size_stops):.2f} stop"
    return in_stops(finding.size_stops)


def sure_text(probability: float) -> str:
    """How sure a cause is, in a word and a figure."""
    word = "sure" if probability >= SURE else "likely" if probability >= LIKELY else "possible"
    return f"{word} {100 * min(probability, 0.99):.0f} %"


def name_of(file: Path, most_em: float = NAME_EM) -> str:
    """A frame's name without its ending; of a long one with a number at its end, the end."""
    name = plain(file.stem)
    if width(name) <= most_em or not name[-1:].isdigit():
        return shortened(name, most_em)
    tails = (f"{ELLIPSIS}{name[at:]}" for at in range(1, len(name)))
    return next((tail for tail in tails if width(tail) <= most_em), ELLIPSIS)


def pause_text(seconds: float) -> str:
    """How long nothing was shot: "45 s", "12 min", "1 h 5 min", "2 days"."""
    if seconds < 2 * MINUTE_S:
        return f"{seconds:.0f} s"
    if seconds < HOUR_S - MINUTE_S / 2:
        return f"{seconds / MINUTE_S:.0f} min"
    if seconds < 2 * DAY_S:
        hours, minutes = divmod(round(seconds / MINUTE_S), 60)
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    return f"{seconds / DAY_S:.0f} days"


def _wheres(finding: Finding, count: int) -> tuple[str, ...]:
    """The frames of a cause in words, the fullest first; "" where it is about all."""
    number = len(finding.frames)
    if finding.detail.get("begins") is not None and number:
        return (f"from {name_of(finding.frames[0])} on",)
    if number == count:
        return ("",)
    counted = f"{number} of {count} frames"
    if number > NAMED:
        return (counted,)
    return (", ".join(map(name_of, finding.frames)), counted)


def _in(where: str) -> str:
    """The frames of a cause after its name."""
    return f" {where}" if where.startswith("from ") else f" in {where}" if where else ""


def _color_text(finding: Finding) -> str:
    """Which way colour moves most: "warmer by 0.30 stop"."""
    warmer = float(finding.detail.get("warmer_stops") or 0.0)
    greener = float(finding.detail.get("greener_stops") or 0.0)
    if warmer == greener == 0.0:
        return in_stops(finding.size_stops)
    way = "warmer" if warmer > 0 else "cooler"
    if abs(greener) > abs(warmer):
        way = "more green" if greener > 0 else "more magenta"
    return f"{way} by {max(abs(warmer), abs(greener)):.2f} stop"


def _evenness(one: Diagnosis, tolerance_stops: float) -> str:
    count = len(one.frames)
    parts = []
    if one.spread_stops is not None:
        parts.append(f"spread {one.spread_stops:.2f} stop")
    if one.range_stops is not None and count > 1:
        parts.append(f"range {one.range_stops:.2f} stop")
    if one.within_share is not None and count > 1:
        share = 100 * one.within_share
        shown = "99.9" if 99.5 <= share < 100 else f"{share:.0f}"
        within = f"\N{PLUS-MINUS SIGN}{tolerance_stops:.2f} stop"
        parts.append(f"{shown} % within {within} of the middle")
    number = f"{count} {'frame' if count == 1 else 'frames'}"
    return f"{number}: {', '.join(parts)}." if parts else f"{number}."


def _elsewhere(others: Sequence[tuple[str, Diagnosis]]) -> Iterator[str]:
    """What is found in the series that are not drawn, the most probable of it."""
    found = [(f, name) for name, one in others for f in one.findings if f.cause != STEADY]
    if not found:
        yield "No cause is found in the other series."
        return
    first, name = max(found, key=lambda pair: pair[0].probability)
    more = f", and {len(found) - 1} more" if len(found) > 1 else ""
    size = stops_text(first.size_stops)
    yield f"Not drawn: {first.cause} {size} stop in {shortened(plain(name), 18)}{more}."
