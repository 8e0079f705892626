"""Profiles of a wall to what the shutter did: of one frame alone, or against a slower one.

An edge is a cut, for no lamp and no lens falls off as steeply. A smooth gradient may be a pulse's
tail that was cut, or uneven light: one frame alone cannot tell. In the ratio to a frame of the
same wall at a slower shutter time lamp and lens cancel, and what is left is the shutter's.
"""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from verify.rows.fit import U_PLACE, Fits, Fitted, Rows, falloff_basis, fits_of, hidden_stops
from verify.rows.profile import MAD, profile_of
from verify.rows.records import MOST, Cut, Loss, RowProfile, Verdict

Array = NDArray[np.float64]

STRUCTURE = 0.015  # stop, of the light of an even wall in one frame: lamps are no quadratics
STRUCTURE_OF_RATIO = 0.005  # stop, of the ratio of two frames
FALLOFF_PRIORS = (60.0, 1.0, 1.0)  # level, tilt, bow of one frame [stop]: the level is free
LOST_AT_ONCE = 0.5  # stop within STEEP_OVER: an edge
STEEP_OVER = 0.05  # of the short side
TILTED = 0.15  # stop from edge to edge, that one frame alone leaves in doubt
LEAST_LOSS = 0.05  # stop, that is called a cut between two frames
SURE = 3.0  # standard uncertainties
SCATTERED = 0.12  # stop from strip to strip, beside the falloff: no wall
BENT = 0.08  # stop, root mean square, that no curve explains: no wall
BENT_RATIO = 0.12  # stop, the same of a ratio; what is less goes into the uncertainty
SLANTED = 0.02  # of the short side, over which an edge wanders along its length: no shutter's
DARK_RATIO = 0.02  # of the reference's light: darker rows have no ratio
NO_WALL = (
    "this is no even wall: its light changes along the rows in a way that no lamp and no shutter "
    "makes. Fill the frame with an even wall, out of focus, or give the card's box with --card"
)
NOT_ALIKE = (
    "it does not show the wall as the slower frame does, so it was judged alone: keep camera and "
    "lights where they are"
)


@dataclass(frozen=True, slots=True, eq=False)
class WallFrame:
    """A frame of a wall, read."""

    file: Path
    profile: RowProfile
    shutter_s: float | None  # exact [s]
    f_number: float | None  # exact
    iso: float | None  # exact


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """A frame held against a slower one."""

    frame: WallFrame
    reference: WallFrame
    rows: Rows  # the ratio of the two
    fits: Fits
    alike: bool  # whether the two show the same wall

    @property
    def relative_last(self) -> float:
        """Stops lost where the least is lost, against the reference."""
        cut = self.fits.cut
        return 0.0 if cut is None else float(cut.losses(self.rows.place).min())


def alone(frame: WallFrame) -> Cut:
    """What one frame says by itself."""
    profile = frame.profile
    rows = _usable(profile, STRUCTURE, FALLOFF_PRIORS)
    fits = fits_of(rows)
    cut = fits.cut
    if profile.scatter_stops > SCATTERED or fits.rest_stops > BENT:
        return Cut(frame.file, "unmeasured", shutter_s=frame.shutter_s, problem=NO_WALL)
    if cut is not None and _steep(cut, rows):
        if _wander(profile, cut) > SLANTED:
            return Cut(frame.file, "unmeasured", shutter_s=frame.shutter_s, problem=NO_WALL)
        return found_cut(frame, rows, fits, None)
    tilt = float(np.ptp(fits.even.parameters[1] * falloff_basis(rows.place)[:, 1]))
    unsure = cut is not None or tilt > TILTED
    return without_cut(frame, rows, "unsure" if unsure else "none", None)


def compare(
    frame: WallFrame, reference: WallFrame, level_u: float, level: float = 0.0,
    room: float | None = None,
) -> Compared:  # fmt: skip
    """Hold a frame against a slower one of the same wall.

    Parameters
    ----------
    level_u : how far the pop, the ISO or the aperture may have moved the level [stop].
    level : by how much it is to be expected to have moved, besides the settings [stop].
    room : share of the room's light in the frame, where it is known.
    """
    expected = level + _settings_stops(frame, reference)
    ratio = _ratio(frame.profile, reference.profile)
    uneven = (0.02, 0.02) if frame.f_number == reference.f_number else (0.05, 0.15)
    rows = _usable(ratio, STRUCTURE_OF_RATIO, (level_u, *uneven), 2.0**expected)
    top = abs(math.log2(max(float(np.quantile(rows.value, 0.9)), 1e-9)))
    if top > 4 * level_u:  # another power, or much light of the room: the level tells nothing
        rows = _usable(ratio, STRUCTURE_OF_RATIO, (top, *uneven), 2.0**expected)
    fits = fits_of(rows, room)
    alike = fits.rest_stops <= BENT_RATIO and ratio.scatter_stops <= SCATTERED
    return Compared(frame, reference, rows, fits, alike)


