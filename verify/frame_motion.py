"""Blur, ghost and loss of flash in each frame of a shoot, by that frame's own settings."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from verify.compare import FrameCheck
from verify.exposure import exact_shutter_s
from verify.frames.frame import Settings
from verify.frames.geometry import Size
from verify.motion.planned import firing_planned
from verify.motion.risk import Moving, moving
from verify.plan.motion import Sensor
from verify.plan.records import SetUp
from verify.pulse.records import Firing


def with_motion(
    checks: Sequence[FrameCheck], setups: Sequence[SetUp], recorded: Firing | None
) -> tuple[FrameCheck, ...]:
    """Checks with what becomes of something that moves, where the plan or a recording asks for it.

    Parameters
    ----------
    checks, setups : each frame, and the set-up that it belongs to.
    recorded : the flash as it was recorded; goes before the durations of the plan.

    Raises
    ------
    PlanError
        If the plan's durations are those of no pulse.
    """
    prepared = _Prepared(recorded)
    return tuple(
        prepared.applied(check, setup) for check, setup in zip(checks, setups, strict=True)
    )


@dataclass(slots=True)
class _Prepared:
    """What holds for all frames of one set-up and sensor, worked out once."""

    recorded: Firing | None
    _moving: dict[tuple[str, Sensor], Moving] = field(default_factory=dict)

    def applied(self, check: FrameCheck, setup: SetUp) -> FrameCheck:
        """A check with its motion; one that could not be read has none."""
        plan = setup.motion
        asked = self.recorded or plan.lamps or plan.subject or plan.ambient
        if not asked or check.settings is None or check.verdict == "unreadable":
            return check
        key = setup.name, sensor_told(check)
        if key not in self._moving:
            self._moving[key] = moving_of(setup, self.recorded, key[1])
        shutter_s = check.settings.shutter_s
        exact_s = plan.shutter.time_s if shutter_s is None else exact_shutter_s(shutter_s)
        ambient = None if check.flash is None else check.flash.ambient_under_stops
        return replace(check, motion=self._moving[key].at(exact_s, ambient))


def moving_of(
    setup: SetUp, recorded: Firing | None, told: Sensor, ambient_stops: float | None = None
) -> Moving:
    """What a set-up and its flash say of motion, whatever the shutter time.

    Parameters
    ----------
    setup : of the plan.
    recorded : the flash as recorded; None takes the plan's durations, where it has any.
    told : what frames tell of the sensor.
    ambient_stops : of ambient light under the flash at the plan's shutter time, as measured.
    """
    firing = recorded
    if firing is None and setup.motion.lamps:
        firing = firing_planned(setup.motion.lamps)
    reading, camera = setup.reading, setup.camera
    return moving(
        setup.motion,
        firing,
        told,
        ambient_stops,
        flash_n=None if reading is None else reading.aperture.n,
        pops=1 if camera is None else camera.pops,
        reading_pops=1 if reading is None else reading.pops,
        tolerance_stops=setup.tolerance.between_frames,
    )


def sensor_told(check: FrameCheck) -> Sensor:
    """What a frame tells of its sensor: the pitch, and with its size the sides."""
    return sensor_of_picture(check.settings, check.size)


def sensor_of_picture(settings: Settings | None, size: Size | None) -> Sensor:
    """The same by a picture's settings and its size, as far as they are known."""
    pitch = None if settings is None else settings.pixel_pitch_um
    if pitch is None or size is None:
        return Sensor(pitch_um=pitch)
    sides = sorted((size.width, size.height))
    return Sensor(
        pitch_um=pitch, width_mm=pitch * sides[1] / 1000, height_mm=pitch * sides[0] / 1000
    )
