"""A plan file to a ``Plan``; every mistake is named with its place and what is allowed there."""

import difflib
import math
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from verify.errors import PlanError
from verify.plan.expected import derived_aperture
from verify.plan.records import (
    CameraPlan,
    Card,
    CardPlace,
    Plan,
    Reading,
    Scatter,
    Selection,
    SetUp,
    Tolerance,
)
from verify.plan.tables import (
    BULB,
    CameraTable,
    CardTable,
    ReadingTable,
    SectionsTable,
    SetUpTable,
    UncertaintyTable,
)

Checked = TypeVar("Checked", bound=BaseModel)

MAIN = "main"  # name of the set-up of all frames that no [[setup]] names
SHAPE = "four numbers, COL,ROW,WIDTH,HEIGHT: upright pixels, or fractions of the sides, all <= 1"
FIND = "find"


def read_plan(path: Path | None, typed: Mapping[str, Any] | None = None) -> Plan:
    """Read a plan file.

    Parameters
    ----------
    path : the TOML file; None for a plan made of ``typed`` alone.
    typed : tables as in the file that replace what it says, in every set-up.

    Raises
    ------
    PlanError
        One line a mistake: the place, what was found, what is allowed.
    """
    written = _load(path) if path is not None else {}
    setups = written.pop("setup", [])
    if not isinstance(setups, list) or not all(isinstance(s, dict) for s in setups):
        msg = f"{path}: a set-up is written [[setup]], with double brackets"
        raise PlanError(msg)
    where = f"{path}: " if path is not None else ""
    base = _merged(written, typed or {})
    folder = path.parent if path is not None else Path()
    first = _validated(SectionsTable, base, where)
    found = [_setup(MAIN, first, Selection(), folder, where)]
    for number, own in enumerate(setups, 1):
        name = own.get("name")
        place = f"{where}[[setup]] {number}" + (f' "{name}"' if isinstance(name, str) else "")
        table = _validated(SetUpTable, _merged(_merged(base, own), typed or {}), f"{place}: ")
        if any(s.name == table.name for s in found):
            msg = f"{place}: two set-ups have this name; give each its own"
            raise PlanError(msg)
        found.append(_setup(table.name, table, _selection(table, place), folder, f"{place}: "))
    return Plan(str(path) if path is not None else None, tuple(found))


def parse_place(value: object, where: str = "") -> CardPlace | None:
    """Where the card is: four numbers, or text with them; None for "find"."""
    numbers = value
    if isinstance(value, str):
        if value.strip().lower() == FIND:
            return None
        try:
            numbers = [float(part) for part in value.split(",")]
        except ValueError:
            numbers = None
    if not isinstance(numbers, (list, tuple)) or len(numbers) != 4:
        msg = f'{where}"{value}" is no place for the card: give {SHAPE}, or "{FIND}"'
        raise PlanError(msg)
    col, row, width, height = (float(n) for n in numbers)
    box = (col, row, width, height)
    fractions = max(box) <= 1
    if not all(map(math.isfinite, box)) or min(col, row) < 0 or min(width, height) <= 0:
        msg = f"{where}the card's box {value} has a side or a place below zero: give {SHAPE}"
        raise PlanError(msg)
    if not fractions and any(n != int(n) for n in box):
        msg = f"{where}the card's box {value} mixes pixels and fractions: give {SHAPE}"
        raise PlanError(msg)
    return CardPlace(box, fractions)


def _load(path: Path) -> dict[str, Any]:
    """The file's tables."""
    try:
        with path.open("rb") as file:
            return tomllib.load(file)
    except FileNotFoundError as error:
        msg = f"{path}: there is no such plan"
        raise PlanError(msg) from error
    except (OSError, UnicodeDecodeError) as error:
        msg = f"{path}: the plan cannot be read ({error})"
        raise PlanError(msg) from error
    except tomllib.TOMLDecodeError as error:
        msg = f"{path}: this is not TOML: {error}"
        raise PlanError(msg) from error