def found_cut(
    frame: WallFrame, rows: Rows, fits: Fits, reference: Path | None, of_flash: bool = False
) -> Cut:
    """The record of a cut by its best curve."""
    best = fits.cuts[0]
    ends = np.array([rows.place[0], rows.place.mean(), rows.place[-1]])
    if rows.place[-1] - rows.place[0] > 0.9:
        ends = np.array([0.0, 0.5, 1.0])
    stops, u = fits.losses(rows, ends[::-1] if best.at_end else ends, of_flash)
    losses = [
        (max(one, 0.0), of) if one < MOST else (MOST, None)
        for one, of in zip(stops.tolist(), u.tolist(), strict=True)
    ]
    edge = frame.profile.edges[1 if best.at_end else 0]
    steep = _steep(best, rows)
    blocked, travel, travel_u = None, None, None
    if steep:
        blocked = float(np.clip(best.parameters[3], 0.0, 1.0))
        if blocked > 0 and frame.shutter_s is not None:
            travel = frame.shutter_s / (1 - blocked)
            u_begin = math.hypot(U_PLACE, math.sqrt(best.covariance[3, 3]))
            travel_u = travel * u_begin / (1 - blocked)
    return Cut(
        frame.file,
        "cut",
        kind="edge" if steep else "gradient",
        loss_stops=Loss(*losses),
        edge=edge,
        blocked_share=blocked,
        travel_s=travel,
        travel_u_s=travel_u,
        shutter_s=frame.shutter_s,
        reference=reference,
    )


def without_cut(frame: WallFrame, rows: Rows, verdict: Verdict, reference: Path | None) -> Cut:
    """The record of a frame in which no cut was found."""
    return Cut(
        frame.file,
        verdict,
        excluded_stops=hidden_stops(rows),
        shutter_s=frame.shutter_s,
        reference=reference,
    )


def against(compared: Compared, of_flash: bool) -> Cut | None:
    """What a frame shows against a slower one; None where the two do not show the same wall."""
    if not compared.alike:
        return None
    frame, rows, fits = compared.frame, compared.rows, compared.fits
    reference = compared.reference.file
    if fits.cut is not None:
        cut = found_cut(frame, rows, fits, reference, of_flash)
        loss = cut.loss_stops
        if loss is not None and loss.first[0] - loss.last[0] > LEAST_LOSS:
            return cut
    return without_cut(frame, rows, "none", reference)


def same_settings(frame: WallFrame, reference: WallFrame) -> bool:
    """Whether two frames have the same known ISO and the same aperture, recorded or not."""
    known = frame.iso is not None and frame.iso == reference.iso
    return known and frame.f_number == reference.f_number


def _settings_stops(frame: WallFrame, reference: WallFrame) -> float:
    """Stops that a frame gets more than another by its ISO and its aperture, where known."""
    more = 0.0
    if frame.iso is not None and reference.iso is not None:
        more += math.log2(frame.iso / reference.iso)
    if frame.f_number is not None and reference.f_number is not None:
        more += 2 * math.log2(reference.f_number / frame.f_number)
    return more


def _ratio(frame: RowProfile, reference: RowProfile) -> RowProfile:
    """The ratio of two profiles, strip by strip; none where the reference is dark."""
    level = float(np.nanquantile(reference.signal, 0.9))
    there = reference.strips > DARK_RATIO * level
    strips = frame.strips / np.where(there, reference.strips, np.nan)
    return profile_of(strips, frame.place, frame.edges)


def _usable(
    profile: RowProfile, structure: float, priors: tuple[float, float, float], unit: float = 1.0
) -> Rows:
    """The bins that have a value, to be fitted; values against ``unit``."""
    there = ~profile.clipped
    return Rows(
        profile.place[there],
        profile.signal[there] / unit,
        profile.u_signal[there] / unit,
        structure,
        priors,
    )


def _steep(cut: Fitted, rows: Rows) -> bool:
    """Whether a curve falls so steeply somewhere in the profile that it is an edge."""
    place = np.linspace(rows.place[0], rows.place[-1], 401)
    lost = np.minimum(cut.losses(place), MOST)
    steps = max(1, round(STEEP_OVER / (place[1] - place[0])))
    return bool(np.abs(lost[steps:] - lost[:-steps]).max() > LOST_AT_ONCE)


def _wander(profile: RowProfile, cut: Fitted) -> float:
    """How far an edge wanders along its length, as a share of the short side.

    The robust deviation of the places where each strip comes to the level that the curve has
    where it is steepest.
    """
    there = ~profile.clipped
    place = profile.place[there]
    light = np.exp2(-np.minimum(cut.losses(place), MOST))
    at = int(np.argmax(np.abs(np.diff(light))))
    level = (light[at] + light[at + 1]) / 2
    strips = profile.strips[there] / np.exp2(falloff_basis(place) @ cut.parameters[:3])[:, None]
    lit = light > (level + light.max()) / 2
    strips = strips * (np.median(light[lit]) / np.nanmedian(strips[lit], axis=0))
    crossed = np.argmax((strips[::-1] if cut.at_end else strips) > level, axis=0)
    off = np.median(np.abs(crossed - np.median(crossed)))
    return float(MAD * off * abs(place[1] - place[0]))
