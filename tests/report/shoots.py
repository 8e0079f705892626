"""Checked shoots for the tests of reports: real runs over simulated files."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from small_shoots import GELLED, NO_CARD, SET, TWO_CARDS, writer

from verify.compare import FrameCheck
from verify.plan.file import read_plan
from verify.shoot import Options, Shoot, check_shoot
from verify.simulate.camera import CameraModel, Settings
from verify.simulate.demo import write_demo
from verify.simulate.dng import write_dng
from verify.simulate.scene import Light, Scene, expose

IMAGE_CARD = [72, 24, 54, 48]  # where the card is in every test image, upright pixels
BODIES = (("0047", 0.0), ("0048", 0.3), ("0047", -0.4), ("0048", 0.3))  # serial, stops over


def demo_shoot(folder: Path) -> Shoot:
    """The demo shoot, written to ``folder`` and checked against its own plan."""
    frames = [
        path for path in write_demo(folder) if path.suffix == ".dng" and path.parent == folder
    ]
    return check_shoot(read_plan(folder / "plan.toml"), frames, Options(), skipped=2)


def shoot_of(files: Sequence[Path], transfer: str | None = None, **sections: Any) -> Shoot:
    """Files checked against a plan of ``sections``; the card is where test images have it."""
    sections.setdefault("card", {"box": IMAGE_CARD})
    return check_shoot(read_plan(None, sections), files, Options(transfer=transfer))


def two_bodies(folder: Path) -> list[Path]:
    """Small frames of two bodies of one model, numbered 0001 to 0004."""
    scene = Scene(size=(96, 64), card_box=(0.5, 0.25, 0.375, 0.5))
    files = []
    for number, (serial, stops) in enumerate(BODIES, 1):
        camera = CameraModel(serial=serial)
        exposed = expose(scene, Light.metered(2**3.5).changed(stops), camera, Settings(), None)
        path = folder / f"body_{number:04d}.dng"
        files.append(write_dng(path, exposed.mosaic, camera, Settings()))
    return files


def two_setups(folder: Path) -> Shoot:
    """Those frames, the last two in a set-up of their own: four groups, each judged by itself."""
    plan = folder / "plan.toml"
    plan.write_text(
        '[reading]\naperture = "f/11"\n[card]\nbox = [0.55, 0.3, 0.25, 0.4]\n'
        '[[setup]]\nname = "jug / rim"\nframes = "3-4"\nreading = { aperture = "f/8" }\n',
        encoding="utf-8",
    )
    return check_shoot(read_plan(plan), two_bodies(folder), Options())


def looked_for(folder: Path, **sections: Any) -> Shoot:
    """Four frames in which the card is looked for: two, one, none, and one in coloured light.

    Two first: after a frame with one, its place would tell which of them it is.
    """
    make = writer(folder)
    files = [
        make("two_0001.dng", scene=TWO_CARDS),
        make("one_0002.dng", scene=SET),
        make("none_0003.dng", scene=NO_CARD),
        make("gel_0004.dng", scene=SET, seen_by=GELLED),
    ]
    sections.setdefault("reading", {"aperture": "f/11"})
    return check_shoot(read_plan(None, sections), files, Options())


def altered(shoot: Shoot, *changes: dict[str, Any]) -> Shoot:
    """A shoot of only its first frames, with fields of their checks replaced."""
    checks: list[FrameCheck] = [
        replace(check, **fields) for check, fields in zip(shoot.checks, changes, strict=False)
    ]
    return replace(shoot, checks=tuple(checks))
