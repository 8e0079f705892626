"""What to be careful about when an exposure is built from pops."""

SLOWEST_PER_S, FASTEST_PER_S = 3.0, 30.0  # flashes between these trigger most seizures

IN_THE_DARK = (
    "Before pops in the dark, call it out: people, stands and cables are not to be seen then."
)
FLICKER = (
    "Pops at about {:.2g} a second: flashes at 3 to 30 a second can trigger seizures in sensitive "
    "people. Warn everybody before, or leave more time between pops."
)


def is_flicker(per_s: float) -> bool:
    """Whether flashes come at a rate that triggers seizures in sensitive people.

    References
    ----------
    Epilepsy Society (check-values 9): 3 to 30 in a second, in some people up to 60.
    """
    return SLOWEST_PER_S <= per_s <= FASTEST_PER_S


def cautions_at(flicker_per_s: float | None) -> tuple[str, ...]:
    """Sentences to read before firing.

    Parameters
    ----------
    flicker_per_s : pops in a second, where that is a rate to be wary of.
    """
    if flicker_per_s is None:
        return (IN_THE_DARK,)
    return (IN_THE_DARK, FLICKER.format(flicker_per_s))
