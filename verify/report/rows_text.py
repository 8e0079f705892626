"""What a shutter did to the flash, on a terminal: a row for each frame, then what to do."""

from collections.abc import Iterator

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from verify.notation import shutter_text, stops_text
from verify.report.characters import plain_text
from verify.rows.records import MOST, Cut, RowStudy
from verify.times import duration_text

NOTHING = "\N{EN DASH}"
OPPOSITE = {"top": "bottom", "bottom": "top", "left": "right", "right": "left"}
HEADINGS = ("shutter", "shutter and flash", "edge", "lost there", "middle", "opposite")
SMALL_STOPS = 0.25  # a loss up to this, hidden in one frame, is told as a figure and no more
DO_CUT = (
    "Use a slower shutter time, at or below the sync speed; or a shorter flash duration; or, if a "
    "radio fires the flash, a wire instead, for radios fire late."
)
DO_UNSURE = (
    "Shoot the same wall at a shutter time two stops slower, with camera and lights where they "
    "are, and name both frames."
)


def rows_text(study: RowStudy) -> RenderableType:
    """Everything about the frames of a wall that a person reads on a terminal."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("frame", overflow="fold")
    for heading in HEADINGS:
        table.add_column(heading)
    for cut in study.cuts:
        table.add_row(*map(plain_text, _figures(cut)))
    lines = [f"{cut.file.name}: {sentence(cut)}" for cut in study.cuts]
    advice = dict.fromkeys(text for cut in study.cuts if (text := advice_of(cut)) is not None)
    return Group(
        Text(),
        table,
        Text(),
        *map(plain_text, lines),
        *map(plain_text, _notes(study)),
        *(Text(text, style="bold") for text in advice),
    )


def problem_lines(study: RowStudy) -> list[str]:
    """A line for each frame that is cut, in doubt or not measured."""
    return [f"{cut.file}: {sentence(cut)}" for cut in study.cuts if cut.verdict != "none"]


def sentence(cut: Cut) -> str:
    """What was found in one frame, in plain language."""
    if cut.problem is not None:
        return f"{cut.problem}."
    if cut.verdict == "cut":
        return _cut_sentence(cut)
    if cut.verdict == "unsure":
        return (
            "cannot tell: uneven light and a flash that the shutter cut look alike here "
            f"(up to {_hidden(cut)} could be lost at an edge)."
        )
    if cut.reference is None and (cut.excluded_stops or 0.0) > SMALL_STOPS:
        return (
            "no cut seen, but one frame alone shows only an edge: a smooth loss of up to "
            f"{_hidden(cut)} at one edge could pass for falloff of the light."
        )
    return f"no cut seen; more than {_hidden(cut)} lost at an edge would have been seen."


def advice_of(cut: Cut) -> str | None:
    """What to do about one frame; None where there is nothing to do."""
    return {"cut": DO_CUT, "unsure": DO_UNSURE}.get(cut.verdict)


def _cut_sentence(cut: Cut) -> str:
    """A cut in words: what is lost, where, and against what."""
    loss, edge = cut.loss_stops, cut.edge
    if loss is None or edge is None:  # a cut has both
        return "the shutter cut the flash."
    where = (
        f"{_lost(loss.first)} lost at the {edge} edge of the upright picture, "
        f"{_lost(loss.middle)} in the middle, {_lost(loss.last)} at the {OPPOSITE[edge]}"
    )
    text = f"the shutter cut the flash, as {'an' if cut.kind == 'edge' else 'a'} {cut.kind}: "
    if cut.blocked_share:
        text += f"{cut.blocked_share:.0%} of the picture at the {edge} got none of it; "
    text += where
    if cut.reference is not None:
        text += f", against {cut.reference.name}"
    if cut.travel_s is not None and cut.travel_u_s is not None:
        spread = duration_text(2 * cut.travel_u_s)
        text += f". The curtains take {duration_text(cut.travel_s)} ± {spread} at most to cross it"
    return f"{text}."


def _lost(loss: tuple[float, float | None]) -> str:
    """A loss with two of its uncertainties."""
    stops, u = loss
    if u is None:
        return f"{MOST:.0f} stops or more"
    return f"{stops:.2f} ± {2 * u:.2f} stop"


def _hidden(cut: Cut) -> str:
    """The size of a loss that could be hidden."""
    return NOTHING if cut.excluded_stops is None else f"{cut.excluded_stops:.2f} stop"


def _figures(cut: Cut) -> Iterator[str]:
    """The cells of one frame's row."""
    yield cut.file.name
    yield NOTHING if cut.shutter_s is None else shutter_text(cut.shutter_s)
    yield {
        "cut": f"cut, {'an' if cut.kind == 'edge' else 'a'} {cut.kind}",
        "none": "no cut seen",
        "unsure": "cannot tell",
        "unmeasured": "not measured",
    }[cut.verdict]
    yield cut.edge or NOTHING
    loss = cut.loss_stops
    for stops, u in () if loss is None else (loss.first, loss.middle, loss.last):
        yield f"{stops_text(-stops)} or more" if u is None else stops_text(-stops)
    yield from () if loss is not None else (NOTHING,) * 3


def _notes(study: RowStudy) -> Iterator[str]:
    """Each note once, with the frames that it is about."""
    about: dict[str, list[str]] = {}
    for cut in study.cuts:
        for note in cut.notes:
            about.setdefault(note, []).append(cut.file.name)
    for note, names in about.items():
        yield f"Note ({', '.join(names)}): {note}."
