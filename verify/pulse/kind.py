"""What kind of pulse it is: one that decays by itself, one that its unit cuts, or several."""

from verify.pulse.records import Kind
from verify.pulse.words import percent

DECAYS = 2.25  # t.1/t.5 from which a pulse decays by itself
ROUNDED, SHORT = 1.25, 1.6  # t.1/t.5 of pulses that are cut: nearly at once, or hardly risen
CUT_ABOVE = 0.1  # of the peak: a cut of less is the end of the discharge


def kind_of(
    half_s: float | None,
    tenth_s: float | None,
    cut_at: float | None = None,
    several: bool = False,
) -> tuple[Kind, str]:
    """The kind of a pulse, and a sentence that says why.

    Parameters
    ----------
    half_s, tenth_s : t.5 and t.1 [s]; None where not known.
    cut_at : share of the peak from which the light falls at once; None where it does not, or that
        is not known.
    several : whether light comes more than once.

    Notes
    -----
    An exponential decay has 3.32, a slow rise before it brings that down to about 2.4; both decay.
    A rectangle has 1, a half sine 1.40, a raised cosine 1.59, a triangle 1.8 and a Gaussian 1.82:
    no tube that is left alone gives them, so they are cut. That leaves a gap from 2.17, the
    shortest pulse of a measured unit that cuts, to 2.37 of a pulse that decays.

    References
    ----------
    check-values 3.3 for the shapes, 3.5 for the measured unit.
    """
    if several:
        return "multiple", "light comes more than once"
    if not half_s or not tenth_s:
        if cut_at is not None and cut_at >= CUT_ABOVE:
            return "cut", f"the light is cut at about {percent(cut_at)} of its peak"
        return "decaying", "its end is not known; it is taken to decay by itself"
    ratio = tenth_s / half_s
    figure = f"t.1 is {ratio:.2f} times t.5"
    if ratio >= DECAYS:
        if cut_at is not None and cut_at >= CUT_ABOVE:
            return "cut", f"{figure}: it decays, and is cut at about {percent(cut_at)} of its peak"
        return "decaying", f"{figure}: it decays by itself (an exponential decay has 3.32)"
    if ratio < ROUNDED:
        return "cut", f"{figure}: it is cut while it is bright, nearly a rectangle"
    if ratio < SHORT:
        return "cut", f"{figure}: it is cut, and its rise and fall are a part of it"
    return (
        "cut",
        f"{figure}: it is cut so early that rise and fall are most of it, as of a triangle or a"
        " bell (1.8)",
    )
