"""A shoot as a picture: the light of its frames over time, and what moves it."""

import math
from collections.abc import Sequence

from verify.diagnose.records import Diagnosis
from verify.errors import PlanError
from verify.report.plot_ending import plot_ending


def diagnosis_plot(
    series: Sequence[tuple[str, Diagnosis]], tolerance_stops: float, ending: str
) -> bytes:
    """Draw the series of most frames, with the causes that are found in it.

    The same series give the same bytes with the same releases of the libraries that draw.

    Parameters
    ----------
    series : each with its name; of equally long ones the first is drawn.
    tolerance_stops : that a frame may be off and still be good, above 0 [stop].
    ending : of the file that it goes to, ".png" or ".svg" in any case.

    Returns
    -------
    The file: a PNG of 1400 px width, or an SVG of half of that.

    Raises
    ------
    PlanError
        If the light of no frame is known, or for any other ending.
    """
    kind = plot_ending(ending)
    longest = max((len(one.frames) for _, one in series), default=0)
    at = next((at for at, (_, one) in enumerate(series) if len(one.frames) == longest), None)
    if at is None or not any(math.isfinite(f.rest_stops) for f in series[at][1].frames):
        msg = "the light of no frame is known, so there is nothing to draw"
        raise PlanError(msg)
    # What draws takes longer to import than all else together, and few runs want a picture.
    from verify.report.diagnosis_chart import drawn  # noqa: PLC0415

    return drawn(series, at, tolerance_stops, kind)
