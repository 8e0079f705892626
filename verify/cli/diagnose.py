"""The command that tells why the exposure moves over a shoot."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Annotated, cast, get_args

import typer

from verify.checking import Checked, body
from verify.cli.app import app
from verify.cli.flash import AmbientFrameOption
from verify.cli.inputs import (
    JOBS,
    checked_jobs,
    checked_transfer,
    ending_of_plot,
    gathered_of,
    plan_and_frames,
    run,
)
from verify.cli.options import (
    CardOption,
    IsoOption,
    JobsOption,
    JsonOption,
    NamedPaths,
    PlotOption,
    QuietOption,
    ReadingOption,
    ReferenceOption,
    ShutterOption,
    TransferOption,
)
from verify.cli.out import (
    ALL_WITHIN,
    INTERRUPTED,
    SOME_OUT,
    UNMEASURED,
    Out,
    console_of,
    write,
)
from verify.diagnose.diagnosis import diagnose as diagnosed
from verify.diagnose.from_check import Taken
from verify.diagnose.in_time import InTime, Wanted, series_in_time
from verify.diagnose.records import Diagnosis
from verify.errors import PlanError
from verify.frames.gather import with_reference
from verify.place import parse_place
from verify.plan.load import quoted
from verify.plan.records import Plan
from verify.report.characters import plain_text
from verify.report.diagnosis_json import STEADY, all_findings, diagnosis_json
from verify.report.diagnosis_plot import diagnosis_plot
from verify.report.diagnosis_text import diagnosis_text, left_out_lines
from verify.report.to_file import STANDARD, check_targets, write_report
from verify.shoot import Options, Shoot, read_back

ByOption = Annotated[
    str | None,
    typer.Option(
        "--by",
        metavar="card|scene",
        help="How light is measured: by the card, or by what most of the picture shares with the "
        "first frame of the set. Without it the card where it is, the scene in between.",
    ),
]


@dataclass(slots=True)
class _Kept:
    """What each frame showed, kept while it is checked."""

    taken: list[Checked] = field(default_factory=list)

    def add(self, checked: Checked) -> None:
        """Keep one frame's."""
        self.taken.append(checked)


@app.command(short_help="Tell why the exposure moves over a shoot.")
def diagnose(
    named: NamedPaths = None,
    by: ByOption = None,
    card: CardOption = None,
    reference: ReferenceOption = None,
    reading: ReadingOption = None,
    iso: IsoOption = None,
    shutter: ShutterOption = None,
    ambient_frame: AmbientFrameOption = None,
    transfer: TransferOption = None,
    json: JsonOption = None,
    plot_to: PlotOption = None,
    jobs: JobsOption = JOBS,
    quiet: QuietOption = False,
) -> None:
    """Tell why the exposure moves over a shoot, and what to do about it.

    FRAME is a raw or TIFF file, or a folder of them; PLAN.toml is not needed. Show the card in the
    first frame of a set and take it away: what follows is held against that one by what most of
    the picture shares. Frames are put in the order of time.

    Before you touch a head: switch it off, discharge and unplug it, let it cool, and follow the
    maker's manual; leave opened units to licensed people. Flashes at about 3 to 30 a second can
    trigger seizures in sensitive people.

    Exit status: 0 steady, 1 a cause was found, 2 the command is wrong, 3 too little could be
    measured.
    """
    check_targets({"--json": json, "--plot": plot_to})
    ending = ending_of_plot(plot_to)
    checked_jobs(jobs)
    how = _how(by)
    plan, paths = plan_and_frames(named or [], reading, iso, shutter)
    place = None if card is None else parse_place(card, "--card ")
    out = Out(console_of(stderr=json == STANDARD), console_of(stderr=True), quiet)
    if not paths:
        msg = "name the frames of the shoot, or their folder"
        raise PlanError(msg)
    gathered = gathered_of(paths, out)
    files, reference = with_reference(gathered.files, reference)
    kept = _Kept()
    options = Options(
        place,
        checked_transfer(transfer),
        ambient=ambient_frame,
        card=how != "scene",
        tiles=how != "card",
        reference=reference,
        jobs=min(jobs, len(files)),
    )
    if not quiet and plan.main.reading is not None:
        for line in read_back(plan):
            out.words.print(plain_text(line))
    shoot = run(plan, files, options, gathered.skipped, out, kept)
    series = series_in_time(_taken(shoot, plan, kept.taken), how)
    found = [(_name(one, series), _diagnosis(one)) for one in series if one.frames]
    left_out = [(str(file), why) for one in series for file, why in one.left_out]
    notes = list(dict.fromkeys(note for one in series for note in one.notes))
    if quiet:
        for line in left_out_lines(left_out):
            out.problems.print(plain_text(f"greyproof: {line}"))
    else:
        out.words.print(diagnosis_text(found, notes, left_out))
    if json is not None:
        write(json, diagnosis_json(found, notes, left_out))
    if plot_to is not None and not found:
        out.problems.print(plain_text(f"greyproof: {plot_to}: there is nothing to draw"))
    elif plot_to is not None:
        tolerance = max((one.between_frames for one in series), default=0.1)
        write_report(plot_to, diagnosis_plot(found, tolerance, ending))
    if shoot.stopped:
        out.problems.print("greyproof: stopped; what was measured until then was told")
        raise typer.Exit(INTERRUPTED)
    raise typer.Exit(_status(found))


def _how(by: str | None) -> Wanted:
    """How light is to be measured, as typed. Raises PlanError."""
    if by is None:
        return "either"
    typed = by.strip().lower()
    for known in get_args(Wanted):
        if typed == known != "either":
            return cast(Wanted, known)
    msg = f"--by {quoted(by)}: say card or scene, or leave it out for both"
    raise PlanError(msg)


def _taken(shoot: Shoot, plan: Plan, kept: Sequence[Checked]) -> list[Taken]:
    """Each frame as it was judged, with what its picture showed."""
    return [
        Taken(check, plan.setups[checked.setup], body(check.settings), checked.tiles)
        for check, checked in zip(shoot.checks, kept, strict=True)
    ]


def _name(one: InTime, series: Sequence[InTime]) -> str:
    """What a series is called: its set-up, and its body where that tells more."""
    bodies = {other.body for other in series}
    return f"{one.setup} / {one.body or 'unknown body'}" if len(bodies) > 1 else one.setup


def _diagnosis(one: InTime) -> Diagnosis:
    """What is found in one series."""
    return diagnosed(one.frames, one.between_frames)


def _status(found: Sequence[tuple[str, Diagnosis]]) -> int:
    """Exit status by what was found."""
    findings = all_findings(found)
    if not findings:
        return UNMEASURED
    steady = all(finding.cause == STEADY for _, finding in findings)
    return ALL_WITHIN if steady else SOME_OUT
