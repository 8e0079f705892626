"""One file to its check: what is done for each frame, in this process or in a worker's."""

from collections.abc import Hashable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

from verify.ambient.flash_off import AmbientFrame, open_ambient
from verify.ambient.reading import AmbientReading
from verify.compare import FrameCheck, compare, expected_here
from verify.errors import FrameError, PlanError, in_one_line
from verify.frames.exif import read_settings
from verify.frames.frame import Frame, Kept, Settings
from verify.frames.gather import frame_number
from verify.frames.open import open_frame
from verify.frames.overview import Overview
from verify.measure import measure
from verify.neutrals import measured_neutrals
from verify.offsets.choose import Chosen, choose
from verify.offsets.records import SavedOffset
from verify.place import CHART, Looked, Place
from verify.plan.records import Plan, SetUp
from verify.scene.records import Tiles
from verify.scene.tiles import tiles_of
from verify.target.find import Finder
from verify.target.given import given_target
from verify.target.records import Search, Target
from verify.workers import Ask

NO_CARD = (
    "no card was found in it. If there is one, say where with --card COL,ROW,WIDTH,HEIGHT (upright "
    "pixels, or fractions of the sides)"
)
NO_CHART = (
    "no 24-patch chart was found in it, and no step wedge. It must lie in the picture whole, in "
    "even light, and not too small; or look for a card too with --card find"
)
NO_DENSITIES = (
    "a step wedge of {} steps is in it, but nothing says which of them is grey: write densities "
    "under [card] in the plan, one for each of these steps, the lightest first"
)
COLORED = (
    "hardly anything in it is neutral, as in coloured light: nothing can be told to be grey. If "
    "there is a card, say where with --card COL,ROW,WIDTH,HEIGHT (upright pixels, or fractions of "
    "the sides)"
)


@dataclass(frozen=True, slots=True)
class Wanted:
    """How frames are to be checked, beside the plan."""

    place: Place | Looked | None = None  # of the card, in every frame; None takes the plan's
    transfer: str | None = None  # of TIFFs that do not say
    offsets: tuple[SavedOffset, ...] = ()  # all that are kept: one that belongs here is used
    offset_name: str | None = None  # of the one to use, wherever it belongs
    pictures: bool = False  # whether small pictures of the frames are wanted
    ambient: Path | None = None  # frame shot with the flash off; None takes the plan's
    card: bool = True  # whether the card is to be measured
    tiles: bool = False  # whether the light of the whole picture is wanted


@dataclass(frozen=True, slots=True)
class Checked:
    """One file's check, and what later frames and reports need of it."""

    check: FrameCheck
    setup: int  # place of its set-up in the plan
    framing: Hashable = None  # what it shares with frames that show the card at the same place
    card: Target | None = None  # where the next of them looks first; None where it is not sure
    picture: Overview | None = None  # small, where pictures are wanted
    tiles: Tiles | None = None  # light of the whole picture, where that is wanted


