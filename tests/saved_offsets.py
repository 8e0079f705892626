"""Saved offsets for the tests: one of a made-up studio, and any there can be."""

import struct
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from typing import Any, get_args

from hypothesis import strategies as st

from verify.offsets.records import BelongsTo, SavedOffset
from verify.plan.records import Aimed, Light, Method, OffsetPart, Receptor

F_8, F_11, F_16 = 8.0, 2**3.5, 16.0  # exact f-numbers
STUDIO = SavedOffset(
    name="studio A",
    stops=-0.21,
    u_stops=0.09,
    u_same_card=0.04,
    interval_stops=(-0.4, -0.02),
    parts=(),
    belongs=BelongsTo(
        meter="Lumen 3",
        light="flash",
        method="incident",
        receptor="flat",
        aimed="as-card",
        card="Grauwald 18",
        make="Halde",
        model="Halde 45",
        serial="007",
        lens="Planor 80",
        iso=(100.0, 400.0),
        aperture=(F_8, F_16),
    ),
    frames=12,
    saved=datetime(2026, 3, 1, 10, 30, 0, 250, tzinfo=UTC),
    greyproof="0.4.0",
)


def studio(
    name: str = "studio A", belongs: dict[str, Any] | None = None, **own: Any
) -> SavedOffset:
    """The offset of the studio under a name, with fields of its own."""
    return replace(STUDIO, name=name, belongs=replace(STUDIO.belongs, **(belongs or {})), **own)


def bits(offset: SavedOffset) -> bytes:
    """Every float of an offset as its eight bytes."""
    belongs = offset.belongs
    ends = (*offset.interval_stops, *(belongs.iso or ()), *(belongs.aperture or ()))
    parts = [figure for part in offset.parts for figure in (part.value, part.stops)]
    floats = (offset.stops, offset.u_stops, offset.u_same_card, *ends, *parts)
    return struct.pack(f"{len(floats)}d", *floats)


def _numbers(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


TEXTS = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20)
ZONES = st.integers(-23 * 60, 23 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
RANGES = st.tuples(_numbers(0.01, 1e8), _numbers(0.01, 1e8)).map(
    lambda ends: (min(ends), max(ends))
)
PARTS = st.builds(
    OffsetPart,
    by=st.sampled_from(["iso", "aperture"]),
    value=_numbers(0.01, 1e8),
    stops=_numbers(-20, 20),
)
BELONGS = st.builds(
    BelongsTo,
    light=st.sampled_from(get_args(Light)),
    method=st.sampled_from(get_args(Method)),
    receptor=st.sampled_from(get_args(Receptor)),
    aimed=st.sampled_from(get_args(Aimed)),
    iso=st.none() | RANGES,
    aperture=st.none() | RANGES,
    **{key: st.none() | TEXTS for key in ("meter", "card", "make", "model", "serial", "lens")},
)


@st.composite
def any_offset(draw: st.DrawFn) -> SavedOffset:
    """Any offset that may be kept."""
    low, stops, high = sorted(draw(st.tuples(*[_numbers(-20, 20)] * 3)))
    parts = draw(st.lists(PARTS, max_size=3, unique_by=lambda part: (part.by, part.value)))
    return SavedOffset(
        name=draw(TEXTS),
        stops=stops,
        u_stops=draw(_numbers(0, 1000)),
        u_same_card=draw(_numbers(0, 1000)),
        interval_stops=(low, high),
        parts=tuple(parts),
        belongs=draw(BELONGS),
        frames=draw(st.integers(1, 1_000_000)),
        saved=draw(st.datetimes(timezones=ZONES)),
        greyproof=draw(TEXTS),
    )


SEVERAL = st.lists(any_offset(), max_size=4, unique_by=lambda offset: offset.name)
