"""Camera settings as Exif or TIFF/EP tags.

References
----------
CIPA DC-008 (Exif); TIFF/EP (ISO 12234-2), which keeps the exposure tags in the first directory.
"""

from datetime import datetime
from typing import Literal

from verify.simulate.camera import CameraModel, Settings
from verify.simulate.ifd import ASCII, LONG, RATIONAL, SHORT, UNDEFINED, Ifd

ExifPlace = Literal["exif", "tiff-ep", "none"]

_ISO_LIMIT = 65535  # tag 34855 holds 16 bits; above it this value stands and another tag counts
_SENSITIVITY_TAGS = {1: 34865, 2: 34866, 3: 34867}  # SensitivityType -> tag: SOS, REI, ISO speed
_FLASH_OFF = 16  # "did not fire": what a body writes when the strobe hangs on a cable


def put_settings(
    ifd0: Ifd, camera: CameraModel, settings: Settings, place: ExifPlace, sensitivity_type: int = 2
) -> None:
    """Put what the camera knows into ``ifd0``, or into an Exif directory below it.

    Parameters
    ----------
    place : "exif": in an Exif directory; "tiff-ep": in ``ifd0`` itself; "none": no exposure tags.
    sensitivity_type : 1, 2 or 3; which tag holds an ISO above 65535.
    """
    ifd0.add(271, ASCII, camera.make)
    ifd0.add(272, ASCII, camera.model)
    ifd0.add(274, SHORT, settings.orientation)
    if place == "none":
        return
    target = ifd0
    if place == "exif":
        target = Ifd()
        ifd0.children[34665] = [target]
        target.add(36864, UNDEFINED, b"0231")
    recorded = {33434: settings.shutter_s, 33437: settings.f_number, 37386: settings.focal_mm}
    for tag, value in recorded.items():
        if value is not None:
            target.add(tag, RATIONAL, value)
    target.add(34850, SHORT, 1)  # exposure program: manual
    target.add(37385, SHORT, _FLASH_OFF)
    _put_iso(target, settings.iso, sensitivity_type)
    _put_time(target, settings.captured)
    # TIFF/EP has its own numbers for the focal-plane resolution; both count in centimetres here.
    per_cm, unit = (41486, 41488) if place == "exif" else (37390, 37392)
    target.add(per_cm, RATIONAL, 10_000 / camera.pixel_pitch_um)
    target.add(per_cm + 1, RATIONAL, 10_000 / camera.pixel_pitch_um)
    target.add(unit, SHORT, 3)
    if camera.serial:
        target.add(42033, ASCII, camera.serial)
    if camera.lens:
        target.add(42036, ASCII, camera.lens)


def _put_iso(ifd: Ifd, iso: float | None, sensitivity_type: int) -> None:
    if iso is None:
        return
    ifd.add(34855, SHORT, min(round(iso), _ISO_LIMIT))
    if round(iso) > _ISO_LIMIT:
        ifd.add(34864, SHORT, sensitivity_type)
        ifd.add(_SENSITIVITY_TAGS[sensitivity_type], LONG, round(iso))


def _put_time(ifd: Ifd, captured: datetime | None) -> None:
    if captured is None:
        return
    ifd.add(36867, ASCII, captured.strftime("%Y:%m:%d %H:%M:%S"))
    if captured.microsecond:
        # The digits after the decimal point, so "05" is 0.05 s: leading zeros stay.
        ifd.add(37521, ASCII, f"{captured.microsecond:06d}".rstrip("0"))
    offset = captured.strftime("%z")
    if offset:
        ifd.add(36881, ASCII, f"{offset[:3]}:{offset[3:5]}")
