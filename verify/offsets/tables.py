"""A saved offset as a table of keys, as files hold it: what each key allows, and both ways."""

import difflib
from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any, Literal, Self

from pydantic import Field, ValidationError, model_validator
from pydantic_core import ErrorDetails

from verify.errors import PlanError
from verify.offsets.records import BelongsTo, SavedOffset
from verify.plan.load import quoted
from verify.plan.records import Aimed, Light, Method, OffsetPart, Receptor
from verify.plan.tables import Name, Table

MOST_TOLD = 20  # mistakes of an offset; more are counted


def _number(low: float, high: float, what: str) -> Any:
    """A number from ``low`` to ``high``; a refusal says what is allowed."""
    allowed = f"{what} from {low:g} to {high:g}"
    return Field(ge=low, le=high, allow_inf_nan=False, description=allowed)


def _pair(what: str) -> Any:
    """Two numbers. Not strict, for TOML has lists and no tuples; what is in them is."""
    return Field(strict=False, description=f"a list of two numbers, {what}")


Stops = Annotated[float, _number(-20, 20, "a number of stops")]
U = Annotated[float, _number(0, 1000, "a standard uncertainty in stops")]
Bound = Annotated[float, _number(-10_000, 10_000, "a number of stops")]
Exact = Annotated[float, _number(0.01, 1e8, "an exact ISO speed or f-number")]
Range = Annotated[tuple[Exact, Exact], _pair("the lowest and the highest")]
Text = Annotated[
    str | None,
    Field(
        min_length=1, max_length=200, description="text in quotation marks, of up to 200 characters"
    ),
]


class PartTable(Table):
    """[[offset.part]]: what the offset is more or less at one ISO or aperture."""

    by: Literal["iso", "aperture"]
    value: Exact
    stops: Stops


class OffsetTable(Table):
    """[[offset]]: one saved offset; a key that is not there is not known."""

    name: Name
    offset_stops: Stops
    u_stops: U
    u_same_card_stops: U
    interval_stops: Annotated[tuple[Bound, Bound], _pair("the lower end and the upper")]
    meter: Text = None
    light: Light
    method: Method
    receptor: Receptor
    aimed: Aimed
    card: Text = None
    make: Text = None
    model: Text = None
    serial: Text = None
    lens: Text = None
    iso: Range | None = Field(None, description="a list of two ISO speeds from 0.01 to 1e+08")
    aperture: Range | None = Field(None, description="a list of two f-numbers from 0.01 to 1e+08")
    frames: Annotated[int, Field(ge=1, le=1_000_000, description="a whole number from 1 up")]
    saved: Annotated[datetime, Field(description="a date, a time and their distance from UTC")]
    greyproof: Name
    part: Annotated[
        tuple[PartTable, ...], Field(strict=False, description="written [[offset.part]]")
    ] = ()

    @model_validator(mode="after")
    def _makes_sense(self) -> Self:
        """Each figure may be right by itself and wrong beside the others."""
        low, high = self.interval_stops
        if not low <= self.offset_stops <= high:
            msg = f"the offset {self.offset_stops:g} is not within its interval {low:g} to {high:g}"
            raise PlanError(msg)
        for key, ends in (("iso", self.iso), ("aperture", self.aperture)):
            if ends is not None and ends[0] > ends[1]:
                msg = f"{key} runs backwards: write the lowest first"
                raise PlanError(msg)
        away = self.saved.utcoffset()
        if away is None or away.total_seconds() % 60:
            msg = "saved needs its distance from UTC in hours and minutes, such as +01:00"
            raise PlanError(msg)
        if len({(part.by, part.value) for part in self.part}) < len(self.part):
            msg = "two parts are for the same ISO or aperture: keep one"
            raise PlanError(msg)
        return self


def checked(values: Mapping[str, object], where: str) -> SavedOffset:
    """A table of keys to a saved offset.

    Parameters
    ----------
    values : by the keys of :class:`OffsetTable`.
    where : stands before each mistake.

    Raises
    ------
    PlanError
        One line a mistake: the place, what was found, what is allowed.
    """
    try:
        return _record(OffsetTable.model_validate(values))
    except ValidationError as error:
        mistakes = error.errors(include_url=False)
        lines = [f"{where}: {_mistake(e)}" for e in mistakes[:MOST_TOLD]]
        if len(mistakes) > MOST_TOLD:
            lines.append(f"{where}: and {len(mistakes) - MOST_TOLD} more mistakes")
        raise PlanError("\n".join(dict.fromkeys(lines))) from error


def values_of(offset: SavedOffset) -> dict[str, Any]:
    """The table of a saved offset, in the order of :class:`OffsetTable`, without what is None."""
    belongs = offset.belongs
    values = {
        "name": offset.name,
        "offset_stops": offset.stops,
        "u_stops": offset.u_stops,
        "u_same_card_stops": offset.u_same_card,
        "interval_stops": offset.interval_stops,
        "meter": belongs.meter,
        "light": belongs.light,
        "method": belongs.method,
        "receptor": belongs.receptor,
        "aimed": belongs.aimed,
        "card": belongs.card,
        "make": belongs.make,
        "model": belongs.model,
        "serial": belongs.serial,
        "lens": belongs.lens,
        "iso": belongs.iso,
        "aperture": belongs.aperture,
        "frames": offset.frames,
        "saved": offset.saved,
        "greyproof": offset.greyproof,
        "part": [{"by": p.by, "value": p.value, "stops": p.stops} for p in offset.parts],
    }
    return {key: value for key, value in values.items() if value is not None}


def _record(table: OffsetTable) -> SavedOffset:
    """The record that a table stands for."""
    return SavedOffset(
        name=table.name,
        stops=table.offset_stops,
        u_stops=table.u_stops,
        u_same_card=table.u_same_card_stops,
        interval_stops=table.interval_stops,
        parts=tuple(OffsetPart(part.by, part.value, part.stops) for part in table.part),
        belongs=BelongsTo(
            meter=table.meter,
            light=table.light,
            method=table.method,
            receptor=table.receptor,
            aimed=table.aimed,
            card=table.card,
            make=table.make,
            model=table.model,
            serial=table.serial,
            lens=table.lens,
            iso=table.iso,
            aperture=table.aperture,
        ),
        frames=table.frames,
        saved=table.saved,
        greyproof=table.greyproof,
    )


def _mistake(error: ErrorDetails) -> str:
    """One line for one mistake: the key, what was found, what is allowed."""
    path = error["loc"]
    inner = len(path) > 2 and path[0] == "part"
    fields = PartTable.model_fields if inner else OffsetTable.model_fields
    key = str(path[2] if inner else path[0]) if path else ""
    place = f"part {int(path[1]) + 1}: {quoted(key)[1:-1]}: " if inner else ""
    place = place or (f"{quoted(key)[1:-1]}: " if key else "")
    if error["type"] == "extra_forbidden":
        near = difflib.get_close_matches(key, fields, 1)
        hint = f' (did you mean "{near[0]}"?)' if near else ""
        return f"{place}there is no such key{hint}; allowed: {', '.join(fields)}"
    if error["type"] == "missing" and key in fields and len(path) == (3 if inner else 1):
        return f"{place}this key is needed and is not there"
    if error["type"] == "value_error":
        return place + error["msg"].removeprefix("Value error, ")
    expected = str(error.get("ctx", {}).get("expected", "what is allowed")).replace("'", '"')
    allowed = fields[key].description if key in fields else None
    return f"{place}{quoted(error['input'])} is not {allowed or expected}"
