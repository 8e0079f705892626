"""What a moving edge looks like, as a picture: sharp, by the flash, and with the ambient light."""

from verify.errors import PlanError
from verify.pulse.shutter import light_out
from verify.report.motion_picture import MotionPicture
from verify.report.plot_ending import plot_ending


def motion_plot(picture: MotionPicture, ending: str) -> bytes:
    """Draw an edge that moves, beside one that stands still.

    The same motion gives the same bytes with the same releases of the libraries that draw.

    Parameters
    ----------
    picture : what is known of the motion.
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
        light_out(picture.course.time_s, picture.course.value)
    except ValueError as error:
        raise PlanError("there is no light in this flash, so there is nothing to draw") from error
    # What draws takes longer to import than all else together, and few runs want a picture.
    from verify.report.motion_chart import drawn  # noqa: PLC0415

    return drawn(picture, kind)
