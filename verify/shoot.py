"""The main path: a plan and files to a ``Shoot``, the one record that reports are made from."""

from collections.abc import Callable, Hashable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from verify.carried import carried
from verify.checking import Checked, Checker, Wanted, body, unmeasured
from verify.compare import FrameCheck
from verify.diagnose.from_check import Taken
from verify.exposure import exact_iso
from verify.frame_motion import with_motion
from verify.frames.frame import Settings
from verify.judge import Summary, judge, summary
from verify.notation import iso_text
from verify.plan.expected import plan_in_words
from verify.plan.records import Plan, SetUp
from verify.pulse.records import Firing
from verify.scene.records import Tiles
from verify.target.records import Target
from verify.workers import Limits, Lost, Workers, directly

# What one file may take before its worker is stopped: far more than any sound one needs.
LIMIT_S, LIMIT_S_PER_MB = 6.0, 0.5
LIMIT_BYTES, LIMIT_TIMES_FILE = 2_000_000_000, 12


@dataclass(frozen=True, slots=True)
class Options(Wanted):
    """How a shoot is to be checked, beside the plan."""

    reference: Path | None = None  # frame to compare with; None for the first measured
    firing: Firing | None = None  # the flash as it was recorded; None takes the plan's durations
    by_scene: bool = False  # frames without a card are judged by the scene; needs ``tiles``
    jobs: int = 0  # watched processes that measure frames; 0: this process, unwatched


@dataclass(frozen=True, slots=True)
class Shoot:
    """The frames of one job against their plan."""

    plan: Plan
    checks: tuple[FrameCheck, ...]  # in the order of the files
    summaries: tuple[Summary, ...]  # of each set-up and body
    notes: tuple[str, ...]  # sentences about the whole shoot
    skipped: int = 0  # files of the folders that are no pictures
    stopped: bool = False  # by hand, before all files were measured


def read_back(plan: Plan) -> tuple[str, ...]:
    """The plan in words; with several set-ups each after its name."""
    if len(plan.setups) == 1:
        return (plan_in_words(plan.main),)
    return tuple(f"{setup.name}: {plan_in_words(setup)}" for setup in plan.setups)


def check_shoot(
    plan: Plan,
    files: Sequence[Path],
    options: Options,
    skipped: int = 0,
    done: Callable[[Checked], None] = lambda _: None,
) -> Shoot:
    """Measure every file and hold it against its set-up.

    Stopped by hand (KeyboardInterrupt), it gives what was measured until then.

    Parameters
    ----------
    plan, files, options : what to check, and how.
    skipped : files left out before, told of in the result.
    done : called after each frame, in order.

    Raises
    ------
    PlanError
        If a flat frame cannot be read.
    """
    found: list[tuple[FrameCheck, SetUp]] = []
    pictures: list[Tiles | None] = []
    stopped = False
    try:
        for checked in _checked(plan, files, options):
            found.append((checked.check, plan.setups[checked.setup]))
            pictures.append(checked.tiles if options.by_scene else None)
            done(checked)
    except KeyboardInterrupt:
        stopped = True
    checks, summaries = _judged(found, options.reference)
    if options.by_scene:
        checks = _by_scene(checks, [setup for _, setup in found], pictures)
        summaries = tuple(
            summary(one.name, [c for c in checks if c.setup == one.name]) for one in summaries
        )
    checks = with_motion(checks, [setup for _, setup in found], options.firing)
    notes = _notes(plan, found)
    if stopped:
        notes = (f"stopped by hand after {len(checks)} of {len(files)} frames", *notes)
    return Shoot(plan, checks, summaries, notes, skipped, stopped)


def _by_scene(
    checks: Sequence[FrameCheck], setups: Sequence[SetUp], pictures: Sequence[Tiles | None]
) -> tuple[FrameCheck, ...]:
    """Checks of frames, those without a card held against the last one with a card."""
    return carried(
        [
            Taken(check, setup, body(check.settings), tiles)
            for check, setup, tiles in zip(checks, setups, pictures, strict=True)
        ]
    )


