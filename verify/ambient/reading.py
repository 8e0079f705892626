"""The card by ambient light alone, at other settings too, and what of a signal is flash."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from verify.errors import NotAFrame
from verify.exposure import exact_f_number, exact_iso, exact_shutter_s
from verify.frames.frame import Settings
from verify.measure import PatchReading

LEAST_SIGNAL = 1e-6  # of flash; 20 stops below clipping
DARK_SIGMAS = 2.0  # standard errors that are added to what is at black
LENS_STOPS = 0.05  # stopping down, between the frames


@dataclass(frozen=True, slots=True)
class AmbientReading:
    """Linear signal of the card by ambient light alone, at the settings of its own frame."""

    file: Path
    signal: float  # 0 or more
    u_signal: float  # its standard uncertainty
    n: float | None  # exact f-number; None where the file does not record it
    iso: float | None  # exact
    shutter_s: float  # exact [s]
    at_most: bool  # the card is at black: the signal is a bound
    body: str | None  # model of the camera that took it
    lens: str | None

    def at(self, n: float | None, iso: float | None, shutter_s: float) -> tuple[float, float]:
        """Signal at other settings, and its standard uncertainty.

        Parameters
        ----------
        n, iso, shutter_s : exact. A setting that is not known here or there counts as the same.
        """
        factor = shutter_s / self.shutter_s
        if n is not None and self.n is not None:
            factor *= (self.n / n) ** 2
        if iso is not None and self.iso is not None:
            factor *= iso / self.iso
        return self.signal * factor, self.u_signal * factor

    def of_other_camera(self, settings: Settings) -> bool:
        """Whether a frame is known to be of another camera or lens."""
        pairs = ((self.body, settings.model), (self.lens, settings.lens))
        return any(here and there and here != there for here, there in pairs)


@dataclass(frozen=True, slots=True)
class FlashPart:
    """The card's light that is flash, in a frame that has ambient light too."""

    signal: float  # above 0
    ambient: float  # signal by ambient light
    u_stops: float  # of the flash, by how sure the ambient light is [stop]
    hidden: bool  # the ambient light explains all there is: the signal is at most this

    @property
    def ambient_under_stops(self) -> float | None:
        """Stops by which the ambient light is under the flash; None without either."""
        if self.ambient <= 0 or self.hidden:
            return None
        return math.log2(self.signal / self.ambient)


def flash_part(total: float, noise: float, ambient: float, u_ambient: float) -> FlashPart:
    """The flash's share of a signal.

    Parameters
    ----------
    total, noise : signal of the card by all light, and its standard error.
    ambient, u_ambient : signal of it by ambient light at the same settings, and its uncertainty.
    """
    least = max(DARK_SIGMAS * math.hypot(u_ambient, noise), LEAST_SIGNAL)
    flash = max(total - ambient, least)
    return FlashPart(flash, ambient, u_ambient / flash / math.log(2), total - ambient < least)


def ambient_warnings(
    ambient: AmbientReading, settings: Settings, flash: FlashPart
) -> Iterator[str]:
    """Names of warnings about the ambient light of a frame with these settings."""
    if ambient.at_most:
        yield "ambient-at-black"
    if ambient.of_other_camera(settings):
        yield "ambient-frame-differs"
    if flash.hidden:
        yield "ambient-only"


def ambient_reading(
    file: Path, settings: Settings, patch: PatchReading, step: float = 1 / 3
) -> AmbientReading:
    """The reading of a frame that was shot with the flash off.

    Parameters
    ----------
    file, settings, patch : of that frame.
    step : the camera's own steps [stop].

    Raises
    ------
    NotAFrame
        If its card is clipped, or no shutter time is recorded.
    """
    if patch.bound == "at-least":
        raise NotAFrame("its card is clipped: shoot it with the flash off, at a faster time")
    if settings.shutter_s is None:
        msg = "it records no shutter time, and ambient light depends on it"
        raise NotAFrame(msg)
    signal = max(patch.signal, 0.0)
    spread = math.hypot(patch.noise, patch.black_shift, LENS_STOPS * math.log(2) * signal)
    at_most = patch.bound == "at-most"
    if at_most:
        signal += patch.black_shift + DARK_SIGMAS * patch.noise
    return AmbientReading(
        file,
        signal,
        max(spread, signal / 2) if at_most else spread,
        None if settings.f_number is None else exact_f_number(settings.f_number, step),
        None if settings.iso is None else exact_iso(settings.iso),
        exact_shutter_s(settings.shutter_s),
        at_most,
        settings.model,
        settings.lens,
    )
