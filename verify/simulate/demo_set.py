"""The demo's calibration set: a card at several apertures and ISO, each light metered anew."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from verify import exposure
from verify.simulate.camera import CameraModel, Settings
from verify.simulate.dng import write_dng
from verify.simulate.scene import Light, Scene, expose

_SEED = 20260511
_STEP = 0.1  # stop, that the meter shows
_SCATTER = 0.02  # stop, of the strobe from pop to pop


@dataclass(frozen=True, slots=True)
class _Metered:
    shown: str  # on the meter, as it is written down
    stops: float  # aperture value that it shows
    iso: float  # on meter and camera
    f_number: float  # as set on the camera


_ROWS = (
    _Metered("f/5.6 + 0.3", 5.3, 100.0, 6.3),
    _Metered("f/8", 6.0, 100.0, 8.0),
    _Metered("f/11 + 0.3", 7.3, 100.0, 13.0),
    _Metered("f/16 + 0.1", 8.1, 100.0, 16.0),
    _Metered("f/8 + 0.7", 6.7, 200.0, 10.0),
    _Metered("f/11", 7.0, 200.0, 11.0),
    _Metered("f/16", 8.0, 200.0, 16.0),
    _Metered("f/22 + 0.3", 9.3, 200.0, 25.0),
)


def write_set(
    folder: Path, scene: Scene, camera: CameraModel, planned: Settings, layout: dict[str, Any]
) -> Iterator[Path]:
    """Write the frames of a calibration set and, last, what the meter showed for each.

    Parameters
    ----------
    folder : made here.
    scene, camera, planned, layout : of the demo shoot.
    """
    rng = np.random.default_rng(_SEED)
    folder.mkdir()
    lines = ["frame,aperture,iso"]
    for number, row in enumerate(_ROWS, start=1):
        rounded = rng.uniform(-_STEP / 2, _STEP / 2)
        light = Light.metered(exposure.f_number_of(row.stops + rounded), row.iso)
        settings = replace(planned, f_number=row.f_number, iso=row.iso)
        exposed = expose(scene, light.changed(rng.normal(0, _SCATTER)), camera, settings, rng)
        path = folder / f"set_{number:04d}.dng"
        write_dng(path, exposed.mosaic, camera, settings, **layout)
        lines.append(f"{path.name},{row.shown},{row.iso:g}")
        yield path
    readings = folder / "readings.csv"
    readings.write_bytes(("\n".join(lines) + "\n").encode())
    yield readings
