"""Options and arguments that several commands take."""

from pathlib import Path
from typing import Annotated

import typer

# readable=False: a file that may not be read gets its line later, and the others are measured.
NamedPaths = Annotated[
    list[Path] | None, typer.Argument(metavar="PLAN.toml|FRAME", hidden=True, readable=False)
]
ReferenceOption = Annotated[
    Path | None,
    typer.Option(
        metavar="FRAME",
        readable=False,
        help="The frame to compare the others with, if not the first.",
    ),
]
CardOption = Annotated[
    str | None,
    typer.Option(
        metavar="find|chart|COL,ROW,WIDTH,HEIGHT",
        help="Where the card is in the upright picture: pixels, or fractions when all four are "
        "<= 1. Replaces the box of the plan. Without either the card is looked for: find takes a "
        "card, a chart or a step wedge, chart only the last two.",
    ),
]
ReadingOption = Annotated[
    str | None,
    typer.Option(metavar="F-NUMBER", help='What the meter showed, such as "f/11 + 0.3".'),
]
IsoOption = Annotated[str | None, typer.Option(metavar="ISO", help="ISO set on the meter.")]
ShutterOption = Annotated[
    str | None, typer.Option(metavar="TIME", help='Shutter time set on the meter, such as "1/125".')
]
OffsetOption = Annotated[
    str | None,
    typer.Option(
        metavar="NAME",
        help="The kept offset between meter and camera to use. Without it the one that was fitted "
        "with this camera, lens, meter, receptor and card, if there is exactly one.",
    ),
]
TransferOption = Annotated[
    str | None,
    typer.Option(
        metavar="icc|linear|srgb|GAMMA",
        help="How the values of TIFF files follow the light, for files that do not say.",
    ),
]
JsonOption = Annotated[
    str | None, typer.Option(metavar="FILE", help="Write a report as JSON; - for standard output.")
]
CsvOption = Annotated[
    str | None, typer.Option(metavar="FILE", help="Write a report as CSV; - for standard output.")
]
PlotOption = Annotated[
    str | None,
    typer.Option("--plot", metavar="FILE", help="Draw it, as PNG or SVG by the file's ending."),
]
ShowOption = Annotated[
    str | None,
    typer.Option(
        metavar="FOLDER", help="Write a small picture of each frame there, with the card outlined."
    ),
]
JOBS_HELP = "Frames measured at a time; by itself as many as there are processors, 4 at most."
JobsOption = Annotated[int, typer.Option(metavar="N", show_default=False, help=JOBS_HELP)]
QuietOption = Annotated[bool, typer.Option("--quiet", help="Print nothing but problems.")]
