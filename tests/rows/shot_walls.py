"""Simulated walls as open frames, without a file between."""

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from memory_frames import BLACK, WHITE, frame_of

from verify.frames.frame import Frame
from verify.frames.frame import Settings as Recorded
from verify.rows.cut import WallFrame
from verify.rows.study import wall_frame
from verify.simulate.camera import CameraModel, Settings
from verify.simulate.wall import CutFlash, Wall, WallTruth, shoot_wall

CAMERA = CameraModel()  # black and white as memory frames have them
LEVEL, UPRIGHT = (480, 320), (320, 480)  # width, height
UNEVEN = {"lamp_stops": 1.0, "lens_stops": 0.6, "lamp_deg": 70.0}


@dataclass(frozen=True, slots=True)
class Taken:
    """One exposure of a wall."""

    shutter_s: float  # as the file records it
    wall: dict[str, Any] = field(default_factory=dict)
    flash: dict[str, Any] = field(default_factory=dict)
    orientation: int = 1
    seed: int = 1
    pop_stops: float = 0.0
    true_shutter_s: float | None = None
    iso: float = 100.0
    f_number: float = 11.0

    def shot(self) -> tuple[Frame, WallTruth]:
        """The open frame, and what is true of it."""
        size = LEVEL if self.orientation < 5 else UPRIGHT
        settings = Settings(
            shutter_s=self.shutter_s,
            true_shutter_s=self.true_shutter_s,
            orientation=self.orientation,
            iso=self.iso,
            f_number=self.f_number,
        )
        rng = np.random.default_rng(self.seed)
        wall = Wall(**{"size": size, **self.wall})
        shot = shoot_wall(wall, CutFlash(**self.flash), CAMERA, settings, rng, self.pop_stops)
        recorded = Recorded(
            shutter_s=self.shutter_s,
            orientation=self.orientation,
            iso=self.iso,
            f_number=self.f_number,
        )
        signal = (shot.mosaic.astype(np.float64) - BLACK) / (WHITE - BLACK)
        frame = frame_of(signal, recorded)
        return replace(frame, path=Path(f"wall_{round(1 / self.shutter_s)}.dng")), shot.truth

    def read(self) -> tuple[WallFrame, WallTruth]:
        """What is needed of the frame, and what is true of it."""
        frame, truth = self.shot()
        return wall_frame(frame), truth
