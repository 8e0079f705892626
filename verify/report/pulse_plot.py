"""A flash as a picture: its light, how much of it is out by when, and what a shutter keeps."""

from verify.errors import PlanError
from verify.motion.losses import ShutterStudy
from verify.pulse.records import Firing
from verify.pulse.shutter import light_out
from verify.report.plot_ending import plot_ending


def pulse_plot(firing: Firing, study: ShutterStudy, ending: str) -> bytes:
    """Draw a flash and the shutters that are held against it.

    The same flash gives the same bytes with the same releases of the libraries that draw.

    Parameters
    ----------
    firing : the flash light of one exposure, recorded or modelled.
    study : of the shutter, with any number of shutter times.
    ending : of the file that it goes to, ".png" or ".svg" in any case.

    Returns
    -------
    The file: a PNG of 1400 px width, or an SVG of half of that.

    Raises
    ------
    PlanError
        If there is no light to draw, or for any other ending.
    """
    kind = plot_ending(ending)
    try:
        light_out(firing.course.time_s, firing.course.value)
    except ValueError as error:
        raise PlanError("there is no light in this flash, so there is nothing to draw") from error
    # What draws takes longer to import than all else together, and few runs want a picture.
    from verify.report.pulse_chart import drawn  # noqa: PLC0415

    return drawn(firing, study, kind)
