"""The demo shoot: raw frames of a table-top with a grey card, their plan and their truth."""

import json
import math
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np

from verify import exposure
from verify.errors import PlanError
from verify.simulate.camera import CameraModel, Settings
from verify.simulate.demo_pour import write_pour
from verify.simulate.demo_set import write_set
from verify.simulate.dng import write_dng
from verify.simulate.scene import Exposed, Light, Prop, Scene, expose

_SEED = 20260512
_READING = exposure.f_number_of(7 + 0.3)  # the meter's f/11 + 0.3
_AMBIENT_UNDER = 7.0  # modelling lamps and room light, stops under the flash at 1/125 s
_LAYOUT: dict[str, Any] = {"compression": "ljpeg", "tile": (80, 128), "preview": "rgb"}
_CUT = 0.55  # share of the truncated file that is left

_CAMERA = CameraModel(
    lens="Tarnwick 90 mm f/4 Copy",
    black=((512.0, 510.0), (511.0, 513.0)),
    masked=(8, 4, 0, 0),
    pixel_pitch_um=75.0,
    speed_error_stops=-0.18,
)
_PLANNED = Settings(
    f_number=13.0,
    captured=datetime(2026, 5, 12, 14, 3, 10, 240_000, tzinfo=timezone(timedelta(hours=2))),
)
_SCENE = Scene(
    background=0.31,
    card_box=(0.40, 0.36, 0.16, 0.24),
    props=(
        Prop((0.0, 0.72, 1.0, 0.28), 0.12, red=1.6, blue=0.5),  # oak table
        Prop((0.62, 0.24, 0.17, 0.56), 0.42, red=1.35, blue=0.65),  # stoneware jug
        Prop((0.66, 0.36, 0.09, 0.10), 0.05, red=0.5, blue=2.0),  # its glazed band
        Prop((0.14, 0.58, 0.19, 0.20), 0.07, red=0.55, blue=2.2),  # folded indigo cloth
    ),
    falloff=True,
    glare=0.004,
)

_PLAN = """\
# A stoneware jug on an oak table, for the spring list of an invented pottery.
# Check the frames:  greyproof check plan.toml .

[reading]                      # flat receptor held at the card, facing as the card faces
aperture = "f/11 + 0.3"        # what the meter showed: f/11 and three tenths of a stop
iso = 100
light = "flash"
receptor = "flat"
aimed = "as-card"
meter = "bench meter"

[camera]                       # how the frames were to be shot
aperture = "f/13"
iso = 100
shutter = "1/125"
sync = "1/200"

[card]
name = "studio card"
reflectance = 0.18
# The card is found by itself. To say where it is: box = [0.42, 0.40, 0.12, 0.16]

[uncertainty]
card = 0.03                    # stops, one standard deviation: as stated with the card

[tolerance]
absolute = 0.17                # stops, once an offset of this meter and camera is known
between_frames = 0.1           # stops between a frame and the first one
"""


@dataclass(frozen=True, slots=True)
class _DemoFrame:
    what: str  # what was done to it
    seconds: float  # since the frame before [s]
    light_stops: float = 0.0  # each pop against the metered one
    pops: int = 1  # how many fired
    f_number: float = 13.0  # as set on the camera
    iso: float = 100.0
    cut: bool = False  # the file is cut short


_FRAMES = (
    _DemoFrame("as planned", 0.0, +0.02),
    _DemoFrame("as planned", 8.4, -0.03),
    _DemoFrame("as planned", 7.9, +0.02),
    _DemoFrame("camera left at f/11", 21.3, -0.02, f_number=11.0),
    _DemoFrame("as planned", 9.6, +0.03),
    _DemoFrame("camera moved to ISO 200", 30.2, +0.02, iso=200.0),
    _DemoFrame("as planned", 12.7, -0.02),
    _DemoFrame("fired before the pack had recycled", 0.9, -0.5),
    _DemoFrame("fill lamp did not fire", 11.8, -0.72),
    _DemoFrame("fired twice during the exposure", 10.1, -0.01, pops=2),
    _DemoFrame("no flash: modelling lamps and room light only", 6.2, pops=0),
    _DemoFrame("pack left at full power: the card clips", 44.0, +3.6),
    _DemoFrame("as planned, but the file was cut short", 9.3, +0.01, cut=True),
)


