"""Plans, readings of a patch and settings from a few words, for the tests of what uses them."""

from pathlib import Path
from typing import Any

from verify.compare import FrameCheck, compare
from verify.frames.frame import Settings
from verify.frames.geometry import Box
from verify.measure import PatchReading
from verify.plan.file import read_plan
from verify.plan.records import MeterOffset, Plan, SetUp
from verify.target.records import Target

BOX = Box(40, 40, 20, 20)
TARGET = Target(BOX, BOX.corners(), "given")
FLAT_SIGNAL = 0.65 * 250 * 0.18 / 3.141592653589793 / 78  # check-values 2.5: 0.11937
METERED = '[reading]\naperture = "f/11 + 0.3"\n'
AS_PLANNED = Settings(f_number=11.0, shutter_s=1 / 125, iso=100.0)


def plan_of(folder: Path, text: str) -> Plan:
    """A plan from a file in ``folder``."""
    path = folder / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return read_plan(path)


def set_up(aperture: object = "f/11", **sections: dict[str, Any]) -> SetUp:
    """A plan's main set-up: ``aperture`` metered at ISO 100, with sections as in a plan file."""
    sections["reading"] = {"aperture": aperture, **sections.get("reading", {})}
    return read_plan(None, sections).main


def patch(signal: float = FLAT_SIGNAL, **fields: Any) -> PatchReading:
    """A reading of a patch without noise or doubt."""
    known: dict[str, Any] = {
        "target": TARGET,
        "signal": signal,
        "noise": 0.0,
        "red": None,
        "green": signal,
        "blue": None,
        "clipped": {"green": 0.0},
        "floored": 0.0,
        "black": 512.0,
        "white": 16383.0,
        "clips_at": 1.0,
        "gradient_stops": 0.0,
        "bound": None,
        "u_terms": {"noise": 0.0},
        "doubts": (),
        "steps": (),
    }
    return PatchReading(**{**known, **fields})


def checked(
    signal: float = FLAT_SIGNAL,
    settings: Settings = AS_PLANNED,
    setup: SetUp | None = None,
    offset: MeterOffset | None = None,
    file: str = "frame_0001.dng",
    **fields: Any,
) -> FrameCheck:
    """A frame held against a plan of f/11, ISO 100, 1/125 s, before it is judged."""
    planned = setup or set_up(camera={"shutter": "1/125"})
    return compare(Path(file), settings, patch(signal, **fields), planned, (), offset)
