"""Blur and ghost on a terminal: verdicts with their figures, what is doubtful, what to change."""

import math
from collections.abc import Iterator, Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from verify.motion.examples import examples_of
from verify.motion.ghost import FAINT_BELOW, HIDDEN_BELOW
from verify.motion.records import Blur, Ghost, MotionRisk
from verify.motion.risk import Moving
from verify.notation import shutter_text
from verify.report.characters import plain, plain_text
from verify.times import fraction_text
from verify.warnings import WARNINGS

NOTHING = "\N{EN DASH}"
WITHIN_STOPS = 0.005  # a smaller loss is none


def motion_text(risk: MotionRisk, moves: Moving, lacking: Sequence[str]) -> RenderableType:
    """Everything that a person reads on a terminal about what moves, the advice last.

    Parameters
    ----------
    risk : at the plan's shutter time.
    moves : what it rests on.
    lacking : keys of the plan without which there is no ghost to tell of.
    """
    parts: list[RenderableType] = [Text(plain(line), style="bold") for line in _blur(risk.blur)]
    parts += map(plain_text, _blur_figures(risk.blur, moves))
    parts += [Text(plain(line), style="bold") for line in _ghost(risk.ghost, moves)]
    parts += map(plain_text, _ghost_figures(risk.ghost, lacking))
    parts += map(plain_text, _loss(risk.shutter_loss_stops))
    examples = _examples(moves)
    if examples is not None:
        title = "The same flash at this magnification (speeds: common practice, no source):"
        parts += [Text(), plain_text(title), Text(), examples, Text()]
    parts += map(plain_text, motion_doubts(risk))
    parts += [Text(plain(line), style="bold") for line in risk.advice]
    return Group(*parts)


def motion_doubts(risk: MotionRisk) -> Iterator[str]:
    """Warnings with their sentences, then notes."""
    for warning in risk.warnings:
        yield f"{warning}: {WARNINGS[warning]}"
    for note in risk.notes:
        yield f"Note: {note.rstrip('.')}."


def _blur(blur: Blur | None) -> Iterator[str]:
    """The verdict on the blur."""
    if blur is not None and blur.width_px is not None and blur.edge_px is not None:
        verdict = "" if blur.verdict is None else f"{blur.verdict}: "
        yield (
            f"Blur, {verdict}{_px(blur.width_px)} hold 80 % of a point's light; an edge takes"
            f" {_px(blur.edge_px)} from 10 % to 90 %."
        )


def _blur_figures(blur: Blur | None, moves: Moving) -> Iterator[str]:
    """The figures behind it."""
    if blur is None:
        return
    share = ""
    if blur.height_share is not None:
        share = f", {100 * blur.height_share:.2g} % of the height of the picture"
    widths = f"{blur.width_um:.3g} and {blur.edge_um:.3g} \N{MICRO SIGN}m"
    yield f"On the sensor that is {widths}{share}."
    yield (
        f"It blurs as an even exposure of {fraction_text(blur.equivalent_s)} would; half of the"
        f" contrast is left at {blur.mtf50_cycles_per_mm:.3g} cycles per mm."
    )
    tenth_s = None if moves.firing is None else moves.firing.exposing.durations_s.get(0.1)
    if blur.longest_tenth_s is not None and tenth_s is not None:
        yield (
            f"This flash's t.1 is {fraction_text(tenth_s)}; sharp would be"
            f" {fraction_text(blur.longest_tenth_s)} or shorter."
        )


def _ghost(ghost: Ghost | None, moves: Moving) -> Iterator[str]:
    """The verdict on the ghost."""
    if ghost is None:
        return
    under = _under(ghost.ambient_under_flash_stops)
    if ghost.verdict is None or ghost.delta_l is None:
        yield f"Ghost: the ambient light is {under}."
        return
    shutter_s = moves.plan.shutter.time_s
    at = "" if shutter_s is None else f" at {shutter_text(shutter_s)}"
    yield f"Ghost, {ghost.verdict}: the ambient light is {under}{at}."


def _ghost_figures(ghost: Ghost | None, lacking: Sequence[str]) -> Iterator[str]:
    """The figures behind it, or what is missing for them."""
    if ghost is None:
        yield f"No ghost can be told: the plan does not give {'; '.join(lacking)}."
        return
    if ghost.trail_px is not None and ghost.strength is not None:
        yield (
            f"The subject moves on by {_px(ghost.trail_px)} while the shutter is open; what it"
            f" leaves there has {_percent(ghost.strength)} of the flash image's light."
        )
    if ghost.delta_l_grey is not None and ghost.delta_l_black is not None:
        judged = "a mid-grey" if ghost.against == "grey" else "black"
        yield (
            f"That is {ghost.delta_l_grey:.1f} in lightness (CIELAB L*) on a mid-grey, and"
            f" {ghost.delta_l_black:.1f} of a light subject on black; judged on {judged}. Below"
            f" {HIDDEN_BELOW:g} it is hidden, below {FAINT_BELOW:g} faint."
        )
        if ghost.against == "grey" and ghost.delta_l_black >= FAINT_BELOW > ghost.delta_l_grey:
            yield (
                'Before black a light subject would show it: write against = "black" under'
                " [subject] where that is so."
            )


def _loss(loss: float | None) -> Iterator[str]:
    """What the shutter cuts of the flash."""
    if loss is None or loss < WITHIN_STOPS:
        return
    lost = "all of the flash" if math.isinf(loss) else f"{loss:.2f} stop of the flash"
    yield f"The shutter cuts off {lost} at the edge that it covers first."


def _examples(moves: Moving) -> Table | None:
    """What the same flash does to things that photographers often freeze."""
    if moves.spread is None or moves.magnification is None or moves.sensor.pitch_um is None:
        return None
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for heading in ("what moves", "speed", "blur", "verdict", "sharp with t.1 of"):
        table.add_column(heading, no_wrap=True)
    for one in examples_of(moves.spread, moves.magnification, moves.sensor, moves.limits):
        table.add_row(
            one.example.name,
            f"{one.example.speed_m_s:g} m/s",
            NOTHING if one.width_px is None else _px(one.width_px),
            one.verdict or NOTHING,
            NOTHING if one.longest_tenth_s is None else fraction_text(one.longest_tenth_s),
        )
    return table


def _under(stops: float) -> str:
    """How far the ambient light lies under the flash."""
    if math.isinf(stops):
        return "none that can be measured"
    if stops < 0:
        return f"{-stops:.1f} stops over the flash"
    return f"{stops:.1f} stops under the flash"


def _px(pixels: float) -> str:
    """Pixels, to two or three digits."""
    return f"{pixels:.1f} px" if pixels < 100 else f"{pixels:,.0f} px"


def _percent(share: float) -> str:
    """A share in per cent, to two digits."""
    return f"{100 * share:.2g} %" if share < 1 else f"{100 * share:.0f} %"
