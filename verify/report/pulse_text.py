"""A flash on a terminal: its durations, what shutters cut of it, what is doubtful."""

import math
from collections.abc import Iterator

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from verify.motion.losses import RowLoss, ShutterLoss, ShutterStudy
from verify.notation import shutter_text
from verify.pulse.records import Firing, Pulse
from verify.report.characters import plain, plain_text
from verify.times import duration_text, fraction_text, in_unit, unit_of
from verify.warnings import WARNINGS

NOTHING = "\N{EN DASH}"
ALL_OF_IT = "all"  # of the light, lost
LEAST_INSIDE = 0.8  # of the light inside t.1, for t.1 to tell what freezes; lamps may differ
SMALLEST = 0.005  # stop; less is shown as none
ROWS = ("first", "middle", "last")


def pulse_text(firing: Firing, study: ShutterStudy, name: str) -> RenderableType:
    """Everything about a flash that a person reads on a terminal, the answer last.

    Parameters
    ----------
    firing, study : the flash, and what shutters do to it.
    name : of the recording or the plan, as it is shown.
    """
    parts: list[RenderableType] = [plain_text(_headline(firing, name)), Text(), _durations(firing)]
    energy = list(map(plain_text, _energy(firing.exposing)))
    parts += [Text(), *energy] if energy else []
    if study.shutters:
        parts += [Text(), plain_text(_shutter_headline(study)), Text(), _losses(study)]
    parts.append(Text())
    parts += map(plain_text, doubts(firing, study))
    parts += [Text(plain(line), style="bold") for line in _answers(firing, study)]
    return Group(*parts)


def doubts(firing: Firing, study: ShutterStudy) -> Iterator[str]:
    """Warnings with their sentences, then notes, each once."""
    about: list[Firing | Pulse | ShutterStudy] = [firing, *firing.pulses, firing.total, study]
    for warning in dict.fromkeys(name for one in about for name in one.warnings):
        yield f"{warning}: {WARNINGS[warning]}"
    for note in dict.fromkeys(note for one in about for note in one.notes):
        yield f"Note: {note.rstrip('.')}."


def _headline(firing: Firing, name: str) -> str:
    """How many flashes there are, and where they come from."""
    if firing.rests_on == "model":
        return f"{name}: a model of the flash, built from the durations in [[flash]]"
    count = len(firing.pulses)
    return f"{name}: {'one flash' if count == 1 else f'{count} flashes'}"


def _durations(firing: Firing) -> Table:
    """A row for each flash, and one for all together."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    several = len(firing.pulses) > 1
    recorded = firing.rests_on == "recording"
    if several:
        table.add_column("flash")
        table.add_column("begins at", justify="right", no_wrap=True)
    spread = " ± 2u" if recorded else ""
    for heading in (f"t.5{spread}", f"t.1{spread}", "t.1 / t.5", "kind"):
        table.add_column(heading, no_wrap=True)
    rows = [(str(n), pulse) for n, pulse in enumerate(firing.pulses, 1)]
    if several:
        rows.append(("all", firing.total))
    for name, pulse in rows:
        begins = [name, duration_text(max(pulse.start_s, 0.0))] if several else []
        if several and pulse.start_s < 0:
            begins[1] = f"\N{MINUS SIGN}{duration_text(-pulse.start_s)}"
        table.add_row(
            *begins, _duration(pulse, 0.5), _duration(pulse, 0.1), _ratio(pulse), pulse.kind
        )
    return table


def _duration(pulse: Pulse, level: float) -> str:
    """A duration with two uncertainties, and as a fraction of a second."""
    seconds, u = pulse.durations_s.get(level), pulse.durations_u_s.get(level)
    if seconds is None:
        return NOTHING
    unit = unit_of(seconds)
    text = in_unit(seconds, unit)
    if u is not None:
        text += f" ± {in_unit(2 * u, unit)}"
    return f"{text} {unit.name} ({fraction_text(seconds)})"


def _ratio(pulse: Pulse) -> str:
    """How much longer t.1 is than t.5."""
    half, tenth = pulse.durations_s.get(0.5), pulse.durations_s.get(0.1)
    return NOTHING if not half or tenth is None else f"{tenth / half:.2f}"


def _energy(total: Pulse) -> Iterator[str]:
    """When the light is out, and how much of it the durations hold."""
    half, most = total.half_energy_s, total.ninety_percent_energy_s
    if half is not None and most is not None:
        yield (
            f"Half of the light is out {duration_text(half)} after it begins, 90 % after"
            f" {duration_text(most)}."
        )
    inside = [
        f"t.{round(10 * level)} holds {100 * share:.0f} %"
        for level, share in sorted(total.energy_share.items(), reverse=True)
        if share is not None
    ]
    if inside:
        yield f"Of all the light {', '.join(inside)}."


def _shutter_headline(study: ShutterStudy) -> str:
    """On what the table of losses rests."""
    parts = []
    if study.kind == "leaf":
        parts.append("a leaf shutter")
    elif study.travel_s is None:
        parts.append("a curtain of unknown travel")
    else:
        parts.append(f"curtain travel {duration_text(study.travel_s)}")
    if study.delay_s is None:
        parts.append("no delay of the trigger (best case)")
    else:
        parts.append(f"the flash comes {duration_text(study.delay_s)} after the shutter is open")
    return f"Stops of flash lost, with {', '.join(parts)}:"


def _losses(study: ShutterStudy) -> Table:
    """A row for each shutter time; the rows of the frame by the edges of the upright picture."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("shutter", no_wrap=True)
    edges = next((one.edges for one in study.shutters if one.edges is not None), None)
    shown = ROWS if edges else ROWS[:1]
    names = (
        {"first": f"{edges[0]} edge", "middle": "middle", "last": f"{edges[1]} edge"}
        if edges
        else {}
    )
    for row in shown:
        table.add_column(names.get(row, "everywhere"), justify="right", no_wrap=True)
    for delay_s in dict.fromkeys(delay for one in study.shutters for delay, _ in one.delayed):
        table.add_column(f"radio, {1e3 * delay_s:g} ms late", justify="right", no_wrap=True)
    table.add_column("")
    for one in study.shutters:
        table.add_row(
            shutter_text(one.shutter_s),
            *(_stops(getattr(one.loss, row)) for row in shown),
            *(_stops(_worst(loss)) for _, loss in one.delayed),
            "past sync" if one.within_sync is False else "",
        )
    return table