def _merged(base: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """Tables of ``base`` with the keys of ``own`` in their place, one level deep."""
    merged = dict(base)
    for key, value in own.items():
        under = merged.get(key)
        if isinstance(value, Mapping) and isinstance(under, Mapping):
            merged[key] = {**under, **value}
        else:
            merged[key] = value
    return merged


def _validated(table: type[Checked], values: Mapping[str, Any], where: str) -> Checked:
    """Check a table; every mistake becomes a line of one PlanError."""
    try:
        return table.model_validate(values)
    except ValidationError as error:
        lines = [where + _mistake(table, e) for e in error.errors(include_url=False)]
        raise PlanError("\n".join(lines)) from error


def _mistake(table: type[BaseModel], error: ErrorDetails) -> str:
    """One line for one mistake: place, what was found, what is allowed."""
    keys = [str(key) for key in error["loc"] if not str(key).startswith("function-")]
    keys = [k for k in keys if not re.fullmatch(r"(float|str|int|list\[.*|literal\[.*|is-.*)", k)]
    place = f"[{keys[0]}] {'.'.join(keys[1:])}".strip() if keys else ""
    if error["type"] == "extra_forbidden":
        what = "key" if len(keys) > 1 else "section"
        allowed = _keys(table, keys[:-1]) + (["setup"] if table is SectionsTable else [])
        near = difflib.get_close_matches(keys[-1], allowed, 1)
        hint = f' (did you mean "{near[0]}"?)' if near else ""
        return f"{place}: there is no such {what}{hint}; allowed: {', '.join(allowed)}"
    place += ": " if place else ""
    if error["type"] == "missing":
        return f"{place}this key is needed and is not there"
    said = error["msg"].removeprefix("Value error, ").replace("Input should", "it should")
    shown = error.get("input")
    simple = isinstance(shown, (str, int, float, bool)) and error["type"] != "value_error"
    return f"{place}{said}" + (f", not {shown!r}" if simple else "")


def _keys(table: type[BaseModel], path: list[str]) -> list[str]:
    """Keys that are allowed in the table at ``path``."""
    for key in path:
        field = table.model_fields.get(key)
        options = (field.annotation, *get_args(field.annotation)) if field is not None else ()
        tables = (o for o in options if isinstance(o, type) and issubclass(o, BaseModel))
        table = next(tables, table)
    return [field.alias or name for name, field in table.model_fields.items()]


def _selection(table: SetUpTable, place: str) -> Selection:
    """The frames that a set-up names."""
    ranges = []
    for part in (table.frames or "").split(",") if table.frames else ():
        found = re.fullmatch(r"\s*(\d+)\s*(?:[-–]\s*(\d+)\s*)?", part)
        if found is None:
            msg = f'{place}: frames "{table.frames}" is not like "0123-0168" or "0123, 0130-0140"'
            raise PlanError(msg)
        first, last = int(found[1]), int(found[2] or found[1])
        if last < first:
            msg = f'{place}: frames "{part.strip()}" run backwards; write the smaller number first'
            raise PlanError(msg)
        ranges.append((first, last))
    return Selection(
        tuple(ranges), int(table.start) if table.start is not None else None, table.serial
    )


def _setup(
    name: str, table: SectionsTable, selection: Selection, folder: Path, where: str
) -> SetUp:
    """The record of one set-up."""
    reading = None if table.reading is None else _reading(table.reading)
    tolerance = table.tolerance
    return SetUp(
        name=name,
        reading=reading,
        camera=None if reading is None else _camera(table.camera, reading),
        card=_card(table.card, folder, where),
        tolerance=Tolerance(tolerance.absolute, tolerance.between_frames),
        scatter=_scatter(table.uncertainty, table.reading),
        selection=selection,
    )


def _reading(table: ReadingTable) -> Reading:
    """The record of a reading."""
    return Reading(
        aperture=table.aperture,
        iso=table.iso,
        shutter_s=None if table.shutter == BULB else table.shutter,
        light=table.light,
        method=table.method,
        receptor=table.receptor,
        aimed=table.aimed,
        constant=table.calibration(),
        step=table.step,
        pops=table.pops,
        meter=table.meter,
        correction=table.correction,
    )


def _camera(table: CameraTable, reading: Reading) -> CameraPlan:
    """The record of a camera's settings, what is not given taken from the reading."""
    shutter = reading.shutter_s if table.shutter is None else table.shutter
    if reading.timed and shutter == BULB:
        msg = "[camera] shutter: with continuous light a time is needed, bulb has none"
        raise PlanError(msg)
    iso = reading.iso if table.iso is None else table.iso
    pops = reading.pops if table.pops is None else table.pops
    lost = table.filters + table.lost_in_bellows()
    shutter_s = None if shutter == BULB else shutter
    aperture = table.aperture or derived_aperture(
        reading, iso, shutter_s, pops, lost, table.over, table.step
    )
    return CameraPlan(
        aperture=aperture,
        iso=iso,
        shutter_s=shutter_s,
        sync_s=table.sync,
        shutter_kind=table.shutter_kind,
        pops=pops,
        over=table.over,
        filter_stops=table.filters,
        bellows_stops=table.lost_in_bellows(),
        writes_effective=table.f_number_written == "effective",
        iso_given=table.iso is not None,
    )


def _card(table: CardTable, folder: Path, where: str) -> Card:
    """The record of the card; a flat's path is relative to the plan."""
    place = None if table.box is None else parse_place(table.box, f"{where}[card] box: ")
    flat = None if table.flat is None else folder / table.flat
    return Card(table.name, table.reflectance, place, flat)


def _scatter(table: UncertaintyTable, reading: ReadingTable | None) -> Scatter:
    """Standard deviations; the meter's from its step where it is not given."""
    step = 0.1 if reading is None else reading.step
    meter = step / math.sqrt(12) if table.meter is None else table.meter
    return Scatter(table.card, table.placing, meter, table.lens)
