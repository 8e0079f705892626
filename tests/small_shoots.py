"""Small simulated raw files of a grey card, and their plan, for the tests of the main path."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from verify.shoot import Shoot
from verify.simulate.camera import CameraModel, Settings
from verify.simulate.dng import write_dng
from verify.simulate.scene import Light, Scene, expose

Make = Callable[..., Path]

BODY = CameraModel(black=((512.0, 508.0), (510.0, 515.0)))
SCENE = Scene(size=(96, 64), card_box=(0.25, 0.25, 0.5, 0.5))
PLAN = '[reading]\naperture = "f/11"\n[card]\nbox = [0.3, 0.3, 0.4, 0.4]\n'
NOISE = 0.01  # stop: three standard deviations of these small patches


def writer(folder: Path) -> Make:
    """Give what writes a frame of the card, so many stops over f/11 at ISO 100, into ``folder``."""
    rng = np.random.default_rng(11)

    def write(
        name: str,
        stops: float = 0.0,
        camera: CameraModel = BODY,
        scene: Scene = SCENE,
        **settings: Any,
    ) -> Path:
        light = Light.metered(2**3.5).changed(stops)
        shot = Settings(**settings)
        mosaic = expose(scene, light, camera, shot, rng).mosaic
        return write_dng(folder / name, mosaic, camera, shot)

    return write


def rows(shoot: Shoot) -> list[tuple[str, str]]:
    """The set-up and the verdict of every frame."""
    return [(check.setup, check.verdict) for check in shoot.checks]


def warned(shoot: Shoot, name: str) -> list[bool]:
    """Which frames have a warning."""
    return [name in check.warnings for check in shoot.checks]
