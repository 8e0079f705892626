"""Pops on a terminal: a row for each frame, what adds up, what to do; or a plan of pops."""

from collections.abc import Iterator

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from verify.notation import stops_text
from verify.pops.cautions import cautions_at, is_flicker
from verify.pops.records import PopChoice, PopCount, PopPlan, PopStudy
from verify.report.characters import plain, plain_text

NOTHING = "\N{EN DASH}"
HEADINGS = ("planned", "fired", "chance", "light, in pops")
MEASURE_AMBIENT = (
    "Modelling lights off; shoot the same open time with no pop to measure the ambient light."
)
HOW_TO_TELL = (
    "How to tell: put a card where one lamp alone lights it, or shoot a shorter count; frames of "
    "the same count make the scatter better known."
)
NOT_ADDING = {
    "averages": (
        "Light does not grow with the count, it stays at that of one pop: this camera averages "
        "exposures, and does not add pops. Open the shutter once for all pops (bulb), or add the "
        "frames afterwards. If no flash fired at all, it would look the same: shoot one frame with "
        "no pop."
    ),
    "no-growth": (
        "Light does not grow with the count: the flash adds hardly anything to the ambient light, "
        "or did not fire. Darken the room, and look whether it fires."
    ),
}


def study_text(study: PopStudy) -> RenderableType:
    """Everything about frames of several pops that a person reads on a terminal."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("frame", overflow="fold")
    for heading in HEADINGS:
        table.add_column(heading, justify="right", no_wrap=True)
    for one in study.frames:
        table.add_row(*map(plain_text, _figures(one)))
    lines = [*_light(study), *_straight(study), *(f"Note: {note}." for note in study.notes)]
    return Group(
        Text(),
        table,
        Text(),
        *map(plain_text, lines),
        *(Text(plain(line), style="bold") for line in _verdict(study)),
        *map(plain_text, cautions_at(study.flicker_per_s)),
    )


def problem_lines(study: PopStudy) -> list[str]:
    """A line for each frame that holds other than its pops, or cannot be told."""
    lines = [f"greyproof: {NOT_ADDING[study.adding]}"] if study.adding in NOT_ADDING else []
    for one in study.frames:
        file = str(one.frame.file)
        if one.frame.problem is not None:
            lines.append(f"{file}: {one.frame.problem.rstrip('.')}.")
        elif one.off:
            lines.append(f"{file}: {_off(one)}.")
        elif not one.tellable and study.adding not in NOT_ADDING:
            lines.append(f"{file}: cannot tell from the level how many of its pops fired.")
    return lines


def plan_text(plan: PopPlan) -> RenderableType:
    """A planned exposure on a terminal."""
    rate = 1 / plan.interval_s
    flicker = rate if plan.chosen.pops > 1 and is_flicker(rate) else None
    lost = f", {plan.lost_stops:.2f} stop lost in bellows and filters" if plan.lost_stops else ""
    lines = [f"Metered {plan.metered}; wanted {plan.wanted}{lost}."]
    answer = f"{stops_text(plan.missing_stops)} stops = {plan.exact_pops:.1f} pops: "
    answer += ", or ".join([_choice(plan.chosen), *map(_choice, plan.alternatives)]) + "."
    return Group(
        *map(plain_text, lines),
        Text(plain(answer), style="bold"),
        *map(plain_text, _time(plan)),
        *(plain_text(f"Note: {note}.") for note in plan.notes),
        plain_text(MEASURE_AMBIENT),
        *map(plain_text, cautions_at(flicker)),
    )


def _time(plan: PopPlan) -> Iterator[str]:
    """How long the shutter is open, and what that lets in."""
    every = f"{plan.interval_s:g} s" + ("" if plan.interval_given else " (assumed; --interval)")
    yield f"Open for {plan.open_s:.3g} s in all, a pop every {every}."
    under, adds = plan.ambient_under_stops, plan.ambient_adds_stops
    if under is not None and adds is not None:
        side = f"{under:.1f} stops under" if under >= 0 else f"{-under:.1f} stops over"
        yield (
            f"The ambient light that gathers in it is {side} the light of all pops: it adds "
            f"{adds:.2f} stop."
        )


def _choice(choice: PopChoice) -> str:
    """A count, with the power to set or with what is left."""
    count = "1 pop" if choice.pops == 1 else f"{choice.pops} pops"
    if choice.power_change_stops:
        left = choice.difference_stops
        rest = f" ({stops_text(left)})" if abs(left) >= 0.005 else ""
        return f"{count} with power {stops_text(choice.power_change_stops, 1)}{rest}"
    return f"{count} ({stops_text(choice.difference_stops)})"


def _figures(one: PopCount) -> Iterator[str]:
    """The cells of one frame's row."""
    yield one.frame.file.name
    yield str(one.frame.planned)
    if one.frame.problem is not None:
        yield "not measured"
    else:
        yield str(one.fired) if one.tellable else "cannot tell"
    chance = one.probability
    yield NOTHING if chance is None else _percent(chance)
    yield NOTHING if one.worth is None else f"{round(one.worth, 2) + 0.0:.2f}"  # no -0.00


