"""A plan file to a ``Plan``; every mistake is named with its place and what is allowed there."""

import difflib
import math
import re
from collections.abc import Mapping, Sequence
from functools import reduce
from pathlib import Path
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from verify.errors import PlanError, in_one_line
from verify.notation import MAX_F_NUMBER, MIN_F_NUMBER
from verify.place import FIND, parse_place
from verify.plan.expected import derived_aperture
from verify.plan.layers import merged
from verify.plan.load import load_tables, quoted
from verify.plan.motion_file import motion_of
from verify.plan.records import (
    CameraPlan,
    Card,
    Plan,
    Reading,
    Scatter,
    Selection,
    SetUp,
    Tolerance,
)
from verify.plan.sections import SectionsTable, SetUpTable
from verify.plan.tables import (
    BULB,
    CameraTable,
    CardTable,
    ReadingTable,
    UncertaintyTable,
)

Checked = TypeVar("Checked", bound=BaseModel)

MAIN = "main"  # name of the set-up of all frames that no [[setup]] names
ON_SET = 0.1  # stop; placing of meter and card from one reading to the next while at work
MOST_TOLD = 20  # mistakes of a section; more are counted
LONGEST_KEY = 40  # characters of a key in a message


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
    written = load_tables(path) if path is not None else {}
    where = f"{in_one_line(str(path))}: " if path is not None else ""
    setups = written.pop("setup", [])
    if not isinstance(setups, list) or not all(isinstance(s, dict) for s in setups):
        msg = f"{where}a set-up is written [[setup]], with double brackets"
        raise PlanError(msg)
    base = merged(written, typed or {})
    folder = path.parent if path is not None else Path()
    found = [set_up_of([base], folder, where)]
    names: set[str] = set()
    for number, own in enumerate(setups, 1):
        name = own.get("name")
        place = f"{where}[[setup]] {number}" + (f" {quoted(name)}" if isinstance(name, str) else "")
        table = _validated(SetUpTable, merged(merged(base, own), typed or {}), f"{place}: ")
        if table.name == MAIN:
            msg = f'{place}: "{MAIN}" means the frames that no set-up names; give another name'
            raise PlanError(msg)
        if table.name in names:
            msg = f"{place}: two set-ups have this name; give each its own"
            raise PlanError(msg)
        names.add(table.name)
        found.append(_setup(table.name, table, _selection(table, place), folder, f"{place}: "))
    return Plan(str(path) if path is not None else None, tuple(found))


def set_up_of(layers: Sequence[Mapping[str, Any]], folder: Path, where: str = "") -> SetUp:
    """The set-up that tables make; it names no frames of its own.

    Parameters
    ----------
    layers : tables as in a plan file, the sections alone; each replaces what those before it say.
    folder : what the paths of flat and ambient frames are relative to.
    where : what every line of a refusal begins with.

    Raises
    ------
    PlanError
        One line a mistake: the place, what was found, what is allowed.
    """
    table = _validated(SectionsTable, reduce(merged, layers, {}), where)
    return _setup(MAIN, table, Selection(), folder, where)


def _validated(table: type[Checked], values: Mapping[str, Any], where: str) -> Checked:
    """Check a table; every mistake becomes a line of one PlanError."""
    try:
        return table.model_validate(values)
    except ValidationError as error:
        mistakes = error.errors(include_url=False)
        lines = [where + _mistake(table, e) for e in mistakes[:MOST_TOLD]]
        if len(mistakes) > MOST_TOLD:
            lines.append(f"{where}and {len(mistakes) - MOST_TOLD} more mistakes")
        raise PlanError("\n".join(dict.fromkeys(lines))) from error


def _mistake(table: type[BaseModel], error: ErrorDetails) -> str:
    """One line for one mistake: place, what was found, what is allowed."""
    table, field, keys, number = _place(table, error["loc"])
    place = ""
    if keys:
        section = f"[{keys[0]}]" if number is None else f"[[{keys[0]}]] {number}"
        place = f"{section} {'.'.join(keys[1:])}".strip()
    if len(keys) == 1 and (field is None or field.alias or _table_in(field) is None):
        place = keys[0]  # a key of the set-up itself
    if error["type"] == "extra_forbidden":
        what = "section" if isinstance(error["input"], dict) else "key"
        if len(keys) == 1 and what == "section":
            place = f"[{keys[0]}]"
        allowed = [f.alias or name for name, f in table.model_fields.items()]
        if table is SectionsTable:
            allowed.append("setup")
        near = difflib.get_close_matches(keys[-1], allowed, 1)
        hint = f' (did you mean "{near[0]}"?)' if near else ""
        return f"{place}: there is no such {what}{hint}; allowed: {', '.join(allowed)}"
    place += ": " if place else ""
    if error["type"] == "missing":
        return f"{place}this key is needed and is not there"
    if error["type"] == "value_error":
        return place + error["msg"].removeprefix("Value error, ")
    if field is not None and _is_list_of_tables(field):
        return f"{place}{field.description}"
    allowed_is = str(error.get("ctx", {}).get("expected", "what is allowed")).replace("'", '"')
    if field is not None and _table_in(field) is not None:
        allowed_is = f"a section: write [{keys[-1]}] on a line and its keys below it"
    elif field is not None:
        allowed_is = _described(field) or allowed_is
    return f"{place}{quoted(error['input'])} is not {allowed_is}"


