"""The main path: a plan and files to a ``Shoot``, the one record that reports are made from."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path

from verify.compare import FrameCheck, compare
from verify.errors import BoxError, FrameError, PlanError
from verify.exposure import exact_iso
from verify.frames.exif import read_settings
from verify.frames.frame import Frame, Kept, Settings
from verify.frames.gather import frame_number
from verify.frames.open import open_frame
from verify.judge import Summary, judge, summary
from verify.measure import measure
from verify.notation import iso_text
from verify.place import Place
from verify.plan.expected import plan_in_words
from verify.plan.records import MeterOffset, Plan, SetUp
from verify.target import given_target

WHERE_IS_THE_CARD = (
    "where is the card? Give --card COL,ROW,WIDTH,HEIGHT (upright pixels, or fractions of the "
    "sides) or box in [card]; finding it comes with a later version"
)


@dataclass(frozen=True, slots=True)
class Options:
    """How a shoot is to be checked, beside the plan."""

    place: Place | None = None  # of the card, in every frame; None takes the plan's
    reference: Path | None = None  # frame to compare with; None for the first measured
    transfer: str | None = None  # of TIFFs that do not say
    offset: MeterOffset | None = None  # fitted for this meter and camera
    jobs: int = 1  # frames measured at the same time


@dataclass(frozen=True, slots=True)
class Shoot:
    """The frames of one job against their plan."""

    plan: Plan
    checks: tuple[FrameCheck, ...]  # in the order of the files
    summaries: tuple[Summary, ...]  # of each set-up and body
    notes: tuple[str, ...]  # sentences about the whole shoot
    skipped: int = 0  # files of the folders that are no pictures


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
    done: Callable[[FrameCheck], None] = lambda _: None,
) -> Shoot:
    """Measure every file and hold it against its set-up.

    Parameters
    ----------
    plan, files, options : what to check, and how.
    skipped : files left out before, told of in the result.
    done : called after each frame, in order.

    Raises
    ------
    PlanError
        If nothing says where the card is, or a flat frame cannot be read.
    """
    # The main set-up may have no frames of its own, so with others only theirs are asked for.
    for setup in plan.setups[1:] or plan.setups:
        if files and options.place is None and setup.card.place is None:
            raise PlanError(WHERE_IS_THE_CARD)
    with _flats(plan, options.transfer) as flats:

        def one(file: Path) -> tuple[FrameCheck, SetUp]:
            return _check(file, plan, options, flats)

        found = []
        pool = ThreadPoolExecutor(max(1, options.jobs))
        try:
            for check, setup in pool.map(one, files):
                found.append((check, setup))
                done(check)
        finally:  # when stopped halfway: wait for the frames that are being read, begin no other
            pool.shutdown(cancel_futures=True)
    checks, summaries = _judged(found, options.reference)
    return Shoot(plan, checks, summaries, _notes(plan, found), skipped)


@contextmanager
def _flats(plan: Plan, transfer: str | None) -> Iterator[dict[Path, Frame]]:
    """Flat frames of the plan, open, each read once however many frames use it."""
    paths = {s.card.flat for s in plan.setups if s.card.flat is not None}
    flats: dict[Path, Frame] = {}
    try:
        for path in paths:
            try:
                flat = open_frame(path, transfer)
            except FrameError as error:
                msg = f"[card] flat: {path}: {error}"
                raise PlanError(msg) from error
            flats[path] = replace(flat, source=Kept(flat.source))
        yield flats
    finally:
        for flat in flats.values():
            flat.source.close()


def _check(
    file: Path, plan: Plan, options: Options, flats: dict[Path, Frame]
) -> tuple[FrameCheck, SetUp]:
    """Measure one file and compare it; a file that cannot be measured gets its line."""
    settings: Settings | None = None
    try:
        with open_frame(file, options.transfer) as frame:
            settings = frame.settings
            setup = _setup_of(plan, file, settings)
            place = options.place or setup.card.place
            if place is None:
                raise BoxError(WHERE_IS_THE_CARD)
            flat = None if setup.card.flat is None else flats[setup.card.flat]
            patch = measure(frame, given_target(frame, place), flat)
            return compare(file, settings, patch, setup, frame.notes, options.offset), setup
    except FrameError as error:
        problem = str(error)
    except Exception as error:  # one bad file must not end a shoot
        first = (str(error).splitlines() or [""])[0]
        problem = f"it could not be measured ({type(error).__name__}: {first})"
    if settings is None:
        settings = Settings()
        with suppress(OSError):  # a name that the system does not take
            settings = read_settings(file) if file.is_file() else settings
    setup = _setup_of(plan, file, settings)
    return FrameCheck(file, setup.name, settings, problem=problem), setup


def _setup_of(plan: Plan, file: Path, settings: Settings) -> SetUp:
    """The set-up a frame belongs to: named by number or body first, else by where it starts.

    A set-up that names a body has no frames of another one, whatever their numbers.
    """
    number = frame_number(file)
    started = plan.main
    for setup in plan.setups[1:]:
        wanted = setup.selection
        if wanted.serial is not None and wanted.serial != settings.serial:
            continue
        by_number = bool(wanted.ranges) or wanted.start is not None
        if not by_number or (
            number is not None and any(first <= number <= last for first, last in wanted.ranges)
        ):
            return setup
        if wanted.start is not None and number is not None and wanted.start <= number:
            begun = started.selection.start
            started = setup if begun is None or wanted.start > begun else started
    return started


def _judged(
    found: Sequence[tuple[FrameCheck, SetUp]], reference: Path | None
) -> tuple[tuple[FrameCheck, ...], tuple[Summary, ...]]:
    """Verdicts and summaries, every set-up and body by itself, in the order of the files."""
    groups: dict[tuple[str, str], list[int]] = {}
    for at, (check, setup) in enumerate(found):
        groups.setdefault((setup.name, _body(check)), []).append(at)
    named = {name: [body for s, body in groups if s == name and body] for name, _ in groups}
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
    for (name, body), places in groups.items():
        title = f"{name} / {body or 'unknown body'}" if len(named[name]) > 1 else name
        setup = found[places[0]][1]
        elsewhere = {c.file for c in checks} - {checks[at].file for at in places}
        wanted = None if reference in elsewhere else reference
        own = judge([replace(checks[at], setup=title) for at in places], setup, wanted)
        for at, check in zip(places, own, strict=True):
            checks[at] = check
        summaries.append(summary(title, own))
    return tuple(checks), tuple(summaries)


def _body(check: FrameCheck) -> str:
    """The camera body a frame came from, in words; empty where the file does not say."""
    settings = check.settings
    if settings is None:
        return ""
    return " ".join(part for part in (settings.model or settings.make, settings.serial) if part)


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
