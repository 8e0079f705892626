"""The demo's moving subject: glaze poured from a jug, its flash recorded, its room measured."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from verify.simulate.camera import CameraModel, Settings
from verify.simulate.dng import write_dng
from verify.simulate.recording import Recorder, recording_csv
from verify.simulate.scene import Light, Scene, expose
from verify.simulate.wall import CutFlash, Wall, shoot_wall

_SEED = 20260513
_TENTH_S, _RISE_S = 1 / 700, 4e-5  # of the flash [s]
_AMBIENT_UNDER = 4.6  # stops under the flash at 1/125 s
_SCATTER = 0.02  # stop, of the strobe from pop to pop
_SHUTTERS = (1 / 125, 1 / 30)  # of the frames with the flash, as the camera records them [s]
_FLASH_OFF_S = 1 / 4
_WALL = ((1 / 60, 0.01), (1 / 200, -0.02))  # shutter time [s], and what the pop gave more [stop]
_WALL_TENTH_S = 1 / 250  # of the wall's flash, at full power [s]
_SPEED_FOR_ALL = 1 / 128  # exact, of the planned 1/125 s

_PLAN = """\
# Glaze poured from a jug, for the spring list of an invented pottery.
# How sharp will it be:   greyproof motion plan.toml --pulse flash.csv
# Check the frames:       greyproof check plan.toml --pulse flash.csv .

[reading]
aperture = "f/11 + 0.3"
iso = 100
meter = "bench meter"

[camera]
aperture = "f/13"
shutter = "1/125"
sync = "1/200"
travel = "3.2 ms"              # time that the curtain needs to cross the frame

[card]
name = "studio card"
box = [0.43, 0.41, 0.10, 0.14]  # the camera stands still: where the card is in every frame

[subject]                      # what moves
speed = 1.2                    # m/s
direction = "across"           # against the picture's long side
size_m = 0.02                  # of a drop, along its way
magnification = 0.12

[sensor]
pixel_pitch_um = 75.0          # this demo's pictures are small
width_mm = 36.0
height_mm = 24.0

[[flash]]                      # from the data sheet; a recording goes before it
lamp = "key"
power = 7.0
quoted_at = 7.0
t_half = "1/2300"
t_tenth = "1/700"

[ambient]
frame = "room/flash_off.dng"   # the card with the flash off
"""


def write_pour(
    folder: Path,
    scene: Scene,
    camera: CameraModel,
    planned: Settings,
    light: Light,
    layout: dict[str, Any],
) -> Iterator[Path]:
    """Write frames of a moving subject, its plan, its flash as recorded, and frames of a wall.

    Parameters
    ----------
    folder : made here.
    scene, camera, planned, layout : of the demo shoot.
    light : as metered, all of it flash.
    """
    rng = np.random.default_rng(_SEED)
    (folder / "room").mkdir(parents=True)
    (folder / "wall").mkdir()
    share = 1 / (1 + 2**_AMBIENT_UNDER)
    room = replace(light, pop_lxs=0.0, ambient_lx=light.pop_lxs * share / _SPEED_FOR_ALL)
    both = replace(room, pop_lxs=light.pop_lxs * (1 - share))
    shots = [(f"pour_{n:04d}.dng", both, s) for n, s in enumerate(_SHUTTERS, start=1)]
    shots.append(("room/flash_off.dng", room, _FLASH_OFF_S))
    for name, its, shutter_s in shots:
        settings = replace(planned, shutter_s=shutter_s)
        exposed = expose(scene, its.changed(rng.normal(0, _SCATTER)), camera, settings, rng)
        write_dng(folder / name, exposed.mosaic, camera, settings, **layout)
        yield folder / name
    yield from _write_walls(folder / "wall", scene, camera, planned, rng, layout)
    plan, recording = folder / "plan.toml", folder / "flash.csv"
    plan.write_bytes(_PLAN.encode())
    recording.write_bytes(recording_csv(Recorder(), _TENTH_S, _RISE_S, 0.9, rng).encode())
    yield plan
    yield recording


def _write_walls(
    folder: Path,
    scene: Scene,
    camera: CameraModel,
    planned: Settings,
    rng: np.random.Generator,
    layout: dict[str, Any],
) -> Iterator[Path]:
    """Write frames of an even wall, of which a fast shutter cut a part."""
    wall = Wall(scene.size, lamp_stops=0.3, lens_stops=0.4)
    flash = CutFlash(travel_s=0.0032, t_tenth_s=_WALL_TENTH_S, covered_first="bottom")
    for number, (shutter_s, pop_stops) in enumerate(_WALL, start=1):
        settings = replace(planned, shutter_s=shutter_s)
        shot = shoot_wall(wall, flash, camera, settings, rng, pop_stops)
        path = folder / f"wall_{number:04d}.dng"
        write_dng(path, shot.mosaic, camera, settings, **layout)
        yield path
