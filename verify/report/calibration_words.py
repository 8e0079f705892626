"""What is written above the plot of a calibration, in lines that fit it."""

from verify.calibrate.records import Calibration
from verify.notation import stops_text
from verify.report.calibration_groups import shortened, width
from verify.report.characters import plain

LINE_EM = 55.0  # of the lines below the title
NAME_EM = LINE_EM / 2 - 5  # of a name where two share a line
SEPARATOR = "  \N{MIDDLE DOT}  "


def headline(calibration: Calibration) -> str:
    """The offset and its interval in words. ``calibration.offset_stops`` is not None."""
    offset = calibration.offset_stops or 0.0
    interval = calibration.interval_stops
    how_sure = "interval not known"
    if interval is not None:
        how_sure = f"95 %: {stops_text(interval[0])} to {stops_text(interval[1])}"
    if stops_text(offset) == stops_text(0.0):
        words = "Meter and camera agree: offset"
    elif interval is None or interval[0] <= 0 <= interval[1]:
        words = "Meter and camera may agree: offset"
    else:
        words = f"The camera gets {'more' if offset > 0 else 'less'} light than metered: offset"
    return f"{words} {in_stops(offset)} ({how_sure})"


def in_stops(x: float) -> str:
    """Stops with their sign and their unit."""
    return f"{stops_text(x)} stop{'s' if abs(x) > 1 else ''}"


def details(calibration: Calibration) -> tuple[str, ...]:
    """Lines of what was used, of how many frames count and of which do not."""
    belongs = calibration.belongs
    lines = []
    if belongs is not None:
        camera = camera_name(belongs.make, belongs.model)
        rows = (
            (("meter", belongs.meter), ("camera", camera)),
            (("lens", belongs.lens), ("card", belongs.card)),
        )
        lines += [
            SEPARATOR.join(f"{what}: {name}" for what, name in _fitted(row))
            for row in rows
            if any(name for _, name in row)
        ]
    return (*lines, _counts(calibration))


def camera_name(make: str | None, model: str | None) -> str | None:
    """Make and model, the make once."""
    if make and model and not model.lower().startswith(make.lower()):
        return f"{make} {model}"
    return model or make


def _fitted(row: tuple[tuple[str, str | None], ...]) -> list[tuple[str, str]]:
    """The names of a line that are known, each as long as the line allows."""
    known = [(what, plain(name)) for what, name in row if name]
    room = NAME_EM if len(known) > 1 else LINE_EM - 4
    return [(what, shortened(name, room)) for what, name in known]


def _counts(calibration: Calibration) -> str:
    """How many frames count, and as many names of those left out as a line has room for."""
    count = len(calibration.frames)
    line = f"{count} frame{'' if count == 1 else 's'}"
    left_out = [plain(one.file.name) for one in calibration.excluded]
    if not left_out:
        return line
    line += f", {len(left_out)} left out: "
    names: list[str] = []
    for name in left_out:
        short = shortened(name, NAME_EM)
        if names and width(line + ", ".join([*names, short])) > LINE_EM - 6:
            break
        names.append(short)
    rest = len(left_out) - len(names)
    return line + ", ".join(names) + (f" and {rest} more" if rest else "")
