"""The errors this project raises on purpose.

    GreyproofError
    ├── PlanError        (ValueError)   the plan or the command is wrong: nothing can be done
    ├── WorkersError     (RuntimeError) no process can be started to measure in
    ├── StoreError       (OSError)      the file that offsets are kept in cannot be used
    └── FrameError       (ValueError)   this frame cannot be measured: the others go on
        ├── FrameMissing (OSError)      there is no file there, or it may not be read
        ├── NotAFrame                   not a picture, cut short, or in a form nobody here decodes
        ├── NotLinear                   a picture, but its values are not proportional to light
        └── BoxError                    the place to measure is not inside the picture

A message says which file or key, what was found, what was needed and what to do, in one line.
"""


class GreyproofError(Exception):
    """Root of every error that is raised on purpose."""


class PlanError(GreyproofError, ValueError):
    """The plan, or what was typed on the command line, cannot be used."""


class WorkersError(GreyproofError, RuntimeError):
    """The system does not give the processes that frames are measured in."""


class StoreError(GreyproofError, OSError):
    """The file that offsets are kept in is no such file, damaged, too new, or out of reach."""


class FrameError(GreyproofError, ValueError):
    """One frame cannot be measured; a run goes on with the others."""


class FrameMissing(FrameError, OSError):
    """The file is not there or may not be read."""


class NotAFrame(FrameError):
    """The file is not a picture, is cut short, or is in a form that cannot be decoded."""


class NotLinear(FrameError):
    """The picture's values are not proportional to light, or nothing says that they are."""


class BoxError(FrameError):
    """The box to measure does not lie inside the picture."""


def in_one_line(text: str, longest: int | None = None) -> str:
    """Text for a message to quote: what would end the line or move a cursor is a mark.

    Parameters
    ----------
    text : anything, such as a value of a plan or the name of a file.
    longest : characters that it may have; what is longer is cut. None: any number.
    """
    line = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
    return line if longest is None or len(line) <= longest else f"{line[: longest - 3]}..."
