"""The command that tells from frames of a wall whether the shutter cut the flash."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from verify.cli.app import app
from verify.cli.inputs import checked_transfer, gathered_of
from verify.cli.options import JsonOption, QuietOption, TransferOption
from verify.cli.out import ALL_WITHIN, SOME_OUT, UNMEASURED, Out, console_of, write
from verify.errors import PlanError
from verify.frames.frame import Frame
from verify.frames.geometry import Box
from verify.place import Place, parse_place
from verify.report.characters import plain_text
from verify.report.rows_json import rows_json
from verify.report.rows_text import problem_lines, rows_text
from verify.report.to_file import STANDARD, check_targets
from verify.rows.records import RowStudy
from verify.rows.study import cuts_of
from verify.target.given import given_target

NamedFrames = Annotated[
    list[Path], typer.Argument(metavar="FRAME", hidden=True, show_default=False, readable=False)
]
WallCardOption = Annotated[
    str | None,
    typer.Option(
        "--card",
        metavar="COL,ROW,WIDTH,HEIGHT",
        help="Where a large card is in the upright picture, if no wall fills it: pixels, or "
        "fractions when all four are <= 1. It must span 40 % of the short side.",
    ),
]


@app.command(short_help="Tell from frames of a wall whether the shutter cut the flash.")
def rows(
    named: NamedFrames,
    card: WallCardOption = None,
    transfer: TransferOption = None,
    json: JsonOption = None,
    quiet: QuietOption = False,
) -> None:
    """Tell from frames of an even wall whether the shutter cut the flash, where, by how much.

    FRAME is a raw or TIFF file of an even wall lit by the flash, or a folder of them. One frame
    shows a cut with an edge. A gradient can be uneven light: shoot a second frame at a slower
    shutter time, such as 1/60 s, with camera and lights where they are, and name both. A third,
    slower still, tells what light the room adds.

    Flashes in quick succession, roughly 3 to 30 in a second, can trigger seizures in sensitive
    people: leave time between frames.

    Exit status: 0 no cut found, 1 the shutter cut the flash in some frame, 2 the command is wrong,
    3 some frame could not be measured or cannot tell.
    """
    check_targets({"--json": json})
    transfer = checked_transfer(transfer)
    box_in = None if card is None else _box_in(card)
    out = Out(console_of(stderr=json == STANDARD), console_of(stderr=True), quiet)
    study = cuts_of(gathered_of(named, out).files, box_in, transfer)
    if quiet:
        for line in problem_lines(study):
            out.problems.print(plain_text(line))
    else:
        out.words.print(rows_text(study))
    if json is not None:
        write(json, rows_json(study))
    raise typer.Exit(_status(study))


def _box_in(card: str) -> Callable[[Frame], Box]:
    """What finds the card's box in a frame, as typed. Raises PlanError."""
    place = parse_place(card, "--card ")
    if not isinstance(place, Place):
        msg = f"--card {place}: give its box, COL,ROW,WIDTH,HEIGHT; it is not looked for here"
        raise PlanError(msg)
    return lambda frame: given_target(frame, place).box


def _status(study: RowStudy) -> int:
    """Exit status: a cut counts most."""
    if study.any_cut:
        return SOME_OUT
    doubtful = any(cut.verdict in {"unsure", "unmeasured"} for cut in study.cuts)
    return UNMEASURED if doubtful else ALL_WITHIN
