"""Small simulated raw files of a grey card, and their plan, for the tests of the main path."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from verify.shoot import Shoot
from verify.simulate.camera import CameraModel, Settings
from verify.simulate.dng import write_dng
from verify.simulate.scene import Light, Prop, Scene, expose

Make = Callable[..., Path]

BODY = CameraModel(black=((512.0, 508.0), (510.0, 515.0)))
SCENE = Scene(size=(96, 64), card_box=(0.25, 0.25, 0.5, 0.5))
PLAN = '[reading]\naperture = "f/11"\n[card]\nbox = [0.3, 0.3, 0.4, 0.4]\n'
NOISE = 0.01  # stop: three standard deviations of these small patches

# Sets in which the card is looked for: on light paper, between a warm thing and a dark blue one.
METER_ONLY = '[reading]\naperture = "f/11"\n'  # a plan that does not say where the card is
THINGS = (
    Prop((0.05, 0.10, 0.20, 0.30), 0.5, red=1.4, blue=0.5),
    Prop((0.70, 0.55, 0.25, 0.40), 0.05, red=0.6, blue=2.0),
)
SET = Scene(size=(240, 160), background=0.35, card_box=(0.4, 0.35, 0.2, 0.3), props=THINGS)
TWO_CARDS = replace(SET, props=(*THINGS, Prop((0.05, 0.55, 0.2, 0.3), SET.card)))
NO_CARD = replace(SET, card=SET.background)  # the paper's own grey where the card was
GELLED = replace(BODY, red_gain=1.5, blue_gain=0.2)  # sees BODY's white light as if through a gel


def writer(folder: Path) -> Make:
    """Give what writes a frame of the card, so many stops over f/11 at ISO 100, into ``folder``.

    ``seen_by`` is the camera that the light meets where the file says another; ``layout`` holds
    fields of the file's layout.
    """
    rng = np.random.default_rng(11)

    def write(
        name: str,
        stops: float = 0.0,
        camera: CameraModel = BODY,
        scene: Scene = SCENE,
        seen_by: CameraModel | None = None,
        layout: dict[str, Any] | None = None,
        **settings: Any,
    ) -> Path:
        light = Light.metered(2**3.5).changed(stops)
        shot = Settings(**settings)
        mosaic = expose(scene, light, seen_by or camera, shot, rng).mosaic
        return write_dng(folder / name, mosaic, camera, shot, **(layout or {}))

    return write


def rows(shoot: Shoot) -> list[tuple[str, str]]:
    """The set-up and the verdict of every frame."""
    return [(check.setup, check.verdict) for check in shoot.checks]


def warned(shoot: Shoot, name: str) -> list[bool]:
    """Which frames have a warning."""
    return [name in check.warnings for check in shoot.checks]
