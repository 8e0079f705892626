"""What is written above and beside the plot of a flash."""

import math

from verify.motion.losses import ShutterLoss, ShutterStudy
from verify.notation import shutter_text
from verify.pulse.records import Firing
from verify.report.calibration_groups import shortened
from verify.times import duration_text, fraction_text

MOST_SHUTTERS = 3  # that are drawn
LINE_EM = 56.0  # of a line below the title
LEAST_STOPS = 0.005  # less than this is nothing in two digits
LEAST_DARK = 0.005  # of the frame


def headline(firing: Firing) -> str:
    """What was fired and its durations: "One flash, decaying: t.5 1.25 ms, t.1 4.15 ms"."""
    count = len(firing.pulses) if firing.exposing is firing.total else 1
    half, tenth = (firing.exposing.durations_s.get(level) for level in (0.5, 0.1))
    kind = {"decaying": ", decaying", "cut": ", cut off", "multiple": ", in several bursts"}
    what = f"{count} flashes together" if count > 1 else f"One flash{kind[firing.exposing.kind]}"
    return f"{what}: {_duration('t.5', half)}, {_duration('t.1', tenth)}"


def details(firing: Firing, study: ShutterStudy) -> tuple[str, ...]:
    """Lines below it: what it rests on, what the shutter takes, how fast it may be."""
    lines = [_rests_on(firing)]
    drawn, rest = study.shutters[:MOST_SHUTTERS], study.shutters[MOST_SHUTTERS:]
    if drawn:
        worst = max(drawn, key=lambda one: (one.loss.most or 0.0, one.blocked_share or 0.0))
        lines.append(f"At {shutter_text(worst.shutter_s)} {_taken(worst, study)}.")
        lines += _delayed(worst)
    if study.fastest_marked_s is not None:
        fastest = shutter_text(study.fastest_marked_s)
        lines.append(
            f"At {fastest} or slower no part loses more than {study.tolerance_stops:g} stop."
        )
    if rest:
        named = (f"{shutter_text(one.shutter_s)} {_most(one)}" for one in rest)
        lines.append(f"Not drawn: {', '.join(named)}.")
    return tuple(shortened(line, LINE_EM) for line in lines)


def span_text(name: str, seconds: float) -> str:
    """A duration by its name: "t.5: 1.25 ms, 1/800 s"."""
    return f"{name}: {duration_text(seconds)}, {fraction_text(seconds)}"


def loses(stops: float) -> str:
    """What becomes of the flash: "loses 1.19 stops", "loses nothing", "gets no flash"."""
    if math.isinf(stops):
        return "gets no flash"
    if stops < LEAST_STOPS:
        return "loses nothing"
    return f"loses {stops:.2f} stop{'s' if stops > 1 else ''}"


def _duration(name: str, seconds: float | None) -> str:
    """A duration, or that it is not known."""
    return f"{name} not known" if seconds is None else f"{name} {duration_text(seconds)}"


def _rests_on(firing: Firing) -> str:
    """Whether it was recorded, and when its light is out."""
    line = "Recorded"
    if firing.rests_on == "model":
        line = "A model from quoted durations, not a recording"
    half_s, most_s = firing.exposing.half_energy_s, firing.total.ninety_percent_energy_s
    if half_s is not None and most_s is not None:
        line += (
            f": half of the light is out after {duration_text(half_s)}, "
            f"90 % after {duration_text(most_s)}"
        )
    return f"{line}."


def _taken(one: ShutterLoss, study: ShutterStudy) -> str:
    """What becomes of the flash at one shutter time, and where."""
    loss, edges = one.loss, one.edges
    last = loses(loss.last or 0.0)
    if edges is None or study.kind == "leaf":
        return f"the whole frame {last}"
    if loss.first is None:
        return f"the {edges[1]} edge {last}; the other is not known without the curtain's travel"
    if (loss.most or 0.0) < LEAST_STOPS:
        return "the shutter takes nothing of the flash"
    if math.isinf(loss.last or 0.0):
        return "the whole frame gets no flash"
    words = f"the {edges[0]} edge {loses(loss.first)}, the {edges[1]} edge {last}"
    dark = one.blocked_share or 0.0
    return words + (f"; {100 * dark:.0f} % of the frame stays dark" if dark >= LEAST_DARK else "")


def _delayed(one: ShutterLoss) -> list[str]:
    """That the trigger's delay is not known, and what it can cost."""
    if not one.delayed:
        return []
    delay_s, loss = one.delayed[-1]
    line = "This is the best case, as the trigger's delay is not known"
    if loss.most is None:
        return [f"{line}."]
    where = "the frame"
    if one.edges is not None:
        where = f"the {one.edges[1 if loss.first is None else 0]} edge"
    return [f"{line}: with {1000 * delay_s:g} ms of it {where} {loses(loss.most)}."]


def _most(one: ShutterLoss) -> str:
    """What is lost at most."""
    words = loses(one.loss.most or 0.0)
    return words.replace("loses ", "loses up to ") if "stop" in words else words