def write_demo(folder: Path) -> list[Path]:
    """Write the demo shoot into ``folder``: frames, ``plan.toml`` and ``truth.json``.

    In ``calibration`` goes a set to fit the offset from: frames and ``readings.csv``. In ``pour``
    goes something that moves: frames, their plan, the flash as it was recorded, frames of a wall.

    Returns
    -------
    Everything written, frames first. The same bytes every time.

    Raises
    ------
    PlanError
        If ``folder`` exists and is not an empty folder, or cannot be written.
    """
    folder = Path(folder)
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise PlanError(
                f"{folder}: the demo goes only into a folder that is new or empty; name another"
            )
        folder.mkdir(parents=True, exist_ok=True)
        return _write_shoot(folder)
    except OSError as error:
        reason = error.strerror or error
        raise PlanError(
            f"{folder}: the demo cannot be written there ({reason}); name another"
        ) from error


def _write_shoot(folder: Path) -> list[Path]:
    rng = np.random.default_rng(_SEED)
    written: list[Path] = []
    truths: list[dict[str, Any]] = []
    captured = _PLANNED.captured
    for number, frame in enumerate(_FRAMES, start=101):
        captured = captured + timedelta(seconds=frame.seconds) if captured else None
        settings = replace(_PLANNED, f_number=frame.f_number, iso=frame.iso, captured=captured)
        exposed = expose(_SCENE, _light(frame), _CAMERA, settings, rng)
        path = folder / f"table_{number:04d}.dng"
        write_dng(path, exposed.mosaic, _CAMERA, settings, **_LAYOUT)
        if frame.cut:
            data = path.read_bytes()
            path.write_bytes(data[: int(len(data) * _CUT)])
        written.append(path)
        truths.append(_truth(path.name, frame, settings, exposed))
    first_rest = truths[0]["rest_stops"]
    for truth in truths:
        rest = truth["rest_stops"]
        truth["difference_stops"] = None if rest is None else round(rest - first_rest, 6)
    plan = folder / "plan.toml"
    plan.write_bytes(_PLAN.encode())
    truth_file = folder / "truth.json"
    document = {
        "format": "greyproof.truth/1",
        "camera_offset_stops": _CAMERA.speed_error_stops,
        "expected_signal": round(_expected_signal(), 9),
        "frames": truths,
    }
    truth_file.write_bytes((json.dumps(document, indent=2) + "\n").encode())
    before = None if _PLANNED.captured is None else _PLANNED.captured - timedelta(hours=1)
    shot_before = replace(_PLANNED, captured=before)
    calibration = write_set(folder / "calibration", _SCENE, _CAMERA, shot_before, _LAYOUT)
    metered = Light.metered(_READING)
    pour = write_pour(folder / "pour", _SCENE, _CAMERA, shot_before, metered, _LAYOUT)
    return [*written, *calibration, *pour, plan, truth_file]


def _light(frame: _DemoFrame) -> Light:
    """Light on the card: one pop of the planned strength and the ambient make the reading."""
    metered = Light.metered(_READING).pop_lxs
    ambient_lxs = metered * 2.0**-_AMBIENT_UNDER
    shutter_s = _PLANNED.shutter_s_of_light()
    flash = Light(metered - ambient_lxs, frame.pops, ambient_lxs / shutter_s)
    return flash.changed(frame.light_stops)


def _expected_signal() -> float:
    """Signal of the card by the plan and the standards: the metered light at f/13 and ISO 100."""
    light = exposure.light_for_reading(_READING, 100.0, exposure.C_FLAT)
    luminance = exposure.card_luminance(light, _SCENE.card)
    on_sensor = exposure.sensor_exposure(luminance, _PLANNED.f_number_of_light())
    return float(exposure.sensor_signal(on_sensor, _PLANNED.iso_of_light()))


def _truth(name: str, frame: _DemoFrame, settings: Settings, exposed: Exposed) -> dict[str, Any]:
    """Give what is true of a frame; one whose file is cut short has no error to measure."""
    set_stops = exposure.aperture_stops(_PLANNED.f_number_of_light(), settings.f_number_of_light())
    set_stops += math.log2(settings.iso_of_light() / _PLANNED.iso_of_light())
    error_stops = math.log2(exposed.card_signal / _expected_signal())
    return {
        "file": name,
        "what": frame.what,
        "readable": not frame.cut,
        "clipped": exposed.card_clipped > 0,
        "pops": frame.pops,
        "light_stops": frame.light_stops,
        "settings_stops": round(set_stops, 6),
        "error_stops": None if frame.cut else round(error_stops, 6),
        "rest_stops": None if frame.cut else round(error_stops - set_stops, 6),
    }
