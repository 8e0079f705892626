"""Kept offsets for people: all in a table, or one with everything it belongs to."""

from collections.abc import Iterator, Sequence
from datetime import UTC
from pathlib import Path

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from verify.notation import aperture_text, iso_text, stops_text
from verify.offsets.records import BelongsTo, SavedOffset
from verify.report.calibration_words import camera_name
from verify.report.characters import plain, plain_text

NOTHING = "\N{EN DASH}"
HEADINGS = ("name", "offset", "95 %", "meter", "camera", "lens", "card", "frames", "kept")


def offset_table(offsets: Sequence[SavedOffset], store: Path) -> RenderableType:
    """A row for each offset; where there is none, how one comes to be."""
    if not offsets:
        return plain_text(
            f"No offset is kept in {store}. greyproof calibrate --save NAME keeps one."
        )
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for heading in HEADINGS:
        right = heading in ("offset", "95 %", "frames")
        table.add_column(heading, justify="right" if right else "left", overflow="fold")
    for one in offsets:
        belongs = one.belongs
        cells = (
            one.name,
            stops_text(one.stops),
            _interval(one),
            _meter(belongs),
            _camera(belongs) or NOTHING,
            belongs.lens or NOTHING,
            belongs.card or NOTHING,
            str(one.frames),
            f"{one.saved:%Y-%m-%d}",
        )
        table.add_row(*map(plain_text, cells))
    return Group(table)


def offset_details(one: SavedOffset) -> RenderableType:
    """Everything about one offset, a line each."""
    lines = [Text(plain(one.name), style="bold")]
    lines += [plain_text(f"  {what}: {value}") for what, value in _details(one)]
    return Group(*lines)


def _details(one: SavedOffset) -> Iterator[tuple[str, str]]:
    belongs = one.belongs
    yield (
        "offset",
        f"{stops_text(one.stops)} stop (95 %: {_interval(one)}), measured minus promised",
    )
    yield "uncertainty", f"{one.u_stops:.3f} stop; {one.u_same_card:.3f} with the same card"
    for part in one.parts:
        at = f"ISO {iso_text(part.value)}" if part.by == "iso" else aperture_text(part.value)
        yield f"at {at}", f"{stops_text(part.stops)} stop more"
    yield "meter", _meter(belongs)
    yield "light", belongs.light
    yield "camera", _camera(belongs) or NOTHING
    yield "lens", belongs.lens or NOTHING
    yield "card", belongs.card or NOTHING
    yield "ISO", NOTHING if belongs.iso is None else _range(*map(iso_text, belongs.iso))
    apertures = belongs.aperture
    yield "aperture", NOTHING if apertures is None else _range(*map(aperture_text, apertures))
    yield "frames", str(one.frames)
    yield "kept", f"{one.saved.astimezone(UTC):%Y-%m-%d %H:%M} UTC by greyproof {one.greyproof}"


def _interval(one: SavedOffset) -> str:
    low, high = map(stops_text, one.interval_stops)
    return f"{low} to {high}"


def _meter(belongs: BelongsTo) -> str:
    name = belongs.meter or "without a name"
    if belongs.method == "reflected":
        return f"{name}, reflected"
    aim = "" if belongs.aimed == "as-card" else f", aimed at the {belongs.aimed}"
    return f"{name}, {belongs.receptor}{aim}"


def _camera(belongs: BelongsTo) -> str:
    name = camera_name(belongs.make, belongs.model)
    return " ".join(part for part in (name, belongs.serial) if part)


def _range(low: str, high: str) -> str:
    return low if low == high else f"{low} to {high}"
