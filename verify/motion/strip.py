"""A synthetic edge that moves, pixel by pixel: what the flash and the ambient light draw of it.

A subject with two straight edges moves along a row of pixels, its leading edge at 0 when the flash
begins. A place is lit as the subject's for the share of the light during which the subject covers
it. Of the flash that is the running share of the pulse laid along the path; of the ambient light,
even over the shutter time, a trail that begins where the flash image is and runs ahead of it, since
the flash fires when the shutter has just opened.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.motion.ghost import LIGHT_SUBJECT, MID_GREY
from verify.motion.records import Ghost
from verify.pulse.records import Course
from verify.pulse.shutter import LightOut, light_out

Values = NDArray[np.float64]

WHOLE = 1 - 1e-6  # a subject that covers a point for so much of the shutter time is a long one
STARTS = 513  # of a window in which most of the light falls, that are tried


@dataclass(frozen=True, slots=True)
class Scene:
    """What moves and what is behind it."""

    subject: float  # reflectance, 0 to 1
    ground: float  # reflectance of what is behind it


LIGHT_ON_BLACK = Scene(subject=LIGHT_SUBJECT, ground=0.0)  # the worst case
DARK_ON_GREY = Scene(subject=0.0, ground=MID_GREY)


@dataclass(frozen=True, slots=True)
class Trail:
    """What the ambient light draws of a subject while the shutter is open."""

    level: float  # ambient light over the flash's, where nothing moves
    length_px: float  # that the image moves, above 0
    subject_px: float  # the subject's length along the motion; infinite for one that is longer


@dataclass(frozen=True, slots=True, eq=False)
class EdgeStrip:
    """A row of cells along the motion. Light is linear, 1 for white in the light of the flash."""

    left_px: Values  # (cells,) left side of each cell, from the leading edge as the flash begins
    cell_px: int  # width of a cell
    still: Values  # (cells,) by the flash, if the subject stood still
    flash: Values  # (cells,) by the flash
    both: Values | None  # (cells,) by the flash and the ambient light; None without a trail


def trail_of(ghost: Ghost | None) -> Trail | None:
    """The trail of a ghost; None where its length or its strength is not known.

    The strength is the ambient light thinned by how long the subject covers a point, which is its
    length over that of the trail: so it tells the subject's length, unless that is the longer.
    """
    if ghost is None or not ghost.trail_px or ghost.strength is None:
        return None
    level = 2.0**-ghost.ambient_under_flash_stops
    cover = ghost.strength / level
    subject_px = math.inf if cover >= WHOLE else cover * ghost.trail_px
    return Trail(level, ghost.trail_px, subject_px)


def edge_strip(
    course: Course,
    image_um_s: float,
    pitch_um: float,
    first_px: int,
    cells: int,
    cell_px: int = 1,
    scene: Scene = LIGHT_ON_BLACK,
    trail: Trail | None = None,
) -> EdgeStrip:
    """Light in each cell of a row along the motion.

    Parameters
    ----------
    course : of the flash.
    image_um_s : speed of the image on the sensor [um/s], above 0.
    pitch_um : of the pixels [um].
    first_px : left side of the first cell, from the leading edge as the flash begins.
    cells : how many.
    cell_px : how many pixels make one cell.
    scene : what moves on what.
    trail : of the ambient light; without one the subject is longer than the strip.

    Raises
    ------
    ValueError
        If there is no light in the course.
    """
    bounds_px = first_px + cell_px * np.arange(cells + 1.0)
    subject_px = trail.subject_px if trail else math.inf
    flash = light_out(course.time_s, course.value)
    step = LightOut(np.zeros(2), np.array([0.0, 1.0]))
    per_px = pitch_um / image_um_s

    def lit(light: LightOut, s_per_px: float) -> Values:
        covered = _covered(light, bounds_px * s_per_px, subject_px * s_per_px)
        return scene.ground + (scene.subject - scene.ground) * covered

    moving = lit(flash, per_px)
    both = None
    if trail is not None:
        shutter = LightOut(np.array([0.0, trail.length_px]), np.array([0.0, 1.0]))
        both = moving + trail.level * lit(shutter, 1.0)
    return EdgeStrip(bounds_px[:-1], cell_px, lit(step, 1.0), moving, both)


def narrowest_from_s(light: LightOut, share: float = 0.8) -> float:
    """When the shortest time begins in which a share of the light falls [s]."""
    starts = np.linspace(0, 1 - share, STARTS)
    begun, ended = (np.interp(s, light.share, light.time_s) for s in (starts, starts + share))
    return float(begun[np.argmin(ended - begun)])


def _covered(light: LightOut, bounds_s: Values, subject_s: float) -> Values:
    """Share of the light for which a subject covers each cell, the mean over the cell.

    Parameters
    ----------
    light : running share.
    bounds_s : (cells + 1,) when the leading edge passes the cells' sides [s].
    subject_s : time that the subject takes to pass, infinite for one that does not end.
    """
    width_s = np.diff(bounds_s)
    passed = np.diff(_integral(light, bounds_s)) / width_s
    if math.isinf(subject_s):
        return 1 - passed
    return np.asarray(np.diff(_integral(light, bounds_s + subject_s)) / width_s - passed)


def _integral(light: LightOut, time_s: Values) -> Values:
    """Integral of the running share up to each time; the share runs straight between samples."""
    t, share = light.time_s, light.share
    areas = np.concatenate([[0.0], np.cumsum((share[1:] + share[:-1]) / 2 * np.diff(t))])
    at = np.clip(np.searchsorted(t, time_s, side="right") - 1, 0, t.size - 1)
    after = np.maximum(time_s - t[at], 0.0)
    here = light.by(np.maximum(time_s, t[at]))
    started = np.where(time_s >= t[0], share[at] + here, 0.0)
    return np.asarray(areas[at] + started / 2 * after)