def _percent(chance: float) -> str:
    """A chance in whole per cent; what is nearly sure is not made sure."""
    return "> 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def _light(study: PopStudy) -> Iterator[str]:
    """What a pop and the ambient light give."""
    if study.per_pop_signal is None or study.per_pop_u is None:
        return
    share = 200 * study.per_pop_u / study.per_pop_signal
    yield (
        f"One pop gives {study.per_pop_signal:.4g} of clipping on the card (± {share:.2g} %); "
        f"frames scatter by {study.scatter_stops:.3f} stop."
    )
    if study.ambient_per_s is not None and study.ambient_per_s_u is not None:
        per_pop = study.ambient_per_s / study.per_pop_signal
        if per_pop == 0:
            yield "No ambient light is to be seen."
        else:
            as_a_pop_s = f"{1 / per_pop:.3g}" if per_pop > 0.01 else f"{1 / per_pop:,.0f}"
            yield (
                f"Ambient light gives {study.ambient_per_s:.3g} a second: as much as a pop in "
                f"{as_a_pop_s} s."
            )
    elif study.ambient_signal is not None:
        yield f"Ambient light gives {study.ambient_signal:.3g} in each frame."
    if study.most_tellable is not None:
        yield (
            f"By this scatter one pop more or less shows in frames of up to {study.most_tellable} "
            "pops."
        )


def _straight(study: PopStudy) -> Iterator[str]:
    """Whether light adds up."""
    line, u = study.linearity_stops, study.linearity_u_stops
    if line is not None and u is not None:
        word = "adds up" if study.adding == "adds" else "does not add up as it should"
        yield (
            f"Light {word}: the largest count is {stops_text(line)} ± {2 * u:.2f} stop off the "
            "straight line through the smaller ones."
        )
    if study.sag_share is not None and study.sag_u is not None:
        yield (
            f"Later pops are weaker: each gives {100 * study.sag_share:.1f} ± "
            f"{200 * study.sag_u:.1f} % of the first pop less than the one before. Leave more time "
            "between pops."
        )
    if study.first_pop_stops is not None:
        yield (
            f"The first pop gives {stops_text(study.first_pop_stops)} stop against each of the "
            "others: fire one for nothing before the shutter opens."
        )


def _verdict(study: PopStudy) -> Iterator[str]:
    """What to call across the set."""
    if study.adding in NOT_ADDING:
        yield NOT_ADDING[study.adding]
        return
    for one in study.frames:
        if one.frame.problem is not None:
            yield f"{one.frame.file.name}: {one.frame.problem.rstrip('.')}."
        elif one.off:
            yield f"{one.frame.file.name}: {_off(one)}."
    unsure = [one for one in study.frames if one.frame.signal is not None and not one.tellable]
    if unsure:
        names = ", ".join(one.frame.file.name for one in unsure)
        yield f"Cannot tell from the level how many pops fired: {names}."
        yield HOW_TO_TELL
    elif all(one.tellable and not one.off for one in study.frames):
        yield "Every frame holds its pops."


def _off(one: PopCount) -> str:
    """How many pops a frame holds, in words."""
    planned, off = one.frame.planned, one.off or 0
    fired = planned + off
    if fired == 0:
        return f"no pop fired of {planned}"
    what = "missing" if off < 0 else "too many"
    return (
        f"{fired} of {planned} pops, {abs(off)} {what}"
        if off < 0
        else (f"{fired} pops where {planned} were planned, {off} {what}")
    )