def _place(
    table: type[BaseModel], path: tuple[int | str, ...]
) -> tuple[type[BaseModel], FieldInfo | None, list[str], int | None]:
    """The table that a mistake is in, the field it is about, and what leads there.

    That is keys and, of a list of tables, the number of one, from 1.

    pydantic's path goes on below a key with names of the forms it has tried: they are left out.
    """
    keys: list[str] = []
    field, number = None, None
    for step in path:
        if isinstance(step, int) and field is not None and _is_list_of_tables(field):
            number = step + 1
            continue
        inner = table if field is None else _table_in(field)
        if inner is None or (keys and field is None):
            break
        table = inner
        named = {f.alias or name: f for name, f in table.model_fields.items()}
        field = named.get(str(step))
        keys.append(in_one_line(str(step), LONGEST_KEY))
    return table, field, keys, number


def _table_in(field: FieldInfo) -> type[BaseModel] | None:
    """The table that a section's field holds; None for a key with a value."""
    options = (field.annotation, *get_args(field.annotation))
    tables = (o for o in options if isinstance(o, type) and issubclass(o, BaseModel))
    return next(tables, None)


def _is_list_of_tables(field: FieldInfo) -> bool:
    """Whether a section is written with double brackets."""
    return get_origin(field.annotation) is tuple and _table_in(field) is not None


def _described(field: FieldInfo) -> str | None:
    """What a key allows, as its table says it; of an optional key the words are one level down."""
    if field.description is not None:
        return field.description
    inner = (f for o in get_args(field.annotation) for f in getattr(o, "__metadata__", ()))
    return next((f.description for f in inner if isinstance(f, FieldInfo)), None)


def _selection(table: SetUpTable, place: str) -> Selection:
    """The frames that a set-up names."""
    ranges = []
    for part in (table.frames or "").split(",") if table.frames else ():
        found = re.fullmatch(r"\s*(\d{1,18})\s*(?:[-–]\s*(\d{1,18})\s*)?", part)
        if found is None:
            msg = (
                f"{place}: frames {quoted(table.frames)} is not like "
                '"0123-0168" or "0123, 0130-0140"'
            )
            raise PlanError(msg)
        first, last = int(found[1]), int(found[2] or found[1])
        if last < first:
            msg = (
                f"{place}: frames {quoted(part.strip())} run backwards; "
                "write the smaller number first"
            )
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
    try:
        camera = None if reading is None else _camera(table.camera, reading)
    except PlanError as error:
        msg = f"{where}[camera] {error}"
        raise PlanError(msg) from error
    return SetUp(
        name=name,
        reading=reading,
        camera=camera,
        card=_card(table.card, folder, where),
        tolerance=Tolerance(tolerance.absolute, tolerance.between_frames),
        scatter=_scatter(table.uncertainty, table.reading),
        selection=selection,
        motion=motion_of(table, folder, where),
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
        msg = "shutter: with continuous light a time is needed, bulb has none"
        raise PlanError(msg)
    iso = reading.iso if table.iso is None else table.iso
    pops = reading.pops if table.pops is None else table.pops
    lost = table.filters + table.lost_in_bellows()
    shutter_s = None if shutter == BULB else shutter
    aperture = table.aperture or derived_aperture(
        reading, iso, shutter_s, pops, lost, table.over, table.step
    )
    if not MIN_F_NUMBER <= aperture.n <= MAX_F_NUMBER:
        msg = (
            f"aperture: {aperture.text} follows from the reading, and no lens has it: check the "
            "reading, iso, pops, filters and bellows, or give the aperture"
        )
        raise PlanError(msg)
    return CameraPlan(
        aperture=aperture,
        step=table.step,
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
    place = parse_place(FIND if table.box is None else table.box, f"{where}[card] box: ")
    flat = None if table.flat is None else folder / table.flat
    return Card(table.name, table.reflectance, place, flat, table.densities)


def _scatter(table: UncertaintyTable, reading: ReadingTable | None) -> Scatter:
    """Standard deviations; the meter's from its step where it is not given."""
    step = 0.1 if reading is None else reading.step
    meter = step / math.sqrt(12) if table.meter is None else table.meter
    placing = ON_SET if table.placing is None else table.placing
    return Scatter(table.card, placing, meter, table.lens, table.placing is not None)
