"""A calibration as a picture: measured against planned stops, and what is left over."""

from verify.calibrate.records import Calibration
from verify.errors import PlanError
from verify.report.plot_ending import plot_ending


def plot(calibration: Calibration, ending: str) -> bytes:
    """Draw a calibration.

    The same calibration gives the same bytes with the same releases of the libraries that draw.

    Parameters
    ----------
    calibration : of a set of frames.
    ending : of the file that it goes to, ".png" or ".svg" in any case.

    Returns
    -------
    The file: a PNG of 1400 px width, or an SVG of half of that.

    Raises
    ------
    PlanError
        If no frame counts, or for any other ending.
    """
    kind = plot_ending(ending)
    if calibration.offset_stops is None or not calibration.frames:
        raise PlanError("no frame counts, so there is nothing to draw")
    # What draws takes longer to import than all else together, and few runs want a picture.
    from verify.report.calibration_chart import drawn  # noqa: PLC0415

    return drawn(calibration, kind)