@dataclass(slots=True)
class Checker:
    """Checks files one after the other."""

    plan: Plan
    wanted: Wanted
    _flats: dict[Path, Frame] = field(default_factory=dict)  # open, each read once
    _ambients: dict[Path, AmbientFrame] = field(default_factory=dict)  # the same

    def __call__(self, file: Path, ask: Ask) -> Checked:
        """Measure one file and compare it; a file that cannot be measured gets its line.

        Parameters
        ----------
        file : a picture.
        ask : asks where the frames before, of the same framing, had the card.

        Raises
        ------
        PlanError
            If the flat frame of its set-up cannot be read.
        """
        settings: Settings | None = None
        try:
            with open_frame(file, self.wanted.transfer) as frame:
                settings = frame.settings
                return self._checked(frame, ask)
        except FrameError as error:
            problem = str(error)
        except PlanError:
            raise
        except Exception as error:  # one bad file must not end a shoot
            first = (str(error).splitlines() or [""])[0]
            problem = f"it could not be measured ({type(error).__name__}: {first})"
        return unmeasured(self.plan, file, problem, settings)

    def close(self) -> None:
        """Let the flat frames go."""
        for flat in self._flats.values():
            flat.source.close()
        self._flats.clear()
        for ambient in self._ambients.values():
            ambient.frame.source.close()
        self._ambients.clear()

    def _checked(self, frame: Frame, ask: Ask) -> Checked:
        """Find and measure the card of an open frame, and compare it."""
        at = setup_of(self.plan, frame.path, frame.settings)
        setup = self.plan.setups[at]
        picture = None
        if self.wanted.pictures:
            with suppress(FrameError):  # a picture to look at is no condition for measuring
                picture = frame.overview()
        tiles = None
        if self.wanted.tiles:
            with suppress(FrameError):  # too small a picture
                tiles = tiles_of(frame)
        done = (
            self._measured(frame, at, ask) if self.wanted.card else _without_card(frame, at, setup)
        )
        return replace(done, picture=picture, tiles=tiles)

    def _measured(self, frame: Frame, at: int, ask: Ask) -> Checked:
        """The card of an open frame, where there is one."""
        setup = self.plan.setups[at]
        place = self.wanted.place or setup.card.place
        chosen = choose(self.wanted.offsets, self.wanted.offset_name, setup, frame.settings)
        if isinstance(place, Place):
            return self._compared(frame, at, given_target(frame, place), None, chosen)
        framing = (setup.framing or at, body(frame.settings), frame.size)
        last = ask(framing)
        expected = expected_here(frame.settings, setup, chosen.offset)
        finder = Finder(frame, expected, setup.card.densities, chart_only=place == CHART)
        if not last.ready():  # the frames before are not through: look all over meanwhile
            finder.search()
        search = finder.found(last.wait())
        if not search.found:
            problem = NO_CHART if place == CHART else NO_CARD
            if search.patches:
                problem = NO_DENSITIES.format(len(search.patches))
            elif "coloured-light" in search.doubts:
                problem = COLORED
            check = FrameCheck(
                frame.path, setup.name, frame.settings, problem=problem, verdict="no-card",
                warnings=search.doubts, size=frame.size,
            )  # fmt: skip
            return Checked(check, at)
        done = self._compared(frame, at, search.found[0], search, chosen)
        doubtful = done.check.doubtful
        return replace(done, framing=framing, card=None if doubtful else search.found[0])

    def _compared(
        self,
        frame: Frame,
        at: int,
        target: Target,
        search: Search | None,
        chosen: Chosen,
    ) -> Checked:
        """A target measured and held against the plan."""
        setup = self.plan.setups[at]
        flat = self._flat(setup)
        patch = measure(frame, target, flat)
        patches = () if search is None else search.patches
        neutrals = measured_neutrals(frame, patches, setup.card.densities, flat)
        notes = frame.notes
        if setup.reading is not None or self.wanted.offset_name is not None:
            notes = (*notes, chosen.why)
        check = compare(
            frame.path, frame.settings, patch, setup, notes, chosen.offset, search, neutrals,
            chosen.warnings, self._ambient(setup, target),
        )  # fmt: skip
        return Checked(replace(check, size=frame.size), at)

    def _ambient(self, setup: SetUp, target: Target) -> AmbientReading | None:
        """The card by ambient light alone; the frame is opened once however many frames use it."""
        planned = setup.motion.ambient
        path = self.wanted.ambient or (None if planned is None else planned.frame)
        if path is None:
            return None
        if path not in self._ambients:
            place = self.wanted.place or setup.card.place
            self._ambients[path] = open_ambient(path, self.wanted.transfer, place)
        return self._ambients[path].reading(
            target, 1 / 3 if setup.camera is None else setup.camera.step
        )

    def _flat(self, setup: SetUp) -> Frame | None:
        """The set-up's flat frame, read once however many frames use it."""
        path = setup.card.flat
        if path is None:
            return None
        if path not in self._flats:
            try:
                flat = open_frame(path, self.wanted.transfer)
            except FrameError as error:
                msg = f"[card] flat: {in_one_line(str(path), 300)}: {error}"
                raise PlanError(msg) from error
            self._flats[path] = replace(flat, source=Kept(flat.source))
        return self._flats[path]


def _without_card(frame: Frame, at: int, setup: SetUp) -> Checked:
    """The check of a frame whose card nobody asked for."""
    check = FrameCheck(
        frame.path,
        setup.name,
        frame.settings,
        size=frame.size,
        verdict="no-card",
        notes=frame.notes,
    )
    return Checked(check, at)


def unmeasured(plan: Plan, file: Path, problem: str, settings: Settings | None = None) -> Checked:
    """The check of a file that could not be measured, with what settings it tells."""
    if settings is None:
        settings = Settings()
        with suppress(OSError):  # a name that the system does not take
            settings = read_settings(file) if file.is_file() else settings
    at = setup_of(plan, file, settings)
    return Checked(FrameCheck(file, plan.setups[at].name, settings, problem=problem), at)


def setup_of(plan: Plan, file: Path, settings: Settings) -> int:
    """Place in the plan of the set-up a frame belongs to: by number or body, else by its start.

    A set-up that names a body has no frames of another one, whatever their numbers. One that names
    files has those, whatever the others name, and no more.
    """
    for at, setup in enumerate(plan.setups):
        if file in setup.selection.files:
            return at
    number = frame_number(file)
    started = 0
    for at, setup in enumerate(plan.setups[1:], 1):
        wanted = setup.selection
        if wanted.files:
            continue
        if wanted.serial is not None and wanted.serial != settings.serial:
            continue
        by_number = bool(wanted.ranges) or wanted.start is not None
        if not by_number or (
            number is not None and any(first <= number <= last for first, last in wanted.ranges)
        ):
            return at
        if wanted.start is not None and number is not None and wanted.start <= number:
            begun = plan.setups[started].selection.start
            started = at if begun is None or wanted.start > begun else started
    return started


def body(settings: Settings | None) -> str:
    """The camera body a frame came from, in words; empty where the file does not say."""
    if settings is None:
        return ""
    return " ".join(part for part in (settings.model or settings.make, settings.serial) if part)
