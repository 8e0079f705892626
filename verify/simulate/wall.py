"""Frames of an even wall lit by a flash, of which the shutter may have cut a part.

The curtains run along the stored rows. The flash fires when the first one has uncovered them all,
or a trigger's delay later; the second one covers row after row. How much of the light a row got is
worked out in closed form from the pulse. Times here are in plain seconds.
"""

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from verify.simulate.camera import CameraModel, Settings, to_sensor
from verify.simulate.readout import read_out

Edge = Literal["top", "bottom", "left", "right"]

DEEPEST = 40.0  # stops; a row that gets nothing


@dataclass(frozen=True, slots=True)
class Thing:
    """Something on the wall: a rectangle of another reflectance."""

    box: tuple[float, float, float, float]  # column, row, width, height; of the upright picture
    reflectance: float  # against the wall's


@dataclass(frozen=True, slots=True)
class Wall:
    """An even wall as the upright picture shows it."""

    size: tuple[int, int] = (480, 320)  # width, height, upright [px]
    signal: float = 0.4  # of a green photosite at the brightest place, with all of the flash
    lamp_stops: float = 0.0  # a lamp to one side: its light at one edge over the opposite; up to 2
    lamp_deg: float = 0.0  # side that it stands at: 0 to the right, 90 below
    lens_stops: float = 0.0  # falloff of the lens from the middle to the corners, as cos^4
    things: tuple[Thing, ...] = ()


@dataclass(frozen=True, slots=True)
class CutFlash:
    """A flash, the shutter that may cut it, and the light of the room."""

    travel_s: float = 0.003  # time that a curtain needs to cross the frame [s]
    delay_s: float = 0.0  # from all rows open to the first light [s]
    t_tenth_s: float = 0.001  # t.1 [s]
    kind: Literal["decaying", "cut"] = "decaying"  # exponential, or a rectangle
    covered_first: Literal["top", "bottom"] = "top"  # edge of the stored rows
    ambient_per_s: float = 0.0  # light of the room in a second, as a share of the flash's

    def share(self, open_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Share of the pulse's light in so long from its start; (anything) to the same."""
        since = np.maximum(open_s, 0.0)
        if self.kind == "cut":
            return np.minimum(since / self.t_tenth_s, 1.0)
        return np.asarray(-np.expm1(-since * math.log(10) / self.t_tenth_s))

    def losses(self, shutter_s: float, rows: NDArray[np.float64]) -> NDArray[np.float64]:
        """Stops of flash lost in rows from 0, covered first, to 1; at most ``DEEPEST``."""
        open_s = shutter_s - self.delay_s - (1 - rows) * self.travel_s
        return np.asarray(-np.log2(np.maximum(self.share(open_s), 2.0**-DEEPEST)))

    def blocked(self, shutter_s: float) -> float:
        """Share of the rows that are covered before the first light."""
        return min(max(1 - (shutter_s - self.delay_s) / self.travel_s, 0.0), 1.0)


@dataclass(frozen=True, slots=True)
class WallTruth:
    """What is true about a frame of a wall."""

    losses: tuple[
        float, float, float
    ]  # stops of flash lost in the rows covered first, middle, last
    edge: Edge  # of the upright picture, where the rows covered first are
    blocked: float  # share of the rows covered before the first light


@dataclass(frozen=True, slots=True)
class WallShot:
    """A simulated exposure of a wall."""

    mosaic: NDArray[np.uint16]  # (rows, columns) of the whole sensor, not upright [DN]
    truth: WallTruth = field(repr=False)


def shoot_wall(
    wall: Wall,
    flash: CutFlash,
    camera: CameraModel,
    settings: Settings,
    rng: np.random.Generator | None = None,
    pop_stops: float = 0.0,
) -> WallShot:
    """Expose a wall and read the sensor out.

    Parameters
    ----------
    rng : source of the noise; None: no noise, only the rounding to whole DN.
    pop_stops : how much more light this pop gave.
    """
    shutter_s = settings.shutter_s_of_light()
    lit = np.ascontiguousarray(to_sensor(_evenness(wall), settings.orientation))
    rows = (np.arange(lit.shape[0]) + 0.5) / lit.shape[0]
    rows = rows if flash.covered_first == "top" else 1 - rows
    passed = np.exp2(pop_stops - flash.losses(shutter_s, rows))
    light = passed + flash.ambient_per_s * shutter_s
    signal = (lit * light[:, None] * wall.signal).astype(np.float32)
    ends = flash.losses(shutter_s, np.array([0.0, 0.5, 1.0]))
    first, middle, last = ends.tolist()
    truth = WallTruth(
        (first, middle, last), _seen_at(flash, settings, lit.shape), flash.blocked(shutter_s)
    )
    iso = settings.iso_of_light()
    return WallShot(read_out(signal, camera, iso, rng), truth)


def _evenness(wall: Wall) -> NDArray[np.float64]:
    """Light of every place of the upright picture (rows, columns), 1 at the brightest."""
    width, height = wall.size
    across = (np.arange(width) + 0.5) / width - 0.5
    down = ((np.arange(height) + 0.5) / height - 0.5)[:, None]
    lamp = _lamp(wall, across, down)
    # cos^4 of the field angle whose tangent in the corner loses what it is to lose there.
    corner = 2.0 ** (wall.lens_stops / 2) - 1
    of_corner = ((across * width) ** 2 + (down * height) ** 2) / (width**2 + height**2) * 4
    light = lamp / (1 + corner * of_corner) ** 2
    for thing in wall.things:
        col, row, wide, high = (
            round(v * side) for v, side in zip(thing.box, (width, height) * 2, strict=True)
        )
        light[row : row + high, col : col + wide] *= thing.reflectance
    return np.asarray(light / light.max())


def _lamp(
    wall: Wall, across: NDArray[np.float64], down: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Light of a small lamp as far from the wall as the picture is long: h / (h^2 + d^2)^(3/2)."""
    if not wall.lamp_stops:
        return np.ones(np.broadcast_shapes(across.shape, down.shape))
    angle = math.radians(wall.lamp_deg)
    along = across * math.cos(angle) + down * math.sin(angle)
    beside = down * math.cos(angle) - across * math.sin(angle)
    # The foot of the lamp, from the ratio of its light at along = 1/2 and -1/2.
    ratio = 2.0 ** (wall.lamp_stops / 1.5)
    more, less = ratio + 1, ratio - 1
    foot = (more - math.sqrt(more**2 - 5 * less**2)) / (2 * less)
    square = 1 + (along - foot) ** 2 + beside**2
    return np.asarray(1 / (square * np.sqrt(square)))


def _seen_at(flash: CutFlash, settings: Settings, stored: tuple[int, ...]) -> Edge:
    """The edge of the upright picture where the rows that are covered first are seen."""
    rows, columns = stored
    size = (columns, rows) if settings.orientation < 5 else (rows, columns)
    across, down = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    first = slice(0, 1) if flash.covered_first == "top" else slice(-1, None)
    at_col = np.unique(to_sensor(across, settings.orientation)[first])
    at_row = np.unique(to_sensor(down, settings.orientation)[first])
    if at_row.size == 1:
        return "top" if at_row[0] == 0 else "bottom"
    return "left" if at_col[0] == 0 else "right"