def _checked(plan: Plan, files: Sequence[Path], options: Options) -> Iterator[Checked]:
    """Every file's check, in order, by watched workers or in this process."""
    make = partial(Checker, plan, options)
    cards: dict[Hashable, Target] = {}  # where the last frame of each framing had the card

    def last_card(_: int, framing: Hashable) -> Target | None:
        return cards.get(framing)

    def kept(result: Checked) -> Checked:
        if result.card is not None:
            cards[result.framing] = result.card
        return result

    if options.jobs == 0:
        with closing(make()) as checker:
            yield from map(kept, directly(lambda: checker, files, last_card))
        return
    with Workers(make, options.jobs, limits) as workers:
        for file, result in zip(files, workers.run(files, last_card), strict=True):
            if isinstance(result, Lost):
                # What killed a worker is not read here: its settings stay unknown.
                yield unmeasured(plan, file, result.reason, Settings())
            else:
                yield kept(result)


def limits(file: Path) -> Limits:
    """What a worker may take for one file before it is stopped."""
    try:
        size = file.stat().st_size
    except OSError:
        size = 0
    seconds = LIMIT_S + LIMIT_S_PER_MB * size / 1e6
    return Limits(seconds, LIMIT_BYTES + LIMIT_TIMES_FILE * size)


def _judged(
    found: Sequence[tuple[FrameCheck, SetUp]], reference: Path | None
) -> tuple[tuple[FrameCheck, ...], tuple[Summary, ...]]:
    """Verdicts and summaries, every set-up and body by itself, in the order of the files."""
    groups: dict[tuple[str, str], list[int]] = {}
    for at, (check, setup) in enumerate(found):
        groups.setdefault((setup.name, body(check.settings)), []).append(at)
    named = {name: [own for s, own in groups if s == name and own] for name, _ in groups}
    for name, bodies in named.items():
        if not bodies or (name, "") not in groups:
            continue
        # What is of an unknown body goes with the first known one, but for a measured frame that
        # could be of either of several: signals of two cameras are not to be compared.
        unknown = groups.pop((name, ""))
        alone = [at for at in unknown if len(bodies) > 1 and found[at][0].patch is not None]
        groups[name, bodies[0]] = sorted({*groups[name, bodies[0]], *unknown}.difference(alone))
        if alone:
            groups[name, ""] = alone
    checks = [check for check, _ in found]
    summaries = []
    for (name, own_body), places in groups.items():
        title = f"{name} / {own_body or 'unknown body'}" if len(named[name]) > 1 else name
        setup = found[places[0]][1]
        elsewhere = {c.file for c in checks} - {checks[at].file for at in places}
        wanted = None if reference in elsewhere else reference
        own = judge([replace(checks[at], setup=title) for at in places], setup, wanted)
        for at, check in zip(places, own, strict=True):
            checks[at] = check
        summaries.append(summary(title, own))
    return tuple(checks), tuple(summaries)


def _notes(plan: Plan, found: Sequence[tuple[FrameCheck, SetUp]]) -> tuple[str, ...]:
    """What is to be said about the whole shoot."""
    notes = []
    for setup in plan.setups:
        reading, camera = setup.reading, setup.camera
        own = [check.settings for check, its in found if its is setup]
        isos = {settings.iso for settings in own if settings is not None and settings.iso}
        if reading is None or camera is None or camera.iso_given or len(isos) != 1:
            continue
        iso = isos.pop()
        if abs(exact_iso(iso) / camera.iso - 1) > 0.01:
            where = f"{setup.name}: " if len(plan.setups) > 1 else ""
            notes.append(
                f"{where}the plan's ISO is the meter's, {iso_text(camera.iso)}, and every frame "
                f"was shot at {iso_text(iso)}. If that was meant, write iso = {iso_text(iso)} "
                "under [camera] in the plan"
            )
    return tuple(notes)
