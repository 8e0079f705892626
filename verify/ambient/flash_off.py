"""A frame shot with the flash off, and the card in it."""

from dataclasses import dataclass, replace
from pathlib import Path

from verify.ambient.reading import AmbientReading, ambient_reading
from verify.errors import FrameError, PlanError, in_one_line
from verify.frames.frame import Frame, Kept
from verify.frames.open import open_frame
from verify.measure import measure
from verify.place import CHART, Looked, Place
from verify.target.find import Finder
from verify.target.given import given_target
from verify.target.records import Target

NO_CARD = (
    "no card was found in it for certain: say where it is with box under [card] in the plan, or "
    "with --card"
)


@dataclass(frozen=True, slots=True)
class AmbientFrame:
    """The frame, open, and its card where it is known or was found for certain."""

    frame: Frame
    target: Target | None

    def reading(self, elsewhere: Target | None = None, step: float = 1 / 3) -> AmbientReading:
        """The card by ambient light.

        Parameters
        ----------
        elsewhere : the card in a frame shot with the flash, from the same place: looked at where
            nothing was found here.
        step : the camera's own steps [stop].

        Raises
        ------
        PlanError
            If the card cannot be measured in it.
        """
        target = self.target or elsewhere
        try:
            if target is None:
                raise PlanError(NO_CARD)
            patch = measure(self.frame, target)
            return ambient_reading(self.frame.path, self.frame.settings, patch, step)
        except (FrameError, PlanError) as error:
            raise _refused(self.frame.path, error) from error


def open_ambient(path: Path, transfer: str | None, place: Place | Looked) -> AmbientFrame:
    """Open a frame shot with the flash off, and find the card in it.

    Parameters
    ----------
    path : the frame.
    transfer : of a TIFF that does not say.
    place : of the card, or what to look for.

    Raises
    ------
    PlanError
        If the frame cannot be read, or the card's place is not in it.
    """
    try:
        frame = open_frame(path, transfer)
        frame = replace(frame, source=Kept(frame.source))
        if isinstance(place, Place):
            return AmbientFrame(frame, given_target(frame, place))
        search = Finder(frame, None, (), chart_only=place == CHART).found(None)
    except FrameError as error:
        raise _refused(path, error) from error
    sure = search.found and not search.doubts
    return AmbientFrame(frame, search.found[0] if sure else None)


def _refused(path: Path, error: Exception) -> PlanError:
    """The error of a frame that cannot be used, as one of the plan."""
    return PlanError(f"the frame of the ambient light, {in_one_line(str(path), 300)}: {error}")
