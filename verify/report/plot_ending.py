"""What kind of picture a plot is written as."""

from verify.errors import PlanError, in_one_line

ENDINGS = (".png", ".svg")


def plot_ending(ending: str) -> str:
    """The ending of a plot's file, ".png" or ".svg".

    Parameters
    ----------
    ending : in any case.

    Raises
    ------
    PlanError
        For any other.
    """
    kind = ending.lower()
    if kind not in ENDINGS:
        msg = f'a plot ends in .png or .svg, and not in "{in_one_line(ending, 40)}"'
        raise PlanError(msg)
    return kind
