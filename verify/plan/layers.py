"""Sections that replace parts of one another: a set-up's own over those of the whole plan."""

from collections.abc import Mapping
from typing import Any

# Keys of a section that say the same thing in several ways: its own way replaces the other one.
WAYS: dict[str, tuple[tuple[str, ...], ...]] = {
    "camera": (("magnification",), ("extension_mm",), ("bellows_stops",)),
    "subject": (("magnification",), ("focal_mm", "distance_m"), ("field_width_m",)),
    "ambient": (("stops_under_flash",), ("aperture",), ("frame",)),
    "limits": (("sharp_px", "slight_px"), ("print_mm", "viewing_mm")),
}
# What only the other kind of shutter has.
NOT_OF_SHUTTER = {"leaf": ("travel",), "curtain": ("opening", "closing")}


def merged(base: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """Tables of ``base`` with the keys of ``own`` in their place, one level deep.

    A list of tables, such as [[flash]], is replaced as a whole.
    """
    result = dict(base)
    for key, value in own.items():
        under = result.get(key)
        if isinstance(value, Mapping) and isinstance(under, Mapping):
            replaced = _replaced(key, value)
            result[key] = {**{k: v for k, v in under.items() if k not in replaced}, **value}
        else:
            result[key] = value
    return result


def _replaced(section: str, own: Mapping[str, Any]) -> set[str]:
    """Keys of a section that its own keys leave no place for."""
    ways = WAYS.get(section, ())
    unused = {key for way in ways if not set(way) & set(own) for key in way}
    replaced = unused if len(unused) < sum(map(len, ways)) else set()
    if section == "camera" and isinstance(kind := own.get("shutter_kind"), str):
        replaced |= set(NOT_OF_SHUTTER.get(kind, ()))
    return replaced