def _worst(loss: RowLoss) -> float | None:
    """The loss of the row that is covered first, where it is known."""
    return loss.first if loss.first is not None else loss.last


def _stops(loss: float | None) -> str:
    """Stops lost."""
    if loss is None:
        return NOTHING
    if math.isinf(loss):
        return ALL_OF_IT
    return "0" if loss < SMALLEST else f"{loss:.2f}"


def _answers(firing: Firing, study: ShutterStudy) -> Iterator[str]:
    """What to do."""
    tenth, half = (firing.exposing.durations_s.get(level) for level in (0.1, 0.5))
    most, inside = firing.exposing.ninety_percent_energy_s, firing.exposing.energy_share.get(0.1)
    if most is not None and inside is not None and inside < LEAST_INSIDE:
        yield (
            f"t.1 holds only {100 * inside:.0f} % of the light: to freeze motion count the time"
            f" until 90 % of it is out, {duration_text(most)} ({fraction_text(most)})."
        )
    elif tenth is not None:
        freezes = f"To freeze motion count t.1, {fraction_text(tenth)}"
        yield f"{freezes}, not t.5, {fraction_text(half)}." if half else f"{freezes}."
    for one in study.shutters:
        yield from _answer(one, study)
    if study.fastest_s is not None:
        marked = study.fastest_marked_s
        at = f": {shutter_text(marked)}" if marked is not None else ""
        delay = "" if study.delay_s is not None else ", if the trigger has no delay"
        yield (
            f"Fastest shutter time that loses no more than {study.tolerance_stops:.2f} stop{at}"
            f", by the sums {duration_text(study.fastest_s)}{delay}."
        )


def _answer(one: ShutterLoss, study: ShutterStudy) -> Iterator[str]:
    """What one shutter time does, where it does something."""
    most = one.loss.most
    if most is None or most <= study.tolerance_stops:
        return
    lost = "the flash does not reach"
    if not math.isinf(most):
        lost = f"{most:.2f} {'stop is' if most < 1.005 else 'stops are'} lost at"
    where = "all of the picture" if one.edges is None else f"the {one.edges[0]} edge"
    if one.loss.first is None and one.edges is not None:
        where = f"the {one.edges[1]} edge, and more before it"
    dark = ""
    if one.blocked_share is not None and one.blocked_share > 0.005:
        dark = f"; {100 * one.blocked_share:.0f} % of the picture is as good as dark"
    yield f"{shutter_text(one.shutter_s)}: {lost} {where}{dark}."
