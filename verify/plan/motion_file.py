"""The sections about flash durations, motion, ambient light and the shutter to their records."""

from pathlib import Path

from verify.errors import PlanError
from verify.notation import TENTH, parse_reading_aperture
from verify.plan.motion import (
    Ambient,
    FlashLamp,
    Limits,
    MotionPlan,
    Sensor,
    ShutterPlan,
    Subject,
)
from verify.plan.motion_tables import AmbientTable, FlashTable, LimitsTable, SubjectTable
from verify.plan.sections import SectionsTable
from verify.plan.tables import BULB, CameraTable, ReadingTable

AS_USUAL = Limits()


def motion_of(table: SectionsTable, folder: Path, where: str) -> MotionPlan:
    """What a set-up says of motion.

    Parameters
    ----------
    table : its sections.
    folder : what the path of an ambient frame is relative to.
    where : what every line of a refusal begins with.

    Raises
    ------
    PlanError
        One line: the place, what was found, what is allowed.
    """
    sensor = table.sensor
    return MotionPlan(
        lamps=tuple(_lamp(lamp) for lamp in table.flash),
        subject=None if table.subject is None else _subject(table.subject, table.camera),
        sensor=Sensor(
            sensor.pixel_pitch_um, sensor.width_mm, sensor.height_mm, sensor.covered_first
        ),
        ambient=(
            None
            if table.ambient is None
            else _ambient(table.ambient, table.reading, folder, f"{where}[ambient] ")
        ),
        limits=_limits(table.limits, f"{where}[limits]"),
        shutter=_shutter(table.camera, table.reading),
    )


def _lamp(table: FlashTable) -> FlashLamp:
    """The record of a lamp."""
    return FlashLamp(
        name=table.lamp,
        share=table.share,
        power=table.power,
        quoted_at=table.quoted_at,
        half_s=table.t_half,
        tenth_s=table.t_tenth,
        kind=table.kind,
    )


def _subject(table: SubjectTable, camera: CameraTable) -> Subject:
    """The record of what moves; its magnification is that of the bellows where nothing says it."""
    magnification = table.scale()
    if magnification is None and table.field_width_m is None:
        magnification = camera.close_up() or None
    return Subject(
        speed_m_s=table.speed,
        direction=table.direction,
        size_m=table.size_m,
        magnification=magnification,
        field_width_m=table.field_width_m,
        against=table.against,
    )


def _ambient(
    table: AmbientTable, reading: ReadingTable | None, folder: Path, where: str
) -> Ambient:
    """The record of the ambient light; what an f-number means depends on the meter's step."""
    n = None
    if table.aperture is not None:
        step = TENTH if reading is None else reading.step
        try:
            n = parse_reading_aperture(table.aperture, step).n
        except PlanError as error:
            msg = f"{where}aperture: {error}"
            raise PlanError(msg) from error
    frame = None if table.frame is None else folder / table.frame
    return Ambient(table.stops_under_flash, n, frame)


def _limits(table: LimitsTable, where: str) -> Limits:
    """The record of the limits, those that are not given as usual."""
    sharp = AS_USUAL.sharp_px if table.sharp_px is None else table.sharp_px
    slight = AS_USUAL.slight_px if table.slight_px is None else table.slight_px
    if sharp >= slight:
        msg = (
            f"{where}: sharp_px = {sharp:g} has to be less than slight_px = {slight:g}: up to the "
            "first a blur is sharp, up to the second slight"
        )
        raise PlanError(msg)
    return Limits(sharp, slight, table.print_mm, table.viewing_mm)


def _shutter(camera: CameraTable, reading: ReadingTable | None) -> ShutterPlan:
    """The record of the shutter, its time taken from the reading where it is not given."""
    time = camera.shutter
    if time is None and reading is not None:
        time = reading.shutter
    return ShutterPlan(
        time_s=None if time == BULB else time,
        sync_s=camera.sync,
        kind=camera.shutter_kind,
        travel_s=camera.travel,
        delay_s=camera.delay,
        opening_s=camera.opening or 0.0,
        closing_s=camera.closing or 0.0,
    )
